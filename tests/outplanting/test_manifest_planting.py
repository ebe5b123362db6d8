"""Planting of a signed-off manifest, in one or several dives, and without one."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.core.inputs import read
from nursery.core.models import Event
from nursery.lineage.models import Ramet
from nursery.lineage.words import Place
from nursery.outplanting import actions
from nursery.outplanting.actions.correct import restore, void
from nursery.outplanting.actions.dive import enter_dive
from nursery.outplanting.corrections import RestoreIn, VoidIn
from nursery.outplanting.dives import DiveIn
from nursery.outplanting.inputs import LinesIn
from nursery.outplanting.manifests import tallies
from nursery.outplanting.models import Manifest, Outplanting
from tests import factories as f
from tests.lineage.ends import end
from tests.outplanting.reef import lift, rock
from tests.refusals import refused
from tests.verified import nothing_wrong


@pytest.fixture
def children(programme: f.Programme) -> list[Ramet]:
    return f.cut(programme.lead, [programme.mother()], 4, into=programme.plate)


@pytest.fixture
def signed(programme: f.Programme, children: list[Ramet]) -> Manifest:
    """A signed-off manifest of the first three."""
    found = f.manifest(programme.lead, programme.plot, children[:3])
    f.signed(programme.lead, found)
    return Manifest.objects.get(pk=found.pk)


def plant(programme: f.Programme, of: Manifest, ramets: list[Ramet]) -> Outplanting:
    return f.planting(programme.lead, programme.plot, ramets, manifest=of.code)


def done(manifest: Manifest) -> int:
    return tallies([manifest])[manifest.pk].planted


def test_a_manifest_is_planted_in_several_dives(
    programme: f.Programme, children: list[Ramet], signed: Manifest
) -> None:
    first = plant(programme, signed, children[:2])
    assert (first.manifest, done(signed)) == (signed, 2)
    plant(programme, signed, children[2:3])
    assert done(signed) == 3
    nothing_wrong()


def test_what_is_not_on_the_manifest_is_not_planted_of_it(
    programme: f.Programme, children: list[Ramet], signed: Manifest
) -> None:
    with refused("not_on_manifest", pointer="#/outplants/1/ramet"):
        plant(programme, signed, children[2:])


def test_what_is_planted_is_not_planted_of_it_again(
    programme: f.Programme, children: list[Ramet], signed: Manifest
) -> None:
    plant(programme, signed, children[:1])
    lift(programme.lead, children[:1], programme.tray)
    with refused("planted_already", pointer="#/outplants/0/ramet"):
        f.planting(
            programme.lead, programme.plot, children[:1], manifest=signed.code, when="2021-08-01"
        )


def test_a_line_is_planted_in_its_own_plot(
    programme: f.Programme, children: list[Ramet], signed: Manifest
) -> None:
    other = f.plot(programme.lead, programme.site)
    with refused("other_plot", pointer="#/outplants/0/ramet") as caught:
        f.planting(programme.lead, other, children[:1], manifest=signed.code)
    assert programme.plot.code in caught.value.problems[0].message
    elsewhere = f.plot(programme.lead, f.site(programme.lead))
    with refused("manifest_elsewhere", pointer="#/manifest"):
        f.planting(programme.lead, elsewhere, children[:1], manifest=signed.code)


def test_only_a_signed_off_manifest_is_planted(
    programme: f.Programme, children: list[Ramet]
) -> None:
    found = f.manifest(programme.lead, programme.plot, children)
    with refused("not_signed_off", pointer="#/manifest"):
        plant(programme, found, children)
    with refused("unknown_manifest", pointer="#/manifest"):
        f.planting(programme.lead, programme.plot, children, manifest="M9999")
    actions.cancel(programme.lead, found, "Storm")
    with refused("manifest_cancelled", pointer="#/manifest"):
        plant(programme, found, children)


def test_a_sign_off_that_does_not_hold_any_more_names_what_changed(
    programme: f.Programme, children: list[Ramet], signed: Manifest
) -> None:
    end(programme.lead, children[:1], when="2021-05-01")
    with refused("sign_off_lapsed", pointer="#/manifest") as caught:
        plant(programme, signed, children[1:2])
    assert children[0].code in caught.value.problems[0].message
    f.diversity.audit(programme.lead, signed)
    plant(programme, signed, children[1:3])
    assert done(signed) == 2


def test_a_swap_is_planted_after_another_audit(
    programme: f.Programme, children: list[Ramet], signed: Manifest
) -> None:
    swap = {"off": children[0].code, "on": children[3].code}
    actions.change_lines(programme.lead, signed, read(LinesIn, {"swap": [swap]}))
    with refused("sign_off_lapsed") as caught:
        plant(programme, signed, children[1:])
    assert children[3].code in caught.value.problems[0].message
    f.diversity.audit(programme.lead, signed)
    plant(programme, signed, children[1:])
    nothing_wrong()


def test_what_was_added_needs_a_new_sign_off(
    programme: f.Programme, children: list[Ramet], signed: Manifest
) -> None:
    given = {"plot": programme.plot.code, "add": [{"ramet": children[3].code}]}
    actions.change_lines(programme.lead, signed, read(LinesIn, given))
    with refused("sign_off_lapsed", pointer="#/manifest") as caught:
        plant(programme, signed, children[:1])
    assert "added" in caught.value.problems[0].message
    f.signed(programme.lead, signed)
    plant(programme, signed, children)
    nothing_wrong()


def test_packed_ramets_of_a_manifest_are_planted(
    programme: f.Programme, children: list[Ramet], signed: Manifest
) -> None:
    f.move(programme.lead, [{"ramet": ramet.code} for ramet in children[:3]], packed=True)
    plant(programme, signed, children[:3])
    assert done(signed) == 3


def test_a_void_gives_the_lines_back_and_a_restoration_takes_them(
    programme: f.Programme, children: list[Ramet], signed: Manifest
) -> None:
    event = plant(programme, signed, children[:2]).event
    void(programme.lead, VoidIn(event=event.uid, reason="a slip"))
    assert done(signed) == 0
    nothing_wrong()
    with refused("planted_already", pointer="#/remove/0"):
        actions.change_lines(programme.lead, signed, read(LinesIn, {"remove": [children[0].code]}))
    restore(programme.lead, RestoreIn(event=event.uid, reason="it was after all"))
    assert done(signed) == 2
    void(programme.lead, VoidIn(event=event.uid, reason="a slip"))
    plant(programme, signed, children[:3])
    assert done(signed) == 3
    nothing_wrong()


def test_what_is_planted_without_its_manifest_changes_the_stock(
    programme: f.Programme, children: list[Ramet], signed: Manifest
) -> None:
    f.planting(programme.lead, programme.plot, children[:1])
    with refused("sign_off_lapsed") as caught:
        plant(programme, signed, children[1:2])
    assert "planted otherwise" in caught.value.problems[0].message


def test_a_rock_is_planted_of_a_manifest_if_all_in_it_are_on_it(programme: f.Programme) -> None:
    stone = rock(programme)
    rows = f.cut(programme.lead, programme.mothers(), 2, into=stone)
    found = f.manifest(programme.lead, programme.plot, rows[:1])
    f.signed(programme.lead, found)
    given = {"manifest": found.code, "structures": [{"structure": stone.code}]}
    with refused("not_on_manifest", pointer="#/structures/0/structure"):
        f.planting(programme.lead, programme.plot, [], **given)


def test_planting_of_a_manifest_takes_a_constant_number_of_queries(
    programme: f.Programme,
) -> None:
    rows = f.cut(programme.lead, [programme.mother()], 41, into=programme.tray)
    found = f.manifest(programme.lead, programme.plot, rows)
    f.signed(programme.lead, found)
    costs = []
    for part in (rows[:1], rows[1:]):
        with CaptureQueriesContext(connection) as asked:
            plant(programme, found, part)
        costs.append(len(asked))
    assert costs[0] == costs[1]


def test_a_dive_plants_of_a_manifest(
    programme: f.Programme, children: list[Ramet], signed: Manifest
) -> None:
    given = {
        "when": f.PLANTED,
        "plot": programme.plot.code,
        "manifest": signed.code,
        "planted": [{"ramet": ramet.code} for ramet in children[:2]],
    }
    enter_dive(programme.lead, read(DiveIn, given))
    assert done(signed) == 2


def test_a_policy_may_demand_a_manifest_from_a_day_on(
    programme: f.Programme, children: list[Ramet]
) -> None:
    f.rule(programme.lead, "manifest_demanded", "yes", since="2021-06-01")
    with refused("manifest_demanded", pointer="#/manifest") as caught:
        f.planting(programme.lead, programme.plot, children)
    assert programme.taxon.name in caught.value.problems[0].message
    f.planting(programme.lead, programme.plot, children[:1], when="2021-05-31")
    found = f.manifest(programme.lead, programme.plot, children[1:])
    f.signed(programme.lead, found)
    plant(programme, found, children[1:])
    assert Ramet.objects.filter(place=Place.PLOT).count() == 4


def test_a_policy_may_spare_a_taxon(programme: f.Programme, children: list[Ramet]) -> None:
    f.rule(programme.lead, "manifest_demanded", "yes")
    f.rule(programme.lead, "manifest_demanded", "no", taxon=programme.taxon.code)
    f.planting(programme.lead, programme.plot, children)
    assert Event.objects.filter(outplanting__isnull=False).count() == 1
