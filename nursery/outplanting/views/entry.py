"""The page of any one entry: what it says, what it touched, and how it was corrected."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from rest_framework.request import Request

from nursery.core.actor import Actor, Role
from nursery.core.dates import DateError, parse_when
from nursery.core.field_names import within
from nursery.core.filters import refuse_unknown
from nursery.core.models import Correction, Event, EventKind, Mend
from nursery.core.phrases import date_words, in_words, link, listed, number
from nursery.core.views.base import Link, Page
from nursery.core.views.register import Fact
from nursery.core.views.tables import sheet, table
from nursery.donors.flagged import flags_of_collections
from nursery.donors.models import Taxon
from nursery.donors.views.lists import permits_of
from nursery.outplanting.actions.correct.common import is_own
from nursery.outplanting.views.correcting import event_of
from nursery.outplanting.views.kinds import SLIPS
from nursery.outplanting.views.particulars import JOINED, particulars, sections
from nursery.outplanting.views.touched import Undone, touched

PAGED = frozenset({"limit", "offset"})
_MENDED = {
    Mend.VOIDED: gettext_lazy("Voided: it did not happen"),
    Mend.RESTORED: gettext_lazy("Restored: it did happen"),
    Mend.AMENDED: gettext_lazy("Amended: it happened otherwise"),
}


@dataclass(frozen=True, slots=True)
class Told:
    """One correction as the page tells it."""

    row: Correction
    words: str
    changes: Sequence[tuple[str, str, str]]
    others: Sequence[Any]


class EventPage(Page):
    """One entry of any kind: its header, its particulars, and everything that it touched."""

    template_name = "outplanting/event.html"

    @cached_property
    def event(self) -> Event:
        """The entry of the uid in the address; raises Unknown (`unknown_event`)."""
        return event_of(self.kwargs["uid"], JOINED)

    @cached_property
    def corrections(self) -> list[Correction]:
        return list(self.event.corrections.select_related("by").order_by("pk"))

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        refuse_unknown(Request(request), PAGED)
        return super().get(request, *args, **kwargs)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        event = self.event
        kind = EventKind(event.kind)
        undone = Undone.of(event, self.corrections)
        things = touched(event, kind, undone)
        found = sheet(self.request, things.rows) if things is not None else None
        caption = things.caption if things is not None else ""
        context = super().get_context_data(
            event=event,
            kind=kind,
            facts=[
                fact
                for fact in (*self._header(), *particulars(self.actor, event, kind))
                if fact.value not in (None, "")
            ],
            flags=self._flags(kind),
            sheet=found,
            says=_says(found.count, caption, event.live) if found is not None else "",
            table=table(things.columns, found.rows, caption, _("It touched nothing."))
            if things is not None and found is not None
            else None,
            sections=sections(event, kind, undone),
            corrections=self._told(),
            acts=self._acts(),
            onward=self._onward(kind),
            zoanthid=kind is EventKind.FRAGMENTATION
            and event.fragmentation.taxon.group == Taxon.Group.ZOANTHID,
            permit_caution=kind in (EventKind.COLLECTION, EventKind.OUTPLANTING),
            **kwargs,
        )
        return {**context, "place": SLIPS[kind.word].place}

    def _header(self) -> list[Fact]:
        event = self.event
        return [
            Fact(_("When"), in_words(event.when)),
            Fact(_("Hands"), listed(event.people)),
            Fact(_("Permits"), permits_of(event)),
            Fact(_("Note"), event.note),
        ]

    def _flags(self, kind: EventKind) -> Sequence[Any]:
        if kind is not EventKind.COLLECTION or not self.event.live:
            return ()
        return flags_of_collections([self.event.collection]).get(self.event.pk, [])

    def _acts(self) -> list[Link]:
        """The corrections that this person may make of the entry as it is."""
        if not may_correct(self.actor, self.event):
            return []
        last = self.corrections[-1] if self.corrections else None
        offered = (
            [("void", _("It did not happen")), ("amend", _("It happened otherwise"))]
            if self.event.live
            else [("restore", _("It did happen after all"))]
        )
        if self.event.live and last is not None and last.mend == Mend.AMENDED:
            offered.append(("undo-amendment", _("Undo the amendment")))
        return [Link(text, reverse(name, args=[self.event.uid])) for name, text in offered]

    def _onward(self, kind: EventKind) -> Link | None:
        """What often comes next, with what is known filled in."""
        if kind is not EventKind.COLLECTION or not self.event.live:
            return None
        if not SLIPS[EventKind.INTAKE.word].open_to(self.actor):
            return None
        href = reverse("intake", args=[self.event.uid])
        return Link(_("Enter what became of its pieces"), href)

    def _told(self) -> list[Told]:
        """The corrections in their order, with the entries that were corrected together."""
        together = {row.together for row in self.corrections}
        others: dict[Any, list[Event]] = defaultdict(list)
        if together:
            rows = Correction.objects.filter(together__in=together).exclude(event=self.event)
            for row in rows.select_related("event").order_by("pk"):
                others[row.together].append(row.event)
        return [
            Told(
                row,
                str(_MENDED[Mend(row.mend)]),
                [
                    (within(name), said(name, pair[0]), said(name, pair[1]))
                    for name, pair in row.changes.items()
                ],
                [link(str(other), "event", other.uid) for other in others[row.together]],
            )
            for row in self.corrections
        ]


def may_correct(actor: Actor, event: Event) -> bool:
    """Whether somebody may correct an entry: their own, or (leads) any."""
    if actor.read_only:
        return False
    return (actor.leads or actor.has(Role.FIELD, Role.NURSERY)) and is_own(actor, event)


def _says(count: int, caption: str, live: bool) -> str:
    told = {"n": number(count), "what": f"{caption[0].lower()}{caption[1:]}"}
    if live:
        return ngettext("%(n)s\u00a0row: %(what)s.", "%(n)s\u00a0rows: %(what)s.", count) % told
    return (
        ngettext(
            "%(n)s\u00a0row of what is void: %(what)s.",
            "%(n)s\u00a0rows of what is void: %(what)s.",
            count,
        )
        % told
    )


def said(name: str, value: Any) -> str:
    """One side of an amended field, as people read it."""
    if value is None or value == "" or value == []:
        return _("not known") if name == "genet" else _("none")
    if name == "when":
        try:
            return date_words(parse_when(value))
        except DateError:
            return str(value)
    if isinstance(value, list):
        return ", ".join(
            _source(item) if isinstance(item, Mapping) else str(item) for item in value
        )
    return str(value)


def _source(item: Mapping[str, Any]) -> str:
    code = str(item.get("ramet") or item.get("instead_of"))
    return _("%(code)s (used up)") % {"code": code} if item.get("used_up") else code
