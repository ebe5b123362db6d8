"""The page on which ramets are cut: mothers, the plate that the pieces go to, and how many."""

from __future__ import annotations

import datetime
import json
import re
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from rest_framework.request import Request

from nursery.core.actor import Actor, Role, require
from nursery.core.errors import Problem, Refused, Trouble
from nursery.core.filters import refuse_unknown
from nursery.core.inputs import read
from nursery.core.models import Event
from nursery.core.phrases import listed
from nursery.core.recording import Recorded
from nursery.core.spoken import shown
from nursery.core.views.base import Page
from nursery.core.views.entered import tell
from nursery.donors.models import Taxon
from nursery.lineage import actions as lineage
from nursery.lineage.inputs import FragmentationIn, StructureMoveIn
from nursery.lineage.models import Ramet
from nursery.lineage.plate import with_room
from nursery.lineage.resolve import ramet_ids
from nursery.lineage.words import Purpose
from nursery.places.actions import enter_structure
from nursery.places.models import Structure
from nursery.places.queries import structures_by_code
from nursery.places.views.acting import UID, header_of, softened
from nursery.places.views.grid import signs
from nursery.places.views.words import words_for_scripts

MOST_MOTHERS = 200
_ACT = "cut ramets"


@dataclass(frozen=True, slots=True)
class Mother:
    """A ramet that is to be cut, as far as the name that was scanned is known."""

    name: str
    ramet: Ramet | None

    @property
    def genet(self) -> int | None:
        """The id of its genet, or of the one that this turned out to be."""
        ramet = self.ramet
        if ramet is None or ramet.genet is None:
            return None
        return ramet.genet.canonical_id or ramet.genet_id


def filled_in(actor: Actor, today: datetime.date, typed: Mapping[str, str]) -> dict[str, str]:
    """What stands in a form: what was typed, else today and the name of who is logged in."""
    return {"when": today.isoformat(), "done_by": actor.name, "purpose": "production", **typed}


_NAME = re.compile(
    r"(?![A-Za-z]{1,2}\d{1,3}(?:[\s,;]|$))[^\s,;]+[ \t]+[A-Za-z]{1,2}\d{1,3}(?=[\s,;]|$)|[^\s,;]+"
)
"""A code, a tag, or a structure and its cell: `K-14 C7`. cut.js reads names in the same way."""


def names_of(text: str) -> list[str]:
    """What mothers are called in a field, each once."""
    return list(dict.fromkeys(" ".join(name.split()) for name in _NAME.findall(text)))


def mothers_named(text: str) -> list[Mother]:
    """The ramets that codes, tags or places name, with blanks or commas between, each once."""
    names = names_of(text)[:MOST_MOTHERS]
    ids = ramet_ids(names)
    rows = Ramet.objects.select_related("taxon", "genet", "structure").in_bulk(ids.values())
    return [Mother(name, rows.get(ids.get(name, 0))) for name in names]


def kind_warnings(mothers: Sequence[Mother]) -> list[str]:
    """What is to be minded where mothers are not all of one genet."""
    known = [mother for mother in mothers if mother.ramet is not None]
    taxa = {mother.ramet.taxon.name for mother in known if mother.ramet is not None}
    if len(taxa) > 1:
        return [
            _("These are of several taxa: %(taxa)s. Cut each taxon by itself.")
            % {"taxa": listed(sorted(taxa))}
        ]
    genets = {mother.genet for mother in known}
    if len(genets) > 1:
        return [
            _(
                "Pooled: mothers of %(n)d genets. The pieces will have no genet, only candidates, "
                "and count for no diversity until they are genotyped."
            )
            % {"n": len(genets)}
        ]
    return []


