"""The sentences of a trace: what stands at each of its rungs. HTML, every name a link."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from django.utils.html import format_html
from django.utils.safestring import SafeString

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
from nursery.lineage.words import Cause, Life

Said = str | SafeString


def entry(event: EventView) -> SafeString:
    """When an entry was, leading to its page, and whose hands did it."""
    when = link(on(event.when), "event", event.uid)
    return format_html("{} by {}", when, listed(event.done_by)) if event.done_by else when


def ramet_notes(node: Node) -> str:
    """What is said beside a ramet's code."""
    generation = {None: "generation not known", 0: "wild fragment"}.get(
        node.generation, f"generation {node.generation}"
    )
    tags = f"tag {', '.join(node.tags)}" if node.tags else ""
    ended = node.life.label if node.life is not Life.LIVING else ""
    return " · ".join(part for part in (generation, tags, ended) if part)


def ramet_sentence(node: Node, born: StepView | None) -> SafeString:
    """How a ramet came into the record: cut, collected, or entered; when, by whom, into what."""
    into: Said = ""
    if born is not None and born.place is not None and born.place.structure is not None:
        into = format_html(", into {}", link(born.place.name, "structure", born.place.structure))
    return format_html("{} {}{}.", _came(node), entry(node.born), into)


def _came(node: Node) -> Said:
    if node.sources:
        mothers = [
            format_html("{}{}", _down_to(source.ramet), " (used up)" if source.used_up else "")
            for source in node.sources
        ]
        return format_html("Cut from {}", listed(mothers))
    if node.collection is not None:
        return "A piece of what was collected"
    return f"Entered as {node.origin.label}"


def _down_to(code: str) -> SafeString:
    """A mother further down on the same page."""
    return format_html('<a href="#{}">{}</a>', code, tag(code))


def collection_sentences(row: CollectionView) -> Iterator[SafeString]:
    """What was taken, how much, by whom, under which permit; and who took it in."""
    source: Said = link(row.colony, "colony", row.colony) if row.colony else "loose pieces"
    details = [format_html("{} from {}", counted(row.pieces, "piece,pieces"), source)]
    if row.share_taken is not None:
        details.append(format_html("{}\u00a0% of the colony", number(row.share_taken)))
    if row.depth_m is not None:
        details.append(format_html("{}\u00a0m deep", number(row.depth_m)))
    yield format_html(
        "{} {}; {}.", joined(details), entry(row.event), permits(row.event.permits)
    )
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


def ramet_heading(node: Node) -> SafeString:
    """A ramet's code; the one that the page is about leads nowhere."""
    return ramet_link(node.ramet) if node.distance else tag(node.ramet)
