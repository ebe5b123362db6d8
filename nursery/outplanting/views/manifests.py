"""Manifests: their list, a new one, and one with its ramets, its audit and what may be done."""

from __future__ import annotations

import re
import uuid
from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import Any, ClassVar

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.utils.translation import ngettext_lazy
from rest_framework.request import Request

from nursery.core.actor import Role, require
from nursery.core.dates import latest_today
from nursery.core.errors import Problem, Refused, Trouble
from nursery.core.filters import refuse_unknown
from nursery.core.inputs import read
from nursery.core.phrases import counted, in_words, link, number, on
from nursery.core.views import kin
from nursery.core.views.base import Page, canonical
from nursery.core.views.lists import Listing, kin_links
from nursery.core.views.returned import returned
from nursery.core.views.tables import Column, Table, table
from nursery.diversity import actions as diversity
from nursery.diversity.audits import (
    AuditTold,
    SignOffTold,
    audits_of,
    one_audit,
    sign_offs_of,
)
from nursery.diversity.inputs import SignOffIn
from nursery.diversity.views.audit import answers_table, rule_name, says, verdict_words
from nursery.donors.permits import permits_to_choose
from nursery.donors.templatetags.genet_marks import genet_mark
from nursery.outplanting import actions
from nursery.outplanting.filters import ManifestFilters
from nursery.outplanting.inputs import LinesIn, ManifestIn
from nursery.outplanting.manifests import (
    Bunch,
    Tally,
    bunches,
    manifest,
    since_seen,
    tallies,
)
from nursery.outplanting.models import Manifest, Stage
from nursery.outplanting.stock import told as changes_told
from nursery.places.models import Plot

_BLANKS = ("title", "planned", "plot", "lines", "permits", "note")


class ManifestList(Listing):
    """What is meant to be planted, and how far it has come."""

    place = "reef"
    model = Manifest
    filterset_class = ManifestFilters
    title = _lazy("Manifests")
    names = ngettext_lazy("manifest", "manifests")
    empty = _lazy(
        "The list of what a boat is to plant belongs here. Field and nursery staff draft it."
    )
    kin = kin.REEF
    ordering_fields: ClassVar = {"planned": "earliest", "code": "code"}
    default_ordering = ("-earliest", "-pk")
    columns = (
        Column(_lazy("Manifest"), lambda row: link(row, "manifest", row.code), "code"),
        Column(_lazy("Planned"), lambda row: in_words(row.planned), "planned"),
        Column(_lazy("Site"), lambda row: link(row.site, "site", row.site.code)),
        Column(_lazy("Stage"), lambda row: stage_words(row, row.tally)),
        Column(_lazy("Ramets"), lambda row: row.tally.lines, number=True),
        Column(_lazy("Planted"), lambda row: row.tally.planted, number=True),
        Column(_lazy("Drafted by"), lambda row: str(row.drafted_by)),
    )

    def get_queryset(self) -> QuerySet[Any]:
        return Manifest.objects.select_related("site", "drafted_by")

    def complete(self, rows: Sequence[Any]) -> None:
        found = tallies(rows)
        for row in rows:
            row.tally = found[row.pk]


def stage_words(row: Manifest, tally: Tally) -> str:
    """How far a manifest has come, in a word or two."""
    stage = Stage(row.stage)
    if stage is Stage.SIGNED and tally.lines and not tally.left:
        return _("planted")
    if stage is Stage.SIGNED and tally.planted:
        return _("signed off, partly planted")
    if row.lapsed and stage is not Stage.CANCELLED:
        return _("sign-off lapsed")
    return {
        Stage.DRAFT: _("draft"),
        Stage.AUDITED: _("audited, waits for a lead"),
        Stage.SIGNED: _("signed off"),
        Stage.CANCELLED: _("cancelled"),
    }[stage]


class DraftPage(Page):
    """A new manifest: where, when, and which ramets."""

    http_method_names = ["get", "head", "post"]
    place = "reef"
    template_name = "outplanting/manifest_new.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, Role.FIELD, Role.NURSERY, act="draft a manifest")
        refuse_unknown(Request(request), ("plot", "lines"))
        typed = {
            "uid": str(uuid.uuid4()),
            "planned": latest_today().isoformat(),
            "plot": request.GET.get("plot", ""),
            "lines": "\n".join(_tags(request.GET.get("lines", ""))),
        }
        return self._form(typed, [], None)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        typed, permits = request.POST.dict(), request.POST.getlist("permits")
        try:
            drafted = actions.draft(self.actor, _drafted(typed, permits))
        except Trouble as trouble:
            if trouble.status == 403:
                raise
            return self._form(typed, permits, trouble)
        return HttpResponseRedirect(reverse("manifest", args=[drafted.manifest.code]))

    def _form(
        self, typed: Mapping[str, str], permits: Sequence[str], trouble: Trouble | None
    ) -> HttpResponse:
        back = returned(trouble, _blank)
        plots = Plot.objects.filter(closed_on=None, site__closed_on=None).select_related("site")
        context = self.get_context_data(
            typed=typed,
            told=back.told,
            faults=back.faults,
            problems=back.above(_BLANKS),
            plots=plots.order_by("site__name", "code"),
            permits=permits_to_choose(permits),
            named_permits=set(permits),
        )
        return self.render_to_response(context, status=back.status)


