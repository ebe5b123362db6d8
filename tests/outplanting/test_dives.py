"""One dive: planted, brought back, lost and died, in one transaction and once."""

import uuid
from typing import Any

import pytest

from nursery.core.actor import Actor
from nursery.core.errors import Conflict, NotAllowed
from nursery.core.inputs import read
from nursery.core.models import Event, EventKind
from nursery.lineage.models import Life, Ramet
from nursery.lineage.words import Cause, Place
from nursery.outplanting.actions.dive import enter_dive
from nursery.outplanting.dives import DiveIn, loaded
from nursery.outplanting.models import Fixing, Outplant
from tests import factories as make
from tests.outplanting.reef import now, rock
from tests.refusals import refused
from tests.verified import nothing_wrong

pytestmark = pytest.mark.django_db


def given(programme: make.Programme, **values: Any) -> DiveIn:
    return read(DiveIn, {"when": make.PLANTED, "plot": programme.plot.code, **values})


def on_plate(programme: make.Programme, count: int = 4) -> list[Ramet]:
    return make.cut(programme.lead, programme.mothers(), count, into=programme.plate)


def packed(programme: make.Programme, count: int = 4) -> list[Ramet]:
    rows = on_plate(programme, count)
    make.move(programme.lead, [{"ramet": row.code} for row in rows], packed=True, when="2021-05-31")
    return [now(row) for row in rows]


def all_of_it(rows: list[Ramet], **values: Any) -> dict[str, Any]:
    planted, back, lost, dead = (row.code for row in rows)
    return {
        "planted": [{"ramet": planted, "position": "3", "cluster": "A"}],
        "returned": [{"ramet": back}],
        "ended": [
            {"ramet": lost, "fate": "lost"},
            {"ramet": dead, "fate": "dead", "cause": "handling"},
        ],
        **values,
    }


def test_what_became_of_each_is_entered_together(programme: make.Programme) -> None:
    rows = packed(programme)
    permit = make.permit(programme.lead)
    said = all_of_it(rows, done_by=["Ana", "Iro"], fixing="cement", permits=[permit.code])
    done = enter_dive(programme.lead, given(programme, **said))
    kinds = [EventKind.OUTPLANTING, EventKind.MOVE, EventKind.ENDING]
    assert [recorded.event.kind for recorded in done] == kinds
    assert all(recorded.event.people == ["Ana", "Iro"] for recorded in done)
    planted, back, lost, dead = (now(row) for row in rows)
    assert planted.plot == programme.plot
    outplant = Outplant.objects.get(ramet=planted)
    assert (outplant.position, outplant.cluster, outplant.fixing) == ("3", "A", Fixing.CEMENT)
    assert (back.structure, str(back.cell)) == (programme.plate, "B1")
    assert (lost.life, dead.life, dead.cause) == (Life.LOST, Life.DEAD, Cause.HANDLING)
    assert [each.permit for each in done[0].event.permit_links.all()] == [permit]
    nothing_wrong()


def test_what_comes_back_unpacked_is_still_where_it_was(programme: make.Programme) -> None:
    rows = on_plate(programme, 2)
    before = Event.objects.count()
    returned = [{"ramet": row.code} for row in rows]
    assert enter_dive(programme.lead, given(programme, returned=returned)) == []
    assert Event.objects.count() == before


def test_what_comes_back_may_go_elsewhere(programme: make.Programme) -> None:
    (one,) = packed(programme, 1)
    (other,) = on_plate(programme, 1)
    returned = [{"ramet": one.code}, {"ramet": other.code}]
    said = given(programme, returned=returned, return_to=programme.tray.code)
    (moved,) = enter_dive(programme.lead, said)
    assert moved.event.steps.count() == 2
    assert {now(one).structure, now(other).structure} == {programme.tray}


def test_a_cell_that_was_taken_meanwhile_is_told_of_the_one_that_came_back(
    programme: make.Programme,
) -> None:
    rows = packed(programme, 2)
    (other,) = make.cut(
        programme.lead, programme.mothers(), into=programme.plate, when=make.PLANTED
    )
    assert str(other.cell) == "A1"
    returned = [{"ramet": rows[1].code}, {"ramet": rows[0].code}]
    said = given(programme, planted=[], returned=returned)
    with refused("cell_occupied", pointer="#/returned/1/cell"):
        enter_dive(programme.lead, said)


def test_a_piece_that_was_in_no_structure_wants_to_be_told_where(
    programme: make.Programme,
) -> None:
    collection = make.collection(programme.lead, programme.colony)
    (piece,) = make.ramets_of(collection)
    with refused("where_to", pointer="#/returned/0/ramet"):
        enter_dive(programme.lead, given(programme, returned=[{"ramet": piece.code}]))


