"""Manifests: what is drafted, changed, swapped and cancelled before anything is planted."""

from __future__ import annotations

import uuid
from typing import Any

import pytest

from nursery.core.actor import Actor, Role
from nursery.core.errors import Conflict, NotAllowed
from nursery.core.inputs import read
from nursery.core.models import Change
from nursery.lineage.models import Ramet
from nursery.outplanting import actions
from nursery.outplanting.inputs import LinesIn
from nursery.outplanting.manifests import lines, planned, tallies
from nursery.outplanting.models import Manifest, ManifestLine, Stage
from tests import factories as f
from tests.lineage.ends import end
from tests.refusals import refused
from tests.verified import nothing_wrong


@pytest.fixture
def children(programme: f.Programme) -> list[Ramet]:
    return f.cut(programme.lead, [programme.mother()], 4, into=programme.plate)


def change(by: Actor, manifest: Manifest, **values: Any) -> Manifest:
    return actions.change_lines(by, manifest, read(LinesIn, values))


def on(manifest: Manifest) -> list[str]:
    """The codes of the ramets that are on a manifest."""
    return list(lines(manifest).order_by("ramet").values_list("ramet__code", flat=True))


def codes(ramets: list[Ramet]) -> list[str]:
    return [ramet.code for ramet in ramets]


def test_a_draft_names_ramets_and_their_plots(
    programme: f.Programme, children: list[Ramet]
) -> None:
    other = f.plot(programme.lead, programme.site)
    rows = [
        {"ramet": children[0].code, "position": "N 3", "cluster": "a"},
        {"ramet": children[1].code, "plot": other.code},
    ]
    found = f.manifest(f.field(), programme.plot, [], lines=rows, planned="2999-05-01/2999-05-03")
    assert (found.stage, found.site, str(found.planned)) == (
        Stage.DRAFT,
        programme.site,
        "2999-05-01/2999-05-03",
    )
    assert found.code == f"M{found.pk:04d}"
    assert [(row.ramet, row.plot, row.position, row.cluster) for row in lines(found)] == [
        (children[0], programme.plot, "N 3", "a"),
        (children[1], other, "", ""),
    ]
    nothing_wrong()


def test_a_draft_names_the_permits_meant_to_cover_it(
    programme: f.Programme, children: list[Ramet]
) -> None:
    permit = f.permit(programme.lead)
    found = f.manifest(programme.lead, programme.plot, children, permits=[permit.code])
    assert list(found.permits.all()) == [permit]


def test_the_same_draft_is_stored_once(programme: f.Programme, children: list[Ramet]) -> None:
    by, uid = f.field(), str(uuid.uuid4())
    first = f.manifest(by, programme.plot, children, uid=uid)
    assert f.manifest(by, programme.plot, children, uid=uid) == first
    assert Manifest.objects.count() == 1
    with refused("uid_taken", by=Conflict):
        f.manifest(by, programme.plot, children[:1], uid=uid)
    with refused("uid_taken", by=Conflict):
        f.manifest(programme.lead, programme.plot, children, uid=uid)


def test_a_draft_takes_a_constant_number_of_queries(
    programme: f.Programme, django_assert_max_num_queries: Any
) -> None:
    children = f.cut(programme.lead, [programme.mother()], 300, into=programme.tray)
    with django_assert_max_num_queries(24):
        found = f.manifest(programme.lead, programme.plot, children)
    assert lines(found).count() == 300


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ({"site": "NONE"}, "unknown_site"),
        ({"plot": "NONE"}, "unknown_plot"),
        ({"plot": None}, "plot_missing"),
        ({"permits": ["NONE"]}, "unknown_permit"),
        ({"title": " "}, "required"),
        ({"planned": "soon"}, "date_malformed"),
        ({"lines": [{"ramet": "nobody"}]}, "unknown_ramet"),
    ],
    ids=lambda value: str(value)[:40],
)
def test_a_draft_that_makes_no_sense_is_refused(
    programme: f.Programme, children: list[Ramet], values: dict[str, Any], code: str
) -> None:
    with refused(code):
        f.manifest(programme.lead, programme.plot, children[:1], **values)


def test_every_ramet_that_cannot_be_planted_is_told(
    programme: f.Programme, children: list[Ramet]
) -> None:
    end(programme.lead, children[:1], when="2021-05-01")
    f.planting(programme.lead, programme.plot, children[1:2])
    f.manifest(programme.lead, programme.plot, children[2:3])
    with refused("not_living", "already_planted", "on_another_manifest", pointer="#/lines/0/ramet"):
        f.manifest(programme.lead, programme.plot, children)


def test_a_manifest_is_for_one_site(programme: f.Programme, children: list[Ramet]) -> None:
    elsewhere = f.plot(programme.lead, f.site(programme.lead))
    rows = [{"ramet": children[0].code, "plot": elsewhere.code}]
    with refused("plot_elsewhere", pointer="#/lines/0/plot"):
        f.manifest(programme.lead, programme.plot, [], lines=rows)


