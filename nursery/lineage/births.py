"""What every new ramet needs besides its row: a code of its series, and perhaps a tag."""

from __future__ import annotations

from collections.abc import Sequence

from django.db import IntegrityError, transaction

from nursery.core import bulk
from nursery.core.codes import parse_code
from nursery.core.errors import Path, ProblemList, Refused
from nursery.core.models import CodeSeries, Event
from nursery.core.series import known_series, lock_series, pass_codes, take_codes
from nursery.lineage.models import Ramet, Tag
from nursery.lineage.resolve import refuse_codes
from nursery.places.actions import open_series

FIELD_SERIES = "W"
"""The series of codes given on a boat or on the reef, where no device has one of its own."""


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
    `unknown_series`, …).
    """
    brought = [(text, path) for text, path in given if text is not None]
    canonical = refuse_codes(brought) if brought else {}
    if canonical:
        _refuse_unknown_series(brought, canonical)
        lock_series({prefix, *(parse_code(code).series for code in canonical.values())})
        # Now that the series are ours, once more: another writer may have given one of them.
        refuse_codes(brought)
        pass_codes(list(canonical.values()))
    fresh = iter(take_codes(prefix, len(given) - len(brought)) if len(brought) < len(given) else ())
    return [canonical[text] if text is not None else next(fresh) for text, _ in given]


def give_tags(event: Event, tags: Sequence[tuple[Ramet, str | None, Path]]) -> None:
    """Attach physical tags from the event's day on; raises Refused (`tag_taken`, `tag_twice`)."""
    wanted = [(ramet, text, path) for ramet, text, path in tags if text]
    if not wanted:
        return
    _refuse_taken(wanted)
    # In the order of their texts, so that two writers of the same tags do not wait for each other.
    rows = sorted(
        (
            Tag(ramet=ramet, text=text, since=event.earliest, event=event)
            for ramet, text, _ in wanted
        ),
        key=lambda tag: tag.text,
    )
    try:
        with transaction.atomic():
            bulk.insert(Tag, rows)
    except IntegrityError:
        # Another writer put one of them on a ramet of his meanwhile.
        _refuse_taken(wanted)
        raise


def _refuse_taken(wanted: Sequence[tuple[Ramet, str, Path]]) -> None:
    in_force = dict(
        Tag.objects.filter(
            text__in=[text for _, text, _ in wanted], until__isnull=True
        ).values_list("text", "ramet__code")
    )
    problems = ProblemList()
    seen: set[str] = set()
    for _, text, path in wanted:
        if text in in_force:
            problems.add(
                "tag_taken",
                f"Tag {text} is on {in_force[text]} now. Take it off there first.",
                *path,
            )
        elif text in seen:
            problems.add("tag_twice", f"Tag {text} is given twice in this entry.", *path)
        seen.add(text)
    problems.raise_if_any()


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
