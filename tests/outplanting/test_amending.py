"""Amending: an event happened otherwise, and all that follows from it is worked out again."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from nursery.core.models import Correction, Event
from nursery.donors.models import EventPermit
from nursery.lineage import queries
from nursery.lineage.late import InTheWay
from nursery.lineage.models import Fragmentation, Ramet, Source
from nursery.lineage.words import Life
from nursery.outplanting.actions.correct import Outcome, amend, undo_amendment
from nursery.outplanting.corrections import AmendIn
from nursery.outplanting.models import Observation
from tests import factories as f
from tests.refusals import refused

pytestmark = pytest.mark.django_db


def amended(programme: f.Programme, event: Event, **values: Any) -> Outcome:
    given = AmendIn.model_validate({"event": str(event.uid), "reason": "the slate", **values})
    return amend(programme.lead, given)


def now(ramet: Ramet) -> Ramet:
    return Ramet.objects.get(pk=ramet.pk)


def donors_of(ramet: Ramet) -> set[str]:
    donors = now(ramet).donor_set
    return {colony.code for colony in donors.colonies.all()} if donors else set()


def test_a_collection_from_the_next_colony_changes_all_that_was_cut_from_it(
    programme: f.Programme,
) -> None:
    next_one = f.colony(programme.lead, programme.taxon, programme.reef)
    mother = programme.mother()
    child = f.cut(programme.lead, [mother])[0]
    grandchild = f.cut(programme.lead, [child], when="2022-03-01")[0]
    f.planting(programme.lead, programme.plot, [grandchild], when="2022-09-01")
    outcome = amended(programme, mother.born, colony=next_one.code)
    for ramet in (mother, child, grandchild):
        assert now(ramet).genet == next_one.genet
        assert donors_of(ramet) == {next_one.code}
    assert outcome.counts == {"genet": 3, "donors": 3}
    assert Fragmentation.objects.get(event=grandchild.born).genet == next_one.genet
    trace = queries.trace(programme.lead, grandchild.code)
    assert [donor.colony for donor in trace.donors] == [next_one.code]


def test_a_cutting_given_another_mother_changes_its_children(programme: f.Programme) -> None:
    other = f.colony(programme.lead, programme.taxon, programme.reef)
    mother = programme.mother()
    right = f.mothers(programme.lead, other, programme.tray)[0]
    child = f.cut(programme.lead, [], used_up=[mother])[0]
    amended(programme, child.born, sources=[{"instead_of": mother.code, "ramet": right.code}])
    assert now(child).genet == other.genet
    assert (now(mother).life, now(right).life) == (Life.LIVING, Life.USED_UP)
    assert Source.objects.get(fragmentation=child.born_id).ramet == right


def test_a_mother_that_was_cut_from_its_own_child_is_refused(programme: f.Programme) -> None:
    mother = programme.mother()
    child = f.cut(programme.lead, [mother])[0]
    grandchild = f.cut(programme.lead, [child], when="2021-04-01")[0]
    with refused("before_fragmentation", by=InTheWay):
        amended(
            programme,
            child.born,
            sources=[{"instead_of": mother.code, "ramet": grandchild.code}],
        )


def test_a_corrected_date_is_refused_where_a_later_entry_cannot_stand(
    programme: f.Programme,
) -> None:
    child = f.cut(programme.lead, [programme.mother()])[0]
    f.planting(programme.lead, programme.plot, [child])
    with refused("behind_later_entry", by=InTheWay) as caught:
        amended(programme, child.born, when="2021-07-01")
    message = caught.value.problems[0].message
    assert "1 June 2021" in message
    assert "1 July 2021" in message


def test_a_corrected_date_moves_the_event_among_the_others(programme: f.Programme) -> None:
    mother = programme.mother()
    child = f.cut(programme.lead, [mother])[0]
    amended(programme, child.born, when="2021-02")
    event = Event.objects.get(pk=child.born_id)
    assert (event.earliest, event.latest) == (date(2021, 2, 1), date(2021, 2, 28))
    assert now(child).not_before == event.moment
    f.move(
        programme.lead, [{"ramet": child.code, "structure": programme.tray.code}], when="2021-02-15"
    )


def test_people_permits_and_note_are_amended(programme: f.Programme) -> None:
    permit = f.permit(programme.lead)
    event = f.collection(programme.lead, programme.colony, done_by=["Mara Lind"]).event
    amended(programme, event, done_by=["Tove Brandt"], permits=[permit.code], note="seen at noon")
    event.refresh_from_db()
    assert (event.people, event.note) == (["Tove Brandt"], "seen at noon")
    assert EventPermit.objects.get(event=event).permit == permit
    assert Correction.objects.get(event=event).changes["done_by"] == [
        ["Mara Lind"],
        ["Tove Brandt"],
    ]


def test_an_outplanting_moved_to_another_plot_takes_what_was_seen_with_it(
    programme: f.Programme,
) -> None:
    other = f.plot(programme.lead, programme.site)
    ramet = programme.outplants()[0]
    f.visit(programme.lead, programme.site, {ramet: "alive"})
    event = ramet.outplants.get().outplanting.event
    amended(programme, event, plot=other.code)
    assert now(ramet).plot == other
    assert Observation.objects.get(ramet=ramet).plot == other


def test_an_outplanting_is_not_moved_away_from_where_it_was_seen(
    programme: f.Programme,
) -> None:
    elsewhere = f.plot(programme.lead, f.site(programme.lead))
    ramet = programme.outplants()[0]
    f.visit(programme.lead, programme.site, {ramet: "alive"})
    event = ramet.outplants.get().outplanting.event
    with refused("not_planted_here", by=InTheWay):
        amended(programme, event, plot=elsewhere.code)


def test_an_amendment_is_undone(programme: f.Programme) -> None:
    next_one = f.colony(programme.lead, programme.taxon, programme.reef)
    mother = programme.mother()
    child = f.cut(programme.lead, [mother])[0]
    amended(programme, mother.born, colony=next_one.code, when="2021-01-02")
    undo_amendment(programme.lead, mother.born.uid, "it was the first colony after all")
    assert donors_of(child) == {programme.colony.code}
    assert Event.objects.get(pk=mother.born_id).earliest == date(2021, 1, 10)


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ({"colony": "NONE"}, "unknown_donorcolony"),
        ({"plot": "NONE"}, "not_of_this_kind"),
        ({"when": "2021-01-10"}, "nothing_amended"),
        ({"permits": ["NONE"]}, "unknown_permit"),
    ],
)
def test_what_makes_no_sense_is_refused(
    programme: f.Programme, values: dict[str, Any], code: str
) -> None:
    event = f.collection(programme.lead, programme.colony).event
    with refused(code):
        amended(programme, event, **values)


def test_a_void_entry_is_not_amended(programme: f.Programme) -> None:
    event = f.collection(programme.lead, programme.colony).event
    Event.objects.filter(pk=event.pk).update(live=False)
    with refused("voided_already"):
        amended(programme, event, note="too late")


def test_only_amendments_are_undone_as_such(programme: f.Programme) -> None:
    event = f.collection(programme.lead, programme.colony).event
    with refused("not_amended"):
        undo_amendment(programme.lead, event.uid, "nothing to undo")
