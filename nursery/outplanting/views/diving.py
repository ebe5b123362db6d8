"""A day's plantings, dive after dive: what is aboard, and what became of it in the water."""

from __future__ import annotations

import re
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.contrib import messages
from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, QueryDict
from django.urls import reverse
from django.utils import timezone
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from nursery.core import spoken
from nursery.core.actor import Role, require
from nursery.core.errors import Problem, Refused, Trouble
from nursery.core.inputs import read
from nursery.core.models import Event, EventKind
from nursery.core.phrases import listed
from nursery.core.views.base import Page
from nursery.core.views.entered import tell
from nursery.core.views.returned import above, entered_before, names_in, returned
from nursery.donors.permits import permits_to_choose
from nursery.lineage.models import Ramet
from nursery.lineage.words import Cause, Life, Place, Purpose
from nursery.outplanting.actions.dive import enter_dive
from nursery.outplanting.dives import MOST_LOADED, DiveIn, loaded
from nursery.outplanting.manifests import unplanted
from nursery.outplanting.models import Fixing, Manifest, Stage
from nursery.outplanting.views.sheet import buttons
from nursery.places.models import Plot, Structure

ACT = "plant on the reef"
DID = (
    ("planted", gettext_lazy("Planted")),
    ("returned", gettext_lazy("Back")),
    ("lost", gettext_lazy("Lost")),
    ("dead", gettext_lazy("Died")),
)
"""What may become of a ramet on a dive, in the order of the buttons; else it is still aboard."""
_WORDS = {word for word, _label in DID}
_HEADER = ("when", "done_by", "note", "fixing", "return_to", "permits")
ASKED = ("plot", "from", "packed", "named", "sent", "manifest")


@dataclass(slots=True)
class Aboard:
    """One ramet that may be aboard, and what became of it so far."""

    code: str
    tags: list[str]
    genet_id: int | None
    where: str
    purpose: str
    did: str
    cause: str
    at: str
    told: Sequence[Problem]

    @property
    def called(self) -> str:
        return self.tags[0] if self.tags else self.code

    @property
    def buttons(self) -> SafeString:
        return buttons(f"did:{self.code}", DID, self.did, _("Aboard"))


