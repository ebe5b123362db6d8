"""Pages by which an entry is corrected: it did not happen, did after all, or happened otherwise.

Nothing is kept before it was shown what changes; what was shown is what is done, or it is shown
anew.
"""

from __future__ import annotations

import uuid
from abc import abstractmethod
from collections.abc import Callable, Mapping, Sequence
from functools import cached_property
from types import MappingProxyType
from typing import Any, ClassVar

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop
from rest_framework.request import Request

from nursery.core.actor import Role, require
from nursery.core.errors import Problem, Refused, Trouble, Unknown
from nursery.core.filters import refuse_unknown
from nursery.core.inputs import read
from nursery.core.models import Correction, Event, EventKind, Mend
from nursery.core.views.base import Page
from nursery.lineage.late import InTheWay
from nursery.lineage.models import Source
from nursery.outplanting.actions.correct import Outcome, amend, restore, undo_amendment, void
from nursery.outplanting.actions.correct.amend import OF_KIND
from nursery.outplanting.actions.correct.common import (
    last_correction,
    require_amended,
    require_live,
    require_own,
    require_void,
)
from nursery.outplanting.corrections import AmendIn, RestoreIn, VoidIn
from nursery.outplanting.forms import Blank, Told, blanks, elsewhere, value_of
from nursery.outplanting.views.effects import changes_table, day_words, digest, effect_says

MOST_SHOWN = 50
"""The most ramets that are shown one by one."""
_SOURCES = "sources"


def event_of(text: str, joined: Mapping[EventKind, Sequence[str]] = MappingProxyType({})) -> Event:
    """The entry of a uid in the address, with what is `joined` to one of its kind.

    Raises Unknown (`unknown_event`).
    """
    try:
        uid = uuid.UUID(text)
    except ValueError:
        uid = uuid.UUID(int=0)
    rows = Event.objects.filter(uid=uid)
    also: Sequence[str] = ()
    if joined:
        kind = rows.values_list("kind", flat=True).first()
        also = joined.get(EventKind(kind), ()) if kind is not None else ()
    row = rows.select_related("recorded_by", *also).prefetch_related("permit_links__permit").first()
    if row is None:
        raise Unknown(Problem("unknown_event", _("There is no such entry.")))
    return row


