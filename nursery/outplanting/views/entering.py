"""Plain pages by which anything that happened is entered: a form for each kind of entry."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext as _
from rest_framework.request import Request

from nursery.core.actor import Role, require
from nursery.core.errors import Problem, Trouble, Unknown
from nursery.core.filters import refuse_unknown
from nursery.core.inputs import EventIn, read
from nursery.core.models import Event, EventKind
from nursery.core.spoken import shown
from nursery.core.views import kin
from nursery.core.views.base import Page
from nursery.core.views.entered import tell
from nursery.core.views.lists import kin_links
from nursery.donors.models import Taxon
from nursery.lineage.models import Ramet
from nursery.lineage.regrouping import Effect
from nursery.lineage.views.regrouping import effect_shown
from nursery.outplanting.forms import UID, Filled, blanks, elsewhere, fill, names_of
from nursery.outplanting.views.kinds import ACT, GROUPS, SLIPS, Slip

STEP = "step"
"""Which button was pressed: `look` (what would change), `change` (back to the form) or `enter`."""
PERMITTED = (EventKind.COLLECTION, EventKind.OUTPLANTING)
"""Kinds that need the authority's permit."""


class EnterPage(Page):
    """What can be entered, in groups, with one sentence each."""

    place = "today"
    template_name = "outplanting/enter.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, Role.FIELD, Role.NURSERY, act=ACT)
        refuse_unknown(Request(request), ())
        return super().get(request, *args, **kwargs)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            kin=kin_links(kin.TODAY, self.request.path),
            groups=[
                (heading, [slip for slip in slips if slip.open_to(self.actor)])
                for heading, slips in GROUPS
            ],
            **kwargs,
        )


class EnterKindPage(Page):
    """The form of one kind of entry. The same press twice enters once, for the form has a uid."""

    http_method_names = ["get", "head", "post"]
    template_name = "outplanting/enter_kind.html"

    @cached_property
    def slip(self) -> Slip:
        """The kind in the address; raises Unknown (`unknown_kind`), NotAllowed."""
        slip = SLIPS.get(self.kwargs["kind"])
        if slip is None:
            raise Unknown(Problem("unknown_kind", _("There is no such kind of entry.")))
        slip.require(self.actor)
        return slip

    @cached_property
    def names(self) -> list[str]:
        return names_of(self.slip.model)

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """An empty form; what the address says of single fields is filled in already."""
        refuse_unknown(Request(request), self.names)
        return self._form({**request.GET.dict(), UID: str(uuid.uuid4())})

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        slip = self.slip
        typed = request.POST.dict()
        if typed.get(STEP) == "change":
            return self._form(typed)
        filled = fill(slip.model, typed)
        try:
            given = self._given(filled, typed)
            if slip.effect is not None and typed.get(STEP) != "enter":
                known = self._entered(typed)
                if known is None:
                    return self._effect(typed, given, slip.effect(self.actor, given))
            recorded = slip.act(self.actor, given)
        except Trouble as trouble:
            return self._refused(typed, filled, trouble)
        event = recorded.event
        tell(request, [recorded], shown(slip.kind))
        return HttpResponseRedirect(reverse("event", args=[event.uid]))

    def _given(self, filled: Filled, typed: Mapping[str, str]) -> EventIn:
        """The input. What cannot be read as rows is told together with what does not fit."""
        data = {**filled.data, UID: typed.get(UID) or None}
        try:
            given = read(self.slip.model, data)
        except Trouble as trouble:
            torn = {problem.path for problem in filled.problems}
            rest = [each for each in trouble.problems if each.path not in torn]
            trouble.problems = [*filled.problems, *rest]
            raise
        if filled.problems:
            raise Unreadable(filled.problems)
        return given

    def _entered(self, typed: Mapping[str, str]) -> Event | None:
        """The entry that this form has made already, if it has."""
        try:
            uid = uuid.UUID(typed.get(UID, ""))
        except ValueError:
            return None
        return Event.objects.filter(uid=uid).first()

    def _refused(self, typed: Mapping[str, str], filled: Filled, trouble: Trouble) -> HttpResponse:
        """The form as it was typed, with what is wrong."""
        known = self._entered(typed) if trouble.code == "uid_taken" else None
        if known is not None:
            typed = {**typed, UID: str(uuid.uuid4())}
        return self._form(
            typed,
            trouble.problems,
            filled.lines,
            status=trouble.status,
            entered=known,
            blocking=getattr(trouble, "event", None),
        )

    def _form(
        self,
        typed: Mapping[str, str],
        problems: Sequence[Problem] = (),
        lines: Mapping[str, Sequence[int]] | None = None,
        status: int = 200,
        **more: Any,
    ) -> HttpResponse:
        slip = self.slip
        if more.get("entered") is not None:
            problems = [each for each in problems if each.code != "uid_taken"]
        context = self.get_context_data(
            blanks=blanks(slip.model, typed, problems, lines),
            problems=elsewhere(problems, self.names),
            faults=len(problems),
            typed=typed,
            uid=typed.get(UID, ""),
            effect=None,
            **more,
        )
        return self.render_to_response(context, status=status)

    def _effect(self, typed: Mapping[str, str], given: EventIn, effect: Effect) -> HttpResponse:
        names = [(name, typed[name]) for name in (UID, *self.names) if typed.get(name)]
        context = self.get_context_data(
            typed=typed, kept=names, given=given, effect=effect, **effect_shown(effect)
        )
        return self.render_to_response(context)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        slip = self.slip
        context = super().get_context_data(
            slip=slip,
            kind=slip.kind,
            permit_caution=slip.kind in PERMITTED,
            zoanthid=slip.kind is EventKind.FRAGMENTATION and _zoanthids(kwargs["typed"]),
            **kwargs,
        )
        return {**context, "place": slip.place}


class Unreadable(Trouble):
    """What was pasted is no list of rows."""


def _zoanthids(typed: Mapping[str, str]) -> bool:
    """Whether zoanthids are in the record at all, or (once mothers are named) among these."""
    zoanthids = Ramet.objects.filter(taxon__group=Taxon.Group.ZOANTHID)
    words = {word.strip(',;"').upper() for word in typed.get("sources", "").split()}
    known = Ramet.objects.filter(code__in=words)
    if known.exists():
        return zoanthids.filter(code__in=words).exists()
    return zoanthids.exists()
