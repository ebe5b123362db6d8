"""Genet diversity of a site: who is counted, on which day, and what it costs to ask.

The indices themselves are checked elsewhere; here the counts that go into them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import date

import pytest
from pytest_django.fixtures import DjangoAssertNumQueries

from nursery.core.errors import NotAllowed
from nursery.diversity.queries import Group, Report, diversity
from nursery.diversity.summary import Indices
from nursery.diversity.values import Value
from nursery.donors.models import DonorColony, Genet
from nursery.lineage.models import Ramet
from nursery.outplanting.counts import Look, Stand
from nursery.places.models import Plot
from tests import factories as f
from tests.refusals import refused


@dataclass(frozen=True)
class Scene:
    """Two plots; children of two colonies (A: 5, B: 3) and two of nobody knows which."""

    programme: f.Programme
    other_plot: Plot
    other_colony: DonorColony
    of_a: Sequence[Ramet]
    of_b: Sequence[Ramet]
    pooled: Sequence[Ramet]

    def report(
        self, state: Stand = Stand.ALIVE, day: str | None = None, **values: object
    ) -> Report:
        as_of = date.fromisoformat(day) if day else None
        return diversity(
            self.programme.lead,
            self.programme.site,
            state=state,
            as_of=as_of,
            **values,  # type: ignore[arg-type]
        )

    def plant(
        self, ramets: Sequence[Ramet], plot: Plot | None = None, when: str = f.PLANTED
    ) -> None:
        f.planting(self.programme.lead, plot or self.programme.plot, ramets, when=when)

    def see(self, how: str, ramets: Sequence[Ramet], when: str = f.SEEN) -> None:
        f.visit(self.programme.lead, self.programme.site, dict.fromkeys(ramets, how), when=when)


@pytest.fixture
def scene(programme: f.Programme) -> Scene:
    other = f.colony(programme.lead, programme.taxon, programme.reef)
    a = programme.mother()
    b = f.mothers(programme.lead, other, programme.tray)[0]
    return Scene(
        programme,
        f.plot(programme.lead, programme.site),
        other,
        f.cut(programme.lead, [a], 5),
        f.cut(programme.lead, [b], 3),
        f.cut(programme.lead, [a, b], 2),
    )


def counted(group: Group) -> dict[str, int]:
    """Ramets by genet."""
    return {share.genet: share.ramets for share in group.genets}


def at(report: Report, plot: str) -> Group:
    return next(group for group in report.groups if group.plot == plot and group.taxon is None)


# States


def test_what_was_planted_is_counted_by_genet(scene: Scene) -> None:
    scene.plant([*scene.of_a, *scene.of_b])
    whole = scene.report(Stand.PLANTED).whole
    assert counted(whole) == {
        scene.programme.colony.genet.code: 5,
        scene.other_colony.genet.code: 3,
    }
    assert (whole.ramets, whole.without_genet, whole.presumed) == (8, 0, 2)
    assert [share.share for share in whole.genets] == [0.625, 0.375]


def test_the_states_part_as_ramets_are_lost(scene: Scene) -> None:
    scene.plant(scene.of_a)
    scene.see("alive", scene.of_a[:1])
    scene.see("dead", scene.of_a[1:2])
    scene.see("missing", scene.of_a[2:3])
    assert [scene.report(state).whole.ramets for state in Stand] == [5, 3, 1]


def test_a_ramet_that_was_used_up_on_the_reef_is_planted_but_not_alive(scene: Scene) -> None:
    scene.plant(scene.of_a)
    f.cut(scene.programme.lead, [], used_up=[scene.of_a[0]], when="2021-07-01")
    assert [scene.report(state).whole.ramets for state in Stand] == [5, 4, 0]


def test_a_ramet_seen_alive_again_counts_again(scene: Scene) -> None:
    scene.plant(scene.of_a)
    scene.see("dead", scene.of_a[:1], "2021-07-01")
    scene.see("alive", scene.of_a[:1], "2021-08-01")
    assert [scene.report(state).whole.ramets for state in Stand] == [5, 5, 1]


def test_what_stands_at_another_site_is_not_counted(scene: Scene) -> None:
    elsewhere = f.site(scene.programme.lead)
    f.planting(scene.programme.lead, f.plot(scene.programme.lead, elsewhere), scene.of_a)
    scene.plant(scene.of_b)
    assert scene.report().whole.ramets == 3
    assert diversity(scene.programme.lead, elsewhere).whole.ramets == 5


def test_what_was_not_planted_is_not_counted(scene: Scene) -> None:
    assert scene.report(Stand.PLANTED).whole.ramets == 0


# Without a genet


def test_ramets_without_a_genet_are_counted_apart(scene: Scene) -> None:
    scene.plant([*scene.of_a, *scene.pooled])
    whole = scene.report().whole
    assert (whole.ramets, whole.without_genet) == (7, 2)
    assert counted(whole) == {scene.programme.colony.genet.code: 5}
    assert whole.genets[0].share == 1


def test_ramets_without_a_genet_stand_in_no_index(scene: Scene) -> None:
    scene.plant([*scene.of_a, *scene.of_b])
    before = scene.report().whole.indices
    scene.plant(scene.pooled)
    assert scene.report().whole.indices == before


# Genets


def test_a_confirmed_genet_is_not_presumed(scene: Scene) -> None:
    scene.plant([*scene.of_a, *scene.of_b])
    Genet.objects.filter(pk=scene.other_colony.genet_id).update(
        status="confirmed", panel="P", confirmed_on=date(2021, 1, 1)
    )
    whole = scene.report().whole
    assert whole.presumed == 1
    assert {share.genet: share.status for share in whole.genets} == {
        scene.programme.colony.genet.code: "presumed",
        scene.other_colony.genet.code: "confirmed",
    }


@pytest.mark.parametrize("state", list(Stand))
@pytest.mark.parametrize("day", [None, "2021-12-31"])
def test_merged_genets_are_counted_as_one(scene: Scene, state: Stand, day: str | None) -> None:
    scene.plant([*scene.of_a, *scene.of_b])
    scene.see("alive", [*scene.of_a, *scene.of_b])
    Genet.objects.filter(pk=scene.other_colony.genet_id).update(
        canonical=scene.programme.colony.genet
    )
    whole = scene.report(state, day).whole
    assert counted(whole) == {scene.programme.colony.genet.code: 8}
    assert whole.presumed == 1


# Days


def test_a_planting_counts_from_its_day_on(scene: Scene) -> None:
    scene.plant(scene.of_a, when="2021-06-01")
    scene.plant(scene.of_b, when="2021-07-01")
    days = {"2021-05-31": 0, "2021-06-01": 5, "2021-06-30": 5, "2021-07-01": 8}
    for state in (Stand.PLANTED, Stand.ALIVE):
        for day, n in days.items():
            assert scene.report(state, day).whole.ramets == n


def test_a_vague_planting_counts_once_its_whole_range_has_passed(scene: Scene) -> None:
    scene.plant(scene.of_a, when="2021-06")
    for day, n in {"2021-06-01": 0, "2021-06-29": 0, "2021-06-30": 5}.items():
        assert scene.report(Stand.PLANTED, day).whole.ramets == n
        assert scene.report(Stand.ALIVE, day).whole.ramets == n


def test_a_past_day_shows_what_was_alive_then(scene: Scene) -> None:
    scene.plant(scene.of_a)
    scene.see("dead", scene.of_a[:2], "2021-07-01")
    scene.see("alive", scene.of_a[:1], "2021-08-01")
    days = {"2021-06-30": 5, "2021-07-01": 3, "2021-07-31": 3, "2021-08-01": 4, "2021-12-31": 4}
    for day, n in days.items():
        assert scene.report(Stand.ALIVE, day).whole.ramets == n
    assert scene.report().whole.ramets == 4


def test_a_past_day_shows_what_had_been_seen_by_then(scene: Scene) -> None:
    scene.plant(scene.of_a)
    scene.see("alive", scene.of_a[:3], "2021-07-01")
    scene.see("dead", scene.of_a[:1], "2021-08-01")
    for day, n in {"2021-06-30": 0, "2021-07-01": 3, "2021-08-01": 2}.items():
        assert scene.report(Stand.SEEN, day).whole.ramets == n


def test_today_and_a_day_to_come_are_as_now(scene: Scene) -> None:
    scene.plant(scene.of_a)
    scene.see("dead", scene.of_a[:1])
    assert scene.report(Stand.ALIVE, "2199-01-01").groups == scene.report().groups


@pytest.mark.parametrize("first", ["dead", "alive"])
def test_the_look_that_decides_is_the_one_that_decides_the_ramets_life(
    scene: Scene, first: str
) -> None:
    """A look of "June" entered after one of 10 June follows it: neither is certainly the later."""
    second = "alive" if first == "dead" else "dead"
    scene.plant(scene.of_a, when="2021-05-01")
    scene.see(first, scene.of_a, "2021-06-10")
    scene.see(second, scene.of_a, "2021-06")
    for day in (None, "2021-12-31"):
        alive = scene.report(Stand.ALIVE, day)
        assert alive.whole.ramets == (5 if second == "alive" else 0)
        assert scene.report(Stand.SEEN, day).whole.ramets == alive.whole.ramets
        assert alive.look.seen_alive == alive.whole.ramets


@pytest.mark.parametrize("first", ["dead", "alive", "missing"])
def test_a_late_visit_entered_after_a_later_one_does_not_decide(scene: Scene, first: str) -> None:
    scene.plant(scene.of_a, when="2021-05-01")
    scene.see(first, scene.of_a[:3], "2021-08-01")
    scene.see("dead" if first == "alive" else "alive", scene.of_a, "2021-07-01")
    for day in (None, "2021-12-31"):
        seen = {"dead": 0, "alive": 0, "missing": 0, first: 3}
        seen["dead" if first == "alive" else "alive"] += 2
        look = scene.report(Stand.ALIVE, day).look
        assert (look.seen_dead, look.seen_alive, look.seen_missing) == tuple(seen.values())
        assert (look.oldest, look.newest) == (date(2021, 7, 1), date(2021, 8, 1))
        assert scene.report(Stand.SEEN, day).whole.ramets == seen["alive"]
    assert scene.report(Stand.ALIVE, "2021-07-15").look.oldest == date(2021, 7, 1)


@pytest.mark.parametrize("order", ["0123", "3210", "1302", "2031", "3012", "1230"])
def test_visits_stand_in_the_order_they_happened_in_however_they_were_entered(
    scene: Scene, order: str
) -> None:
    """The visit of month n sees all but the first n; each ramet's last look is its own."""
    scene.plant(scene.of_a, when="2021-05-01")
    conditions = ("alive", "dead", "missing", "alive")
    for n in map(int, order):
        scene.see(conditions[n], scene.of_a[n:], f"2021-{6 + n:02d}-01")
    look = scene.report().look
    assert (look.seen_alive, look.seen_dead, look.seen_missing, look.never) == (3, 1, 1, 0)
    assert (look.oldest, look.newest) == (date(2021, 6, 1), date(2021, 9, 1))


