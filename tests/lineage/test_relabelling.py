"""Ramets turn out to be of another genet: they, and all that was cut from them."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.core.actor import Role
from nursery.core.errors import Conflict, NotAllowed
from nursery.core.inputs import read
from nursery.donors.models import Genet
from nursery.lineage import actions, inputs
from nursery.lineage.models import Ramet, Relabelling, Step
from nursery.lineage.regrouping import Tally, Turn, Where
from nursery.lineage.words import Life, What
from tests import factories as f
from tests.lineage.identities import (
    genets,
    merge,
    now,
    other_genet,
    relabel,
    relabelling_effect,
    relabelling_in,
)
from tests.refusals import everything_stored, refused


@pytest.fixture
def first(programme: f.Programme) -> Genet:
    return programme.colony.genet


@pytest.fixture
def second(programme: f.Programme) -> Genet:
    return f.genet(programme.lead, programme.taxon)


@pytest.fixture
def mother(programme: f.Programme) -> Ramet:
    return programme.mother()


def test_a_relabelled_ramet_is_of_the_genet_that_is_named(
    programme: f.Programme, mother: Ramet, second: Genet
) -> None:
    event = relabel(programme.lead, [mother], second)
    assert genets(mother) == [second.code]
    assert Relabelling.objects.get(event=event).genet == second
    step = Step.objects.get(event=event)
    assert (step.what, step.life, step.place) == (What.RELABELLED, None, None)


def test_all_that_was_cut_from_it_goes_with_it(
    programme: f.Programme, mother: Ramet, second: Genet
) -> None:
    child = f.cut(programme.lead, [mother])[0]
    grandchild = f.cut(programme.lead, [child], when="2021-04-01")[0]
    sister = programme.mother()
    relabel(programme.lead, [mother], second)
    assert genets(child, grandchild, sister) == [
        second.code,
        second.code,
        programme.colony.genet.code,
    ]
    assert child.fragmentation is not None
    child.fragmentation.refresh_from_db()
    assert child.fragmentation.genet == second


def test_what_is_cut_from_it_later_is_of_that_genet(
    programme: f.Programme, mother: Ramet, second: Genet
) -> None:
    relabel(programme.lead, [mother], second)
    assert genets(f.cut(programme.lead, [mother], when="2021-08-01")[0]) == [second.code]


def test_its_mother_and_its_sisters_stay_as_they_are(
    programme: f.Programme, mother: Ramet, first: Genet, second: Genet
) -> None:
    one, other = f.cut(programme.lead, [mother], 2)
    relabel(programme.lead, [one], second)
    assert genets(mother, one, other) == [first.code, second.code, first.code]


def test_a_nearer_relabelling_holds_against_one_of_its_mother(
    programme: f.Programme, mother: Ramet, second: Genet
) -> None:
    child = f.cut(programme.lead, [mother])[0]
    third = f.genet(programme.lead, programme.taxon)
    relabel(programme.lead, [child], second)
    relabel(programme.lead, [mother], third)
    assert genets(mother, child) == [third.code, second.code]


def test_of_two_relabellings_the_later_one_decides_in_whatever_order_they_are_entered(
    programme: f.Programme, mother: Ramet, first: Genet, second: Genet
) -> None:
    third = f.genet(programme.lead, programme.taxon)
    relabel(programme.lead, [mother], second, when="2021-09-01")
    relabel(programme.lead, [mother], third, when="2021-08-01")
    assert genets(mother) == [second.code]
    relabel(programme.lead, [mother], first, when="2021-10-01")
    assert genets(mother) == [first.code]


def test_a_vague_relabelling_stands_after_an_exact_one_within_its_date(
    programme: f.Programme, mother: Ramet, second: Genet
) -> None:
    third = f.genet(programme.lead, programme.taxon)
    relabel(programme.lead, [mother], second, when="2021-09-10")
    relabel(programme.lead, [mother], third, when="2021-09")
    assert genets(mother) == [third.code]


def test_a_late_relabelling_reaches_what_was_cut_before_and_after_it(
    programme: f.Programme, mother: Ramet, second: Genet
) -> None:
    before = f.cut(programme.lead, [mother], when="2021-03-01")[0]
    after = f.cut(programme.lead, [mother], when="2021-09-01")[0]
    relabel(programme.lead, [mother], second, when="2021-06-01")
    assert genets(before, after) == [second.code, second.code]
    whats = Step.objects.filter(ramet=mother, live=True).order_by("order")
    assert list(whats.values_list("what", flat=True))[-3:] == [
        What.CUT_FROM,
        What.RELABELLED,
        What.CUT_FROM,
    ]


def test_a_ramet_may_be_of_a_genet_that_is_not_known(programme: f.Programme, mother: Ramet) -> None:
    child = f.cut(programme.lead, [mother])[0]
    event = relabel(programme.lead, [mother], None)
    assert genets(mother, child) == [None, None]
    assert Relabelling.objects.get(event=event).genet is None


def test_a_dead_one_is_relabelled_and_stays_dead(
    programme: f.Programme, mother: Ramet, second: Genet
) -> None:
    f.cut(programme.lead, [], used_up=[mother])
    relabel(programme.lead, [mother], second)
    row = now(mother)[0]
    assert (row.genet, row.life) == (second, Life.USED_UP)


def test_a_child_of_a_pooled_cutting_is_given_its_genet(
    programme: f.Programme, mother: Ramet, first: Genet
) -> None:
    _, other = other_genet(programme)
    pooled, left = f.cut(programme.lead, [mother, other], 2)
    grandchild = f.cut(programme.lead, [pooled], when="2021-04-01")[0]
    assert genets(pooled, grandchild) == [None, None]
    relabel(programme.lead, [pooled], first)
    assert genets(pooled, grandchild, left) == [first.code, first.code, None]


def test_a_pooled_child_may_turn_out_to_be_none_of_its_candidates(
    programme: f.Programme, mother: Ramet, second: Genet
) -> None:
    _, other = other_genet(programme)
    pooled = f.cut(programme.lead, [mother, other])[0]
    relabel(programme.lead, [pooled], second)
    assert genets(pooled) == [second.code]


def test_relabelling_one_source_of_a_pool_to_the_other_genet_settles_the_pool(
    programme: f.Programme, mother: Ramet
) -> None:
    genet, other = other_genet(programme)
    pooled = f.cut(programme.lead, [mother, other])[0]
    relabel(programme.lead, [mother], genet)
    assert genets(pooled) == [genet.code]


def test_relabelling_to_a_genet_merged_with_that_of_the_other_source_settles_the_pool(
    programme: f.Programme, mother: Ramet, second: Genet
) -> None:
    genet, other = other_genet(programme)
    merge(programme.lead, second, genet)
    pooled = f.cut(programme.lead, [mother, other])[0]
    relabel(programme.lead, [mother], second)
    assert genets(pooled) == [second.code]


def test_donors_and_generation_stay(programme: f.Programme, mother: Ramet, second: Genet) -> None:
    child = f.cut(programme.lead, [mother])[0]
    relabel(programme.lead, [mother], second)
    row = now(child)[0]
    assert (row.donor_set, row.generation) == (child.donor_set, 1)


def test_a_loose_piece_of_which_the_genet_is_known_is_relabelled(
    programme: f.Programme, second: Genet
) -> None:
    row = {"taxon": programme.taxon.code}
    piece = f.stock(programme.lead, programme.nursery, [row], origin="found")[0]
    relabel(programme.lead, [piece], second)
    assert genets(piece) == [second.code]


# Refused


def test_a_genet_of_another_taxon_is_refused(programme: f.Programme, mother: Ramet) -> None:
    genet = f.genet(programme.lead, f.taxon(programme.lead))
    row = {"taxon": genet.taxon.code}
    kin = f.stock(programme.lead, programme.nursery, [row])[0]
    with refused("genet_other_taxon", pointer="#/ramets/1/ramet"):
        relabel(programme.lead, [kin, mother], genet)


def test_an_unknown_genet_is_refused(programme: f.Programme, mother: Ramet) -> None:
    with refused("unknown_genet", pointer="#/genet"):
        relabel(programme.lead, [mother], None, unknown=False, genet="NONE")


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ({"unknown": False}, "genet_or_unknown"),
        ({"unknown": True, "genet": "G1"}, "genet_or_unknown"),
        ({"ramets": []}, "too_few"),
        ({"ramets": [{"ramet": "X"}] * 1001}, "too_many"),
        ({"when": "2999-01-01"}, "date_in_future"),
    ],
    ids=["neither", "both", "none", "too many", "future"],
)
def test_a_relabelling_that_makes_no_sense_is_refused(
    programme: f.Programme, mother: Ramet, values: dict[str, object], code: str
) -> None:
    with refused(code):
        relabel(programme.lead, [mother], None, **values)


def test_a_relabelling_before_the_ramet_came_names_both_dates(
    programme: f.Programme, mother: Ramet, second: Genet
) -> None:
    with refused("before_collection", pointer="#/ramets/0/ramet") as caught:
        relabel(programme.lead, [mother], second, when="2020-12-31")
    message = caught.value.problems[0].message
    assert "10 January 2021" in message
    assert "31 December 2020" in message


def test_one_ramet_named_twice_is_refused(
    programme: f.Programme, mother: Ramet, second: Genet
) -> None:
    with refused("named_twice", pointer="#/ramets/1/ramet"):
        relabel(programme.lead, [mother, mother], second)


def test_a_relabelling_that_is_sent_twice_is_one(
    programme: f.Programme, mother: Ramet, second: Genet
) -> None:
    uid = str(uuid4())
    event = relabel(programme.lead, [mother], second, uid=uid)
    assert relabel(programme.lead, [mother], second, uid=uid) == event
    assert Step.objects.filter(ramet=mother, what=What.RELABELLED).count() == 1
    with refused("uid_taken", by=Conflict):
        relabel(programme.lead, [mother], None, uid=uid)


@pytest.mark.parametrize(
    ("role", "code"), [(Role.VIEWER, "not_allowed"), (Role.FIELD, "not_allowed")]
)
def test_viewers_and_field_staff_may_not_relabel(
    programme: f.Programme, mother: Ramet, second: Genet, role: Role, code: str
) -> None:
    by = f.actor(role)
    with refused(code, by=NotAllowed):
        relabel(by, [mother], second)
    with refused(code, by=NotAllowed):
        relabelling_effect(by, [mother], second)


def test_nursery_staff_relabel_their_own_stock_alone(
    programme: f.Programme, mother: Ramet, second: Genet
) -> None:
    relabel(f.staff(programme.nursery), [mother], second)
    assert genets(mother) == [second.code]
    by = f.staff(f.nursery(programme.lead))
    with refused("not_your_nursery", by=NotAllowed):
        relabel(by, [mother], programme.colony.genet)


# Shown before it is done


def test_a_preview_tells_what_would_change_and_keeps_nothing(
    programme: f.Programme, mother: Ramet, first: Genet, second: Genet
) -> None:
    outplants = f.cut(programme.lead, [mother], 3)
    f.planting(programme.lead, programme.plot, outplants)
    f.visit(programme.lead, programme.site, {outplants[0]: "dead"})
    before = everything_stored()
    effect = relabelling_effect(programme.lead, [mother], second, when="2021-10-01")
    assert everything_stored() == before
    site, nursery = Where("site", programme.site.code), Where("nursery", programme.nursery.code)
    assert (effect.ramets, effect.living) == (4, 3)
    assert effect.turns == (
        Turn(first.code, second.code, nursery, 1, 1),
        Turn(first.code, second.code, site, 3, 2),
    )
    assert set(effect.tallies) == {
        Tally(nursery, first.code, 1, 0),
        Tally(nursery, second.code, 0, 1),
        Tally(site, first.code, 2, 0),
        Tally(site, second.code, 0, 2),
    }


def test_a_preview_leaves_out_what_a_nearer_relabelling_holds(
    programme: f.Programme, mother: Ramet, first: Genet, second: Genet
) -> None:
    child = f.cut(programme.lead, [mother])[0]
    relabel(programme.lead, [child], second)
    effect = relabelling_effect(programme.lead, [mother], None)
    assert [(turn.before, turn.after, turn.ramets) for turn in effect.turns] == [
        (first.code, "", 1)
    ]


def test_a_preview_is_refused_like_the_act(programme: f.Programme, mother: Ramet) -> None:
    genet = f.genet(programme.lead, f.taxon(programme.lead))
    with refused("genet_other_taxon"):
        relabelling_effect(programme.lead, [mother], genet)


def test_many_take_as_many_queries_as_few(
    programme: f.Programme, mother: Ramet, second: Genet
) -> None:
    counts = []
    for number in (10, 60):
        ramets = f.cut(programme.lead, [mother], number)
        given = read(inputs.RelabellingIn, relabelling_in(ramets, second))
        with CaptureQueriesContext(connection) as queries:
            actions.relabel(programme.lead, given)
        counts.append(len(queries))
    assert counts[0] == counts[1]