def _blank(problem: Problem) -> str:
    first = str(problem.path[0]) if problem.path else ""
    return "plot" if first == "site" else first


def _drafted(typed: Mapping[str, str], permits: Sequence[str]) -> ManifestIn:
    """A draft as it was typed; its site is that of its plot."""
    plot = Plot.objects.select_related("site").filter(code=_clean(typed.get("plot"))).first()
    if plot is None:
        raise Refused(Problem("unknown_plot", _("Choose a plot."), ("plot",)))
    return read(
        ManifestIn,
        {
            "uid": typed.get("uid") or None,
            "site": plot.site.code,
            "plot": plot.code,
            "title": typed.get("title", ""),
            "planned": typed.get("planned", ""),
            "note": typed.get("note", ""),
            "permits": list(permits),
            "other_purposes": typed.get("other_purposes") == "on",
            "lines": [{"ramet": tag} for tag in _tags(typed.get("lines", ""))],
        },
    )


def _clean(text: str | None) -> str:
    return (text or "").replace("\x00", "").strip().upper()[:40]


def _tags(text: str) -> list[str]:
    """Codes and tags that were typed or scanned: with spaces, commas or lines between."""
    return [word for word in re.split(r"[\s,;]+", text) if word]


class ManifestPage(Page):
    """One manifest. Every act is a form of its own, told apart by `act`."""

    http_method_names = ["get", "head", "post"]
    place = "reef"
    template_name = "outplanting/manifest.html"

    @cached_property
    def manifest(self) -> Manifest:
        return manifest(self.kwargs["code"])

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if self.manifest.code != self.kwargs["code"]:
            return canonical(request, reverse("manifest", args=[self.manifest.code]))
        refuse_unknown(Request(request), ())
        return self._shown({}, None)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        typed = request.POST.dict()
        act = {
            "audit": self._audit,
            "sign": self._sign,
            "lines": self._lines,
            "swap": self._swap,
            "cancel": self._cancel,
        }.get(typed.get("act", ""))
        if act is None:
            raise Refused(Problem("not_a_choice", _("Choose one of the buttons."), ("act",)))
        try:
            said = act(typed)
        except Trouble as trouble:
            if trouble.status == 403:
                raise
            return self._shown(typed, trouble)
        messages.success(request, said)
        return HttpResponseRedirect(reverse("manifest", args=[self.manifest.code]))

    def _audit(self, typed: Mapping[str, str]) -> str:
        made = diversity.audit(self.actor, self.manifest)
        if made.stands is None:
            return _("Audited.")
        if made.stands:
            return _("Audited again: the sign-off stands.")
        return _("Audited again: the sign-off holds no more.")

    def _sign(self, typed: Mapping[str, str]) -> str:
        overrides = []
        for name, reason in typed.items():
            if name.startswith("why:") and reason.strip():
                _act, rule, taxon = name.split(":", 2)
                overrides.append({"rule": rule, "taxon": taxon or None, "reason": reason})
        given = {
            "audit": typed.get("audit", ""),
            "stock": typed.get("stock", ""),
            "note": typed.get("note", ""),
            "overrides": overrides,
        }
        diversity.sign_off(self.actor, self.manifest, read(SignOffIn, given))
        return _("Signed off. It may be planted.")

    def _lines(self, typed: Mapping[str, str]) -> str:
        given = {
            "plot": _clean(typed.get("plot")) or None,
            "add": [{"ramet": tag} for tag in _tags(typed.get("add", ""))],
            "remove": _tags(typed.get("remove", "")),
            "other_purposes": typed.get("other_purposes") == "on",
        }
        actions.change_lines(self.actor, self.manifest, read(LinesIn, given))
        return _("The list is changed.")

    def _swap(self, typed: Mapping[str, str]) -> str:
        off, put = _tags(typed.get("off", "")), _tags(typed.get("on", ""))
        if len(off) != len(put):
            message = _("Name as many that go on as that come off, in the same order.")
            raise Refused(Problem("not_as_many", message, ("on",)))
        swap = [{"off": one, "on": other} for one, other in zip(off, put, strict=True)]
        actions.change_lines(self.actor, self.manifest, read(LinesIn, {"swap": swap}))
        return _("The list is changed.")

    def _cancel(self, typed: Mapping[str, str]) -> str:
        actions.cancel(self.actor, self.manifest, typed.get("reason", ""))
        return _("Cancelled. Its ramets are free for others.")

    def _shown(self, typed: Mapping[str, str], trouble: Trouble | None) -> HttpResponse:
        row = Manifest.objects.select_related("site", "drafted_by").get(pk=self.manifest.pk)
        tally = tallies([row])[row.pk]
        audits = audits_of(row)
        signed = sign_offs_of(row)
        last = audits[0] if audits else None
        changed = since_seen(row) if row.stage in (Stage.AUDITED, Stage.SIGNED) else []
        problems = list(trouble.problems) if trouble is not None else []
        open_ = row.stage != Stage.CANCELLED
        writes = self.actor.leads or self.actor.has(Role.FIELD, Role.NURSERY)
        context = self.get_context_data(
            kin=kin_links(kin.REEF, reverse("manifests")),
            manifest=row,
            says=_says(row, tally),
            stage=stage_words(row, tally),
            permits=list(row.permits.order_by("code")),
            bunches=_bunches_table(bunches(row)),
            last=last,
            last_says=says(last) if last is not None else "",
            answers=answers_table(last) if last is not None else None,
            older=_audits_table(row, audits[1:]),
            changed=changes_told(changed),
            redrafted=row.stage == Stage.DRAFT,
            in_force=next((each for each in signed if each.lapsed_at is None), None)
            if row.stage == Stage.SIGNED
            else None,
            signed=_sign_offs_table(signed),
            failed=[(each, rule_name(each.rule)) for each in last.failed] if last else [],
            may_sign=self.actor.leads and row.stage == Stage.AUDITED and not changed,
            may_change=writes and open_,
            may_cancel=open_ and (self.actor.leads or row.drafted_by_id == self.actor.user_id),
            may_plant=row.stage == Stage.SIGNED and not changed and tally.left > 0,
            plots=row.site.plots.filter(closed_on=None).order_by("code"),
            typed=typed,
            faults=len(problems),
            problems=problems,
        )
        return self.render_to_response(context, status=trouble.status if trouble else 200)