# The look


def test_the_look_says_what_stands_behind_alive(scene: Scene) -> None:
    scene.plant([*scene.of_a, *scene.of_b])
    scene.see("alive", scene.of_a[:3], "2021-07-01")
    scene.see("dead", scene.of_a[:1], "2021-08-01")
    scene.see("missing", scene.of_b[:1], "2021-08-02")
    assert scene.report().look == Look(
        planted=8,
        alive=6,
        seen_alive=2,
        seen_dead=1,
        seen_missing=1,
        never=4,
        oldest=date(2021, 7, 1),
        newest=date(2021, 8, 2),
    )


def test_the_look_of_a_past_day_knows_only_what_was_seen_by_then(scene: Scene) -> None:
    scene.plant(scene.of_a)
    scene.see("alive", scene.of_a[:3], "2021-07-01")
    scene.see("dead", scene.of_a[:3], "2021-08-01")
    day = date(2021, 7, 1)
    assert scene.report(Stand.ALIVE, "2021-07-15").look == Look(5, 5, 3, 0, 0, 2, day, day)


def test_looks_at_what_had_perhaps_not_been_planted_by_the_day_are_left_out(scene: Scene) -> None:
    scene.plant(scene.of_b, when="2021-06-01")
    scene.plant(scene.of_a, when="2021")
    scene.see("alive", [*scene.of_a, *scene.of_b[:1]], "2021-07-01")
    day = date(2021, 7, 1)
    assert scene.report(Stand.ALIVE, "2021-08-01").look == Look(3, 3, 1, 0, 0, 2, day, day)
    assert scene.report().look == Look(8, 8, 6, 0, 0, 2, day, day)


