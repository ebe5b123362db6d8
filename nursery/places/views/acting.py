"""What is done with the cells of a structure that were picked on its page: one press, one act.

A pick names the cell and the ramet that was seen in it, so that what is written is what was shown,
or is refused because it has changed meanwhile; and so that the same form sent twice is the same.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.db import transaction
from django.http import QueryDict
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from nursery.core.actor import Actor
from nursery.core.errors import Problem, Refused, Trouble
from nursery.core.inputs import read
from nursery.core.recording import Recorded
from nursery.husbandry import actions as husbandry
from nursery.husbandry.inputs import CheckIn
from nursery.lineage import actions as lineage
from nursery.lineage.inputs import (
    MOST_ROWS,
    CountIn,
    EndingIn,
    LossIn,
    MoveIn,
    StructureMoveIn,
)
from nursery.places.models import Bay, Plot, Structure

UID = "uid"
HEADER = (UID, "when", "done_by", "note")


@dataclass(frozen=True, slots=True)
class Pick:
    """A cell (an empty text: none) and the code of the ramet that was seen in it, if any."""

    cell: str
    code: str

    def __str__(self) -> str:
        return f"{self.cell}={self.code}"


@dataclass(frozen=True, slots=True)
class Done:
    """What an act wrote, said in a few words; `to` is the structure to look at next."""

    recorded: Sequence[Recorded]
    says: str
    to: str


class Sheet:
    """What was typed and picked on a structure's page."""

    def __init__(self, row: Structure, typed: QueryDict) -> None:
        self.row = row
        self.typed = typed

    def text(self, name: str) -> str:
        return str(self.typed.get(name, "")).strip()

    @cached_property
    def picks(self) -> list[Pick]:
        """The cells that were picked, and the ramets that were ticked in a list."""
        parts = (part.partition("=") for part in self.text("picked").split(",") if part)
        ticked = (Pick("", code) for code in self.typed.getlist("tick"))
        return [*(Pick(cell, code) for cell, _is, code in parts), *ticked]

    @property
    def ramets(self) -> list[Pick]:
        return [pick for pick in self.picks if pick.code]

    def cells(self, name: str) -> list[str]:
        return [cell for cell in self.text(name).split(",") if cell]

    def header(self, number: int = 0) -> dict[str, Any]:
        """The header of the event; of further events of the same press, a uid that follows."""
        header = header_of({name: self.text(name) for name in HEADER})
        if header["uid"] and number:
            header["uid"] = str(uuid.uuid5(uuid.UUID(header["uid"]), str(number)))
        return header

    def some(self, act: str) -> list[Pick]:
        """The ramets that were picked; raises Refused (`required`) if there are none."""
        if not self.ramets:
            what = _("Pick what is to be %(act)s first: no ramet was picked.") % {"act": act}
            raise Refused(Problem("required", what, ("picked",)))
        return self.ramets


def perform(actor: Actor, row: Structure, typed: QueryDict) -> Done:
    """Do what the pressed button says; raises Trouble, with cells named in its problems."""
    sheet = Sheet(row, typed)
    act = ACTS.get(sheet.text("act"))
    if act is None:
        raise Refused(Problem("unknown_act", _("There is no such act. Press one of the buttons.")))
    return act(actor, sheet)


def header_of(typed: Mapping[str, str]) -> dict[str, Any]:
    """The header of an event as a form says it. Raises Refused (`malformed`)."""
    uid = typed.get(UID, "").strip()
    try:
        uid = str(uuid.UUID(uid)) if uid else ""
    except ValueError:
        sentence = _("The form is damaged. Load the page again.")
        raise Refused(Problem("malformed", sentence, (UID,))) from None
    people = (name.strip() for name in typed.get("done_by", "").split(";"))
    return {
        "uid": uid or None,
        "when": typed.get("when", "").strip(),
        "done_by": [name for name in people if name],
        "note": typed.get("note", "").strip(),
    }


def softened(trouble: Trouble, typed: dict[str, str]) -> tuple[dict[str, str], list[Problem]]:
    """What is shown again of a form that was refused: what was typed, and what is wrong. A form
    that made another entry already gets a uid of its own."""
    if trouble.code != "uid_taken":
        return typed, list(trouble.problems)
    sentence = _(
        "This form was entered already, otherwise than it stands here. If this is another act, "
        "press the button again: it is then entered beside it."
    )
    return {**typed, UID: str(uuid.uuid4())}, [Problem("uid_taken", sentence)]