class CutPage(Page):
    """Cut mothers into a plate: one press, one entry."""

    http_method_names = ["get", "head", "post"]
    template_name = "places/cut.html"
    place = "nursery"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, Role.NURSERY, Role.FIELD, act=_ACT)
        refuse_unknown(Request(request), ("mother", "into"))
        asked = request.GET
        typed = {"mothers": asked.get("mother", ""), "into": asked.get("into", "").upper()}
        return self.render_to_response(self.get_context_data(typed=typed))

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, Role.NURSERY, Role.FIELD, act=_ACT)
        typed = request.POST.dict()
        try:
            recorded = cut_as_typed(self.actor, typed)
        except Trouble as trouble:
            typed, problems = softened(trouble, typed)
            context = self.get_context_data(typed=typed, problems=problems, faults=len(problems))
            return self.render_to_response(context, status=trouble.status)
        event = recorded[-1].event
        mothers = names_of(typed.get("mothers", ""))
        n = event.fragmentation.children_count
        from_which = mothers[0] if len(mothers) == 1 else _("%(n)d mothers") % {"n": len(mothers)}
        tell(request, recorded, _("%(n)d cut from %(which)s") % {"n": n, "which": from_which})
        into = _target(typed)
        to = reverse("structure", args=[into]) if into else reverse("event", args=[event.uid])
        return HttpResponseRedirect(to)

    @cached_property
    def today(self) -> datetime.date:
        return timezone.localdate()

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        typed: Mapping[str, str] = kwargs["typed"]
        mothers = mothers_named(typed.get("mothers", ""))
        nurseries = None if self.actor.leads else sorted(self.actor.nurseries)
        rows = [mother.ramet for mother in mothers if mother.ramet is not None]
        return super().get_context_data(
            mothers=mothers,
            warnings=kind_warnings(mothers),
            zoanthid=any(row.taxon.group == Taxon.Group.ZOANTHID for row in rows),
            rooms=with_room(nurseries),
            signs=signs(),
            uid=typed.get(UID) or str(uuid.uuid4()),
            form=filled_in(self.actor, self.today, {k: v for k, v in typed.items() if v}),
            may_set_up=self.actor.has(Role.NURSERY, Role.LEAD),
            purposes=[(word.word, shown(word)) for word in Purpose],
            data=json.dumps({"words": words_for_scripts()}),
            **kwargs,
        )


def _target(typed: Mapping[str, str]) -> str:
    """The code of the plate that the pieces go to: a new one, one that was scanned, or a chosen."""
    for name in ("new_code", "other", "into"):
        code = typed.get(name, "").strip().upper()
        if code:
            return code
    return ""


def cut_as_typed(actor: Actor, typed: Mapping[str, str]) -> list[Recorded]:
    """Cut as the form says; a new plate is entered and set up first. All or nothing."""
    names = names_of(typed.get("mothers", ""))
    used_up = bool(typed.get("used_up"))
    spots = [cell for cell in typed.get("spots", "").split(",") if cell]
    into = _target(typed)
    header = header_of(typed)
    count = typed.get("count", "").strip()
    given: dict[str, Any] = {
        **header,
        "sources": [{"ramet": name, "used_up": used_up} for name in names],
        "structure": into or None,
    }
    purpose = typed.get("purpose") or "production"
    # The cells that were shown, unless the number was changed since.
    if spots and into and count in ("", str(len(spots))):
        given["children"] = [{"cell": cell, "purpose": purpose} for cell in spots]
    elif purpose == "production":
        given["count"] = count or None
    else:
        number = int(count) if count.isdecimal() and len(count) < 5 else 0
        given["children"] = [{"purpose": purpose}] * number
    if not given["sources"]:
        sentence = _("Scan or type the mother that was cut.")
        raise Refused(Problem("required", sentence, ("mothers",)))
    with transaction.atomic():
        set_up = _set_up(actor, typed, header) if typed.get("new_code", "").strip() else []
        return [*set_up, lineage.cut(actor, read(FragmentationIn, given))]


def _set_up(actor: Actor, typed: Mapping[str, str], header: Mapping[str, Any]) -> list[Recorded]:
    """Enter a new plate like another one, beside it; nothing where this form did so already."""
    uid = header["uid"]
    if uid and Event.objects.filter(uid=uid).exists():
        return []
    code, like = typed["new_code"].strip().upper(), typed.get("like", "").strip().upper()
    model: Structure | None = structures_by_code([like]).get(like)
    if model is None or model.bay is None:
        sentence = _("Say which plate the new one is like: one that stands in a bay.")
        raise Refused(Problem("unknown_structure", sentence, ("like",)))
    shape = {"kind": model.kind, "rows": model.rows, "columns": model.columns}
    entered = enter_structure(
        actor, {"code": code, **shape, "blocked": model.blocked}, model.nursery
    )
    standing = {
        **header,
        "uid": str(uuid.uuid5(uuid.UUID(uid), "set up")) if uid else None,
        "structures": [{"structure": entered.code, "bay": model.bay.code}],
    }
    return [lineage.move_structures(actor, read(StructureMoveIn, standing))]
