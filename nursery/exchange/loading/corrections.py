"""Corrections from files: what did not happen, and what happened otherwise.

A correction is known by all that its row says. One that is on record is not made again, whatever
came after it: what people restored or amended since then stays as they left it.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Mapping, Sequence
from typing import Any

from django.db import DataError, IntegrityError

from nursery.core.actor import Actor
from nursery.core.errors import Problem, Refused, Trouble
from nursery.core.inputs import Given, read
from nursery.core.models import Correction, Event, EventKind
from nursery.exchange.loading.blame import Blame
from nursery.exchange.loading.files import EVENT, EVENTS, CorrectionFile
from nursery.exchange.loading.gathering import file_name
from nursery.exchange.loading.naming import NAMESPACE, fault_of, place_of, uid_of, values_of
from nursery.exchange.loading.report import LEANS, Fault, Report, unstorable
from nursery.exchange.loading.spool import Line, Spool

STANDING = "structure_standing"
"""The kind of the event by which a structure stands where its file says, for the names of events:
its key is the structure's code."""

_KINDS = (*(kind.word for kind in EventKind), STANDING)


class CorrectionLoader:
    """Carries out the rows of files of corrections, one by one."""

    def __init__(self, actor: Actor, spool: Spool, report: Report, blame: Blame) -> None:
        self._actor = actor
        self._spool = spool
        self._report = report
        self._blame = blame

    def load(self, item: CorrectionFile, line: Line, key: str) -> int:
        """Carry out one correction; returns how many rows of files that were."""
        details = {name: self._spool.with_key(stem, key) for name, stem in item.rows.items()}
        # A row of it that could not be read has been told already.
        if self._blame.incomplete(item.stem, item.rows.values(), key) is None:
            try:
                self._correct(item, line, key, details)
            except Trouble as trouble:
                for problem in trouble.problems:
                    self._refuse(problem, line, key, details)
            except (IntegrityError, DataError) as error:
                self._report.add(unstorable(error, file_name(line.file), line.row))
        return 1 + sum(len(rows) for rows in details.values())

    def _correct(
        self, item: CorrectionFile, line: Line, key: str, details: Mapping[str, Sequence[Line]]
    ) -> None:
        data: dict[str, Any] = {EVENT: event_named(key), **values_of(item.model, line.cells)}
        for name, rows in details.items():
            if rows:
                data[name] = [values_of(item.row_model(name), row.cells) for row in rows]
        given = read(item.model, data)
        known = identity(item.stem, given)
        fresh = not Correction.objects.filter(together=known).exists()
        if fresh:
            item.act(self._actor, given, False, known)
        tally = self._report.tally(line.file)
        tally.new += fresh
        tally.unchanged += not fresh

    def _refuse(
        self, problem: Problem, line: Line, key: str, details: Mapping[str, Sequence[Line]]
    ) -> None:
        at, column = place_of(problem.path, line, details)
        fault = fault_of(problem, at, column)
        if problem.code == "unknown_event":
            fault = self._of_missing(key, fault)
        if fault.code != LEANS:
            uids = (str(uid) for uid in uids_named(key))
            fault = self._blame.of_problem(problem, fault, [*at.cells.values(), *uids])
        self._report.add(fault)

    def _of_missing(self, key: str, fault: Fault) -> Fault:
        """There is no such event: because it was refused?"""
        for event in EVENTS:
            for name in (key, key.removeprefix(f"{event.kind.word}/")):
                found = self._blame.of_missing_event(event.stem, name, fault)
                if found.code == LEANS:
                    return found
        return fault


def identity(stem: str, given: Given) -> uuid.UUID:
    """By what a correction from a file is known: a UUID (version 5) over all that its row says."""
    body = given.model_dump(mode="json", exclude_unset=True)
    text = json.dumps([stem, body], sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return uuid.uuid5(NAMESPACE, text)


def event_named(key: str) -> uuid.UUID:
    """The uid of the event that a row names: by its uid, by the key that it has in its own file,
    or by kind and key (`visit/1`) where events of several kinds have the key.

    Raises Refused (`unknown_event`, `several_events`).
    """
    wanted = uids_named(key)
    rows = Event.objects.filter(uid__in=wanted).order_by("pk")
    found = list(rows)
    if not found:
        raise Refused(Problem("unknown_event", f"There is no event {key!r}.", (EVENT,)))
    if len(found) > 1:
        named = ", ".join(f"{wanted[row.uid]}/{key}" for row in found)
        raise Refused(
            Problem(
                "several_events",
                f"Several events are called {key!r}. Say which one: {named}.",
                (EVENT,),
            )
        )
    return found[0].uid


def uids_named(key: str) -> dict[uuid.UUID, str]:
    """The uids of events that a row may name by a key, each with the kind that it would be of."""
    kind, _, rest = key.partition("/")
    if rest and kind in _KINDS:
        return {uid_of(kind, rest): kind}
    return {uid_of(kind, key): kind for kind in _KINDS}
