"""The sentences of a trace: what stands at each of its rungs. HTML, every name a link."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence

from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import ngettext_lazy

from nursery.core.phrases import counted, joined, link, links, listed, number, on, ramet_link, tag
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
    return format_html("{} by {}", when, listed(event.done_by)) if event.done_by else when


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
        f"once tag {text}" if (node.ramet, text) in former else f"tag {text}"
        for text in dict.fromkeys(node.tags)
    ]
    if node.life is not Life.LIVING:
        notes.append(node.life.label)
    if not notes:
        return SafeString()
    return format_html(' <span class="aside">({})</span>', ", ".join(notes))


def generation(nodes: Sequence[Node]) -> str:
    """The generation that one cutting or collection made."""
    found = nodes[0].generation
    if found is None:
        return "generation not known"
    many = "wild fragments" if len(nodes) > 1 else "wild fragment"
    return many if found == 0 else f"generation {found}"


def family_sentence(nodes: Sequence[Node]) -> SafeString:
    """How ramets came into the record: cut, collected, entered; when, by whom, into what."""
    born = [step for node in nodes for step in node.steps if step.what is What.BORN]
    places = {
        step.place.name: link(step.place.name, "structure", step.place.structure)
        for step in born
        if step.place is not None and step.place.structure is not None
    }
    into = format_html(", into {}", listed(places.values())) if places else SafeString()
    return format_html("{} {}{}.", _came(nodes), entry(nodes[0].born), into)


def _came(nodes: Sequence[Node]) -> Said:
    first = nodes[0]
    sources = list(dict.fromkeys(source.ramet for node in nodes for source in node.sources))
    if len(sources) > MOST_MOTHERS:
        return f"Cut from the {counted(len(sources), ngettext_lazy('ramet', 'ramets'))} below"
    if sources:
        return format_html("Cut from {}", listed(map(_down_to, sources)))
    if first.collection is not None:
        return "Pieces of what was collected" if len(nodes) > 1 else "A piece of what was collected"
    return f"Entered as {first.origin.label}"


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
            format_html("{} from {}", counted(row.pieces, ngettext_lazy("piece", "pieces")), source)
        ]
    if row.share_taken is not None:
        details.append(format_html("{}\u00a0% of the colony", number(row.share_taken)))
    if row.depth_m is not None:
        details.append(format_html("{}\u00a0m deep", number(row.depth_m)))
    yield format_html("{} {}; {}.", joined(details), entry(row.event), permits(row.event.permits))
    for intake in row.intakes:
        yield intake_sentence(intake)


def permits(codes: Sequence[str]) -> SafeString:
    """The permits of an entry, or that it names none."""
    if not codes:
        return format_html('<span class="flag">{}</span>', "no permit named")
    return format_html("permit {}", links(codes, "permit"))


def intake_sentence(intake: IntakeView) -> SafeString:
    nursery = link(intake.nursery, "nursery", intake.nursery)
    return format_html("Taken in at {} {}.", nursery, entry(intake.event))


def donor_sentence(row: DonorView) -> SafeString:
    """The wild colony at the foot: taxon, genet, reef, depth, size."""
    details = [
        format_html("{}", row.taxon),
        format_html("genet {} ({})", link(row.genet, "genet", row.genet), row.genet_status),
        format_html("on {}", link(row.reef_name, "reef", row.reef)),
    ]
    if row.depth_m is not None:
        details.append(format_html("{}\u00a0m deep", number(row.depth_m)))
    if row.size_cm is not None:
        details.append(format_html("{}\u00a0cm across", number(row.size_cm)))
    return format_html("{}.", joined(details))


def position_note(seen: Seen | None) -> str:
    """A position as one may see it: how well it is known, and how it was made coarser."""
    if seen is None:
        return ""
    exact = "exact" if seen.exact else "rounded"
    within = f", within {number(seen.uncertainty_m)}\u00a0m" if seen.uncertainty_m else ""
    where = f"{number(seen.latitude)}, {number(seen.longitude)}"
    return f"{where} (WGS 84, {exact}{within}). {seen.statement}".strip()


def outplant_sentence(row: OutplantView) -> SafeString:
    """When a ramet was planted, by whom, where in the plot and how it is held."""
    details = [
        f"{name} {value}"
        for name, value in (
            ("position", row.position),
            ("cluster", row.cluster),
            ("held by", row.fixing),
        )
        if value
    ]
    return format_html("{}.", joined([entry(row.event), *details], "; "))


def lift_sentence(step: StepView) -> SafeString:
    """When an outplant was lifted from its plot, and where it went."""
    into = SafeString()
    if step.place is not None and step.place.structure is not None:
        into = format_html(", into {}", link(step.place.name, "structure", step.place.structure))
    elif step.place is not None:
        into = format_html(", {}", step.place.name)
    return format_html("Lifted {}{}.", entry(step.event), into)


def observation_sentence(row: ObservationView) -> SafeString:
    """What was seen of an outplant."""
    details: list[Said] = []
    if row.cause is not None and row.cause != Cause.UNKNOWN.word:
        details.append(f"cause: {row.cause.replace('_', ' ')}")
    if row.tissue_lost is not None:
        details.append(f"{number(row.tissue_lost)}\u00a0% of its tissue lost")
    if row.size_cm is not None:
        details.append(f"{number(row.size_cm)}\u00a0cm")
    if row.note:
        details.append(row.note)
    seen = format_html("Seen {} {}", row.condition, entry(row.event))
    return format_html("{}.", joined([seen, *details], "; "))
