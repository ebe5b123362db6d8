"""Outplants that are planted again, and records that disagree about whether they live."""

from __future__ import annotations

import pytest

from nursery.core.actor import Role
from nursery.core.errors import NotAllowed
from nursery.lineage.late import InTheWay
from nursery.lineage.models import Ramet
from nursery.lineage.words import Cause, Life, Place, What
from nursery.outplanting.models import Observation, Outplant
from nursery.outplanting.standing import plots_then
from nursery.places.models import Plot
from tests import factories as f
from tests.lineage.ends import end
from tests.outplanting.reef import (
    LIFTED,
    REPLANTED,
    differences,
    lift,
    lives,
    now,
    said_both,
    whats,
)
from tests.refusals import refused


@pytest.fixture
def ramet(programme: f.Programme) -> Ramet:
    return programme.outplants(1)[0]


@pytest.fixture
def next_plot(programme: f.Programme) -> Plot:
    """Another plot of the same site."""
    return f.plot(programme.lead, programme.site)


@pytest.fixture
def elsewhere(programme: f.Programme) -> Plot:
    """A plot of another site."""
    return f.plot(programme.lead, f.site(programme.lead))


def replant(programme: f.Programme, ramet: Ramet, plot: Plot) -> None:
    lift(programme.lead, [ramet], packed=True)
    f.planting(programme.lead, plot, [ramet], when=REPLANTED)


def seen(
    programme: f.Programme, ramet: Ramet, how: str, when: str, plot: Plot | None = None
) -> Plot:
    """See one on a visit to the site of a plot; where it stood then, by the record."""
    site = (plot or programme.plot).site
    visit = f.visit(programme.lead, site, {ramet: how}, when=when)
    found = Observation.objects.get(visit=visit, ramet=ramet).plot
    assert found is not None
    return found


# Planted again


def test_a_ramet_that_is_planted_again_is_seen_where_it_is_now(
    programme: f.Programme, ramet: Ramet, elsewhere: Plot
) -> None:
    assert seen(programme, ramet, "alive", "2021-06-15") == programme.plot
    replant(programme, ramet, elsewhere)
    assert seen(programme, ramet, "alive", f.SEEN, elsewhere) == elsewhere
    assert Outplant.objects.filter(ramet=ramet).count() == 2
    assert differences() == []


def test_a_late_visit_saw_it_where_it_had_been_then(
    programme: f.Programme, ramet: Ramet, elsewhere: Plot
) -> None:
    replant(programme, ramet, elsewhere)
    assert seen(programme, ramet, "dead", "2021-06-15") == programme.plot
    assert (now(ramet).life, now(ramet).plot) == (Life.LIVING, elsewhere)
    assert differences() == []


def test_a_visit_to_where_it_is_no_more_is_refused_with_both_dates(
    programme: f.Programme, ramet: Ramet, elsewhere: Plot
) -> None:
    replant(programme, ramet, elsewhere)
    with refused("not_planted_here", pointer="#/observations/0/ramet") as caught:
        f.visit(programme.lead, programme.site, {ramet: "alive"})
    message = caught.value.problems[0].message
    assert said_both(message, "1 September 2021", "1 August 2021", elsewhere.code)


def test_a_visit_before_the_second_planting_did_not_see_it_there(
    programme: f.Programme, ramet: Ramet, elsewhere: Plot
) -> None:
    replant(programme, ramet, elsewhere)
    with refused("not_planted_here") as caught:
        f.visit(programme.lead, elsewhere.site, {ramet: "alive"}, when="2021-06-15")
    assert said_both(caught.value.problems[0].message, "15 June 2021", "1 June 2021")


@pytest.mark.parametrize(("when", "again"), [("2021-06", False), ("2021", True)])
def test_a_vague_visit_comes_after_all_that_its_date_allows(
    programme: f.Programme, ramet: Ramet, next_plot: Plot, when: str, again: bool
) -> None:
    replant(programme, ramet, next_plot)
    assert seen(programme, ramet, "alive", when) == (next_plot if again else programme.plot)
    assert differences() == []


def test_a_late_planting_says_where_later_visits_saw_it(
    programme: f.Programme, ramet: Ramet, next_plot: Plot
) -> None:
    lift(programme.lead, [ramet], packed=True)
    assert seen(programme, ramet, "alive", "2021-07-15") == programme.plot
    assert seen(programme, ramet, "alive", f.SEEN) == programme.plot
    f.planting(programme.lead, next_plot, [ramet], when=REPLANTED)
    plots = Observation.objects.order_by("visit__event__moment").values_list("plot", flat=True)
    assert list(plots) == [programme.plot.pk, next_plot.pk]
    assert differences() == []


