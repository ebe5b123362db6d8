"""The judgement of a manifest by itself: plain values in, answers out."""

from __future__ import annotations

from collections import Counter
from datetime import date
from math import exp, log
from typing import Any

import pytest
import skbio.diversity.alpha as reference

from nursery.diversity.audit.case import (
    AT_HAND,
    GENET_KNOWN,
    NOT_RECORDED,
    NOTHING_TO_COUNT,
    UNCERTAIN,
    Answer,
    Case,
    Donor,
    Limit,
    Plug,
    Standing,
    Verdict,
    no_worse,
    verdict_of,
)
from nursery.diversity.audit.judge import judge
from nursery.outplanting.rules import Rule

DAY = date(2021, 6, 1)


def plugs(counts: dict[int, int], plot: str = "P1", **values: Any) -> list[Plug]:
    """So many plugs of each genet, of taxon 1."""
    return [
        Plug(f"{plot}-{genet}-{n}", 1, genet, plot, **values)
        for genet, count in counts.items()
        for n in range(count)
    ]


def ask(rule: Rule, limit: float | None, found: list[Plug], **values: Any) -> Answer:
    """The answer to one rule of taxon 1."""
    case = Case((DAY, DAY), found, limits={(rule, 1): Limit(limit)}, **values)
    (answer,) = [each for each in judge(case) if each.rule == rule.word]
    return answer


def stands(counts: dict[int, int], plot: str = "P1", taxon: int = 1) -> list[Standing]:
    return [Standing(plot, taxon, genet, None, n) for genet, n in counts.items()]


@pytest.mark.parametrize(
    ("limit", "standing", "verdict"),
    [
        (3, {}, Verdict.HOLDS),
        (4, {}, Verdict.FAILS),
        (4, {9: 1}, Verdict.WARNS),
        (4, {1: 5}, Verdict.FAILS),
        (3, {1: 5}, Verdict.HOLDS),
    ],
)
def test_genets_of_the_site_as_it_would_stand_decide(
    limit: int, standing: dict[int, int], verdict: Verdict
) -> None:
    found = plugs({1: 2, 2: 1, 3: 1})
    answer = ask(Rule.GENETS_OF_SITE, limit, found, standing=stands(standing))
    assert answer.verdict is verdict
    assert (answer.alone, answer.after) == (3, len({1, 2, 3} | standing.keys()))


def test_the_plot_with_the_fewest_genets_is_named() -> None:
    found = plugs({1: 1, 2: 1}) + plugs({1: 4}, "P2") + plugs({1: 1, 3: 1}, "P3")
    answer = ask(Rule.GENETS_OF_PLOT, 2, found)
    assert (answer.verdict, answer.where, answer.alone, answer.after) == (
        Verdict.FAILS,
        "P2",
        1,
        1,
    )
    helped = ask(Rule.GENETS_OF_PLOT, 2, found, standing=stands({8: 1}, "P2"))
    assert (helped.verdict, helped.alone, helped.after) == (Verdict.WARNS, 1, 2)


def test_a_plot_in_which_nothing_is_planted_is_no_matter() -> None:
    answer = ask(Rule.GENETS_OF_PLOT, 2, plugs({1: 1, 2: 1}), standing=stands({1: 1}, "P9"))
    assert answer.verdict is Verdict.HOLDS


def test_the_largest_share_names_the_plugs_of_its_genet() -> None:
    answer = ask(Rule.LARGEST_SHARE, 50, plugs({1: 3, 2: 2}))
    assert (answer.verdict, answer.alone, answer.after) == (Verdict.FAILS, 60, 60)
    assert answer.tags == ("P1-1-0", "P1-1-1", "P1-1-2")
    evened = ask(Rule.LARGEST_SHARE, 50, plugs({1: 3, 2: 2}), standing=stands({2: 1}))
    assert (evened.verdict, evened.after) == (Verdict.WARNS, 50)


def test_effective_genets_are_those_of_a_reference_library() -> None:
    # Checked against scikit-bio's Hill number of order 1 and exp(H) by hand.
    counts = {1: 6, 2: 3, 3: 1}
    answer = ask(Rule.EFFECTIVE_GENETS, 2.5, plugs(counts))
    shannon = -sum(n / 10 * log(n / 10) for n in counts.values())
    assert answer.after == pytest.approx(exp(shannon))
    assert answer.after == pytest.approx(reference.hill(list(counts.values()), order=1))
    assert answer.verdict is Verdict.FAILS
    assert ask(Rule.EFFECTIVE_GENETS, 2.4, plugs(counts)).verdict is Verdict.HOLDS


def test_no_genet_is_nothing_to_count_and_no_failure_of_evenness() -> None:
    found = [Plug("A", 1, None, "P1")]
    answer = ask(Rule.EFFECTIVE_GENETS, 2, found)
    assert (answer.verdict, answer.reason, answer.after) == (
        Verdict.WARNS,
        NOTHING_TO_COUNT,
        None,
    )
    assert ask(Rule.GENETS_OF_SITE, 1, found).verdict is Verdict.FAILS


