"""A diversity report told in plain text: the answer first, then the evidence."""

from __future__ import annotations

from collections.abc import Iterator

from nursery.diversity.queries import Group, Report
from nursery.diversity.values import Value

_COLUMNS = ("ramets", "genets", "largest", "R", "H", "1-D", "unb. 1-D", "q1", "q2", "evenness")


def tell(report: Report) -> str:
    """The whole report as lines of text, ending without a newline."""
    return "\n".join(_lines(report))


def sentence(report: Report) -> str:
    """What the site stands at, in one sentence with its numbers."""
    whole = report.whole
    name = f"{report.site_name} ({report.site})"
    if whole.indices.genets == 0:
        return f"{name}: no ramet with a genet is {_state(report)}."
    effective = whole.indices.hill_1.value or 0.0
    top = whole.genets[0]
    return (
        f"{name} stands at {effective:.1f} effective genets of {whole.indices.genets}, in "
        f"{whole.indices.ramets} ramets {_state(report)}; the largest, {top.genet}, holds "
        f"{top.share:.0%}."
    )


def _state(report: Report) -> str:
    return {"planted": "planted", "alive": "alive", "seen": "seen alive at their last look"}[
        report.state.value
    ]


def _lines(report: Report) -> Iterator[str]:
    yield sentence(report)
    look = report.look
    day = report.as_of.isoformat() if report.as_of else "today"
    taxon = f", {report.taxon} only" if report.taxon else ""
    yield f"  state {report.state.value}, as of {day}{taxon}"
    looks = f" ({look.oldest} to {look.newest})" if look.oldest else ""
    yield (
        f"  of {look.planted} planted, {look.alive} are taken as alive; at the last look{looks} "
        f"{look.seen_alive} were seen alive, {look.seen_dead} dead, {look.seen_missing} missing; "
        f"{look.never} were never looked for"
    )
    yield ""
    yield f"  {'':34}" + "".join(f"{name:>10}" for name in _COLUMNS)
    reasons: dict[str, None] = {}
    for group in report.groups:
        yield f"  {_label(group):34}" + _numbers(group, reasons)
        if group.without_genet:
            yield f"      and {group.without_genet} without a genet, counted in no index"
    for reason in reasons:
        yield f"  – {reason}"


def _label(group: Group) -> str:
    plot = group.plot or "all plots"
    return f"{plot}, {group.taxon}"[:34] if group.taxon else plot


def _numbers(group: Group, reasons: dict[str, None]) -> str:
    indices = group.indices
    cells = [
        str(indices.ramets),
        str(indices.genets),
        _share(indices.largest_share),
        *(
            _number(value, reasons)
            for value in (
                indices.clonal_richness,
                indices.shannon,
                indices.simpson_biased,
                indices.simpson_unbiased,
                indices.hill_1,
                indices.hill_2,
                indices.pielou,
            )
        ),
    ]
    return "".join(f"{cell:>10}" for cell in cells)


def _share(value: Value) -> str:
    return "–" if value.value is None else f"{value.value:.0%}"


def _number(value: Value, reasons: dict[str, None]) -> str:
    if value.value is None:
        reasons[value.reason] = None
        return "–"
    return f"{value.value:.3f}"
