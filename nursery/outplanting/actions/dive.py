"""All that one dive did: a planting, a move of what came back, and endings, in one transaction."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from typing import Any

from django.db import transaction

from nursery.core.actor import Actor, Role, require
from nursery.core.errors import Conflict, Path, Problem, ProblemList, Trouble
from nursery.core.models import Event
from nursery.core.recording import Recorded
from nursery.lineage.actions import end_ramets, move
from nursery.lineage.inputs import EndingIn, MovedIn, MoveIn
from nursery.lineage.models import Ramet
from nursery.lineage.resolve import all_of
from nursery.lineage.words import Place
from nursery.outplanting.actions.plant import plant
from nursery.outplanting.dives import DiveIn, homes
from nursery.outplanting.inputs import OutplantingIn

_PLANTED, _RETURNED, _ENDED = "planted", "returned", "ended"


@transaction.atomic
def enter_dive(actor: Actor, given: DiveIn) -> list[Recorded]:
    """Record a dive; returns its events in order. The same dive under its `uid` is entered once.

    What came back and was not packed is still where it was, and needs no entry. Raises what
    `plant`, `move` and `end_ramets` raise, with the paths of this input; Refused (`where_to`) of
    what came back and was never in a structure; Conflict (`uid_taken`).
    """
    require(actor, Role.FIELD, act="plant on the reef")
    rows, numbers = _moves(given)
    known = _known(actor, given, rows)
    done: list[Recorded] = []
    if given.planted or given.structures:
        planting = OutplantingIn(
            uid=_uid(given, _PLANTED),
            when=given.when,
            done_by=given.done_by,
            permits=given.permits,
            note=given.note,
            plot=given.plot,
            manifest=given.manifest,
            fixing=given.fixing,
            other_purposes=given.other_purposes,
            outplants=given.planted,
            structures=given.structures,
        )
        with _Paths({"outplants": _PLANTED}):
            done.append(plant(actor, planting))
    if _RETURNED in known:
        done.append(Recorded(known[_RETURNED], fresh=False))
    elif rows:
        back = MoveIn(uid=_uid(given, _RETURNED), ramets=tuple(rows), **_header(given))
        with _Paths({"ramets": _RETURNED}, numbers):
            done.append(move(actor, back))
    if given.ended:
        ending = EndingIn(uid=_uid(given, _ENDED), ramets=given.ended, **_header(given))
        with _Paths({"ramets": _ENDED}):
            done.append(end_ramets(actor, ending))
    return done


class _Paths:
    """Turns the paths of a refused part into those of the dive's input."""

    def __init__(self, names: dict[str, str], numbers: Sequence[int] | None = None) -> None:
        self.names = names
        self.numbers = numbers

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        if isinstance(error, Trouble):
            error.problems = [
                Problem(each.code, each.message, self._path(each.path)) for each in error.problems
            ]

    def _path(self, path: Path) -> Path:
        if not path or path[0] not in self.names:
            return path
        name, rest = self.names[str(path[0])], path[1:]
        if self.numbers is not None and rest and isinstance(rest[0], int):
            return (name, self.numbers[rest[0]], *rest[1:])
        return (name, *rest)


def _header(given: DiveIn) -> dict[str, Any]:
    return {"when": given.when, "done_by": given.done_by, "note": given.note}


def _uid(given: DiveIn, part: str) -> uuid.UUID | None:
    """The uid of one part: the same for the same dive, whenever it is sent."""
    return uuid.uuid5(given.uid, part) if given.uid is not None else None


def _moves(given: DiveIn) -> tuple[list[MovedIn], list[int]]:
    """Where what came back goes, and the number of each in the input; without what is there."""
    if not given.returned:
        return [], []
    ids = all_of(
        [(row.ramet, (_RETURNED, n, "ramet")) for n, row in enumerate(given.returned)],
        on=given.when.latest,
    )
    ramets = Ramet.objects.select_related("structure").in_bulk(ids)
    last = homes(ramets.values())
    problems = ProblemList()
    rows: list[MovedIn] = []
    numbers: list[int] = []
    for number, pk in enumerate(ids):
        ramet = ramets[pk]
        here = ramet.structure.code if ramet.structure is not None else None
        if given.return_to is not None:
            row = MovedIn(ramet=ramet.code, structure=given.return_to)
            stays = here == given.return_to
        else:
            home = last.get(pk)
            stays = ramet.place == Place.STRUCTURE
            if home is None:
                message = f"{ramet.code} was in no structure before. Choose one that it goes to."
                problems.add("where_to", message, _RETURNED, number, "ramet")
                continue
            cell = home.cell.name if home.cell is not None else None
            row = MovedIn(ramet=ramet.code, structure=home.structure.code, cell=cell)
        if not stays:
            rows.append(row)
            numbers.append(number)
    problems.raise_if_any()
    return rows, numbers


def _known(actor: Actor, given: DiveIn, rows: Sequence[MovedIn]) -> dict[str, Event]:
    """The parts that this dive's uid has written already; Conflict (`uid_taken`) where they are
    not the parts of this input."""
    if given.uid is None:
        return {}
    uids = {_uid(given, part): part for part in (_PLANTED, _RETURNED, _ENDED)}
    known = {uids[row.uid]: row for row in Event.objects.filter(uid__in=list(uids))}
    if not known:
        return {}
    asked = {
        *({_PLANTED} if given.planted or given.structures else ()),
        *({_ENDED} if given.ended else ()),
    }
    same = asked == known.keys() - {_RETURNED}
    same &= all(event.recorded_by_id == actor.user_id for event in known.values())
    moved = known.get(_RETURNED)
    if moved is not None:
        codes = set(moved.steps.values_list("ramet__code", flat=True))
        same &= {row.ramet for row in rows} <= codes and bool(given.returned)
    else:
        same &= not rows
    if not same:
        raise Conflict(
            Problem(
                "uid_taken",
                "This uid belongs to another entry. Send the same entry again unchanged, "
                "or choose a new uid.",
                ("uid",),
            )
        )
    return known