def test_each_taxon_is_judged_by_itself() -> None:
    case = Case(
        (DAY, DAY),
        [*plugs({1: 1, 2: 1}), Plug("B", 2, 7, "P1")],
        standing=stands({8: 1}, taxon=2),
        limits={(Rule.GENETS_OF_SITE, 1): Limit(2), (Rule.GENETS_OF_SITE, 2): Limit(3)},
    )
    answers = [each for each in judge(case) if each.rule == "genets_of_site"]
    assert [(each.taxon, each.after, each.verdict) for each in answers] == [
        (1, 2, Verdict.HOLDS),
        (2, 2, Verdict.FAILS),
    ]


def test_donor_reefs_are_those_of_all_donors_that_would_stand() -> None:
    donors = {
        1: (Donor("C1", "R1", None, 0, None), Donor("C2", "R2", None, 0, None)),
        2: (Donor("C3", "R3", None, 0, None), Donor("C4", None, None, 0, None)),
    }
    found = plugs({1: 2}, donors=1)
    alone = ask(Rule.DONOR_REEFS, 3, found, donors=donors)
    assert (alone.verdict, alone.alone, alone.after) == (Verdict.FAILS, 2, 2)
    standing = [Standing("P1", 1, 4, 2, 1)]
    helped = ask(Rule.DONOR_REEFS, 3, found, donors=donors, standing=standing)
    assert (helped.verdict, helped.after) == (Verdict.WARNS, 3)


@pytest.mark.parametrize(
    ("km", "uncertain", "verdict", "reason"),
    [
        (10.0, 0.0, Verdict.HOLDS, ""),
        (10.1, 0.0, Verdict.FAILS, ""),
        (10.1, 0.2, Verdict.WARNS, UNCERTAIN),
        (9.9, 0.2, Verdict.WARNS, UNCERTAIN),
        (9.7, 0.2, Verdict.HOLDS, ""),
        (None, 0.0, Verdict.WARNS, NOT_RECORDED),
    ],
)
def test_a_distance_fails_only_beyond_the_uncertainty_of_its_position(
    km: float | None, uncertain: float, verdict: Verdict, reason: str
) -> None:
    donors = {1: (Donor("C1", "R1", km, uncertain, None),)}
    answer = ask(Rule.DONOR_DISTANCE, 10, plugs({1: 1}, donors=1), donors=donors)
    assert (answer.verdict, answer.reason) == (verdict, reason)


def test_one_donor_too_far_fails_though_another_is_not_recorded() -> None:
    donors = {1: (Donor("C1", "R1", None, 0, None), Donor("C2", "R2", 99.0, 0, None))}
    answer = ask(Rule.DONOR_DISTANCE, 10, plugs({1: 1}, donors=1), donors=donors)
    assert (answer.verdict, answer.alone, answer.tags) == (Verdict.FAILS, 99.0, ("P1-1-0",))


def test_the_depth_is_compared_with_that_of_the_plot() -> None:
    donors = {1: (Donor("C1", "R1", None, 0, 4.0),)}
    found = plugs({1: 1}, donors=1) + plugs({1: 1}, "P2", donors=1) + plugs({2: 1}, "P3", donors=1)
    depths = {"P1": 6.0, "P2": 12.0, "P3": None}
    answer = ask(Rule.DEPTH_DIFFERENCE, 5, found, donors=donors, depths=depths)
    assert (answer.verdict, answer.alone, answer.tags) == (Verdict.FAILS, 8.0, ("P2-1-0",))
    assert answer.unknown == 1


@pytest.mark.parametrize(("allowed", "verdict"), [(1, Verdict.HOLDS), (0, Verdict.FAILS)])
def test_presumed_genets_are_allowed_or_not(allowed: int, verdict: Verdict) -> None:
    found = plugs({1: 1, 2: 2})
    answer = ask(Rule.PRESUMED_GENETS, allowed, found, presumed=frozenset({2}))
    assert answer.verdict is verdict
    assert (answer.alone, answer.at_fault) == (1, 2 if verdict is Verdict.FAILS else 0)


@pytest.mark.parametrize(
    ("rule", "limit", "verdict"),
    [
        (Rule.LEAST_AGE, 60, Verdict.HOLDS),
        (Rule.LEAST_AGE, 61, Verdict.WARNS),
        (Rule.LEAST_AGE, 70, Verdict.WARNS),
        (Rule.LEAST_AGE, 71, Verdict.FAILS),
        (Rule.GREATEST_AGE, 70, Verdict.HOLDS),
        (Rule.GREATEST_AGE, 69, Verdict.WARNS),
        (Rule.GREATEST_AGE, 59, Verdict.FAILS),
    ],
)
def test_an_age_fails_only_if_it_does_on_every_reading(
    rule: Rule, limit: int, verdict: Verdict
) -> None:
    # Cut on some day of eleven, 60 to 70 days before.
    born = (date(2021, 3, 23), date(2021, 4, 2))
    assert ask(rule, limit, plugs({1: 1}, born=born)).verdict is verdict