@pytest.mark.parametrize("part", ["planted", "returned", "ended"])
def test_one_refusal_refuses_all_of_it(programme: make.Programme, part: str) -> None:
    rows = packed(programme)
    said = all_of_it(rows)
    said[part] = [*said[part], {"ramet": "NOSUCH", **({"fate": "lost"} if part == "ended" else {})}]
    with refused("unknown_ramet", pointer=f"#/{part}/{len(said[part]) - 1}/ramet"):
        enter_dive(programme.lead, given(programme, **said))


def test_an_ending_that_is_refused_takes_the_planting_back(programme: make.Programme) -> None:
    one, other = on_plate(programme, 2)
    make.planting(programme.lead, programme.plot, [other], when="2021-05-01")
    make.visit(programme.lead, programme.site, {other: "dead"}, when="2021-05-02")
    said = given(
        programme,
        planted=[{"ramet": one.code}],
        ended=[{"ramet": other.code, "fate": "lost"}],
    )
    with refused("not_living", pointer="#/ended/0/ramet"):
        enter_dive(programme.lead, said)


def test_a_dive_does_something(programme: make.Programme) -> None:
    with refused("nothing_done"):
        given(programme)


def test_a_rock_is_planted_with_all_that_lives_in_it(programme: make.Programme) -> None:
    stone = rock(programme)
    rows = make.cut(programme.lead, programme.mothers(), 2, into=stone)
    (done,) = enter_dive(programme.lead, given(programme, structures=[{"structure": stone.code}]))
    assert Outplant.objects.filter(outplanting=done.event.pk).count() == len(rows)


def test_only_field_staff_and_leads_dive(programme: make.Programme) -> None:
    rows = packed(programme)
    said = given(programme, **all_of_it(rows))
    for actor in (make.viewer(), make.staff(programme.nursery)):
        with refused("not_allowed", by=NotAllowed):
            enter_dive(actor, said)
    # To put something into a nursery's cells is for those who work there.
    field = make.field()
    with refused("not_your_nursery", by=NotAllowed):
        enter_dive(field, said)
    nothing_back = {**all_of_it(rows), "returned": []}
    assert len(enter_dive(field, given(programme, **nothing_back))) == 2


# Once


def counts() -> int:
    return Event.objects.count()


@pytest.mark.parametrize("pack", [True, False])
def test_the_same_dive_twice_is_written_once(programme: make.Programme, pack: bool) -> None:
    rows = packed(programme) if pack else on_plate(programme)
    said = given(programme, uid=str(uuid.uuid4()), **all_of_it(rows))
    first = enter_dive(programme.lead, said)
    before = counts()
    again = enter_dive(programme.lead, said)
    assert [recorded.fresh for recorded in again] == [False] * len(first)
    assert [recorded.event for recorded in again] == [recorded.event for recorded in first]
    assert counts() == before


@pytest.mark.parametrize("part", ["planted", "returned", "ended"])
def test_another_dive_under_its_uid_is_refused(programme: make.Programme, part: str) -> None:
    rows = packed(programme)
    uid, whole = str(uuid.uuid4()), all_of_it(rows)
    enter_dive(programme.lead, given(programme, uid=uid, **whole))
    with refused("uid_taken", by=Conflict):
        enter_dive(programme.lead, given(programme, uid=uid, **{**whole, part: []}))
    also = packed(programme, 1)[0].code
    more = {"ramet": also, **({"fate": "lost"} if part == "ended" else {})}
    with refused("uid_taken", by=Conflict):
        enter_dive(
            programme.lead, given(programme, uid=uid, **{**whole, part: [*whole[part], more]})
        )


def test_nobody_elses_dive_is_answered(programme: make.Programme) -> None:
    rows = packed(programme)
    said = given(programme, uid=str(uuid.uuid4()), **all_of_it(rows))
    other: Actor = make.lead()
    enter_dive(programme.lead, said)
    with refused("uid_taken", by=Conflict):
        enter_dive(other, said)


def test_returned_alone_is_nobody_elses_either(programme: make.Programme) -> None:
    (row,) = packed(programme, 1)
    said = given(programme, uid=str(uuid.uuid4()), returned=[{"ramet": row.code}])
    other = make.lead()
    enter_dive(programme.lead, said)
    with refused("uid_taken", by=Conflict):
        enter_dive(other, said)


# What may be aboard


def test_packed_pieces_of_a_collection_are_not_taken_for_outplants(
    programme: make.Programme,
) -> None:
    rows = packed(programme, 2)
    collection = make.collection(programme.lead, programme.colony)
    (piece,) = make.ramets_of(collection)
    assert set(loaded([], True, [])) == set(rows)
    assert set(loaded([], True, [piece.code])) == {piece, *rows}
    assert list(loaded([], False, [])) == []
    assert {row.place for row in loaded([programme.tray.code], False, [])} == {Place.STRUCTURE}