class DivePage(Page):
    """Chooses a plot and what is aboard; then a dive is one press, and the rest stays aboard."""

    http_method_names = ["get", "head", "post"]
    place = "reef"
    template_name = "outplanting/dive.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, Role.FIELD, act=ACT)
        # A form in an address has empty blanks, and a structure is named as often as is chosen.
        for name in request.GET:
            if name not in ASKED:
                message = _("There is no parameter %(name)s.") % {"name": name[:60]}
                raise Refused(Problem("unknown_parameter", message, (name,)))
        last = (
            Event.objects.filter(
                kind=EventKind.OUTPLANTING, recorded_by=self.actor.user_id, live=True
            )
            .prefetch_related("permit_links__permit")
            .order_by("-id")
            .first()
        )
        typed = {"uid": str(uuid.uuid4()), "when": timezone.localdate().isoformat()}
        permits = []
        if last is not None:
            typed["done_by"] = ", ".join(last.people)
            permits = [entry.permit.code for entry in last.permit_links.all()]
        return self._form(typed, permits)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, Role.FIELD, act=ACT)
        typed, permits = request.POST.dict(), request.POST.getlist("permits")
        dive = SentDive(typed, permits, self._plot_code(), self.manifest)
        try:
            done = enter_dive(self.actor, dive.given())
        except Trouble as trouble:
            known = entered_before(trouble, typed, uuid.uuid5(dive.key, "planted"))
            return self._form(typed, permits, trouble, dive, known)
        if done:
            tell(request, done, dive.says())
        else:
            messages.info(request, _("What came back is where it was: there was nothing to enter."))
        back = request.GET.copy()
        back["sent"] = typed.get("uid", "")
        return HttpResponseRedirect(f"{reverse('dive')}?{back.urlencode()}")

    @cached_property
    def asked(self) -> QueryDict:
        return self.request.GET

    @cached_property
    def named(self) -> list[str]:
        """Codes and tags that were typed or scanned, in order."""
        words = re.split(r"[\s,;]+", " ".join(self.asked.getlist("named")).replace("\x00", ""))
        return list(dict.fromkeys(word[:60] for word in words if word))[:MOST_LOADED]

    @cached_property
    def manifest(self) -> Manifest | None:
        """The signed-off manifest that is planted of, if one is chosen."""
        code = self.asked.get("manifest", "").replace("\x00", "").strip()
        return Manifest.objects.filter(code=code.upper()[:40]).first() if code else None

    @cached_property
    def listed(self) -> list[tuple[str, str]]:
        """Ramet and plot of what is still to be planted of the manifest."""
        if self.manifest is None:
            return []
        rows = unplanted(self.manifest).order_by("pk")
        return list(rows.values_list("ramet__code", "plot__code"))

    def _plot_code(self) -> str:
        """The plot that is asked for; without one, the manifest's if it has but one left."""
        asked = self.asked.get("plot", "").strip().replace("\x00", "").upper()[:40]
        plots = {plot for _ramet, plot in self.listed}
        return asked or (plots.pop() if len(plots) == 1 else "")

    def _form(
        self,
        typed: Mapping[str, str],
        permits: Sequence[str],
        trouble: Trouble | None = None,
        dive: SentDive | None = None,
        known: Event | None = None,
    ) -> HttpResponse:
        plot = Plot.objects.select_related("site").filter(code=self._plot_code()).first()
        back = returned(trouble, dive.blank_of if dive else above)
        rows, missing = self._aboard(typed, back.told) if plot is not None else ([], [])
        shown = {*_HEADER, *(f"did:{row.code}" for row in rows)}
        context = self.get_context_data(
            plot=plot,
            typed=typed,
            told=back.told,
            problems=back.above(shown),
            faults=back.faults,
            entered=known,
            rows=rows,
            missing=missing,
            most=MOST_LOADED,
            did=sum(bool(row.did) for row in rows),
            causes=[(cause.word, spoken.shown(cause)) for cause in Cause],
            fixings=[(fixing.word, spoken.shown(fixing)) for fixing in Fixing],
            permits=permits_to_choose(permits),
            named_permits=set(permits),
            chosen=set(self.asked.getlist("from")),
            packed=bool(self.asked.get("packed")),
            named=" ".join(self.named),
            sent=self.asked.get("sent", ""),
            manifest=self.manifest,
            manifests=Manifest.objects.filter(stage=Stage.SIGNED).order_by("earliest", "pk"),
            **self._choices(plot),
        )
        return self.render_to_response(context, status=back.status)

    def _aboard(
        self, typed: Mapping[str, str], told: Mapping[str, Sequence[Problem]]
    ) -> tuple[list[Aboard], list[str]]:
        """What may be aboard, and what was named but is not among it."""
        structures = [code[:40].replace("\x00", "") for code in self.asked.getlist("from")]
        plot = self._plot_code()
        on_it = [ramet for ramet, into in self.listed if into == plot][: MOST_LOADED + 1]
        packed = bool(self.asked.get("packed"))
        found = list(loaded(structures, packed, [*self.named, *on_it])[: MOST_LOADED + 1])
        rows = [_row(ramet, typed, told) for ramet in found[:MOST_LOADED]]
        known = {word.upper() for row in rows for word in (row.code, *row.tags)}
        return rows, [word for word in self.named if word.upper() not in known]

    def _choices(self, plot: Plot | None) -> dict[str, Any]:
        living = Q(ramets__life=Life.LIVING, ramets__place=Place.STRUCTURE)
        structures = (
            Structure.objects.filter(closed_on=None, lost=False, plot=None)
            .annotate(living=Count("ramets", filter=living))
            .filter(living__gt=0)
            .select_related("nursery")
            .order_by("nursery__code", "code")
        )
        plots = Plot.objects.filter(closed_on=None, site__closed_on=None).select_related("site")
        packed = Ramet.objects.filter(place=Place.PACKED, life=Life.LIVING).count()
        return {
            "structures": list(structures),
            "plots": plots.order_by("site__name", "code"),
            "packed_now": packed if plot is None else 0,
        }


