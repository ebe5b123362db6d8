"""A bag at the nursery: what arrived and what did not, and which cell each piece goes to."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils import timezone
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from rest_framework.request import Request

from nursery.core import spoken
from nursery.core.actor import Role, require
from nursery.core.errors import Problem, Refused, Trouble
from nursery.core.filters import refuse_unknown
from nursery.core.inputs import read
from nursery.core.models import Event
from nursery.core.views.entered import tell
from nursery.core.views.returned import above, entered_before, names_in, returned
from nursery.donors.models import Taxon
from nursery.lineage.actions.arrive import arrive
from nursery.lineage.bags import free_cells, under_way
from nursery.lineage.inputs.aboard import ArrivalsIn
from nursery.lineage.models import Ramet
from nursery.lineage.views.bags import BagPage
from nursery.lineage.words import Cause
from nursery.outplanting.views.sheet import buttons
from nursery.places.models import Nursery, Structure

ACT = "take in collections"
STEP = "step"
OUTCOMES = (
    ("arrived", gettext_lazy("Arrived")),
    ("dead", gettext_lazy("Dead")),
    ("lost", gettext_lazy("Missing")),
)
_WORDS = {word for word, _label in OUTCOMES}
_BLANKS = frozenset({"when", "done_by", "note", "nursery", "structure"})


@dataclass(slots=True)
class Arrival:
    """One piece of a bag, and what was said of it so far."""

    code: str
    number: int | None
    tags: list[str]
    genet_id: int | None
    cut: bool
    out: str
    cause: str
    tag: str
    cell: str
    goes: str = ""
    told: Sequence[Problem] = ()

    @property
    def called(self) -> str:
        return self.tags[0] if self.tags else self.code

    @property
    def buttons(self) -> SafeString:
        return buttons(f"out:{self.code}", OUTCOMES, self.out, _("Not yet"))


@dataclass(slots=True)
class Preview:
    """Where the pieces would go: a sentence, and whether there is room for all."""

    says: str = ""
    short: bool = False
    cells: list[str] = field(default_factory=list)


class IntakePage(BagPage):
    """All pieces arrived unless something else is said of one."""

    place = "nursery"
    template_name = "lineage/intake.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, Role.FIELD, Role.NURSERY, act=ACT)
        refuse_unknown(Request(request), ())
        typed = {"uid": str(uuid.uuid4()), "when": timezone.localdate().isoformat()}
        homes = self._nurseries()
        if len(homes) == 1:
            typed["nursery"] = homes[0].code
        for row in self.bag.inside:
            typed[f"out:{row.code}"] = "arrived"
        return self._form(typed)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, Role.FIELD, Role.NURSERY, act=ACT)
        typed = request.POST.dict()
        if typed.get(STEP) == "look":
            return self._form(typed)
        sent = SentBag(typed, str(self.kwargs["uid"]), {row.code for row in self.bag.pieces})
        try:
            done = arrive(self.actor, sent.given())
        except Trouble as trouble:
            known = entered_before(trouble, typed, uuid.uuid5(sent.key, "intake"))
            return self._form(typed, trouble, sent, known)
        words = ngettext("%(n)d piece taken in", "%(n)d pieces taken in", sent.arrived)
        tell(request, done, words % {"n": sent.arrived})
        return HttpResponseRedirect(reverse("event", args=[done[0].event.uid]))

    def _nurseries(self) -> list[Nursery]:
        """The nurseries at which this person works; field staff and leads hand over at any."""
        rows = Nursery.objects.filter(closed_on=None).order_by("name")
        if self.actor.leads or self.actor.has(Role.FIELD):
            return list(rows)
        return list(rows.filter(pk__in=self.actor.nurseries))

    def _form(
        self,
        typed: Mapping[str, str],
        trouble: Trouble | None = None,
        sent: SentBag | None = None,
        known: Event | None = None,
    ) -> HttpResponse:
        back = returned(trouble, sent.blank_of if sent else above)
        rows = [
            _arrival(ramet, typed, back.told, ramet.collection_id is None)
            for ramet in (*self.bag.pieces, *self.bag.cut_aboard)
            if under_way(ramet)
        ]
        shown = {*_BLANKS, *(f"out:{row.code}" for row in rows)}
        homes = self._nurseries()
        structures = list(
            Structure.objects.filter(nursery__in=homes, closed_on=None, lost=False)
            .select_related("nursery")
            .order_by("nursery__code", "code")
        )
        context = self.get_context_data(
            bag=self.bag,
            source=self.source,
            typed=typed,
            told=back.told,
            problems=back.above(shown),
            faults=back.faults,
            entered=known,
            rows=rows,
            preview=preview_of(rows, _chosen(structures, typed)),
            arrived=sum(row.out == "arrived" for row in rows),
            nurseries=[(home.code, str(home)) for home in homes],
            structures=[(row.code, f"{row} ({row.nursery})") for row in structures],
            causes=[(cause.word, spoken.shown(cause)) for cause in Cause],
            zoanthid=self.bag.collection.taxon.group == Taxon.Group.ZOANTHID,
        )
        return self.render_to_response(context, status=back.status)


class CellsPage(IntakePage):
    """Where the pieces would go, as the form stands. Stores nothing."""

    http_method_names = ["post"]
    template_name = "lineage/intake_cells.html"

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, Role.FIELD, Role.NURSERY, act=ACT)
        typed = request.POST.dict()
        rows = [_arrival(ramet, typed, {}, False) for ramet in self.bag.inside]
        homes = [home.pk for home in self._nurseries()]
        code = typed.get("structure", "").replace("\x00", "").upper()[:40]
        structure = Structure.objects.filter(code=code, nursery__in=homes).first()
        context = self.get_context_data(rows=rows, preview=preview_of(rows, structure))
        return self.render_to_response(context)


class SentBag:
    """The form as it was sent: `out:CODE`, `cause:CODE`, `tag:CODE`, `cell:CODE`."""

    def __init__(self, typed: Mapping[str, str], collection: str, pieces: set[str]) -> None:
        self.typed = typed
        self.collection = collection
        try:
            self.key = uuid.UUID(typed.get("uid", ""))
        except ValueError:
            self.key = uuid.uuid4()
        codes = [
            name.partition(":")[2]
            for name, value in typed.items()
            if name.startswith("out:") and value
        ]
        self.pieces = [code for code in codes if code in pieces]
        self.cut = [code for code in codes if code not in pieces]
        self.arrived = sum(typed[f"out:{code}"] == "arrived" for code in codes)

    def given(self) -> ArrivalsIn:
        """What arrived; raises Refused with one problem a fault."""
        typed = self.typed
        tagged = [code for code in self.cut if typed.get(f"tag:{code}", "").strip()]
        if tagged:
            message = _("%(code)s was cut aboard: tag it by a tagging.") % {"code": tagged[0]}
            at = self.cut.index(tagged[0])
            raise Refused(Problem("tag_by_tagging", message, ("cut_aboard", at, "tag")))
        return read(
            ArrivalsIn,
            {
                "uid": str(self.key),
                "collection": self.collection,
                "nursery": typed.get("nursery", ""),
                "structure": typed.get("structure", "").strip() or None,
                "when": typed.get("when", ""),
                "note": typed.get("note", ""),
                "done_by": names_in(typed.get("done_by", "")),
                "pieces": [self._row(code) for code in self.pieces],
                "cut_aboard": [self._row(code) for code in self.cut],
            },
        )

    def _row(self, code: str) -> dict[str, Any]:
        outcome = self.typed[f"out:{code}"]
        row: dict[str, Any] = {"ramet": code, "outcome": outcome}
        if outcome == "dead":
            row["cause"] = self.typed.get(f"cause:{code}") or "unknown"
        if outcome == "arrived":
            cell = self.typed.get(f"cell:{code}", "").strip()
            row["cell"] = cell or None
            row["structure"] = (self.typed.get("structure", "").strip() or None) if cell else None
        tag = self.typed.get(f"tag:{code}", "").strip()
        if tag:
            row["tag"] = tag
        return row

    def blank_of(self, problem: Problem) -> str:
        """The name of the blank or row that a problem is about, or an empty text."""
        path = problem.path
        if not path:
            return ""
        rows = {"pieces": self.pieces, "cut_aboard": self.cut}.get(str(path[0]))
        if rows is None:
            return str(path[0])
        at = path[1] if len(path) > 1 and isinstance(path[1], int) else None
        if problem.code == "structure_full":
            return "structure"
        return f"out:{rows[at]}" if at is not None and at < len(rows) else ""


def _chosen(structures: Sequence[Structure], typed: Mapping[str, str]) -> Structure | None:
    code = typed.get("structure", "").strip().upper()
    return next((row for row in structures if row.code == code), None)


def preview_of(rows: Sequence[Arrival], structure: Structure | None) -> Preview:
    """Put on each row the cell that it would go to, as the free cells are now."""
    coming = [row for row in rows if row.out == "arrived"]
    if structure is None:
        return Preview(_("Without a structure they stay packed."))
    if structure.is_open:
        for row in coming:
            row.goes = structure.code
        return Preview(_go(len(coming), structure))
    free = [cell.name for cell in free_cells(structure)]
    asked = {row.cell.strip().upper() for row in coming if row.cell.strip()}
    left = iter(name for name in free if name not in asked)
    for row in coming:
        row.goes = row.cell.strip().upper() or next(left, "")
    cells = [row.goes for row in coming if row.goes]
    if len(cells) < len(coming):
        words = _("%(where)s has %(free)d free cells; %(n)d are needed. Choose another structure.")
        return Preview(
            words % {"where": structure.code, "free": len(free), "n": len(coming)}, True, cells
        )
    return Preview(_go(len(coming), structure), False, cells)


def _go(n: int, structure: Structure) -> str:
    words = ngettext("%(n)d piece goes into %(where)s.", "%(n)d pieces go into %(where)s.", n)
    return words % {"n": n, "where": structure.code}


def _arrival(
    ramet: Ramet, typed: Mapping[str, str], told: Mapping[str, Sequence[Problem]], cut: bool
) -> Arrival:
    genet, code = ramet.genet, ramet.code
    out = typed.get(f"out:{code}", "")
    return Arrival(
        code=code,
        number=ramet.number,
        tags=[tag.text for tag in getattr(ramet, "worn", ())],
        genet_id=(genet.canonical_id or genet.pk) if genet is not None else None,
        cut=cut,
        out=out if out in _WORDS else "",
        cause=typed.get(f"cause:{code}", ""),
        tag=typed.get(f"tag:{code}", ""),
        cell=typed.get(f"cell:{code}", ""),
        told=told.get(f"out:{code}", ()),
    )
