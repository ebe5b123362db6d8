"""Samples, tables and proposals by API."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.core.actor import Role
from nursery.genotyping.models import GenotypeTable, Sample
from nursery.outplanting.actions.correct import void
from nursery.outplanting.corrections import VoidIn
from tests import factories as f
from tests.genotyping.laboratory import (
    DECIDED,
    LOCI,
    ONE,
    OTHER,
    SAMPLED,
    panel,
    proposal,
    samples,
    table,
    text_of,
)

pytestmark = pytest.mark.django_db


def test_a_sampling_is_entered_shown_and_repeated(programme: f.Programme) -> None:
    (ramet,) = programme.mothers()
    entry = {
        "uid": str(uuid4()),
        "when": SAMPLED,
        "laboratory": "Invented Lab",
        "samples": [{"ramet": ramet.code, "label": "x1"}, {"colony": programme.colony.code}],
    }
    api = f.client(Role.LEAD)
    answer = api.post("/api/samplings/", entry)
    assert answer.status_code == 201, answer.content
    body = answer.json()
    assert (body["kind"], body["live"]) == ("sampling", True)
    assert [(row["code"], row["ramet"], row["colony"]) for row in body["samples"]] == [
        (f"{ramet.code}.1", ramet.code, None),
        (f"{programme.colony.code}.1", None, programme.colony.code),
    ]
    assert [step["what"] for step in body["steps"]] == ["sampled"]
    again = api.post("/api/samplings/", entry)
    assert (again.status_code, again.json()) == (200, body)
    assert len(api.get(f"/api/samplings/?ramet={ramet.code}").json()["results"]) == 1


def test_samples_are_listed_filtered_and_edited_but_not_entered(programme: f.Programme) -> None:
    (sample,) = samples(programme.lead, programme.colony)
    (other,) = samples(programme.lead, *programme.mothers())
    table(programme.lead, panel(programme.lead), {other: ONE})
    api = f.client(Role.FIELD)
    answer = api.patch(f"/api/samples/{sample.code}/", {"sent_on": "2021-10-20"})
    assert (answer.status_code, answer.json()["sent_on"]) == (200, "2021-10-20")
    assert answer.json()["taken"] == SAMPLED
    assert api.post("/api/samples/", {"code": "X"}).status_code == 405

    def listed(query: str) -> list[str]:
        rows = api.get(f"/api/samples/?{query}").json()["results"]
        return sorted(row["code"] for row in rows)

    both = sorted([sample.code, other.code])
    assert listed("sent=true") == [sample.code]
    assert listed("sent=false") == [other.code]
    assert listed("typed=true") == [other.code]
    assert listed("typed=false") == [sample.code]
    assert listed(f"colony={programme.colony.code}") == [sample.code]
    assert listed(f"genet={programme.colony.genet.code}") == both


def test_the_list_of_samples_has_a_constant_number_of_queries(programme: f.Programme) -> None:
    api = f.client(Role.VIEWER)
    counts = []
    for more in (2, 12):
        samples(programme.lead, *programme.mothers(more))
        with CaptureQueriesContext(connection) as asked:
            assert api.get("/api/samples/").status_code == 200
        counts.append(len(asked))
    assert counts[0] == counts[1]


def test_a_table_is_imported_once_and_its_faults_are_told(programme: f.Programme) -> None:
    taken = samples(programme.lead, *programme.mothers(2))
    of = panel(programme.lead)
    entry = {"panel": of.code, "name": "run 1", "text": text_of(dict.fromkeys(taken, ONE))}
    api = f.client(Role.LEAD)
    answer = api.post("/api/genotype-tables/", entry)
    assert answer.status_code == 201, answer.content
    body = answer.json()
    assert (body["panel"], body["samples"], body["writing"]) == (of.code, 2, "lengths")
    assert api.post("/api/genotype-tables/", entry).status_code == 200
    assert api.get(answer["Location"]).json() == body
    rows = api.get(f"{answer['Location']}rows/").json()
    assert rows == [{"sample": sample.code, "typed": 4} for sample in taken]
    bad = api.post("/api/genotype-tables/", {**entry, "text": "sample,Inv1,X\nS,1"})
    assert bad.status_code == 400
    assert [(e["code"], e["pointer"]) for e in bad.json()["errors"]] == [
        ("unknown_locus", "#/text/1/X")
    ]
    assert f.client(Role.FIELD).post("/api/genotype-tables/", entry).status_code == 403
    assert GenotypeTable.objects.count() == 1


def test_what_a_table_tells_is_reckoned_from_individuals(programme: f.Programme) -> None:
    clone, again, other = samples(programme.lead, *programme.mothers(3))
    made = table(programme.lead, panel(programme.lead), {clone: ONE, again: ONE, other: OTHER})
    api = f.client(Role.VIEWER)
    before = api.get(f"/api/genotype-tables/{made.uid}/measures/").json()
    assert (before["individuals"], before["proposal"]) == (3, None)
    found = proposal(programme.lead, made)
    body = api.get(f"/api/genotype-tables/{made.uid}/measures/").json()
    assert (body["samples"], body["individuals"], body["proposal"]) == (3, 2, str(found.uid))
    # At each locus one is of two alleles and one has the first of them twice: p = 3/4 and 1/4.
    square, fourth = 10 / 16, 82 / 256
    one = 2 * square**2 - fourth
    assert body["loci"][0] == {
        "locus": "Inv1",
        "typed": 2,
        "alleles": 2,
        "richness": 2.0,
        "expected_heterozygosity": pytest.approx(4 / 3 * (1 - square)),
        "identity": pytest.approx(one),
        "sibling_identity": pytest.approx(0.25 + square / 2 + square**2 / 2 - fourth / 4),
    }
    assert body["identity"]["value"] == pytest.approx(one ** len(LOCI))
    assert [row["share"] for row in body["needed"]] == [0.5, 0.8, 0.9]
    whole = api.get(f"/api/panels/{made.panel.code}/measures/").json()
    assert (whole["individuals"], whole["proposal"]) == (3, None)


def test_the_donors_alleles_at_a_site(programme: f.Programme) -> None:
    p = programme
    twin = f.colony(p.lead, p.taxon, p.reef)
    p.outplants(2)
    first, second = samples(p.lead, p.colony, twin)
    made = table(p.lead, panel(p.lead), {first: OTHER, second: ONE})
    answer = f.client(Role.VIEWER).get(f"/api/panels/{made.panel.code}/sites/").json()
    # The site has the genet of the first: one of the two alleles of each locus.
    assert answer == [{"site": p.site.code, "genets": 1, "typed": 1, "share": 0.5}]


def test_a_proposal_is_made_previewed_accepted_and_rejected(programme: f.Programme) -> None:
    p = programme
    twin = f.colony(p.lead, p.taxon, p.reef)
    alike = samples(p.lead, p.colony, twin)
    made = table(p.lead, panel(p.lead), {**dict.fromkeys(alike, ONE)})
    api = f.client(Role.LEAD)
    entry = {"table": str(made.uid), "threshold": 0, "minimum": 3}
    answer = api.post("/api/match-proposals/", entry)
    assert answer.status_code == 201, answer.content
    uid = answer.json()["uid"]
    assert (answer.json()["groups"], answer.json()["table"]) == (1, str(made.uid))
    (group,) = api.get(f"{answer['Location']}groups/").json()
    assert [member["source"] for member in group["members"]] == [p.colony.code, twin.code]
    assert group["genets"] == sorted([p.colony.genet.code, twin.genet.code])
    assert (group["verdict"], group["chain"]["apart"]) == (None, [])
    given = {
        "proposal": uid,
        "group": 1,
        "genet": p.colony.genet.code,
        "merge": [twin.genet.code],
        "when": DECIDED,
        "reason": "one genotype",
    }
    told = api.post("/api/match-proposals/preview/", given)
    assert (told.status_code, told.json()["tallies"]) == (200, [])
    accepted = api.post("/api/match-proposals/accept/", given)
    assert accepted.status_code == 201, accepted.content
    body = accepted.json()
    assert (body["verdict"], body["stands"], body["genet"]) == (
        "accepted",
        True,
        p.colony.genet.code,
    )
    (event,) = body["events"]
    assert api.get(f"/api/genet-merges/{event}/").json()["merged"] == twin.genet.code
    rejected = api.post(
        "/api/match-proposals/reject/", {"proposal": uid, "group": 1, "reason": "no"}
    )
    assert (rejected.status_code, rejected.json()["code"]) == (400, "decided_already")
    void(p.lead, VoidIn(event=event, reason="swapped"))
    (group,) = api.get(f"/api/match-proposals/{uid}/groups/").json()
    assert (group["verdict"], group["stands"]) == ("accepted", False)


def test_what_is_not_there_is_not_found(programme: f.Programme) -> None:
    api = f.client(Role.LEAD)
    for path, code in (
        (f"/api/genotype-tables/{uuid4()}/", "unknown_genotypetable"),
        (f"/api/match-proposals/{uuid4()}/", "unknown_proposal"),
        ("/api/samples/NONE/", "unknown_sample"),
        ("/api/panels/NONE/", "unknown_panel"),
    ):
        answer = api.get(path)
        assert (answer.status_code, answer.json()["code"]) == (404, code)


def test_the_groups_of_a_proposal_have_a_constant_number_of_queries(
    programme: f.Programme,
) -> None:
    of = panel(programme.lead)
    api = f.client(Role.VIEWER)
    counts = []
    for more in (2, 9):
        taken: list[Sample] = samples(programme.lead, *programme.mothers(more))
        calls = {sample: (f"{n + 1}/{n + 1}",) * 4 for n, sample in enumerate(taken)}
        made = proposal(programme.lead, table(programme.lead, of, calls))
        with CaptureQueriesContext(connection) as asked:
            answer = api.get(f"/api/match-proposals/{made.uid}/groups/")
        assert len(answer.json()) == more
        counts.append(len(asked))
    assert counts[0] == counts[1]