class SentDive:
    """A dive as it was sent: `did:CODE`, `cause:CODE`, `at:CODE`."""

    def __init__(
        self,
        typed: Mapping[str, str],
        permits: Sequence[str],
        plot: str,
        manifest: Manifest | None,
    ) -> None:
        self.typed = typed
        self.permits = permits
        self.plot = plot
        self.manifest = manifest
        self.key = _uid(typed.get("uid", ""))
        self.codes: dict[str, list[str]] = {word: [] for word in (*sorted(_WORDS), "strange")}
        for name, value in typed.items():
            if name.startswith("did:") and value:
                word = value if value in _WORDS else "strange"
                self.codes[word].append(name.partition(":")[2])

    def given(self) -> DiveIn:
        """The dive; raises Refused with one problem a fault."""
        if self.codes["strange"]:
            code = self.codes["strange"][0]
            raise Refused(Problem("not_a_choice", _("Choose one of the buttons."), ("did", code)))
        typed = self.typed
        cluster = typed.get("cluster", "")
        return read(
            DiveIn,
            {
                "uid": str(self.key),
                "plot": self.plot,
                "manifest": self.manifest.code if self.manifest is not None else None,
                "when": typed.get("when", ""),
                "note": typed.get("note", ""),
                "done_by": names_in(typed.get("done_by", "")),
                "permits": list(self.permits),
                "fixing": typed.get("fixing") or None,
                "other_purposes": typed.get("other_purposes") == "on",
                "return_to": typed.get("return_to", "").strip() or None,
                "planted": [
                    {"ramet": code, "cluster": cluster, "position": typed.get(f"at:{code}", "")}
                    for code in self.codes["planted"]
                ],
                "returned": [{"ramet": code} for code in self.codes["returned"]],
                "ended": [self._end(code) for code in self._ended],
            },
        )

    @property
    def _ended(self) -> list[str]:
        return [*self.codes["lost"], *self.codes["dead"]]

    def _end(self, code: str) -> dict[str, str]:
        if code in self.codes["lost"]:
            return {"ramet": code, "fate": "lost"}
        cause = self.typed.get(f"cause:{code}") or "unknown"
        return {"ramet": code, "fate": "dead", "cause": cause}

    def blank_of(self, problem: Problem) -> str:
        """The name of the blank or row that a problem is about, or an empty text."""
        path = problem.path
        if not path:
            return ""
        if path[0] == "did":
            return f"did:{path[1]}"
        rows = {
            "planted": self.codes["planted"],
            "returned": self.codes["returned"],
            "ended": self._ended,
        }.get(str(path[0]))
        if rows is None:
            return str(path[0])
        at = path[1] if len(path) > 1 and isinstance(path[1], int) else None
        return f"did:{rows[at]}" if at is not None and at < len(rows) else ""

    def says(self) -> str:
        """What the dive did, in words."""
        counts = {word: len(codes) for word, codes in self.codes.items()}
        parts = [
            (ngettext("%(n)d planted", "%(n)d planted", counts["planted"]), counts["planted"]),
            (ngettext("%(n)d back", "%(n)d back", counts["returned"]), counts["returned"]),
            (ngettext("%(n)d lost", "%(n)d lost", counts["lost"]), counts["lost"]),
            (ngettext("%(n)d died", "%(n)d died", counts["dead"]), counts["dead"]),
        ]
        what = listed([words % {"n": n} for words, n in parts if n])
        return _("dive at %(plot)s: %(what)s") % {"plot": self.plot, "what": what}


def _row(ramet: Ramet, typed: Mapping[str, str], told: Mapping[str, Sequence[Problem]]) -> Aboard:
    genet = ramet.genet
    cell = f" {ramet.cell}" if ramet.cell is not None else ""
    did = typed.get(f"did:{ramet.code}", "")
    purpose = Purpose(ramet.purpose)
    return Aboard(
        code=ramet.code,
        tags=[tag.text for tag in getattr(ramet, "worn", ())],
        genet_id=(genet.canonical_id or genet.pk) if genet is not None else None,
        where=f"{ramet.structure.code}{cell}" if ramet.structure is not None else _("packed"),
        purpose="" if purpose is Purpose.PRODUCTION else spoken.shown(purpose),
        did=did if did in _WORDS else "",
        cause=typed.get(f"cause:{ramet.code}", ""),
        at=typed.get(f"at:{ramet.code}", ""),
        told=told.get(f"did:{ramet.code}", ()),
    )


def _uid(text: str) -> uuid.UUID:
    """The form's uid; one of its own where it brings none."""
    try:
        return uuid.UUID(text)
    except ValueError:
        return uuid.uuid4()