def test_a_site_that_was_never_looked_at_says_so(scene: Scene) -> None:
    assert scene.report().look == Look(0, 0, 0, 0, 0, 0, None, None)
    scene.plant(scene.of_a)
    assert scene.report().look == Look(5, 5, 0, 0, 0, 5, None, None)


# Plots and taxa


def test_every_plot_is_reported_the_empty_ones_too(scene: Scene) -> None:
    scene.plant(scene.of_a[:2])
    scene.plant([*scene.of_a[2:], *scene.of_b], scene.other_plot)
    empty = f.plot(scene.programme.lead, scene.programme.site)
    for day in (None, "2021-12-31"):
        report = scene.report(Stand.ALIVE, day)
        plots = {group.plot: group.ramets for group in report.groups}
        assert plots == {
            None: 8,
            scene.programme.plot.code: 2,
            scene.other_plot.code: 6,
            empty.code: 0,
        }
        assert counted(at(report, scene.other_plot.code)) == {
            scene.programme.colony.genet.code: 3,
            scene.other_colony.genet.code: 3,
        }


def test_several_taxa_are_reported_together_and_apart(scene: Scene) -> None:
    p = scene.programme
    kind = f.taxon(p.lead)
    third = f.colony(p.lead, kind, p.reef)
    others = f.cut(p.lead, f.mothers(p.lead, third, p.tray), 4)
    scene.plant([*scene.of_a, *others])
    groups = {(group.plot, group.taxon): group.ramets for group in scene.report().groups}
    assert groups == {
        (None, None): 9,
        (None, p.taxon.name): 5,
        (None, kind.name): 4,
        (p.plot.code, None): 9,
        (p.plot.code, p.taxon.name): 5,
        (p.plot.code, kind.name): 4,
        (scene.other_plot.code, None): 0,
    }
    only = scene.report(taxon=kind)
    assert (only.whole.ramets, only.taxon, only.look.planted) == (4, kind.name, 4)