def test_only_production_goes_on_a_manifest_unless_it_is_said(programme: f.Programme) -> None:
    reserve = f.cut(programme.lead, [programme.mother()], children=[{"purpose": "reserve"}])
    with refused("not_for_planting"):
        f.manifest(programme.lead, programme.plot, reserve)
    found = f.manifest(programme.lead, programme.plot, reserve, other_purposes=True)
    assert on(found) == codes(reserve)


def test_ramets_are_added_and_taken_off(programme: f.Programme, children: list[Ramet]) -> None:
    found = f.manifest(programme.lead, programme.plot, children[:2])
    added = [{"ramet": children[2].code, "plot": programme.plot.code}]
    change(programme.lead, found, add=added, remove=[children[0].code])
    assert on(found) == codes(children[1:3])
    kept = Change.objects.get(register="outplanting.manifest", before__isnull=False)
    assert (kept.before, kept.after) == (
        {"off": codes(children[:1])},
        {"on": codes(children[2:3])},
    )
    nothing_wrong()


def test_what_was_taken_off_may_come_back(programme: f.Programme, children: list[Ramet]) -> None:
    found = f.manifest(programme.lead, programme.plot, children[:2])
    change(programme.lead, found, remove=[children[0].code])
    change(programme.lead, found, plot=programme.plot.code, add=[{"ramet": children[0].code}])
    assert on(found) == codes(children[:2])
    assert ManifestLine.objects.count() == 2


def test_what_was_taken_off_is_free_for_another_manifest(
    programme: f.Programme, children: list[Ramet]
) -> None:
    found = f.manifest(programme.lead, programme.plot, children[:2])
    change(programme.lead, found, remove=[children[0].code])
    assert on(f.manifest(programme.lead, programme.plot, children[:1])) == codes(children[:1])


def test_a_swap_keeps_plot_and_position_within_a_genet(
    programme: f.Programme, children: list[Ramet]
) -> None:
    rows = [{"ramet": children[0].code, "position": "N 3"}]
    found = f.manifest(programme.lead, programme.plot, [], lines=rows)
    change(programme.lead, found, swap=[{"off": children[0].code, "on": children[1].code}])
    line = lines(found).get()
    assert (line.ramet, line.plot, line.position) == (children[1], programme.plot, "N 3")


def test_a_ramet_of_another_genet_takes_no_place_in_a_swap(
    programme: f.Programme, children: list[Ramet]
) -> None:
    colony = f.colony(programme.lead, programme.taxon, programme.reef)
    stranger = f.mothers(programme.lead, colony, programme.tray)[0]
    found = f.manifest(programme.lead, programme.plot, children[:1])
    with refused("other_genet", pointer="#/swap/0/on"):
        change(programme.lead, found, swap=[{"off": children[0].code, "on": stranger.code}])


def test_what_is_not_on_the_manifest_is_not_taken_off(
    programme: f.Programme, children: list[Ramet]
) -> None:
    found = f.manifest(programme.lead, programme.plot, children[:1])
    with refused("not_on_manifest", pointer="#/remove/0"):
        change(programme.lead, found, remove=[children[1].code])
    with refused("named_twice", pointer="#/add/0/ramet"):
        change(programme.lead, found, plot=programme.plot.code, add=[{"ramet": children[0].code}])
    with refused("too_few"):
        change(programme.lead, found)


def test_a_cancelled_manifest_frees_its_ramets(
    programme: f.Programme, children: list[Ramet]
) -> None:
    found = f.manifest(programme.lead, programme.plot, children)
    with refused("required", pointer="#/reason"):
        actions.cancel(programme.lead, found, " ")
    assert actions.cancel(programme.lead, found, "Storm").stage == Stage.CANCELLED
    with refused("manifest_cancelled"):
        change(programme.lead, found, remove=[children[0].code])
    with refused("manifest_cancelled"):
        actions.cancel(programme.lead, found, "Again")
    assert on(f.manifest(programme.lead, programme.plot, children)) == codes(children)


def test_who_drafted_it_or_a_lead_cancels(programme: f.Programme, children: list[Ramet]) -> None:
    by, other = f.field(), f.field()
    found = f.manifest(by, programme.plot, children)
    with refused("not_yours", by=NotAllowed):
        actions.cancel(other, found, "Mine now")
    assert actions.cancel(by, found, "Storm").stage == Stage.CANCELLED


@pytest.mark.parametrize(("who", "code"), [(Role.VIEWER, "not_allowed"), (None, "no_role")])
def test_who_does_not_draft(
    programme: f.Programme, children: list[Ramet], who: Role | None, code: str
) -> None:
    by = f.actor(*([who] if who else []))
    with refused(code, by=NotAllowed):
        f.manifest(by, programme.plot, children)


def test_what_is_planned_for_a_site_is_counted_by_genet(
    programme: f.Programme, children: list[Ramet]
) -> None:
    found = f.manifest(programme.lead, programme.plot, children)
    end(programme.lead, children[:1], when="2021-05-01")
    genet = programme.colony.genet_id
    assert [(row.plot, row.genet, row.ramets) for row in planned(programme.site)] == [
        (programme.plot.code, genet, 3)
    ]
    assert planned(programme.site, but=found) == []
    assert planned(f.site(programme.lead)) == []
    assert tallies([found])[found.pk].left == 4
    actions.cancel(programme.lead, found, "Storm")
    assert planned(programme.site) == []