class CorrectionPage(Page):
    """A form with the reason; then what would change; then it is done."""

    http_method_names = ["get", "head", "post"]
    place = "today"
    template_name = "outplanting/correct.html"
    title: ClassVar[str]
    says: ClassVar[str]
    button: ClassVar[str]
    done: ClassVar[str]
    act_words: ClassVar[str]
    """Completes "may not …"."""
    mend: ClassVar[Mend]

    @cached_property
    def event(self) -> Event:
        require(self.actor, Role.FIELD, Role.NURSERY, act=self.act_words)
        event = event_of(self.kwargs["uid"])
        require_own(self.actor, event, self.act_words)
        return event

    @cached_property
    def last(self) -> Correction | None:
        """The entry's last correction."""
        return last_correction(self.event)

    @property
    def after(self) -> str:
        """Which correction the form was made after: none of another may come between."""
        return str(self.last.pk) if self.last is not None else "0"

    @abstractmethod
    def act(self, typed: Mapping[str, str], *, preview: bool) -> Outcome:
        """Correct it, or find out only what that would change."""

    def refuse_now(self) -> None:
        """Refuse where there is nothing to correct in this way."""

    def blanks(self, typed: Mapping[str, str], problems: Sequence[Problem]) -> list[Blank]:
        """What is asked beside the reason."""
        return []

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        refuse_unknown(Request(request), ())
        self.event  # noqa: B018 - refuses those who may not
        self.refuse_now()
        return self._form({})

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        typed = request.POST.dict()
        if self._pressed_twice(typed):
            return self._away()
        if typed.get("step") == "change":
            return self._form(typed)
        try:
            self._refuse_stale(typed)
            outcome = self.act(typed, preview=True)
            shown = digest(outcome)
            if typed.get("step") != "do" or typed.get("shown") != shown:
                return self._preview(typed, outcome, shown)
            self.act(typed, preview=False)
        except Trouble as trouble:
            return self._form(typed, trouble)
        messages.success(request, _(self.done))
        return self._away()

    def _away(self) -> HttpResponse:
        return HttpResponseRedirect(reverse("event", args=[self.event.uid]))

    def _pressed_twice(self, typed: Mapping[str, str]) -> bool:
        """Whether this is the press that made the last correction, come once more."""
        last = self.last
        return (
            typed.get("step") == "do"
            and last is not None
            and str(last.pk) != typed.get("after")
            and last.by_id == self.actor.user_id
            and last.mend == self.mend
            and last.reason == typed.get("reason", "").strip()
        )

    def _refuse_stale(self, typed: Mapping[str, str]) -> None:
        if typed.get("after") != self.after:
            raise Refused(
                Problem(
                    "corrected_meanwhile",
                    _(
                        "This entry was corrected since the form was opened. Look at it as it is "
                        "now, then go on or leave it."
                    ),
                )
            )

    def _form(self, typed: Mapping[str, str], trouble: Trouble | None = None) -> HttpResponse:
        problems = trouble.problems if trouble is not None else ()
        asked = self.blanks(typed, problems)
        reason = Blank(
            "reason",
            _("Reason"),
            _("Why it is corrected. It is kept beside the entry."),
            "text",
            typed.get("reason", ""),
            required=True,
            told=[Told(each) for each in problems if each.path == ("reason",)],
        )
        blocking = trouble.event if isinstance(trouble, InTheWay) else None
        context = self.get_context_data(
            blanks=[*asked, reason],
            problems=elsewhere(problems, [blank.name for blank in (*asked, reason)]),
            faults=len(problems),
            blocking=blocking,
            together=blocking is not None and self.mend is Mend.VOIDED,
            outcome=None,
        )
        return self.render_to_response(context, status=trouble.status if trouble else 200)

    def _preview(self, typed: Mapping[str, str], outcome: Outcome, shown: str) -> HttpResponse:
        left_out = {"csrfmiddlewaretoken", "step", "shown", "after"}
        ramets = list(dict.fromkeys(change.ramet for change in outcome.changes))
        context = self.get_context_data(
            outcome=outcome,
            shown=shown,
            meanwhile=typed.get("step") == "do",
            typed=typed,
            kept=[(name, value) for name, value in typed.items() if name not in left_out],
            effect=effect_says(outcome, len(ramets)),
            others=self._others(outcome),
            changes=changes_table(outcome, ramets[:MOST_SHOWN]),
            more=max(0, len(ramets) - MOST_SHOWN),
        )
        return self.render_to_response(context)

    def _others(self, outcome: Outcome) -> Sequence[Any]:
        """The entries that are corrected together, in order, where there are others."""
        if len(outcome.events) < 2:
            return ()
        return [
            (row.event, _(row.kind.replace("_", " ")), day_words(row.when))
            for row in outcome.events
        ]

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            event=self.event,
            kind=EventKind(self.event.kind),
            title=self.title,
            says=self.says,
            button=self.button,
            after=self.after,
            **kwargs,
        )


class VoidPage(CorrectionPage):
    """It did not happen."""

    title = gettext_noop("It did not happen")
    says = gettext_noop(
        "The entry stays, marked as void; what it did is taken out. It can be restored."
    )
    button = gettext_noop("Void it")
    done = gettext_noop("Voided. Nothing was deleted: it can be restored.")
    act_words = "void entries"
    mend = Mend.VOIDED

    def refuse_now(self) -> None:
        require_live(self.event)

    def act(self, typed: Mapping[str, str], *, preview: bool) -> Outcome:
        given = {
            "event": self.event.uid,
            "reason": typed.get("reason", ""),
            "together": typed.get("together") == "yes",
        }
        return void(self.actor, read(VoidIn, given), preview)


class RestorePage(CorrectionPage):
    """It did happen after all."""

    title = gettext_noop("It did happen after all")
    says = gettext_noop("What the void took out stands again, if it still can.")
    button = gettext_noop("Restore it")
    done = gettext_noop("Restored: it happened.")
    act_words = "restore entries"
    mend = Mend.RESTORED

    def refuse_now(self) -> None:
        require_void(self.event)

    def act(self, typed: Mapping[str, str], *, preview: bool) -> Outcome:
        given = {"event": self.event.uid, "reason": typed.get("reason", "")}
        return restore(self.actor, read(RestoreIn, given), preview)


class UndoPage(CorrectionPage):
    """The last amendment was wrong."""

    title = gettext_noop("Undo the amendment")
    says = gettext_noop("The entry is what it was before its last amendment, if it still can be.")
    button = gettext_noop("Undo it")
    done = gettext_noop("The amendment is undone.")
    act_words = "amend entries"
    mend = Mend.AMENDED

    def refuse_now(self) -> None:
        require_amended(self.last)

    def act(self, typed: Mapping[str, str], *, preview: bool) -> Outcome:
        # The reason is read as that of an amendment: one rule for both.
        return undo_amendment(self.actor, self.event.uid, typed.get("reason", ""), preview)


