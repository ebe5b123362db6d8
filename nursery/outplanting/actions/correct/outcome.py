"""What a correction changes downstream: the ramets before and after, in words that people read."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from nursery.core.models import Event
from nursery.lineage import walk
from nursery.lineage.models import Ramet, Step
from nursery.lineage.words import Life, Place
from nursery.places.cells import Cell

FIELDS = ("life", "place", "genet", "donors", "generation", "taxon", "base")
"""What is told of a ramet before and after."""


@dataclass(frozen=True, slots=True)
class RametChange:
    """One thing about one ramet that is otherwise after a correction."""

    ramet: str
    field: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Corrected:
    """One event that was corrected: its uid, what it is and when it was."""

    event: str
    kind: str
    when: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """The events that a correction corrects, in the order in which it does, and what follows.

    `counts` says for each field of how many ramets it changes.
    """

    events: tuple[Corrected, ...]
    changes: tuple[RametChange, ...]
    counts: Mapping[str, int]


class Watch:
    """The ramets of corrected events and all that was cut from them, as they were before."""

    def __init__(self) -> None:
        self.before: dict[int, dict[str, str]] = {}
        self.events: list[Event] = []

    def look(self, event: Event) -> None:
        """Take down what the event's ramets are now, unless that was done already."""
        touched = Step.objects.filter(event=event).values_list("ramet_id", flat=True)
        self.look_at(touched)

    def look_at(self, ramet_ids: Iterable[int]) -> None:
        ids = set(walk.all_descendants(ramet_ids)) - self.before.keys()
        self.before.update(told(ids))

    def outcome(self) -> Outcome:
        """What is otherwise now."""
        after = told(self.before)
        codes = dict(Ramet.everything.filter(pk__in=self.before).values_list("pk", "code"))
        changes = tuple(
            RametChange(codes[pk], field, self.before[pk][field], after[pk][field])
            for pk in sorted(self.before)
            for field in FIELDS
            if self.before[pk][field] != after[pk][field]
        )
        return Outcome(
            events=tuple(
                Corrected(str(row.uid), row.kind_word, str(row.when)) for row in self.events
            ),
            changes=changes,
            counts=dict(Counter(change.field for change in changes)),
        )


def told(ramet_ids: Iterable[int]) -> dict[int, dict[str, str]]:
    """What is told of each ramet, by field. A constant number of queries."""
    rows = (
        Ramet.everything.filter(pk__in=list(ramet_ids))
        .select_related("structure", "plot", "genet", "taxon", "donor_set")
        .prefetch_related("donor_set__colonies")
    )
    return {
        row.pk: {
            "life": Life(row.life).label,
            "place": _place(row),
            "genet": row.genet.code if row.genet is not None else "none",
            "donors": _donors(row),
            "generation": "not known" if row.generation is None else str(row.generation),
            "taxon": row.taxon.name,
            "base": row.base_now,
        }
        for row in rows
    }


def _place(row: Ramet) -> str:
    if row.structure is not None:
        named = row.row is not None and row.column is not None
        cell = f" {Cell(row.row or 0, row.column or 0).name}" if named else ""
        return f"{row.structure.code}{cell}"
    return row.plot.code if row.plot is not None else Place(row.place).label


def _donors(row: Ramet) -> str:
    if row.donor_set is None:
        return "none"
    return ", ".join(sorted(colony.code for colony in row.donor_set.colonies.all()))
