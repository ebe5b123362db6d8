"""The page of a ramet: what it is now, and its trace back to the wild."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import ngettext_lazy
from rest_framework.request import Request

from nursery.core.actor import Role
from nursery.core.errors import Trouble, Unknown
from nursery.core.filters import refuse_unknown
from nursery.core.phrases import counted, in_words, link, listed
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
from nursery.lineage.words import Life, Place, What
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
                    Column("When", lambda step: in_words(step.event.when)),
                    Column("What", lambda step: _what(step, own, bases, tags.by_entry)),
                    Column("Place", lambda step: where(step.place) if step.place else ""),
                    Column("Hands", lambda step: listed(step.event.done_by)),
                    Column("Entry", lambda step: link("open", "event", step.event.uid)),
                ],
                list(reversed(found.head.steps)),
                "What happened to this ramet, the newest first",
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
        text = format_html("{} as {}", text, genet_words(labels[uid].genet))
    if step.what is What.TAGGED and uid in tags:
        text = tags[uid]
    elif uid in tags:
        text = format_html("{}; {}", text, tags[uid])
    if uid in bases:
        text = format_html("{}; base: {}", text, bases[uid])
    return text


def says(found: Trace) -> str:
    """What a ramet is and where it comes from, in one sentence."""
    return f"{_state(found.head)}. {_way(found)}."


def _state(head: Node) -> str:
    if head.life is not Life.LIVING:
        cause = f" of {head.cause.label}" if head.cause is not None and head.cause > 1 else ""
        if head.life is Life.DEAD:
            by_count = ", by count" if _last_life(head) is What.COUNTED_DEAD else ""
            return f"It died{cause}{by_count}"
        if head.life is Life.LOST and _last_life(head) is What.COUNTED_MISSING:
            return "It is missing, by count"
        if head.life is Life.IDENTIFIED:
            return "It was a found piece, and turned out to be another ramet on record"
        return f"It ended: {head.life.label}"
    match head.place.kind:
        case Place.STRUCTURE:
            at = f" at {head.place.nursery}" if head.place.nursery else ""
            return f"It lives in {head.place.name}{at}"
        case Place.PLOT:
            return f"It lives in plot {head.place.plot} at {head.place.site}"
        case Place.PACKED:
            return "It lives, packed for a journey"
    return "It lives, but has no place"


def _last_life(head: Node) -> What | None:
    """What the last step was that said whether it lives."""
    return next((step.what for step in reversed(head.steps) if step.life is not None), None)


def _way(found: Trace) -> str:
    cuttings = max(node.distance for node in found.nodes)
    back = counted(cuttings, ngettext_lazy("cutting", "cuttings"))
    if not found.complete:
        gaps = counted(len(found.gaps), ngettext_lazy("gap", "gaps"))
        return f"Its trace goes {back} back and has {gaps}" if cuttings else f"Its trace has {gaps}"
    word = "colony" if len(found.donors) == 1 else "colonies"
    wild = f"the wild {word} {listed(donor.colony for donor in found.donors)}"
    return f"It is {back} away from {wild}" if cuttings else f"It was taken straight from {wild}"
