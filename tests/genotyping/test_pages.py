"""Pages of samples, genotypes and proposals."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from nursery.core.actor import Role
from nursery.donors.models import DonorColony, Genet
from nursery.genotyping.models import Confirmation, Decision, GenotypeTable, Proposal, Sample
from nursery.lineage.models import Ramet
from nursery.lineage.words import Life
from tests import factories as f
from tests.genotyping.laboratory import (
    DECIDED,
    ONE,
    OTHER,
    SAMPLED,
    accept,
    panel,
    proposal,
    samples,
    table,
    text_of,
)
from tests.outplanting.reef import now
from tests.pages import cost, main_of, read, reader, words_of

pytestmark = pytest.mark.django_db

NOBODY = "00000000-0000-4000-8000-000000000000"
"""A uid that nothing has."""


@pytest.fixture
def plugs(programme: f.Programme) -> list[Ramet]:
    return f.cut(programme.lead, programme.mothers(), 3, into=programme.tray)


@pytest.fixture
def twin(programme: f.Programme) -> DonorColony:
    return f.colony(programme.lead, programme.taxon, programme.reef)


def taken(client: Client, lines: str, **values: str) -> str:
    """What the page says after the form was sent."""
    given = {"uid": str(uuid4()), "when": SAMPLED, "done_by": "Ana", "lines": lines, **values}
    return words_of(client.post("/samples/take/", given, follow=True))


# Samples


def test_many_samples_are_taken_at_once_a_line_each(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    lines = f"{plugs[0].code}\n\n{plugs[1].code}, T-7, lab 9\n{programme.colony.code}"
    said = taken(reader(Role.LEAD), lines, laboratory="Invented Lab")
    assert "Entered: 3 samples taken." in said
    rows = Sample.objects.order_by("pk")
    assert [(row.code, row.label, row.source.code) for row in rows] == [
        (f"{plugs[0].code}.1", "", plugs[0].code),
        ("T-7", "lab 9", plugs[1].code),
        (f"{programme.colony.code}.1", "", programme.colony.code),
    ]
    assert {row.laboratory for row in rows} == {"Invented Lab"}


def test_whole_ramets_end_only_where_it_is_said(programme: f.Programme, plugs: list[Ramet]) -> None:
    client = reader(Role.NURSERY, at=programme.nursery)
    taken(client, plugs[0].code)
    taken(client, plugs[1].code, ended="on")
    assert [Life(now(plug).life) for plug in plugs[:2]] == [Life.LIVING, Life.SAMPLED]


def test_a_fault_names_its_line_and_what_was_typed_stays(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    lines = f"{plugs[0].code}\n\nNOBODY"
    client = reader(Role.LEAD)
    answer = client.post("/samples/take/", {"uid": str(uuid4()), "when": SAMPLED, "lines": lines})
    assert answer.status_code == 400
    assert "Line 3: There is no ramet 'NOBODY'." in words_of(answer)
    assert lines in answer.content.decode().replace("&#x27;", "'")
    assert not Sample.objects.exists()


def test_a_second_press_enters_nothing(programme: f.Programme, plugs: list[Ramet]) -> None:
    client = reader(Role.LEAD)
    uid = str(uuid4())
    taken(client, plugs[0].code, uid=uid)
    assert "It was entered already, once" in taken(client, plugs[0].code, uid=uid)
    assert Sample.objects.count() == 1


def test_a_sample_tells_what_it_is_of_and_by_which_tables_it_was_typed(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    (sample,) = samples(programme.lead, plugs[0])
    client = reader(Role.VIEWER)
    assert "It has not been typed yet." in read(client, f"/samples/{sample.code}/")
    table(programme.lead, panel(programme.lead), {sample: ("1/2", "", "", "")}, name="run 5")
    said = read(client, f"/samples/{sample.code}/")
    assert "It was typed at 1 locus last." in said
    assert "run 5" in said


def test_samples_and_panels_are_found(programme: f.Programme, plugs: list[Ramet]) -> None:
    (sample,) = samples(programme.lead, samples=[{"ramet": plugs[0].code, "label": "x-91"}])
    of = panel(programme.lead, name="Invented twelve")
    client = reader(Role.VIEWER)
    for text, at in (
        (sample.code, f"/samples/{sample.code}/"),
        ("x-91", f"/samples/{sample.code}/"),
        ("invented twelve", f"/panels/{of.code}/"),
    ):
        assert client.get("/find/", {"q": text})["Location"] == at


def test_a_sampling_is_told_on_its_page(programme: f.Programme, plugs: list[Ramet]) -> None:
    (sample,) = samples(programme.lead, plugs[0])
    said = read(reader(Role.VIEWER), f"/events/{sample.event.uid}/")
    assert sample.code in said
    assert "tissue taken" in read(reader(Role.VIEWER), f"/ramets/{plugs[0].code}/")


@pytest.mark.parametrize(
    ("address", "role"),
    [
        ("/samples/take/", Role.VIEWER),
        ("/genotypes/import/", Role.FIELD),
        ("/register/panels/new/", Role.NURSERY),
    ],
)
def test_forms_are_for_those_who_may_fill_them_in(
    programme: f.Programme, address: str, role: Role
) -> None:
    read(reader(role, at=programme.nursery), address, status=403)


def test_a_sample_is_not_entered_by_the_form_of_a_register(programme: f.Programme) -> None:
    client = reader(Role.LEAD)
    answer = client.post("/register/samples/new/", {"code": "X"})
    assert answer.status_code == 400
    assert "by its sampling" in words_of(answer)


# Tables


def test_a_table_is_imported_from_a_file(programme: f.Programme, plugs: list[Ramet]) -> None:
    found = samples(programme.lead, *plugs)
    of = panel(programme.lead)
    text = text_of(dict.fromkeys(found, ONE))
    file = SimpleUploadedFile("run.csv", b"\xef\xbb\xbf" + text.encode())
    client = reader(Role.LEAD)
    given = {"panel": of.code, "name": "run 1"}
    said = words_of(client.post("/genotypes/import/", {**given, "file": file}, follow=True))
    assert "Imported: run 1." in said
    assert "3 samples were typed." in said
    again = client.post("/genotypes/import/", {**given, "text": text}, follow=True)
    assert "This table was imported already." in words_of(again)


def test_every_fault_of_a_table_is_told(programme: f.Programme) -> None:
    of = panel(programme.lead)
    lines = ["sample,Inv1", *(f"S{n},1" for n in range(30))]
    given = {"panel": of.code, "text": "\n".join(lines)}
    answer = reader(Role.LEAD).post("/genotypes/import/", given)
    said = words_of(answer)
    assert answer.status_code == 400
    assert "30 things are in the way. Nothing was stored." in said
    assert "Line 31, Inv1: '1' is no pair" in said
    assert not GenotypeTable.objects.exists()


def test_a_file_that_is_no_text_is_refused(programme: f.Programme) -> None:
    of = panel(programme.lead)
    file = SimpleUploadedFile("run.csv", b"sample,\xff\xfe")
    answer = reader(Role.LEAD).post("/genotypes/import/", {"panel": of.code, "file": file})
    assert (answer.status_code, "no text in UTF-8" in words_of(answer)) == (400, True)


def test_a_table_tells_how_well_its_panel_tells_individuals_apart(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    one, again, other = samples(programme.lead, *plugs)
    made = table(programme.lead, panel(programme.lead), {one: ONE, again: ONE, other: OTHER})
    client = reader(Role.VIEWER)
    assert "each counts as an individual of its own" in read(client, f"/genotypes/{made.uid}/")
    proposal(programme.lead, made)
    said = read(client, f"/genotypes/{made.uid}/")
    assert "By one sample of each individual." in said
    assert "3 samples are of 2 individuals." in said
    # PI 0.4609375 and PIsibs 0.677734375 at each of four loci, multiplied.
    assert "Same genotype, no kin 0.045" in said
    assert "Same genotype, siblings 0.211" in said
    assert "Inv4" in said


def test_a_panel_tells_of_its_tables_and_sites(programme: f.Programme, twin: DonorColony) -> None:
    programme.outplants(1)
    first, second = samples(programme.lead, programme.colony, twin)
    of = panel(programme.lead)
    table(programme.lead, of, {first: OTHER, second: ONE}, name="run 8")
    said = read(reader(Role.LEAD), f"/panels/{of.code}/")
    assert "run 8" in said
    assert f"{programme.site.code} 1 1 50 %" in said.replace("\xa0", " ")
    assert "Import a table" in said
    assert "Import a table" not in read(reader(Role.VIEWER), f"/panels/{of.code}/")


# Proposals


def compared(programme: f.Programme, *sources: Ramet | DonorColony) -> Proposal:
    """A proposal of one group, by the pages."""
    found = samples(programme.lead, *sources)
    made = table(programme.lead, panel(programme.lead), dict.fromkeys(found, ONE))
    given = {"uid": str(uuid4()), "table": str(made.uid), "threshold": "1", "minimum": "3"}
    answer = reader(Role.LEAD).post("/matches/propose/", given)
    assert answer.status_code == 302, words_of(answer)
    return Proposal.objects.latest("pk")


def test_samples_are_compared_and_groups_told(programme: f.Programme, twin: DonorColony) -> None:
    made = compared(programme, programme.colony, twin)
    said = read(reader(Role.VIEWER), f"/matches/{made.uid}/")
    assert "2 samples make 1 group. 1 is not decided yet." in said
    assert twin.genet.code in said
    assert "0, matching 1" in said


def test_a_threshold_beyond_the_loci_is_refused_at_its_blank(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    (sample,) = samples(programme.lead, plugs[0])
    made = table(programme.lead, panel(programme.lead), {sample: ONE})
    given = {"uid": str(uuid4()), "table": str(made.uid), "threshold": "9", "minimum": "3"}
    answer = reader(Role.LEAD).post("/matches/propose/", given)
    assert answer.status_code == 400
    assert "The panel has 4 loci" in words_of(answer)


def test_a_chain_is_told(programme: f.Programme, plugs: list[Ramet]) -> None:
    a, b, c = samples(programme.lead, *plugs)
    calls = {a: ONE, b: ("1/1", *ONE[1:]), c: ("1/1", "3/3", *ONE[2:])}
    made = proposal(programme.lead, table(programme.lead, panel(programme.lead), calls), 1)
    client = reader(Role.VIEWER)
    assert "A chain: 1 pair in it does not match" in read(client, f"/matches/{made.uid}/")
    said = read(client, f"/matches/{made.uid}/1/")
    told = said.partition("Pairs that do not match")[2].partition("What holds it together")[0]
    assert f"{a.code} {c.code} 2 4" in told
    assert b.code not in told
    assert "Decide" not in said


def test_a_label_that_is_in_two_groups_is_told(programme: f.Programme, plugs: list[Ramet]) -> None:
    one, same, strange = samples(programme.lead, *plugs)
    calls = {one: ONE, same: ONE, strange: OTHER}
    made = proposal(programme.lead, table(programme.lead, panel(programme.lead), calls))
    client = reader(Role.VIEWER)
    genet = programme.colony.genet.code
    assert f"{genet} in group 2" in read(client, f"/matches/{made.uid}/1/")
    assert f"{genet} in group 1" in read(client, f"/matches/{made.uid}/2/")


def test_the_form_offers_what_fits_the_labels(
    programme: f.Programme, twin: DonorColony, plugs: list[Ramet]
) -> None:
    other = f.cut(programme.lead, f.mothers(programme.lead, twin, programme.tray), 1)
    made = compared(programme, programme.colony, plugs[0], *other)
    offered = main_of(reader(Role.LEAD), f"/matches/{made.uid}/1/")
    assert f'value="{programme.colony.genet.code}"' in offered
    ticked = [
        part.partition(">")[0]
        for part in offered.split("<input")
        if "checked" in part.partition(">")[0]
    ]
    assert len(ticked) == 1
    assert f'value="{other[0].code}"' in ticked[0]
    assert 'name="ramets"' in ticked[0]


def test_accepting_is_shown_first_and_then_done(programme: f.Programme, twin: DonorColony) -> None:
    p = programme
    (planted,) = f.cut(p.lead, f.mothers(p.lead, twin, p.tray), 1, into=p.tray)
    f.planting(p.lead, p.plot, [planted])
    made = compared(p, p.colony, twin)
    client = reader(Role.LEAD)
    at = f"/matches/{made.uid}/1/"
    given = {
        "uid": str(uuid4()),
        "genet": p.colony.genet.code,
        "merge": [twin.genet.code],
        "when": DECIDED,
        "reason": "one genotype",
    }
    shown = words_of(client.post(at, {**given, "step": "look"}))
    assert "2 ramets would count as another genet, 2 of them living." in shown.replace("\xa0", " ")
    assert "Nothing is stored yet." in shown
    assert p.site.code in shown
    assert not Confirmation.objects.exists()
    back = client.post(at, {**given, "step": "change"}).content.decode()
    assert 'value="one genotype"' in back
    done = client.post(at, {**given, "step": "accept"}, follow=True)
    assert f"Group 1: accepted as {p.colony.genet.code}: one genotype." in words_of(done)
    assert Genet.objects.get(pk=twin.genet_id).canonical == p.colony.genet
    (event,) = Decision.objects.get().events.all()
    assert "group 1 of a proposal" in read(client, f"/events/{event.uid}/")
    said = read(client, at)
    assert "To decide otherwise, void these entries first." in said
    assert "Show what it changes" not in said


def test_a_group_is_rejected_with_a_reason(programme: f.Programme, twin: DonorColony) -> None:
    made = compared(programme, programme.colony, twin)
    client = reader(Role.LEAD)
    at = f"/matches/{made.uid}/1/"
    without = client.post(at, {"uid": str(uuid4()), "step": "reject", "reason": " "})
    assert (without.status_code, "This is required." in words_of(without)) == (400, True)
    done = client.post(at, {"uid": str(uuid4()), "step": "reject", "reason": "no"}, follow=True)
    assert "Group 1: rejected: no." in words_of(done)


def test_what_is_left_over_is_told_above_the_form(
    programme: f.Programme, twin: DonorColony
) -> None:
    made = compared(programme, programme.colony, twin)
    given = {"genet": programme.colony.genet.code, "when": DECIDED, "reason": "x", "step": "look"}
    answer = reader(Role.LEAD).post(f"/matches/{made.uid}/1/", given)
    assert answer.status_code == 400
    assert f"{twin.code} (sample {twin.code}.1) would still be of {twin.genet.code}" in words_of(
        answer
    )


def test_only_leads_decide_on_the_page(programme: f.Programme, twin: DonorColony) -> None:
    made = compared(programme, programme.colony, twin)
    at = f"/matches/{made.uid}/1/"
    assert "Show what it changes" not in read(reader(Role.FIELD), at)
    assert reader(Role.FIELD).post(at, {"step": "reject", "reason": "x"}).status_code == 403


def test_a_genet_names_its_confirmation_and_what_was_sampled(
    programme: f.Programme, plugs: list[Ramet]
) -> None:
    p = programme
    client = reader(Role.VIEWER)
    at = f"/genets/{p.colony.genet.code}/"
    assert "No decision about genotypes confirms it" in read(client, at)
    made = compared(p, p.colony)
    accept(p.lead, made.groups.get(), p.colony.genet)
    said = read(client, at)
    assert "Only donor colonies of it were typed." in said
    assert f"{p.colony.code}.1" in said
    other = compared(p, plugs[0])
    accept(p.lead, other.groups.get(), p.colony.genet)
    assert "1 ramet of it was typed itself" in read(client, at)


@pytest.mark.parametrize(
    "address",
    [
        "/samples/NONE/",
        "/panels/NONE/",
        f"/genotypes/{NOBODY}/",
        f"/matches/{NOBODY}/",
        f"/matches/{NOBODY}/1/",
    ],
)
def test_what_is_not_there_is_not_found(programme: f.Programme, address: str) -> None:
    read(reader(Role.LEAD), address, status=404)


def test_pages_take_a_constant_number_of_queries(programme: f.Programme) -> None:
    client = reader(Role.LEAD)
    of = panel(programme.lead)

    def costs(more: int) -> list[int]:
        ramets = f.cut(programme.lead, programme.mothers(), more, into=programme.tray)
        found = samples(programme.lead, *ramets)
        calls = {one: (f"{n // 2 + 1}/{n // 2 + 1}",) * 4 for n, one in enumerate(found)}
        made = proposal(programme.lead, table(programme.lead, of, calls))
        pages = (
            "/samples/",
            "/panels/",
            "/genotypes/",
            f"/panels/{of.code}/",
            f"/genotypes/{made.table.uid if made.table else ''}/",
            f"/matches/{made.uid}/",
            f"/matches/{made.uid}/1/",
        )
        return [cost(client, page) for page in pages]

    costs(2)
    assert costs(4) == costs(14)
