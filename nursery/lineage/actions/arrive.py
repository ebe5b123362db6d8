"""A bag reaches a nursery: its pieces are taken in, and what was cut from them aboard with them."""

from __future__ import annotations

import uuid
from typing import Any

from django.db import transaction

from nursery.core.actor import Actor, Role, require
from nursery.core.errors import Conflict, Path, Problem, ProblemList, Refused, Trouble
from nursery.core.models import Event
from nursery.core.recording import Recorded
from nursery.donors.models import Collection
from nursery.lineage.actions.end import end_ramets
from nursery.lineage.actions.intake import take_in
from nursery.lineage.actions.move import move
from nursery.lineage.bags import descends
from nursery.lineage.inputs import ArrivalIn, EndedIn, EndingIn, IntakeIn, MovedIn, MoveIn
from nursery.lineage.inputs.aboard import ArrivalsIn

_INTAKE, _MOVE, _ENDING = "intake", "move", "ending"
_ACT = "take in collections"


@transaction.atomic
def arrive(actor: Actor, given: ArrivalsIn) -> list[Recorded]:
    """Record what became of a bag; returns its events in order. Once under its `uid`.

    What was cut aboard and arrived is placed, what died or was lost on the way is ended; one that
    arrived and has no structure stays packed. Raises what `take_in`, `move` and `end_ramets`
    raise, with the paths of this input; Refused (`not_of_collection`); Conflict (`uid_taken`).
    """
    require(actor, Role.NURSERY, Role.FIELD, act=_ACT)
    placed = [
        (n, row)
        for n, row in enumerate(given.cut_aboard)
        if row.outcome == "arrived" and (row.structure or given.structure)
    ]
    ended = [(n, row) for n, row in enumerate(given.cut_aboard) if row.outcome != "arrived"]
    _refuse_strangers(given)
    parts = [
        *([_INTAKE] if given.pieces else ()),
        *([_MOVE] if placed else ()),
        *([_ENDING] if ended else ()),
    ]
    if not parts:
        message = "All of these stay packed. Choose a structure, or leave them for later."
        raise Refused(Problem("where_to", message, ("structure",)))
    _refuse_other_parts(given, parts)
    header: dict[str, Any] = {
        "when": given.when,
        "done_by": given.done_by,
        "permits": given.permits,
        "note": given.note,
    }
    done: list[Recorded] = []
    if given.pieces:
        intake = IntakeIn(
            uid=_uid(given, _INTAKE),
            collection=given.collection,
            nursery=given.nursery,
            structure=given.structure,
            pieces=given.pieces,
            **header,
        )
        done.append(take_in(actor, intake))
    if placed:
        rows = tuple(
            MovedIn(ramet=row.ramet, structure=row.structure or given.structure, cell=row.cell)
            for _, row in placed
        )
        move_in = MoveIn(uid=_uid(given, _MOVE), ramets=rows, **header)
        done.append(_with_paths(lambda: move(actor, move_in), [n for n, _ in placed]))
    if ended:
        ending = EndingIn(
            uid=_uid(given, _ENDING), ramets=tuple(_ended(row) for _, row in ended), **header
        )
        done.append(_with_paths(lambda: end_ramets(actor, ending), [n for n, _ in ended]))
    return done


def _ended(row: ArrivalIn) -> EndedIn:
    if row.outcome == "lost":
        return EndedIn(ramet=row.ramet, fate="lost")
    return EndedIn(ramet=row.ramet, fate="dead", cause=row.cause or "unknown")


def _with_paths(act: Any, numbers: list[int]) -> Recorded:
    """Do one part; what it refuses is told by the rows of this input."""
    try:
        recorded: Recorded = act()
    except Trouble as trouble:
        trouble.problems = [
            Problem(each.code, each.message, _path(each.path, numbers)) for each in trouble.problems
        ]
        raise
    return recorded


def _path(path: Path, numbers: list[int]) -> Path:
    if len(path) > 1 and path[0] == "ramets" and isinstance(path[1], int):
        return ("cut_aboard", numbers[path[1]], *path[2:])
    return path


def _uid(given: ArrivalsIn, part: str) -> uuid.UUID | None:
    return uuid.uuid5(given.uid, part) if given.uid is not None else None


def _refuse_strangers(given: ArrivalsIn) -> None:
    if not given.cut_aboard:
        return
    collection = Collection.objects.filter(event__uid=given.collection).first()
    codes = [row.ramet.upper() for row in given.cut_aboard]
    known = descends(codes, collection) if collection is not None else set()
    problems = ProblemList()
    for number, code in enumerate(codes):
        if code not in known:
            problems.add(
                "not_of_collection",
                f"{code} was not cut from a piece of this collection.",
                "cut_aboard",
                number,
                "ramet",
            )
    problems.raise_if_any()


def _refuse_other_parts(given: ArrivalsIn, parts: list[str]) -> None:
    """The uid has written no other parts than these; each judges itself whether it is the same."""
    if given.uid is None:
        return
    uids = {_uid(given, part): part for part in (_INTAKE, _MOVE, _ENDING)}
    found = Event.objects.filter(uid__in=list(uids)).values_list("uid", flat=True)
    known = {uids[uid] for uid in found}
    if known and known != set(parts):
        raise Conflict(
            Problem(
                "uid_taken",
                "This uid belongs to another entry. Send the same entry again unchanged, "
                "or choose a new uid.",
                ("uid",),
            )
        )