def test_a_late_planting_where_a_later_visit_cannot_have_seen_it_is_refused(
    programme: f.Programme, ramet: Ramet, elsewhere: Plot
) -> None:
    lift(programme.lead, [ramet], packed=True)
    seen(programme, ramet, "alive", f.SEEN)
    with refused("not_planted_here", by=InTheWay) as caught:
        f.planting(programme.lead, elsewhere, [ramet], when=REPLANTED)
    assert said_both(caught.value.problems[0].message, "1 September 2021", "1 August 2021")


def test_where_ramets_stood_is_told_by_the_moment_of_an_event(
    programme: f.Programme, ramet: Ramet, elsewhere: Plot
) -> None:
    replant(programme, ramet, elsewhere)
    first, second = Outplant.objects.filter(ramet=ramet).order_by("pk")
    lifted = lift(programme.lead, [ramet], packed=True, when="2021-08-15")
    assert plots_then([ramet.pk], first.outplanting.event) == {}
    assert plots_then([ramet.pk], second.outplanting.event) == {ramet.pk: programme.plot}
    assert plots_then([ramet.pk], lifted) == {ramet.pk: elsewhere}


def test_a_ramet_is_planted_on_a_dead_ones_spot(programme: f.Programme) -> None:
    old, new = f.cut(programme.lead, [programme.mother()], 2)
    spot = {"position": "N 3", "cluster": "a"}
    f.planting(programme.lead, programme.plot, [], outplants=[{"ramet": old.code, **spot}])
    seen(programme, old, "dead", "2021-06-15")
    f.planting(
        programme.lead,
        programme.plot,
        [],
        outplants=[{"ramet": new.code, **spot}],
        when=LIFTED,
    )
    assert lives([old, new]) == ["dead", "living"]
    assert set(Outplant.objects.values_list("position", "cluster")) == {("N 3", "a")}


# Dead or alive


def test_a_dead_outplant_that_is_seen_alive_again_is_lifted_like_any_other(
    programme: f.Programme, ramet: Ramet
) -> None:
    seen(programme, ramet, "dead", "2021-06-15")
    seen(programme, ramet, "alive", "2021-06-20")
    lift(programme.lead, [ramet], programme.plate)
    assert (now(ramet).life, now(ramet).cause, str(now(ramet).cell)) == (Life.LIVING, None, "A1")


def test_a_late_dead_does_not_decide_over_a_later_alive(
    programme: f.Programme, ramet: Ramet
) -> None:
    seen(programme, ramet, "alive", "2021-10-01")
    seen(programme, ramet, "dead", f.SEEN)
    assert whats(ramet) == [What.BORN, What.PLANTED, What.SEEN_DEAD, What.SEEN_ALIVE]
    assert (now(ramet).life, now(ramet).cause) == (Life.LIVING, None)
    assert differences() == []


def test_a_late_alive_does_not_decide_over_a_later_dead(
    programme: f.Programme, ramet: Ramet
) -> None:
    seen(programme, ramet, "dead", "2021-10-01")
    seen(programme, ramet, "alive", f.SEEN)
    assert (now(ramet).life, now(ramet).cause) == (Life.DEAD, Cause.UNKNOWN)


def test_a_late_dead_before_a_lift_is_taken_and_the_lift_stands(
    programme: f.Programme, ramet: Ramet
) -> None:
    lift(programme.lead, [ramet], programme.plate)
    seen(programme, ramet, "dead", "2021-06-15")
    assert whats(ramet) == [What.BORN, What.PLANTED, What.SEEN_DEAD, What.LIFTED]
    after = now(ramet)
    assert (after.life, after.cause, str(after.cell)) == (Life.LIVING, None, "A1")
    assert differences() == []


def test_a_late_missing_before_a_cutting_is_taken_and_the_cutting_stands(
    programme: f.Programme, ramet: Ramet
) -> None:
    child = f.cut(programme.lead, [ramet], 1, when=LIFTED)[0]
    seen(programme, ramet, "missing", "2021-06-15")
    assert whats(ramet) == [What.BORN, What.PLANTED, What.SEEN_MISSING, What.CUT_FROM]
    assert lives([ramet, child]) == ["living", "living"]
    assert differences() == []