def test_sizes_and_looks_that_are_not_recorded_are_warnings() -> None:
    found = [
        Plug("A", 1, 1, "P1", size_cm=2.0, looked=(DAY, DAY)),
        Plug("B", 1, 1, "P1"),
    ]
    for rule, limit in ((Rule.LEAST_SIZE, 1.5), (Rule.INSPECTED_WITHIN, 2)):
        answer = ask(rule, limit, found)
        assert (answer.verdict, answer.reason, answer.unknown, answer.tags) == (
            Verdict.WARNS,
            NOT_RECORDED,
            1,
            ("B",),
        )
    small = ask(Rule.LEAST_SIZE, 2.5, found)
    assert (small.verdict, small.alone, small.tags) == (Verdict.FAILS, 2.0, ("A",))


def test_a_look_too_long_ago_fails() -> None:
    looked = (date(2021, 5, 20), date(2021, 5, 20))
    assert ask(Rule.INSPECTED_WITHIN, 12, plugs({1: 1}, looked=looked)).verdict is Verdict.HOLDS
    assert ask(Rule.INSPECTED_WITHIN, 11, plugs({1: 1}, looked=looked)).verdict is Verdict.FAILS


@pytest.mark.parametrize("rule", [Rule.QUARANTINE, Rule.KEPT_APART])
def test_what_is_not_kept_yet_is_a_warning(rule: Rule) -> None:
    answer = ask(rule, 30, plugs({1: 1}))
    assert (answer.verdict, answer.reason) == (Verdict.WARNS, NOT_RECORDED)


def test_permits_fail_by_what_is_wrong_with_them() -> None:
    faults = {1: ("permit_lapsed",)}
    answer = ask(Rule.PERMIT_COVERS, 1, plugs({1: 1}), permits=faults)
    assert (answer.verdict, answer.notes) == (Verdict.FAILS, ("permit_lapsed",))
    assert ask(Rule.PERMIT_COVERS, 0, plugs({1: 1}), permits=faults).verdict is Verdict.HOLDS
    assert ask(Rule.PERMIT_COVERS, 1, plugs({1: 1})).verdict is Verdict.HOLDS


def test_what_is_planted_already_is_counted_once_and_asked_no_more() -> None:
    old = (date(2021, 5, 31), date(2021, 5, 31))
    found = plugs({1: 2}, planted=True, born=old) + plugs({2: 1})
    answer = ask(Rule.GENETS_OF_SITE, 2, found, standing=stands({1: 2}))
    assert (answer.alone, answer.after) == (2, 2)
    share = ask(Rule.LARGEST_SHARE, 70, found, standing=stands({1: 2}))
    assert share.after == pytest.approx(200 / 3)
    assert ask(Rule.LEAST_AGE, 60, found).at_fault == 0


def test_what_is_gone_and_what_has_no_genet_warns_whatever_the_policy() -> None:
    case = Case((DAY, DAY), [Plug("A", 1, None, "P1")], gone=["Z"])
    answers = {each.rule: each for each in judge(case)}
    assert (answers[AT_HAND].verdict, answers[AT_HAND].tags) == (Verdict.WARNS, ("Z",))
    assert (answers[GENET_KNOWN].verdict, answers[GENET_KNOWN].tags) == (Verdict.WARNS, ("A",))
    assert verdict_of(answers.values()) is Verdict.WARNS


def test_an_empty_manifest_is_not_judged() -> None:
    with pytest.raises(ValueError, match="empty"):
        judge(Case((DAY, DAY), []))


def test_what_is_no_worse() -> None:
    few = ask(Rule.GENETS_OF_SITE, 5, plugs({1: 1, 2: 1, 3: 1}))
    fewer = ask(Rule.GENETS_OF_SITE, 5, plugs({1: 1, 2: 1}))
    assert no_worse(few, fewer)
    assert not no_worse(fewer, few)
    large, larger = (ask(Rule.LARGEST_SHARE, 10, plugs(n)) for n in ({1: 6, 2: 4}, {1: 7, 2: 3}))
    assert no_worse(large, larger)
    assert not no_worse(larger, large)
    old = (date(2021, 5, 31), date(2021, 5, 31))
    one, two = (ask(Rule.LEAST_AGE, 60, plugs({1: n}, born=old)) for n in (1, 2))
    assert no_worse(one, two)
    assert not no_worse(two, one)
    assert not no_worse(few, large)
    assert not no_worse(few, ask(Rule.GENETS_OF_SITE, 6, plugs({1: 1, 2: 1, 3: 1})))


def test_the_order_of_plugs_changes_no_answer() -> None:
    found = plugs({1: 3, 2: 3, 3: 1})
    rules = (Rule.LARGEST_SHARE, Rule.EFFECTIVE_GENETS, Rule.GENETS_OF_PLOT)
    for rule in rules:
        one, other = ask(rule, 2, found), ask(rule, 2, found[::-1])
        assert (one.after, one.where, Counter(one.tags)) == (
            other.after,
            other.where,
            Counter(other.tags),
        )
