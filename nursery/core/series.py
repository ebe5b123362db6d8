"""Ramet codes out of their series: the last lock an action takes, and one update for n codes."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import F
from django.db.models.functions import Greatest

from nursery.core.codes import next_codes, parse_code
from nursery.core.errors import Problem, Refused
from nursery.core.models import CodeSeries


def take_codes(prefix: str, n: int) -> list[str]:
    """Take `n` codes of a series; call it inside the action's transaction, after all other locks.

    Gaps left by a refused action are fine: a code is never given twice.
    Raises Refused (`unknown_series`, `series_used_up`).
    """
    series = CodeSeries.objects.select_for_update(no_key=True).filter(prefix=prefix).first()
    if series is None:
        raise Refused(Problem("unknown_series", f"There is no code series {prefix}.", ("series",)))
    try:
        codes, following = next_codes(prefix, series.next_number, n)
    except ValueError as error:
        raise Refused(
            Problem("series_used_up", f"Series {prefix} has no {n} codes left.", ("series",))
        ) from error
    CodeSeries.objects.filter(pk=series.pk).update(next_number=following)
    return codes


def lock_series(prefixes: Iterable[str]) -> None:
    """Lock several series in the order of their letters, before codes of them are used."""
    rows = CodeSeries.objects.select_for_update(no_key=True).filter(prefix__in=set(prefixes))
    list(rows.order_by("prefix"))


def pass_codes(codes: list[str]) -> None:
    """Move the series past codes that came in from outside, so that they are not given again."""
    highest: dict[str, int] = {}
    for code in codes:
        parsed = parse_code(code)
        highest[parsed.series] = max(parsed.number, highest.get(parsed.series, 0))
    for prefix in sorted(highest):
        CodeSeries.objects.filter(prefix=prefix).update(
            next_number=Greatest(F("next_number"), highest[prefix] + 1)
        )


def known_series(codes: list[str]) -> set[str]:
    """The series, of those that the codes name, that exist."""
    prefixes = {parse_code(code).series for code in codes}
    return set(CodeSeries.objects.filter(prefix__in=prefixes).values_list("prefix", flat=True))