def _check(actor: Actor, sheet: Sheet) -> Done:
    """One look at a plate: those picked in one state, and the rest of it attached, if so ticked."""
    state = sheet.text("act")
    picked = sheet.some(FINDING_WORDS[state])
    rest = [Pick(*part.partition("=")[::2]) for part in sheet.cells("rest")]
    size = sheet.text("size_cm")
    cause = sheet.text("cause") if state == "dead" else ""
    found: dict[str, Any] = {"state": state, "cause": cause or None, "size_cm": size or None}
    findings: list[tuple[Pick, Mapping[str, Any]]] = [
        *((pick, {"ramet": pick.code, **found}) for pick in picked),
        *((pick, {"ramet": pick.code, "state": "attached"}) for pick in rest),
    ]
    recorded = _in_pieces(
        sheet, findings, lambda more: husbandry.check(actor, read(CheckIn, more)), "findings"
    )
    says = _("%(n)d %(state)s in %(code)s") % {
        "n": len(picked),
        "state": FINDING_WORDS[state],
        "code": sheet.row.code,
    }
    if rest:
        says = _("%(says)s, the other %(n)d attached") % {"says": says, "n": len(rest)}
    return Done(recorded, says, sheet.row.code)


def _end(actor: Actor, sheet: Sheet) -> Done:
    fate = sheet.text("fate")
    picked = sheet.some(_("ended"))
    if fate not in FATE_WORDS:
        raise Refused(Problem("required", _("Say how they ended."), ("fate",)))
    more = {"fate": fate, "recipient": sheet.text("recipient")}
    recorded = _in_pieces(
        sheet,
        [(pick, {"ramet": pick.code}) for pick in picked],
        lambda given: lineage.end_ramets(actor, read(EndingIn, {**given, **more})),
        "ramets",
    )
    says = _("%(n)d %(fate)s from %(code)s") % {
        "n": len(picked),
        "fate": FATE_WORDS[fate],
        "code": sheet.row.code,
    }
    return Done(recorded, says, sheet.row.code)


def _move(actor: Actor, sheet: Sheet) -> Done:
    """Into the cells that were shown, else into the next free ones."""
    to = sheet.text("to").upper()
    picked = sheet.some(_("moved"))
    if not to:
        sentence = _("Say where they go: type or scan the code of a structure.")
        raise Refused(Problem("where_to", sentence, ("to",)))
    shown = sheet.cells("spots")
    # Cells that were shown for another number of ramets say nothing.
    cells: Sequence[str | None] = shown if len(shown) == len(picked) else [None] * len(picked)
    recorded = _in_pieces(
        sheet,
        [
            (pick, {"ramet": pick.code, "cell": cell})
            for pick, cell in zip(picked, cells, strict=True)
        ],
        lambda given: lineage.move(actor, read(MoveIn, {**given, "structure": to})),
        "ramets",
    )
    return Done(recorded, _("%(n)d moved to %(code)s") % {"n": len(picked), "code": to}, to)


def _place(actor: Actor, sheet: Sheet) -> Done:
    """Ramets that were scanned one after another, each with the cell in which it was shown."""
    parts = [part.partition("=") for part in sheet.cells("placed")]
    placed = [Pick(cell, code) for cell, _is, code in parts if code]
    if not placed:
        sentence = _("No ramet was scanned yet. Scan a tag, or choose a collection.")
        raise Refused(Problem("required", sentence, ("placed",)))
    code = sheet.row.code
    recorded = _in_pieces(
        sheet,
        [(pick, {"ramet": pick.code, "cell": pick.cell or None}) for pick in placed],
        lambda given: lineage.move(actor, read(MoveIn, {**given, "structure": code})),
        "ramets",
    )
    return Done(recorded, _("%(n)d placed in %(code)s") % {"n": len(placed), "code": code}, code)


