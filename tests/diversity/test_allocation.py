"""Proposed numbers against water-filling and against trying every way."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Set
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nursery.diversity.allocation.asked import Asked, Kind, Limits, Lot, Plot, Rule, Site
from nursery.diversity.allocation.evenness import spread
from nursery.diversity.allocation.field import laid_out
from nursery.diversity.allocation.plan import Plan, allocate
from nursery.diversity.indices import hill

# --- every way, tried one by one -----------------------------------------------------------------


def _ways(total: int, places: int) -> Iterator[tuple[int, ...]]:
    """All ways to put at most `total` plugs on places."""
    for way in itertools.product(range(total + 1), repeat=places):
        if sum(way) <= total:
            yield way


def _every(asked: Asked) -> Iterator[dict[tuple[str, str], int]]:
    """All plans that meet what the plots need: (plot, genet) to plugs."""
    plots = [plot for site in asked.sites for plot in site.plots]
    supply: dict[str, int] = {}
    for lot in asked.lots:
        supply[lot.genet] = supply.get(lot.genet, 0) + lot.plugs
    genets = sorted(supply)
    for ways in itertools.product(*(_ways(supply[genet], len(plots)) for genet in genets)):
        if all(sum(way[at] for way in ways) == plot.plugs for at, plot in enumerate(plots)):
            yield {
                (plot.key, genet): way[at]
                for genet, way in zip(genets, ways, strict=True)
                for at, plot in enumerate(plots)
                if way[at]
            }


def _counts(standing: Mapping[str, int], *more: Mapping[str, int]) -> dict[str, int]:
    found = dict(standing)
    for part in more:
        for genet, n in part.items():
            found[genet] = found.get(genet, 0) + n
    return {genet: n for genet, n in found.items() if n}


def _of_plot(plan: Mapping[tuple[str, str], int], plot: str) -> dict[str, int]:
    return {genet: n for (key, genet), n in plan.items() if key == plot}


def _uneven(asked: Asked, plan: Mapping[tuple[str, str], int]) -> Fraction:
    total = Fraction(0)
    for site in asked.sites:
        counts = _counts(site.standing, *(_of_plot(plan, plot.key) for plot in site.plots))
        n = sum(counts.values())
        total += sum((Fraction(x * x, n * n) for x in counts.values()), Fraction(0))
    return total


def _violation(asked: Asked, plan: Mapping[tuple[str, str], int]) -> dict[Rule, int]:
    """By how much each rule has to give way for this plan: plugs above a share, genets, reefs."""
    found = {}
    for site in asked.sites:
        parts = {plot.key: _of_plot(plan, plot.key) for plot in site.plots}
        places = [(None, site.standing, _counts({}, *parts.values()), site.limits)]
        places += [(plot.key, plot.standing, parts[plot.key], plot.limits) for plot in site.plots]
        for key, standing, planted, limits in places:
            counts = _counts(standing, planted)
            n = sum(counts.values())
            if limits.largest_share is not None:
                most = math.floor(limits.largest_share * n + 1e-9)
                found[Rule(Kind.LARGEST_SHARE, site.key, key)] = max(
                    [x - max(0, most - standing.get(genet, 0)) for genet, x in planted.items()]
                    + [0]
                )
            found[Rule(Kind.FEWEST_GENETS, site.key, key)] = max(
                0, limits.fewest_genets - len(counts)
            )
            reefs = {reef for genet in counts for reef in asked.reefs.get(genet, ())}
            found[Rule(Kind.FEWEST_REEFS, site.key, key)] = max(0, limits.fewest_reefs - len(reefs))
    return found


def _numbers(plan: Plan) -> dict[tuple[str, str], int]:
    return {(one.plot, genet): n for one in plan.plots for genet, n in one.by_genet().items()}


limits = st.builds(
    Limits,
    largest_share=st.sampled_from([None, None, 0.3, 0.5, 0.7]),
    fewest_genets=st.integers(0, 3),
    fewest_reefs=st.integers(0, 2),
)


@st.composite
def small(draw: st.DrawFn) -> Asked:
    """Up to three genets and plots, with enough plugs of them."""
    genets = ["a", "b", "c"][: draw(st.integers(1, 3))]
    lots = [
        Lot(genet, plate, plugs)
        for genet in genets
        for plate in ("x", "y")
        if (plugs := draw(st.integers(0, 2)))
    ]
    left = sum(lot.plugs for lot in lots)
    sites = []
    for name, count in (("S", draw(st.integers(1, 2))), ("T", draw(st.integers(0, 1)))):
        plots = []
        for at in range(count):
            plugs = draw(st.integers(0, min(3, left)))
            left -= plugs
            standing = draw(st.dictionaries(st.sampled_from("abd"), st.integers(0, 3)))
            plots.append(Plot(f"{name}{at}", plugs, standing, draw(limits)))
        elsewhere = draw(st.dictionaries(st.sampled_from("acd"), st.integers(0, 3)))
        whole = _counts(elsewhere, *(plot.standing for plot in plots))
        sites.append(Site(name, [plot for plot in plots if plot.plugs], whole, draw(limits)))
    reefs = draw(
        st.dictionaries(
            st.sampled_from("abcd"), st.frozensets(st.sampled_from(["n", "o"]), max_size=2)
        )
    )
    return Asked(lots, [site for site in sites if site.plots], reefs)


@settings(max_examples=150, deadline=None)
@given(small())
def test_a_plan_is_the_most_even_of_all_that_keep_the_rules_or_breaks_them_least(
    asked: Asked,
) -> None:
    plan = allocate(asked)
    ours = _numbers(plan)
    everything = [(_violation(asked, way), way) for way in _every(asked)]
    least = min((sum(broken.values()) for broken, _ in everything), default=0)
    assert ours in [way for _, way in everything] or not asked.sites
    assert sum(_violation(asked, ours).values()) == least
    assert plan.unevenness == pytest.approx(float(_uneven(asked, ours)), abs=1e-12)
    if least == 0:
        best = min(
            (_uneven(asked, way) for broken, way in everything if not any(broken.values())),
            default=Fraction(0),
        )
        assert plan.unevenness == pytest.approx(float(best), abs=1e-12)
        assert plan.gap == pytest.approx(0.0, abs=1e-9)
        assert plan.clashes == ()
        return
    # Rules that clash cannot be kept together; without any one of them the others can.
    assert plan.clashes

    def kept(rules: Set[Rule]) -> bool:
        return any(not any(broken[rule] for rule in rules) for broken, _ in everything)

    for rules in plan.clashes:
        assert not kept(rules)
        assert all(kept(rules - {rule}) for rule in rules)


# --- one site ------------------------------------------------------------------------------------


def _filled(supply: list[int], standing: list[int], need: int) -> list[int]:
    """Water-filling: one plug after another to the genet that has fewest."""
    planted = [0] * len(supply)
    for _ in range(need):
        able = [at for at, plugs in enumerate(supply) if planted[at] < plugs]
        lowest = min(able, key=lambda at: standing[at] + planted[at])
        planted[lowest] += 1
    return planted


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 40), st.integers(0, 60)), min_size=1, max_size=40),
    st.floats(0, 1),
)
def test_one_site_is_filled_like_water(genets: list[tuple[int, int]], part: float) -> None:
    supply, standing = [a for a, _ in genets], [b for _, b in genets]
    need = round(part * sum(supply))
    field = laid_out(
        np.array(supply),
        np.array(standing)[:, None],
        np.array([need]),
        [Limits()],
        np.zeros((len(supply), 0), bool),
    )
    found = spread(field, 10)
    assert found is not None
    ours = sorted(np.array(standing) + found.plugs[:, 0])
    water = sorted(np.array(standing) + np.array(_filled(supply, standing, need)))
    assert ours == water
    assert found.gap <= 1e-9
    if sum(water):
        assert 1 / found.cost == pytest.approx(hill(ours, 2).value)


def test_what_stands_already_counts() -> None:
    asked = Asked(
        [Lot("a", "x", 10), Lot("b", "x", 10)],
        [Site("S", [Plot("S1", 6)], {"a": 4})],
    )
    plan = allocate(asked)
    assert _numbers(plan) == {("S1", "a"): 1, ("S1", "b"): 5}
    assert plan.unevenness == pytest.approx(0.5)


def test_a_rare_genet_goes_where_it_evens_most() -> None:
    # One plug of b: at S it makes 4 + 1 of 5, at T 9 + 1 of 10.
    asked = Asked(
        [Lot("a", "x", 50), Lot("b", "x", 1)],
        [Site("S", [Plot("S1", 5)]), Site("T", [Plot("T1", 10)])],
    )
    assert _numbers(allocate(asked)) == {("S1", "a"): 4, ("S1", "b"): 1, ("T1", "a"): 10}


# --- what cannot be ------------------------------------------------------------------------------


def test_what_is_missing_is_shared_out_by_need() -> None:
    asked = Asked(
        [Lot("a", "x", 20), Lot("b", "y", 10)],
        [Site("S", [Plot("S1", 40), Plot("S2", 10)]), Site("T", [Plot("T1", 10)])],
    )
    plan = allocate(asked)
    assert [one.total for one in plan.plots] == [20, 5, 5]
    assert plan.short == 30
    assert [(b.rule.plot, b.asked, b.reached) for b in plan.breaches] == [
        ("S1", 40, 20),
        ("S2", 10, 5),
        ("T1", 10, 5),
    ]
    assert plan.clashes == ()


def test_two_genets_cannot_each_hold_less_than_half() -> None:
    asked = Asked(
        [Lot("a", "x", 20), Lot("b", "x", 20)],
        [Site("S", [Plot("S1", 10)], limits=Limits(largest_share=0.4))],
    )
    plan = allocate(asked)
    rule = Rule(Kind.LARGEST_SHARE, "S")
    assert plan.clashes == (frozenset({rule}),)
    assert [(b.rule, b.asked, b.reached) for b in plan.breaches] == [(rule, 0.4, 0.5)]


def test_rules_that_cannot_be_kept_for_reasons_of_their_own_are_all_named() -> None:
    limits = Limits(largest_share=0.4, fewest_genets=5)
    asked = Asked(
        [Lot("a", "x", 20), Lot("b", "x", 20)],
        [Site("S", [Plot("S1", 10)], limits=limits), Site("T", [Plot("T1", 10)])],
    )
    assert set(allocate(asked).clashes) == {
        frozenset({Rule(kind, "S")}) for kind in (Kind.LARGEST_SHARE, Kind.FEWEST_GENETS)
    }


def test_sites_that_want_the_same_rare_genets_clash() -> None:
    # Three genets, two of them with a single plug: not both sites can have three.
    asked = Asked(
        [Lot("a", "x", 20), Lot("b", "x", 1), Lot("c", "x", 1)],
        [
            Site("S", [Plot("S1", 4)], limits=Limits(fewest_genets=3)),
            Site("T", [Plot("T1", 4)], limits=Limits(fewest_genets=2)),
            Site("U", [Plot("U1", 4)], limits=Limits(fewest_genets=1)),
        ],
    )
    plan = allocate(asked)
    both = {Rule(Kind.FEWEST_GENETS, "S"), Rule(Kind.FEWEST_GENETS, "T")}
    assert plan.clashes == (both,)
    assert len(plan.breaches) == 1
    assert plan.breaches[0].asked - plan.breaches[0].reached == 1


def test_a_share_that_is_too_large_already_is_told_though_nothing_clashes() -> None:
    asked = Asked(
        [Lot("b", "x", 5), Lot("c", "x", 5)],
        [Site("S", [Plot("S1", 4)], {"a": 16}, Limits(largest_share=0.5))],
    )
    plan = allocate(asked)
    assert [(b.rule.kind, b.reached) for b in plan.breaches] == [(Kind.LARGEST_SHARE, 0.8)]
    assert plan.clashes == ()


def test_the_rules_of_plots_reach_through_to_the_numbers_of_their_site() -> None:
    # b stands in S2 up to its share there, so that S1 alone can take it.
    asked = Asked(
        [Lot("a", "x", 10), Lot("b", "x", 10)],
        [
            Site(
                "S",
                [
                    Plot("S1", 2, {}, Limits(largest_share=0.5)),
                    Plot("S2", 8, {"b": 2}, Limits(largest_share=0.8)),
                ],
                {"b": 2},
            )
        ],
    )
    plan = allocate(asked)
    assert plan.breaches == ()
    assert _numbers(plan)["S1", "a"] == 1


def test_numbers_that_make_no_sense_are_refused() -> None:
    lot, plot = Lot("a", "x", 3), Plot("S1", 2, {"a": 2})
    with pytest.raises(ValueError, match="twice"):
        Asked([lot, lot], [])
    with pytest.raises(ValueError, match="negative"):
        Asked([Lot("a", "x", -1)], [])
    with pytest.raises(ValueError, match="more than its site"):
        Asked([lot], [Site("S", [plot], {"a": 1})])
    with pytest.raises(ValueError, match="share"):
        Limits(largest_share=0.0)
    with pytest.raises(ValueError, match="tolerance"):
        allocate(Asked([lot], []), tolerance=-0.1)


def test_nothing_asked_is_nothing_planned() -> None:
    plan = allocate(Asked([Lot("a", "x", 3)], [Site("S", [Plot("S1", 0)])]))
    assert (plan.plots, plan.unevenness, plan.plates) == ((), 0.0, ())
