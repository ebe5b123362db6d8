"""Whether a manifest, and the site as it would stand after it, hold to a policy.

Plain values in, answers out. Every rule is judged for each taxon by itself. Of the rules about
genets and reefs the site as it would stand decides; what holds there but not for the manifest alone
is a warning. The rules about single plugs are asked of those still to be planted. What is not
recorded, or could be on either side of a limit, is a warning and never a failure.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from nursery.diversity import indices
from nursery.diversity.audit.case import (
    AT_HAND,
    GENET_KNOWN,
    MOST_TAGS,
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
)
from nursery.outplanting.rules import Rule


def judge(case: Case) -> list[Answer]:
    """The answers, in the order of the rules and then of the taxa. ValueError without a plug."""
    if not case.plugs and not case.gone:
        raise ValueError("An empty manifest is not judged.")
    answers = list(_always(case))
    taxa = sorted({plug.taxon for plug in case.plugs})
    for rule in Rule:
        for taxon in taxa:
            limit = case.limits.get((rule, taxon))
            way = _WAYS.get(rule)
            if limit is not None and way is not None:
                answers.append(way(_Part.of(case, taxon), rule, limit))
    return answers


OF_SITES = (
    Rule.GENETS_OF_SITE,
    Rule.GENETS_OF_PLOT,
    Rule.LARGEST_SHARE,
    Rule.EFFECTIVE_GENETS,
    Rule.DONOR_REEFS,
)
"""The rules that are asked of a site as it stands too."""


def failing_site(case: Case) -> list[Answer]:
    """The rules that a site fails as it stands, without a manifest."""
    found = []
    for rule in OF_SITES:
        for taxon in sorted({row.taxon for row in case.standing}):
            limit = case.limits.get((rule, taxon))
            if limit is not None:
                found.append(_WAYS[rule](_Part.of(case, taxon), rule, limit))
    return [answer for answer in found if answer.verdict is Verdict.FAILS]


def _always(case: Case) -> Iterator[Answer]:
    found = len(case.gone)
    yield Answer(
        AT_HAND,
        Verdict.WARNS if found else Verdict.HOLDS,
        at_fault=found,
        tags=tuple(case.gone[:MOST_TAGS]),
    )
    without = [plug.ramet for plug in case.plugs if plug.genet is None]
    yield Answer(
        GENET_KNOWN,
        Verdict.WARNS if without else Verdict.HOLDS,
        unknown=len(without),
        tags=tuple(without[:MOST_TAGS]),
    )


@dataclass(frozen=True, slots=True)
class _Part:
    """What there is of one taxon: all plugs, those still to plant, and what stands already."""

    case: Case
    taxon: int
    plugs: tuple[Plug, ...]
    standing: tuple[Standing, ...]

    @classmethod
    def of(cls, case: Case, taxon: int) -> _Part:
        return cls(
            case,
            taxon,
            tuple(plug for plug in case.plugs if plug.taxon == taxon),
            tuple(row for row in case.standing if row.taxon == taxon),
        )

    @property
    def left(self) -> list[Plug]:
        return [plug for plug in self.plugs if not plug.planted]

    def alone(self) -> Counter[tuple[str, int]]:
        """Ramets of the manifest by plot and genet."""
        return Counter((p.plot, p.genet) for p in self.plugs if p.genet is not None)

    def after(self) -> Counter[tuple[str, int]]:
        """Ramets of the site as it would stand, by plot and genet."""
        found = Counter((p.plot, p.genet) for p in self.left if p.genet is not None)
        for row in self.standing:
            if row.genet is not None:
                found[row.plot, row.genet] += row.ramets
        return found


def _by_genet(counts: Counter[tuple[str, int]]) -> Counter[int]:
    found: Counter[int] = Counter()
    for (_, genet), n in counts.items():
        found[genet] += n
    return found


def _decided(
    part: _Part,
    rule: Rule,
    limit: Limit,
    alone: float | None,
    after: float | None,
    *,
    most: bool = False,
    where: str = "",
    tags: Sequence[str] = (),
) -> Answer:
    """A rule that the site as it would stand decides; the manifest alone may warn."""
    bound = limit.number or 0.0

    def breaks(figure: float) -> bool:
        return figure > bound if most else figure < bound

    if alone is None or after is None:
        verdict, reason = Verdict.WARNS, NOTHING_TO_COUNT
    elif breaks(after):
        verdict, reason = Verdict.FAILS, ""
    else:
        verdict, reason = (Verdict.WARNS if breaks(alone) else Verdict.HOLDS), ""
    return Answer(
        rule.word,
        verdict,
        part.taxon,
        limit.number,
        alone,
        after,
        where,
        reason,
        tags=tuple(tags[:MOST_TAGS]) if verdict is not Verdict.HOLDS else (),
        at_fault=len(tags) if verdict is not Verdict.HOLDS else 0,
    )


def _genets_of_site(part: _Part, rule: Rule, limit: Limit) -> Answer:
    alone, after = _by_genet(part.alone()), _by_genet(part.after())
    return _decided(part, rule, limit, len(alone), len(after))


def _genets_of_plot(part: _Part, rule: Rule, limit: Limit) -> Answer:
    """The plot with the fewest genets, of those that the manifest plants in (without one, of all
    where the taxon stands)."""
    plots = sorted({each.plot for each in part.plugs or part.standing})
    alone, after = _genets_by_plot(part.alone()), _genets_by_plot(part.after())
    worst = min(plots, key=lambda plot: (after[plot], plot))
    fewest = min(alone[plot] for plot in plots)
    return _decided(part, rule, limit, fewest, after[worst], where=worst)


def _genets_by_plot(counts: Counter[tuple[str, int]]) -> Counter[str]:
    return Counter(plot for plot, _ in counts)


def _largest_share(part: _Part, rule: Rule, limit: Limit) -> Answer:
    alone, after = _by_genet(part.alone()), _by_genet(part.after())
    # The first of equals by its number, so that the same case has the same answer.
    top = min(after, key=lambda pk: (-after[pk], pk), default=None)
    tags = [plug.ramet for plug in part.left if plug.genet == top and top is not None]
    figures = [indices.largest_share(counts.values()).value for counts in (alone, after)]
    here, there = [None if share is None else 100 * share for share in figures]
    return _decided(part, rule, limit, here, there, most=True, tags=tags)


def _effective_genets(part: _Part, rule: Rule, limit: Limit) -> Answer:
    alone, after = (
        indices.hill(_by_genet(counts).values(), 1).value for counts in (part.alone(), part.after())
    )
    return _decided(part, rule, limit, alone, after)


def _donor_reefs(part: _Part, rule: Rule, limit: Limit) -> Answer:
    alone = _reefs(part, (plug.donors for plug in part.plugs))
    after = _reefs(part, (plug.donors for plug in part.left))
    after |= _reefs(part, (row.donors for row in part.standing))
    return _decided(part, rule, limit, len(alone), len(after))


def _reefs(part: _Part, sets: Iterable[int | None]) -> set[str]:
    found = {key for key in sets if key is not None}
    donors = (donor for key in found for donor in part.case.donors.get(key, ()))
    return {donor.reef for donor in donors if donor.reef is not None}


Span = tuple[float, float]
"""The least and the greatest that a figure can be."""


def _each(
    part: _Part,
    rule: Rule,
    limit: Limit,
    span: Callable[[Plug], Span | None],
    *,
    most: bool,
) -> Answer:
    """A rule about single plugs. The figure is that of the worst, as bad as it can be."""
    bound = limit.number or 0.0
    faults: list[str] = []
    unsure: dict[str, list[str]] = defaultdict(list)
    worst: float | None = None
    for plug in part.left:
        found = span(plug)
        if found is None:
            unsure[NOT_RECORDED].append(plug.ramet)
            continue
        low, high = found
        figure = high if most else low
        better = worst is None or (figure > worst if most else figure < worst)
        worst = figure if better else worst
        if low > bound if most else high < bound:
            faults.append(plug.ramet)
        elif high > bound if most else low < bound:
            unsure[UNCERTAIN].append(plug.ramet)
    doubtful = [tag for tags in unsure.values() for tag in tags]
    verdict = Verdict.FAILS if faults else Verdict.WARNS if doubtful else Verdict.HOLDS
    return Answer(
        rule.word,
        verdict,
        part.taxon,
        limit.number,
        alone=worst,
        reason=next(iter(sorted(unsure)), ""),
        at_fault=len(faults),
        unknown=len(doubtful),
        tags=tuple((faults or doubtful)[:MOST_TAGS]),
    )


def _age(part: _Part, plug: Plug) -> Span | None:
    """Days from the cutting to the planting."""
    if plug.born is None:
        return None
    first, last = part.case.days
    return float((first - plug.born[1]).days), float((last - plug.born[0]).days)


def _least_age(part: _Part, rule: Rule, limit: Limit) -> Answer:
    return _each(part, rule, limit, lambda plug: _age(part, plug), most=False)


def _greatest_age(part: _Part, rule: Rule, limit: Limit) -> Answer:
    return _each(part, rule, limit, lambda plug: _age(part, plug), most=True)


def _least_size(part: _Part, rule: Rule, limit: Limit) -> Answer:
    def size(plug: Plug) -> Span | None:
        return None if plug.size_cm is None else (plug.size_cm, plug.size_cm)

    return _each(part, rule, limit, size, most=False)


def _inspected(part: _Part, rule: Rule, limit: Limit) -> Answer:
    def since(plug: Plug) -> Span | None:
        if plug.looked is None:
            return None
        first, last = part.case.days
        return float((first - plug.looked[1]).days), float((last - plug.looked[0]).days)

    return _each(part, rule, limit, since, most=True)


def _donor_distance(part: _Part, rule: Rule, limit: Limit) -> Answer:
    def far(donor: Donor, plug: Plug) -> Span | None:
        if donor.km is None:
            return None
        return max(0.0, donor.km - donor.uncertain_km), donor.km + donor.uncertain_km

    return _of_donors(part, rule, limit, far)


def _depth_difference(part: _Part, rule: Rule, limit: Limit) -> Answer:
    def deep(donor: Donor, plug: Plug) -> Span | None:
        there = part.case.depths.get(plug.plot)
        if donor.depth_m is None or there is None:
            return None
        difference = abs(donor.depth_m - there)
        return difference, difference

    return _of_donors(part, rule, limit, deep)


def _of_donors(
    part: _Part, rule: Rule, limit: Limit, figure: Callable[[Donor, Plug], Span | None]
) -> Answer:
    """The worst donor of each plug; unknown if it has none, or nothing is known of one."""
    kept: dict[tuple[int | None, str], Span | None] = {}

    def span(plug: Plug) -> Span | None:
        key = plug.donors, plug.plot
        if key not in kept:
            donors = part.case.donors.get(plug.donors, ()) if plug.donors is not None else ()
            found = [figure(donor, plug) for donor in donors]
            known = [each for each in found if each is not None]
            whole = bool(found) and len(known) == len(found)
            least = max((low for low, _ in known), default=0.0)
            # One that is surely too far is so whatever the others are.
            if whole or least > (limit.number or 0.0):
                kept[key] = least, max(high for _, high in known)
            else:
                kept[key] = None
        return kept[key]

    return _each(part, rule, limit, span, most=True)


def _presumed(part: _Part, rule: Rule, limit: Limit) -> Answer:
    """Whether genets that were never genotyped may be planted."""
    presumed = part.case.presumed
    tags = [plug.ramet for plug in part.left if plug.genet in presumed]
    fails = bool(tags) and not limit.number
    return Answer(
        rule.word,
        Verdict.FAILS if fails else Verdict.HOLDS,
        part.taxon,
        limit.number,
        alone=float(len(_by_genet(part.alone()).keys() & presumed)),
        after=float(len(_by_genet(part.after()).keys() & presumed)),
        at_fault=len(tags) if fails else 0,
        tags=tuple(tags[:MOST_TAGS]) if fails else (),
    )


def _permits(part: _Part, rule: Rule, limit: Limit) -> Answer:
    faults = part.case.permits.get(part.taxon, ()) if limit.number else ()
    verdict = Verdict.FAILS if faults else Verdict.HOLDS
    return Answer(rule.word, verdict, part.taxon, limit.number, notes=faults)


def _not_recorded(part: _Part, rule: Rule, limit: Limit) -> Answer:
    """What this rule needs is not kept yet."""
    return Answer(rule.word, Verdict.WARNS, part.taxon, limit.number, reason=NOT_RECORDED)


_WAYS: dict[Rule, Callable[[_Part, Rule, Limit], Answer]] = {
    Rule.GENETS_OF_SITE: _genets_of_site,
    Rule.GENETS_OF_PLOT: _genets_of_plot,
    Rule.LARGEST_SHARE: _largest_share,
    Rule.EFFECTIVE_GENETS: _effective_genets,
    Rule.DONOR_REEFS: _donor_reefs,
    Rule.DONOR_DISTANCE: _donor_distance,
    Rule.DEPTH_DIFFERENCE: _depth_difference,
    Rule.PRESUMED_GENETS: _presumed,
    Rule.LEAST_AGE: _least_age,
    Rule.GREATEST_AGE: _greatest_age,
    Rule.LEAST_SIZE: _least_size,
    Rule.INSPECTED_WITHIN: _inspected,
    Rule.QUARANTINE: _not_recorded,
    Rule.PERMIT_COVERS: _permits,
    Rule.KEPT_APART: _not_recorded,
}
"""A demanded manifest is no question here: there is one."""