class AuditPage(Page):
    """One audit of a manifest, as it was."""

    place = "reef"
    template_name = "diversity/audit.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        refuse_unknown(Request(self.request), ())
        row = manifest(self.kwargs["code"])
        audit = one_audit(row, self.kwargs["number"])
        return super().get_context_data(
            manifest=row,
            audit=audit,
            says=says(audit),
            answers=answers_table(audit),
            rules=[(each, rule_name(each.rule.word)) for each in audit.rules],
            **kwargs,
        )


def _says(row: Manifest, tally: Tally) -> str:
    """The manifest in one sentence."""
    words = {
        "ramets": counted(tally.lines, ngettext_lazy("ramet", "ramets")),
        "site": row.site.name,
        "when": on(row.planned),
        "planted": number(tally.planted),
    }
    if row.stage == Stage.CANCELLED:
        return _("%(ramets)s were meant for %(site)s %(when)s; it was cancelled.") % words
    if tally.planted:
        return _("%(ramets)s for %(site)s %(when)s: %(planted)s are planted.") % words
    return _("%(ramets)s for %(site)s %(when)s.") % words


def _bunches_table(rows: Sequence[Bunch]) -> Table:
    columns = [
        Column(_("Plot"), lambda row: link(row.plot, "plot", row.plot)),
        Column(_("Genet"), _genet),
        Column(_("From"), _held),
        Column(_("Ramets"), lambda row: row.ramets, number=True),
        Column(_("Planted"), lambda row: row.planted or "", number=True),
        Column(_("Not at hand"), lambda row: row.gone or "", number=True),
    ]
    empty = _("No ramet is on it yet. Put some on it below.")
    return table(columns, rows, _("What is on the manifest"), empty)


def _genet(row: Bunch) -> SafeString | str:
    if row.genet is None:
        return _("not known")
    return format_html("{} {}", genet_mark(row.genet), row.genet_name)


def _held(row: Bunch) -> SafeString | str:
    if row.packed:
        return _("packed")
    return link(row.held, "structure", row.held) if row.held else ""


def _audits_table(of: Manifest, rows: Sequence[AuditTold]) -> Table:
    columns = [
        Column(
            _("Audit"),
            lambda row: format_html(
                '<a href="{}">{}</a>',
                reverse("manifest-audit", args=[of.code, row.audit]),
                in_words(row.at),
            ),
        ),
        Column(_("Verdict"), lambda row: verdict_words(row.verdict)),
        Column(_("By"), lambda row: row.by),
        Column(_("Changed since the one before"), lambda row: row.changed),
    ]
    return table(columns, rows, _("Earlier audits"))


def _sign_offs_table(rows: Sequence[SignOffTold]) -> Table:
    columns = [
        Column(_("Signed off"), lambda row: in_words(row.at)),
        Column(_("By"), lambda row: row.by),
        Column(_("All the same, because"), _reasons),
        Column(_("Note"), lambda row: row.note),
        Column(_("Holds no more since"), lambda row: in_words(row.lapsed_at)),
        Column(_("Why"), lambda row: row.because),
    ]
    return table(columns, rows, _("Sign-offs"))


def _reasons(row: SignOffTold) -> str:
    return "; ".join(
        f"{rule_name(each.rule)}{f', {each.taxon}' if each.taxon else ''}: {each.reason}"
        for each in row.overrides
    )