# What is undefined

INDICES = [field.name for field in fields(Indices)]


def test_an_empty_site_has_no_diversity_and_says_why(scene: Scene) -> None:
    indices = scene.report().whole.indices
    assert (indices.ramets, indices.genets) == (0, 0)
    values = [value for name in INDICES if isinstance(value := getattr(indices, name), Value)]
    assert {value.value for value in values} == {None}
    assert all(value.reason for value in values)
    assert len(values) == 15


def test_a_single_ramet_has_no_richness_and_says_why(scene: Scene) -> None:
    scene.plant(scene.of_a[:1])
    indices = scene.report().whole.indices
    assert indices.clonal_richness.value is None
    assert indices.clonal_richness.reason
    assert indices.largest_share.value == 1


# Cost and permission


@pytest.mark.parametrize(
    ("state", "day", "queries"),
    [
        (Stand.PLANTED, None, 12),
        (Stand.ALIVE, None, 10),
        (Stand.SEEN, None, 14),
        (Stand.PLANTED, "2021-12-31", 13),
        (Stand.ALIVE, "2021-12-31", 11),
        (Stand.SEEN, "2021-12-31", 15),
    ],
)
def test_a_report_costs_the_same_for_few_ramets_and_for_many(
    scene: Scene,
    state: Stand,
    day: str | None,
    queries: int,
    django_assert_num_queries: DjangoAssertNumQueries,
) -> None:
    p = scene.programme
    scene.plant([*scene.of_a[:2], *scene.of_b[:1]])
    scene.see("alive", scene.of_a[:1])
    with django_assert_num_queries(queries):
        scene.report(state, day)
    for _ in range(3):
        colony = f.colony(p.lead, p.taxon, p.reef)
        children = f.cut(p.lead, f.mothers(p.lead, colony, p.tray), 20)
        plot = f.plot(p.lead, p.site)
        scene.plant(children, plot)
        scene.see("alive", children[:10])
    with django_assert_num_queries(queries):
        scene.report(state, day)


def test_viewers_ask_and_nobody_else_without_a_role(scene: Scene) -> None:
    assert diversity(f.viewer(), scene.programme.site).whole.ramets == 0
    nobody = f.actor()
    with refused("no_role", by=NotAllowed):
        diversity(nobody, scene.programme.site)
