"""The sentences of a trace: what stands at each of its rungs. HTML, every name a link."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence

from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, ngettext_lazy

from nursery.core.phrases import counted, joined, link, links, listed, number, on, ramet_link, tag
from nursery.core.spoken import shown
from nursery.donors.positions import Seen
from nursery.lineage.queries import (
    CollectionView,
    DonorView,
    EventView,
    IntakeView,
    Node,
    ObservationView,
    OutplantView,
    StepView,
)
from nursery.lineage.words import Cause, Life, What

Said = str | SafeString

MOST_MOTHERS = 4
"""The most mothers of a cutting that its sentence names; the rungs below name them all."""


def entry(event: EventView) -> SafeString:
    """When an entry was, leading to its page, and whose hands did it."""
    when = link(on(event.when), "event", event.uid)
    if not event.done_by:
        return when
    return format_html(_("{when} by {who}"), when=when, who=listed(event.done_by))


def family_heading(nodes: Sequence[Node], former: Collection[tuple[str, str]] = ()) -> Said:
    """The ramets of one cutting that are on the way, each a link and a place to be led to."""
    return listed(
        format_html('<span id="{}">{}{}</span>', node.ramet, _shown(node), _note(node, former))
        for node in nodes
    )


def _shown(node: Node) -> SafeString:
    """A ramet's code; the one that the page is about leads nowhere."""
    return ramet_link(node.ramet) if node.distance else tag(node.ramet)


def _note(node: Node, former: Collection[tuple[str, str]]) -> SafeString:
    """The tags of a ramet, those too that are no longer on it, and how it ended."""
    notes = [
        (_("once tag %(tag)s") if (node.ramet, text) in former else _("tag %(tag)s"))
        % {"tag": text}
        for text in dict.fromkeys(node.tags)
    ]
    if node.life is not Life.LIVING:
        notes.append(shown(node.life))
    if not notes:
        return SafeString()
    return format_html(' <span class="aside">({})</span>', ", ".join(notes))


def generation(nodes: Sequence[Node]) -> str:
    """The generation that one cutting or collection made."""
    found = nodes[0].generation
    if found is None:
        return _("generation not known")
    if found == 0:
        return ngettext("wild fragment", "wild fragments", len(nodes))
    return _("generation %(n)s") % {"n": found}


def family_sentence(nodes: Sequence[Node]) -> SafeString:
    """How ramets came into the record: cut, collected, entered; when, by whom, into what."""
    born = [step for node in nodes for step in node.steps if step.what is What.BORN]
    places = {
        step.place.name: link(step.place.name, "structure", step.place.structure)
        for step in born
        if step.place is not None and step.place.structure is not None
    }
    came, when = _came(nodes), entry(nodes[0].born)
    if not places:
        return format_html("{} {}.", came, when)
    into = listed(places.values())
    return format_html(_("{came} {when}, into {places}."), came=came, when=when, places=into)


def _came(nodes: Sequence[Node]) -> Said:
    first = nodes[0]
    sources = list(dict.fromkeys(source.ramet for node in nodes for source in node.sources))
    if len(sources) > MOST_MOTHERS:
        ramets = counted(len(sources), ngettext_lazy("ramet", "ramets"))
        return _("Cut from the %(ramets)s below") % {"ramets": ramets}
    if sources:
        return format_html(_("Cut from {mothers}"), mothers=listed(map(_down_to, sources)))
    if first.collection is not None:
        return (
            _("Pieces of what was collected")
            if len(nodes) > 1
            else _("A piece of what was collected")
        )
    return _("Entered as %(origin)s") % {"origin": shown(first.origin)}


def _down_to(code: str) -> SafeString:
    """A mother further down on the same page."""
    return format_html('<a href="#{}">{}</a>', code, tag(code))


