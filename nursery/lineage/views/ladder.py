"""A trace as its template draws it: rungs with stems, a mark, a heading and sentences."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from django.utils.html import format_html
from django.utils.safestring import SafeString

from nursery.core.phrases import link
from nursery.donors.templatetags.genet_marks import disc
from nursery.lineage.growth import Step, grown
from nursery.lineage.queries import Trace
from nursery.lineage.stem import Strand
from nursery.lineage.views.sentences import (
    Said,
    collection_sentences,
    donor_sentence,
    family_heading,
    family_sentence,
    generation,
    observation_sentence,
    outplant_sentence,
    position_note,
)

_PLANTED = format_html('<span class="planted">{}</span>', "")
_TAKEN = format_html('<span class="taken">{}</span>', "")
_GAP = format_html('<span class="gap-mark">{}</span>', "?")


@dataclass(frozen=True, slots=True)
class Rung:
    """One rung: `strands` are drawn left of the words, `mark` on the one that is its own."""

    strands: Sequence[Strand]
    mark: SafeString
    heading: Said
    beside: str = ""
    sentences: Sequence[Said] = ()
    note: str = ""
    broken: bool = False


def ladder(trace: Trace, genet_ids: Mapping[str, int]) -> list[Rung]:
    """The rungs from the newest planting down to the wild, all with the same number of stems."""
    steps = grown(trace)
    width = max(len(step.rung.strands) for step in steps)
    rungs = list(_planted(trace, width))
    for step in steps:
        strands = list(step.rung.strands)
        if rungs and step is steps[0]:
            # The plantings stand above the ramet's own node.
            own = strands[0]
            strands[0] = Strand(True, own.down, own.left, own.right, own.node)
        strands += [Strand()] * (width - len(strands))
        rungs.append(_rung(step, strands, genet_ids))
    return rungs


def _planted(trace: Trace, width: int) -> Iterator[Rung]:
    """The plantings of the ramet asked for, the last one first, with what was seen since."""
    seen = [observation_sentence(row) for row in reversed(trace.observations)]
    for n, outplant in enumerate(reversed(trace.outplants)):
        plot = link(f"plot {outplant.plot}", "plot", outplant.plot)
        yield Rung(
            strands=[Strand(up=n > 0, down=True, node=True), *[Strand()] * (width - 1)],
            mark=_PLANTED,
            heading=format_html("Planted at {}, {}", outplant.site_name, plot),
            sentences=[outplant_sentence(outplant), *(seen if n == 0 else ())],
        )


def _rung(step: Step, strands: Sequence[Strand], genet_ids: Mapping[str, int]) -> Rung:
    if step.nodes:
        return Rung(
            strands,
            disc(genet_ids.get(step.nodes[0].genet or "")),
            family_heading(step.nodes),
            beside=generation(step.nodes),
            sentences=[family_sentence(step.nodes)],
        )
    if step.collection is not None:
        row = step.collection
        return Rung(
            strands,
            _TAKEN,
            format_html("Collected on {}", link(row.reef_name, "reef", row.reef)),
            sentences=list(collection_sentences(row)),
            note=position_note(row.position) if row.colony is None else "",
        )
    if step.donor is not None:
        donor = step.donor
        return Rung(
            strands,
            disc(genet_ids.get(donor.genet)),
            format_html("Wild colony {}", link(donor.colony, "colony", donor.colony)),
            beside=donor.name,
            sentences=[donor_sentence(donor)],
            note=position_note(donor.position),
        )
    gap = step.gap
    return Rung(strands, _GAP, "A gap", sentences=[gap.message if gap else ""], broken=True)
