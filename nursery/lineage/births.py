"""What every new ramet needs besides its row: a code of its series, and perhaps a tag."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from django.db import IntegrityError, transaction

from nursery.core import bulk
from nursery.core.codes import parse_code
from nursery.core.dates import dated
from nursery.core.errors import Path, ProblemList, Refused
from nursery.core.models import CodeSeries, Event
from nursery.core.series import known_series, lock_series, pass_codes, take_codes
from nursery.lineage.models import Ramet, Tag
from nursery.lineage.resolve import refuse_codes
from nursery.lineage.tags import free_from, held, live_tags
from nursery.places.actions import open_series

FIELD_SERIES = "W"
"""The series of codes given on a boat or on the reef, where no device has one of its own."""

FARTHEST = 100_000
"""How far past the next number of its series a code may be that is brought along: the series goes
on after it, so that one slip of the pen would use up all codes before."""


def series_prefix(asked: str | None, nursery_series: CodeSeries | None) -> str:
    """The series that new codes come from: asked for, else the nursery's, else the field's."""
    if asked:
        return asked
    if nursery_series is not None:
        return nursery_series.prefix
    return open_series(FIELD_SERIES, "given in the field").prefix


def give_codes(given: Sequence[tuple[str | None, Path]], prefix: str) -> list[str]:
    """A code for each new ramet, in order: the one given, or the next of the series.

    The series is the last lock of the action. Raises Refused (`code_malformed`, `code_taken`,
    `unknown_series`, `code_too_far`, …).
    """
    brought = [(text, path) for text, path in given if text is not None]
    canonical = refuse_codes(brought) if brought else {}
    if canonical:
        _refuse_unknown_series(brought, canonical)
        lock_series({prefix, *(parse_code(code).series for code in canonical.values())})
        # Now that the series are ours, once more: another writer may have given one of them.
        refuse_codes(brought)
        _refuse_far(brought, canonical)
        pass_codes(list(canonical.values()))
    fresh = iter(take_codes(prefix, len(given) - len(brought)) if len(brought) < len(given) else ())
    return [canonical[text] if text is not None else next(fresh) for text, _ in given]


def give_tags(event: Event, tags: Sequence[tuple[Ramet, str | None, Path]]) -> None:
    """Attach physical tags from the event's day on; raises Refused (`tag_taken`, `tag_twice`).

    Of a vague date it is the first day on which the tag was free.
    """
    wanted = [(ramet, text, path) for ramet, text, path in tags if text]
    if not wanted:
        return
    since = _days_free(event, wanted)
    # In the order of their texts, so that two writers of the same tags do not wait for each other.
    rows = sorted(
        (Tag(ramet=ramet, text=text, since=since[text], event=event) for ramet, text, _ in wanted),
        key=lambda tag: tag.text,
    )
    try:
        with transaction.atomic():
            bulk.insert(Tag, rows)
    except IntegrityError:
        # Another writer put one of them on a ramet of his meanwhile.
        _days_free(event, wanted)
        raise


def _days_free(event: Event, wanted: Sequence[tuple[Ramet, str, Path]]) -> dict[str, date]:
    """The day from which on each text may be on a ramet, by all that it was ever on."""
    known = live_tags({text for _, text, _ in wanted})
    problems = ProblemList()
    found: dict[str, date] = {}
    for _, text, path in wanted:
        if text in found:
            problems.add("tag_twice", f"Tag {text} is given twice in this entry.", *path)
            continue
        since = free_from(known[text], event.when) if text in known else event.earliest
        found[text] = since or event.earliest
        if since is None:
            last = known[text][-1]
            problems.add(
                "tag_taken",
                f"Tag {text} is {held(last)}, so it cannot be put on another ramet "
                f"{dated(event.when)}. Take it off there first, or check both dates."
                if last.until is None
                else f"Tag {text} was {held(last)}, so it cannot have been on another ramet "
                f"{dated(event.when)} and after. Check both dates.",
                *path,
            )
    problems.raise_if_any()
    return found


def _refuse_unknown_series(brought: Sequence[tuple[str, Path]], canonical: dict[str, str]) -> None:
    known = known_series(list(canonical.values()))
    problems = ProblemList()
    for text, path in brought:
        if parse_code(canonical[text]).series not in known:
            problems.add(
                "unknown_series",
                f"{canonical[text]} belongs to no code series of this programme.",
                *path,
            )
    if problems:
        raise Refused(problems.items)


def _refuse_far(brought: Sequence[tuple[str, Path]], canonical: Mapping[str, str]) -> None:
    """Refuse codes that would burn their (locked) series."""
    parsed = {text: parse_code(canonical[text]) for text, _ in brought}
    rows = CodeSeries.objects.filter(prefix__in={code.series for code in parsed.values()})
    following = dict(rows.values_list("prefix", "next_number"))
    problems = ProblemList()
    for text, path in brought:
        code = parsed[text]
        if code.number > following[code.series] + FARTHEST:
            problems.add(
                "code_too_far",
                f"{code} is more than {FARTHEST:,} past the next code of series {code.series} "
                f"({following[code.series]}), and all codes between would be lost. Check it.",
                *path,
            )
    problems.raise_if_any()