def test_a_dead_seen_after_a_lift_decides_wherever_the_ramet_is(
    programme: f.Programme, ramet: Ramet
) -> None:
    lift(programme.lead, [ramet], programme.plate)
    assert seen(programme, ramet, "dead", f.SEEN) == programme.plot
    assert (now(ramet).life, now(ramet).structure) == (Life.DEAD, programme.plate)
    again = f.cut(programme.lead, [programme.mother()], 1, into=programme.plate, when="2021-09-02")
    assert str(again[0].cell) == "A1"
    assert differences() == []


def test_a_vague_dead_is_taken_before_what_was_done_later(
    programme: f.Programme, ramet: Ramet
) -> None:
    lift(programme.lead, [ramet], programme.plate)
    seen(programme, ramet, "dead", "2021-06")
    assert now(ramet).life == Life.LIVING
    seen(programme, ramet, "dead", "2021-07")
    assert now(ramet).life == Life.DEAD


# Cutting in the plot


def test_a_living_outplant_is_cut_in_its_plot(programme: f.Programme, ramet: Ramet) -> None:
    children = f.cut(f.field(), [ramet], 2, when=LIFTED)
    assert {(child.place, child.plot, child.structure) for child in children} == {
        (Place.NOWHERE, None, None)
    }
    assert {(child.generation, child.genet) for child in children} == {
        ((ramet.generation or 0) + 1, ramet.genet)
    }
    after = now(ramet)
    assert (after.life, after.place, after.plot) == (Life.LIVING, Place.PLOT, programme.plot)
    assert differences() == []


def test_children_cut_in_a_plot_are_planted_or_brought_ashore(
    programme: f.Programme, ramet: Ramet, next_plot: Plot
) -> None:
    one, two = f.cut(programme.lead, [ramet], 2, when=LIFTED)
    f.planting(f.field(), next_plot, [one], when=LIFTED)
    row = {"ramet": two.code, "structure": programme.tray.code}
    f.move(f.staff(programme.nursery), [row], when="2021-07-02")
    assert now(one).plot == next_plot
    assert now(two).structure == programme.tray
    assert differences() == []


def test_an_outplant_that_is_used_up_in_the_plot_stands_there_no_more(
    programme: f.Programme, ramet: Ramet
) -> None:
    children = f.cut(programme.lead, [], 2, used_up=[ramet], into=programme.plate, when=LIFTED)
    assert (now(ramet).life, now(ramet).place, now(ramet).plot) == (
        Life.USED_UP,
        Place.NOWHERE,
        None,
    )
    assert [str(child.cell) for child in children] == ["A1", "B1"]
    with refused("not_living") as caught:
        lift(programme.lead, [ramet], packed=True, when="2021-07-05")
    assert said_both(caught.value.problems[0].message, "1 July 2021", "5 July 2021")


def test_who_cuts_outplants(programme: f.Programme, ramet: Ramet) -> None:
    ashore = f.staff(programme.nursery)
    with refused("not_allowed", by=NotAllowed):
        f.cut(ashore, [ramet], 1, into=programme.plate, when=LIFTED)
    diver = f.field()
    with refused("not_your_nursery", by=NotAllowed):
        f.cut(diver, [ramet], 1, into=programme.plate, when=LIFTED)
    both = f.actor(Role.FIELD, Role.NURSERY, at=programme.nursery)
    child = f.cut(both, [ramet], 1, into=programme.plate, when=LIFTED)[0]
    assert child.structure == programme.plate


def test_a_dead_outplant_is_not_cut(programme: f.Programme, ramet: Ramet) -> None:
    seen(programme, ramet, "dead", "2021-06-15")
    with refused("not_living", pointer="#/sources/0/ramet") as caught:
        f.cut(programme.lead, [ramet], 1, when=LIFTED)
    assert said_both(caught.value.problems[0].message, "15 June 2021", "1 July 2021")


def test_a_late_cutting_in_the_plot_comes_before_its_lift_and_its_death(
    programme: f.Programme, ramet: Ramet
) -> None:
    lift(programme.lead, [ramet], programme.plate)
    end(programme.lead, [ramet], when="2021-08-01")
    child = f.cut(programme.lead, [ramet], 1, when="2021-06-15")[0]
    assert whats(ramet) == [What.BORN, What.PLANTED, What.CUT_FROM, What.LIFTED, What.ENDED]
    assert (now(child).life, now(ramet).life) == (Life.LIVING, Life.DEAD)
    with refused("behind_later_entry", by=InTheWay) as caught:
        f.cut(programme.lead, [], 1, used_up=[ramet], when="2021-06-20")
    assert said_both(caught.value.problems[0].message, "20 June 2021", "1 July 2021")
    assert differences() == []
