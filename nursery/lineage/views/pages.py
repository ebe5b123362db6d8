"""The page of a ramet: what it is now, and its trace back to the wild."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, ngettext_lazy
from rest_framework.request import Request

from nursery.core.actor import Role
from nursery.core.errors import Trouble, Unknown
from nursery.core.filters import refuse_unknown
from nursery.core.phrases import counted, in_words, link, listed
from nursery.core.spoken import shown
from nursery.core.views.base import Link, Page, canonical
from nursery.core.views.tables import Column, table
from nursery.donors.models import Genet, Taxon
from nursery.lineage import queries as lineage
from nursery.lineage import resolve
from nursery.lineage.models import Ramet
from nursery.lineage.queries import Node, StepView, Trace
from nursery.lineage.views.descent import lives_in_words, places_section, where
from nursery.lineage.views.ladder import ladder
from nursery.lineage.views.telling import (
    Label,
    bases_of,
    former_tags,
    genet_words,
    identified,
    identity_sentences,
    label_sentence,
    labels_of,
    tags_of,
    what_words,
)
from nursery.lineage.views.way import way_of
from nursery.lineage.words import Cause, Life, Place, What
from nursery.outplanting.queries import trace


class RametPage(Page):
    """A ramet by its code, by a tag that it carries or carried, or by its place."""

    place = "nursery"
    template_name = "lineage/ramet.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        refuse_unknown(Request(request), ())
        found = trace(self.actor, self.kwargs["code"])
        if found.ramet != self.kwargs["code"]:
            return canonical(request, reverse("ramet", args=[found.ramet]))
        return self.render_to_response(self.get_context_data(trace=found))

    def suggestions(self, trouble: Trouble) -> Sequence[Link]:
        if not isinstance(trouble, Unknown):
            return ()
        near = resolve.near(self.kwargs["code"])
        return [Link(code, reverse("ramet", args=[code])) for code in near]

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        found: Trace = kwargs["trace"]
        row = Ramet.objects.select_related("taxon").get(code=found.ramet)
        labels = labels_of([node.ramet for node in found.nodes])
        former = former_tags([node.ramet for node in found.nodes if node.tags])
        ended = [node.ramet for node in found.nodes if node.life is Life.IDENTIFIED]
        pieces = identified(ended) if ended else {}
        may_be = lineage.candidates_of_way(found.nodes)
        codes = {node.genet for node in found.nodes} | {donor.genet for donor in found.donors}
        genet_ids = dict(Genet.objects.filter(code__in=codes).values_list("code", "pk"))
        descent = lineage.summary(lineage.of_ramet(row))
        own = {label.uid: label for label in labels.get(row.code, ())}
        bases, tags = bases_of(row), tags_of(row)
        return super().get_context_data(
            row=row,
            head=found.head,
            says=says(found),
            way=way_of(found),
            rungs=ladder(found, genet_ids, labels, former, pieces),
            genet_ids=genet_ids,
            may_be=may_be,
            labels=[label_sentence(label) for label in own.values()],
            identities=list(identity_sentences(row)),
            history=table(
                [
                    Column(_("When"), lambda step: in_words(step.event.when)),
                    Column(_("What"), lambda step: _what(step, own, bases, tags.by_entry)),
                    Column(_("Place"), lambda step: where(step.place) if step.place else ""),
                    Column(_("Hands"), lambda step: listed(step.event.done_by)),
                    Column(_("Entry"), lambda step: link(_("open"), "event", step.event.uid)),
                ],
                list(reversed(found.head.steps)),
                _("What happened to this ramet, the newest first"),
            ),
            descent=descent,
            tags=tags.sentences,
            descent_places=places_section(descent, None).table,
            descent_words=lives_in_words(descent.by_life),
            zoanthid=row.taxon.group == Taxon.Group.ZOANTHID,
            may_cut=self.actor.leads or self.actor.has(Role.FIELD, Role.NURSERY),
            **kwargs,
        )


def _what(
    step: StepView,
    labels: Mapping[str, Label],
    bases: Mapping[str, str],
    tags: Mapping[str, str],
) -> SafeString | str:
    """What a step says, with the genet of a relabelling, the base and the tags."""
    text: SafeString | str = what_words(step.what, step.life, step.cause)
    uid = str(step.event.uid)
    if step.what is What.RELABELLED and uid in labels:
        text = format_html(_("{what} as {genet}"), what=text, genet=genet_words(labels[uid].genet))
    if step.what is What.TAGGED and uid in tags:
        text = tags[uid]
    elif uid in tags:
        text = format_html("{}; {}", text, tags[uid])
    if uid in bases:
        text = format_html(_("{what}; base: {base}"), what=text, base=bases[uid])
    return text


def says(found: Trace) -> str:
    """What a ramet is and where it comes from, in one sentence."""
    return f"{_state(found.head)}. {_way(found)}."


def _state(head: Node) -> str:
    if head.life is not Life.LIVING:
        if head.life is Life.DEAD:
            text = _("It died")
            if head.cause is not None and head.cause is not Cause.UNKNOWN:
                text = _("It died of %(cause)s") % {"cause": shown(head.cause)}
            by_count = _last_life(head) is What.COUNTED_DEAD
            return _("%(died)s, by count") % {"died": text} if by_count else text
        if head.life is Life.LOST and _last_life(head) is What.COUNTED_MISSING:
            return _("It is missing, by count")
        if head.life is Life.IDENTIFIED:
            return _("It was a found piece, and turned out to be another ramet on record")
        return _("It ended: %(fate)s") % {"fate": shown(head.life)}
    match head.place.kind:
        case Place.STRUCTURE:
            told = {"structure": head.place.name, "nursery": head.place.nursery}
            if head.place.nursery:
                return _("It lives in %(structure)s at %(nursery)s") % told
            return _("It lives in %(structure)s") % told
        case Place.PLOT:
            told = {"plot": head.place.plot, "site": head.place.site}
            return _("It lives in plot %(plot)s at %(site)s") % told
        case Place.PACKED:
            return _("It lives, packed for a journey")
    return _("It lives, but has no place")


def _last_life(head: Node) -> What | None:
    """What the last step was that said whether it lives."""
    return next((step.what for step in reversed(head.steps) if step.life is not None), None)


def _way(found: Trace) -> str:
    cuttings = max(node.distance for node in found.nodes)
    back = counted(cuttings, ngettext_lazy("cutting", "cuttings"))
    if not found.complete:
        gaps = counted(len(found.gaps), ngettext_lazy("gap", "gaps"))
        told = {"cuttings": back, "gaps": gaps}
        if cuttings:
            return _("Its trace goes %(cuttings)s back and has %(gaps)s") % told
        return _("Its trace has %(gaps)s") % told
    wild = ngettext(
        "the wild colony %(colonies)s", "the wild colonies %(colonies)s", len(found.donors)
    ) % {"colonies": listed(donor.colony for donor in found.donors)}
    told = {"cuttings": back, "wild": wild}
    if cuttings:
        return _("It is %(cuttings)s away from %(wild)s") % told
    return _("It was taken straight from %(wild)s") % told