def _count(actor: Actor, sheet: Sheet) -> Done:
    """What was counted of lots; a row in which nothing was written was not counted."""
    code = sheet.row.code
    rows = []
    dead = missing = 0
    for lot in sheet.typed.getlist("lot"):
        counts = {name: sheet.text(f"{name}-{lot}") for name in ("dead", "missing")}
        given = {name: value for name, value in counts.items() if value}
        if given:
            cause = sheet.text("cause") if given.get("dead", "0") != "0" else ""
            row: dict[str, Any] = {"structure": code, "lot": lot or None, **given}
            rows.append({**row, "cause": cause if lot and cause else None})
            dead += _whole(given.get("dead"))
            missing += _whole(given.get("missing"))
    if not rows:
        sentence = _("Nothing was counted: write how many are dead or missing.")
        raise Refused(Problem("required", sentence, ("counts",)))
    given_in = {**sheet.header(), "counts": rows}
    recorded = lineage.count_structures(actor, read(CountIn, given_in))
    says = _("%(dead)d dead and %(missing)d missing counted in %(code)s") % {
        "dead": dead,
        "missing": missing,
        "code": code,
    }
    return Done([recorded], says, code)


def _whole(text: str | None) -> int:
    return int(text) if text and text.isdecimal() else 0


def _stand(actor: Actor, sheet: Sheet) -> Done:
    """The whole structure goes into a bay, another structure or a plot, as the code says."""
    code, to = sheet.row.code, sheet.text("to").upper()
    where = "bay"
    if not Bay.objects.filter(code=to).exists():
        if Structure.objects.filter(code=to).exists():
            where = "parent"
        elif Plot.objects.filter(code=to).exists():
            where = "plot"
        else:
            sentence = (
                _("There is no bay, structure or plot %(code)s. Check the code.") % {"code": to}
                if to
                else _("Say where it goes: the code of a bay, a structure or a plot.")
            )
            raise Refused(Problem("unknown_place", sentence, ("to",)))
    standing = {"structure": code, where: to, "cell": sheet.text("cell") or None}
    given = {**sheet.header(), "structures": [standing]}
    recorded = lineage.move_structures(actor, read(StructureMoveIn, given))
    return Done([recorded], _("%(code)s moved to %(to)s") % {"code": code, "to": to}, code)


def _lose(actor: Actor, sheet: Sheet) -> Done:
    code = sheet.row.code
    given = {**sheet.header(), "structures": [{"structure": code}]}
    recorded = lineage.lose_structures(actor, read(LossIn, given))
    return Done([recorded], _("%(code)s lost with all that it held") % {"code": code}, code)


def _in_pieces(
    sheet: Sheet,
    rows: Sequence[tuple[Pick, Mapping[str, Any]]],
    write: Callable[[dict[str, Any]], Recorded],
    name: str,
) -> list[Recorded]:
    """Write rows, at most so many in an event, all or none; cells are named in what is refused."""
    recorded = []
    with transaction.atomic():
        for number, start in enumerate(range(0, len(rows), MOST_ROWS)):
            piece = rows[start : start + MOST_ROWS]
            given = {**sheet.header(number), name: [what for _pick, what in piece]}
            try:
                recorded.append(write(given))
            except Trouble as trouble:
                trouble.problems = [
                    _naming(problem, [pick for pick, _what in piece])
                    for problem in trouble.problems
                ]
                raise
    return recorded


def _naming(problem: Problem, picks: Sequence[Pick]) -> Problem:
    """The problem with the cell that it is about in its sentence."""
    number = problem.row
    cell = picks[number].cell if number is not None and number < len(picks) else ""
    if not cell or f" {cell} " in problem.message:
        return problem
    return Problem(problem.code, f"{cell}: {problem.message}", problem.path)


FINDING_WORDS: Mapping[str, Any] = {
    "attached": gettext_lazy("attached"),
    "loose": gettext_lazy("loose"),
    "dead": gettext_lazy("dead"),
    "missing": gettext_lazy("missing"),
}
FATE_WORDS: Mapping[str, Any] = {
    "discarded": gettext_lazy("discarded"),
    "handed_over": gettext_lazy("handed over"),
    "sampled": gettext_lazy("taken as samples"),
    "lost": gettext_lazy("lost"),
}

ACTS: dict[str, Callable[[Actor, Sheet], Done]] = {
    **dict.fromkeys(FINDING_WORDS, _check),
    "end": _end,
    "move": _move,
    "place": _place,
    "count": _count,
    "stand": _stand,
    "lose": _lose,
}
"""What the buttons of a structure's page do."""
