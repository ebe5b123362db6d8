"""A trace told in plain text, from the planted plug down to the wild colony."""

from __future__ import annotations

from collections.abc import Iterator

from nursery.core.dates import dated
from nursery.donors.positions import Seen
from nursery.lineage.queries import CollectionView, DonorView, EventView, Node, StepView, Trace
from nursery.lineage.words import Origin, Place, What

_BORN = {"collection": "collected", "fragmentation": "cut", "stock_entry": "entered"}


def tell(trace: Trace) -> str:
    """The whole trace as lines of text, ending without a newline."""
    return "\n".join(_lines(trace))


def place_words(seen: Seen | None) -> str:
    """A position and how well it is known."""
    if seen is None:
        return "position not recorded"
    within = f" (within {seen.uncertainty_m} m)" if seen.uncertainty_m else ""
    kind = "" if seen.exact else ", rounded"
    return f"{seen.latitude}, {seen.longitude}{kind}{within}"


def _lines(trace: Trace) -> Iterator[str]:
    head = trace.head
    genet = f"genet {trace.genet} ({head.genet_status})" if trace.genet else "genet not known"
    yield f"{trace.ramet}  {trace.taxon}, {genet}, {_generation(head)}"
    yield f"  now: {head.life.label}, {_where(head)}"
    if trace.candidate_genets:
        yield f"  may be of genet {' or '.join(trace.candidate_genets)}"
    for outplant in trace.outplants:
        spot = "".join(
            f", {label} {value}"
            for label, value in (("position", outplant.position), ("cluster", outplant.cluster))
            if value
        )
        fixing = f", held by {outplant.fixing}" if outplant.fixing else ""
        yield (
            f"  planted {dated(outplant.event.when)} at {outplant.site_name} ({outplant.plot})"
            f"{spot}{fixing}{_by(outplant.event)}"
        )
    for seen in trace.observations:
        details = [seen.condition]
        details += [f"cause: {seen.cause}"] if seen.cause else []
        details += [f"{seen.tissue_lost} % of tissue lost"] if seen.tissue_lost is not None else []
        details += [f"{seen.size_cm} cm"] if seen.size_cm is not None else []
        details += [seen.note] if seen.note else []
        yield f"  seen {dated(seen.event.when)}: {', '.join(details)}{_by(seen.event)}"
    yield ""
    for node in trace.nodes:
        yield from _node(node)
    for collection in trace.collections:
        yield from _collection(collection)
    for donor in trace.donors:
        yield from _donor(donor)
    yield ""
    if trace.complete:
        yield "The trace is complete: every step leads to a donor colony."
    else:
        yield "The trace is not complete:"
        for gap in trace.gaps:
            yield f"  {gap.message}"


def _node(node: Node) -> Iterator[str]:
    pieces = f", {node.pieces} pieces" if node.pieces > 1 else ""
    tags = f", tags {', '.join(node.tags)}" if node.tags else ""
    yield f"{'|' if node.distance else 'o'} {node.ramet}  {_generation(node)}{pieces}{tags}"
    for step in node.steps:
        yield f"|     {_step(step)}{_by(step.event)}"
    if node.sources:
        sources = [f"{row.ramet}{' (used up)' if row.used_up else ''}" for row in node.sources]
        pooled = f"pooled from {len(sources)} ramets: " if len(sources) > 1 else "cut from "
        yield f"|   {pooled}{', '.join(sources)}"


def _step(step: StepView) -> str:
    what = _BORN.get(step.event.kind, "born") if step.what is What.BORN else step.what.label
    where = f", {_place(step)}" if step.place is not None and step.place.kind else ""
    end = f": {step.life.label}" if step.what is What.ENDED and step.life is not None else ""
    cause = f" ({step.cause.label})" if step.cause is not None else ""
    return f"{what} {dated(step.event.when)}{where}{end}{cause}"


def _place(step: StepView) -> str:
    if step.place is None:
        return ""
    at = step.place.nursery or step.place.site
    return f"{step.place.name} ({at})" if at else step.place.name


def _collection(row: CollectionView) -> Iterator[str]:
    what = f"from colony {row.colony}" if row.colony else "loose"
    depth = f", {row.depth_m} m deep" if row.depth_m is not None else ""
    share = f", {row.share_taken} % of the colony" if row.share_taken is not None else ""
    permits = ", ".join(row.event.permits) or "no permit named"
    yield (
        f"^ collected {what} on {row.reef_name} {dated(row.event.when)}: {row.pieces} pieces"
        f"{share}{depth}{_by(row.event)}"
    )
    yield f"    permits: {permits}; {place_words(row.position)}"
    for intake in row.intakes:
        yield f"    taken in at {intake.nursery} {dated(intake.event.when)}{_by(intake.event)}"


def _donor(row: DonorView) -> Iterator[str]:
    name = f" {row.name}" if row.name else ""
    depth = f", {row.depth_m} m deep" if row.depth_m is not None else ""
    yield (
        f"* donor colony {row.colony}{name}: {row.taxon}, genet {row.genet} ({row.genet_status}), "
        f"{row.reef_name}{depth}"
    )
    yield f"    {place_words(row.position)}"


def _generation(node: Node) -> str:
    if node.generation is None:
        return "generation not known"
    if node.origin is Origin.COLLECTED:
        return "wild fragment (generation 0)"
    return f"generation {node.generation}"


def _where(node: Node) -> str:
    if node.place.kind is Place.NOWHERE:
        return "no place"
    return f"in {node.place.name}" if node.place.kind is not Place.PACKED else "packed"


def _by(event: EventView) -> str:
    return f" — {', '.join(event.done_by)}" if event.done_by else ""