class AmendPage(CorrectionPage):
    """It happened otherwise: what stands now is in the blanks."""

    title = gettext_noop("It happened otherwise")
    says = gettext_noop(
        "Change what was otherwise and leave the rest. What was said before is kept beside it."
    )
    button = gettext_noop("Amend it")
    done = gettext_noop("Amended. What was said before is kept beside it.")
    act_words = "amend entries"
    mend = Mend.AMENDED

    def refuse_now(self) -> None:
        require_live(self.event)

    @cached_property
    def names(self) -> list[str]:
        """The fields of an amendment that this kind of entry has, but for its mothers."""
        left_out = {"event", "reason", _SOURCES}
        return [
            name
            for name in AmendIn.model_fields
            if name not in left_out and OF_KIND.get(name, self.event.kind) == self.event.kind
        ]

    @cached_property
    def now(self) -> dict[str, str]:
        """What stands now, as people write it."""
        event = self.event
        told: dict[str, Callable[[], str]] = {
            "when": lambda: str(event.when),
            "done_by": lambda: "; ".join(event.people),
            "permits": lambda: "; ".join(row.permit.code for row in event.permit_links.all()),
            "note": lambda: event.note,
            "colony": lambda: _code(event.collection.colony),
            "plot": lambda: _code(event.outplanting.plot),
            "genet": lambda: _code(event.relabelling.genet),
        }
        return {name: told[name]() for name in self.names}

    @cached_property
    def mothers(self) -> list[Source]:
        if self.event.kind != EventKind.FRAGMENTATION:
            return []
        rows = Source.objects.filter(fragmentation__event=self.event)
        return list(rows.select_related("ramet").order_by("ramet__code"))

    def blanks(self, typed: Mapping[str, str], problems: Sequence[Problem]) -> list[Blank]:
        found = blanks(AmendIn, {**self.now, **typed}, problems, names=self.names)
        swaps = [n for n, _swap in self._swaps(typed)]
        for number, row in enumerate(self.mothers):
            mine = [
                Told(each)
                for each in problems
                if each.path[:1] == (_SOURCES,)
                and (
                    swaps.index(number) == each.row
                    if number in swaps and each.row is not None
                    else number == 0 and each.row is None
                )
            ]
            found += _mother(number, row, typed, mine)
        return found

    def _swaps(self, typed: Mapping[str, str]) -> list[tuple[int, dict[str, Any]]]:
        """The mothers of which something else was typed, by their numbers."""
        found = []
        for number, row in enumerate(self.mothers):
            name = _mother_name(number)
            if name not in typed:
                continue
            code = typed[name].strip() or row.ramet.code
            used_up = typed.get(_used_name(number)) == "on"
            if code.upper() == row.ramet.code and used_up == row.used_up:
                continue
            swap: dict[str, Any] = {"instead_of": row.ramet.code, "ramet": code}
            if used_up != row.used_up:
                swap["used_up"] = used_up
            found.append((number, swap))
        return found

    def act(self, typed: Mapping[str, str], *, preview: bool) -> Outcome:
        data: dict[str, Any] = {"event": self.event.uid, "reason": typed.get("reason", "")}
        for name in self.names:
            text = typed.get(name, self.now[name]).replace("\r\n", "\n").strip()
            if text == self.now[name]:
                continue
            empty_is_none = name == "genet" and not text
            data[name] = None if empty_is_none else value_of(AmendIn, name, text)
        if swaps := self._swaps(typed):
            data[_SOURCES] = [swap for _number, swap in swaps]
        return amend(self.actor, read(AmendIn, data), preview)


def _code(row: Any) -> str:
    return row.code if row is not None else ""


def _mother_name(number: int) -> str:
    return f"mother-{number}"


def _used_name(number: int) -> str:
    return f"used-up-{number}"


def _mother(
    number: int, row: Source, typed: Mapping[str, str], told: Sequence[Told]
) -> list[Blank]:
    """The blanks of one mother: which ramet it was, and whether it was used up."""
    name, used = _mother_name(number), _used_name(number)
    ticked = typed.get(used, "") if name in typed else "on" if row.used_up else ""
    code = row.ramet.code
    return [
        Blank(
            name,
            _("Cut from %(code)s") % {"code": code},
            _("Another ramet, if it was cut from that one instead."),
            "line",
            typed.get(name, code),
            told=told,
        ),
        Blank(
            used,
            _("%(code)s was used up") % {"code": code},
            _("Nothing of it was left to grow on."),
            "tick",
            ticked,
        ),
    ]