def collection_sentences(row: CollectionView) -> Iterator[SafeString]:
    """What was taken, how much, by whom, under which permit; and who took it in."""
    if row.colony is None:
        details = [
            format_html("{}", counted(row.pieces, ngettext_lazy("loose piece", "loose pieces")))
        ]
    else:
        source = link(row.colony, "colony", row.colony)
        details = [
            format_html(
                _("{pieces} from {colony}"),
                pieces=counted(row.pieces, ngettext_lazy("piece", "pieces")),
                colony=source,
            )
        ]
    if row.share_taken is not None:
        details.append(
            format_html(_("{share}\u00a0% of the colony"), share=number(row.share_taken))
        )
    if row.depth_m is not None:
        details.append(format_html(_("{depth}\u00a0m deep"), depth=number(row.depth_m)))
    yield format_html("{} {}; {}.", joined(details), entry(row.event), permits(row.event.permits))
    for intake in row.intakes:
        yield intake_sentence(intake)


def permits(codes: Sequence[str]) -> SafeString:
    """The permits of an entry, or that it names none."""
    if not codes:
        return format_html('<span class="flag">{}</span>', _("no permit named"))
    return format_html(_("permit {permits}"), permits=links(codes, "permit"))


def intake_sentence(intake: IntakeView) -> SafeString:
    nursery = link(intake.nursery, "nursery", intake.nursery)
    return format_html(
        _("Taken in at {nursery} {when}."), nursery=nursery, when=entry(intake.event)
    )


def donor_sentence(row: DonorView) -> SafeString:
    """The wild colony at the foot: taxon, genet, reef, depth, size."""
    details = [
        format_html("{}", row.taxon),
        format_html(
            _("genet {genet} ({status})"),
            genet=link(row.genet, "genet", row.genet),
            status=_(row.genet_status),
        ),
        format_html(_("on {reef}"), reef=link(row.reef_name, "reef", row.reef)),
    ]
    if row.depth_m is not None:
        details.append(format_html(_("{depth}\u00a0m deep"), depth=number(row.depth_m)))
    if row.size_cm is not None:
        details.append(format_html(_("{size}\u00a0cm across"), size=number(row.size_cm)))
    return format_html("{}.", joined(details))


def position_note(seen: Seen | None) -> str:
    """A position as one may see it: how well it is known, and how it was made coarser."""
    if seen is None:
        return ""
    exact = _("exact") if seen.exact else _("rounded")
    if seen.uncertainty_m:
        within = {"exact": exact, "metres": number(seen.uncertainty_m)}
        exact = _("%(exact)s, within %(metres)s\u00a0m") % within
    where = f"{number(seen.latitude)}, {number(seen.longitude)}"
    return f"{where} (WGS 84, {exact}). {seen.statement}".strip()


def outplant_sentence(row: OutplantView) -> SafeString:
    """When a ramet was planted, by whom, where in the plot and how it is held."""
    details = [
        f"{name} {value}"
        for name, value in (
            (_("position"), row.position),
            (_("cluster"), row.cluster),
            (_("held by"), _(row.fixing) if row.fixing else ""),
        )
        if value
    ]
    return format_html("{}.", joined([entry(row.event), *details], "; "))


def lift_sentence(step: StepView) -> SafeString:
    """When an outplant was lifted from its plot, and where it went."""
    when, place = entry(step.event), step.place
    if place is None:
        return format_html(_("Lifted {when}."), when=when)
    if place.structure is None:
        return format_html(_("Lifted {when}, {place}."), when=when, place=_(place.name))
    into = link(place.name, "structure", place.structure)
    return format_html(_("Lifted {when}, into {place}."), when=when, place=into)


def observation_sentence(row: ObservationView) -> SafeString:
    """What was seen of an outplant."""
    details: list[Said] = []
    if row.cause is not None and row.cause != Cause.UNKNOWN.word:
        details.append(_("cause: %(cause)s") % {"cause": _(row.cause.replace("_", " "))})
    if row.tissue_lost is not None:
        details.append(
            _("%(share)s\u00a0%% of its tissue lost") % {"share": number(row.tissue_lost)}
        )
    if row.size_cm is not None:
        details.append(f"{number(row.size_cm)}\u00a0cm")
    if row.note:
        details.append(row.note)
    seen = format_html(
        _("Seen {condition} {when}"), condition=_(row.condition), when=entry(row.event)
    )
    return format_html("{}.", joined([seen, *details], "; "))
