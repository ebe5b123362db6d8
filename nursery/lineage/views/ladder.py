"""A trace as its template draws it: rungs with stems, a mark, a heading and sentences."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from nursery.core.phrases import link, listed, tag
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
    lift_sentence,
    observation_sentence,
    outplant_sentence,
    position_note,
)
from nursery.lineage.views.telling import Label, label_sentence
from nursery.lineage.words import What

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


def ladder(
    trace: Trace,
    genet_ids: Mapping[str, int],
    labels: Mapping[str, Sequence[Label]] | None = None,
    former: Collection[tuple[str, str]] = (),
    pieces: Mapping[str, Said] | None = None,
) -> list[Rung]:
    """The rungs from the newest planting down to the wild, all with the same number of stems.

    `labels` are the relabellings of the ramets on the way, which their rungs tell; `former` the
    tags that are no longer on them, `pieces` as whom found pieces were identified.
    """
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
        rungs.append(_rung(step, strands, genet_ids, labels or {}, former, pieces or {}))
    return rungs


def _planted(trace: Trace, width: int) -> Iterator[Rung]:
    """The plantings of the ramet asked for, the last one first, each with what was seen of it and
    how it was lifted again."""
    plantings = trace.outplants
    since = _since(trace)
    for n in range(len(plantings) - 1, -1, -1):
        outplant = plantings[n]
        plot = link(_("plot %(plot)s") % {"plot": outplant.plot}, "plot", outplant.plot)
        yield Rung(
            strands=[
                Strand(up=n < len(plantings) - 1, down=True, node=True),
                *[Strand()] * (width - 1),
            ],
            mark=_PLANTED,
            heading=format_html(
                _("Planted again at {site}, {plot}") if n else _("Planted at {site}, {plot}"),
                site=outplant.site_name,
                plot=plot,
            ),
            sentences=[outplant_sentence(outplant), *reversed(since[n])],
        )


def _since(trace: Trace) -> list[list[Said]]:
    """What was seen and done after each planting and before the next, in order of time."""
    places = {str(step.event.uid): n for n, step in enumerate(trace.head.steps)}
    begun = [places.get(str(row.event.uid), -1) for row in trace.outplants]
    found: list[list[tuple[int, Said]]] = [[] for _ in trace.outplants]
    if not found:
        return []

    def put(place: int, said: Said) -> None:
        of = max((n for n, begin in enumerate(begun) if begin <= place), default=0)
        found[of].append((place, said))

    for row in trace.observations:
        # What was seen on a visit without a step of its own is told of the last planting.
        put(places.get(str(row.event.uid), len(trace.head.steps)), observation_sentence(row))
    for n, step in enumerate(trace.head.steps):
        if step.what is What.LIFTED:
            put(n, lift_sentence(step))
    return [[said for _, said in sorted(some, key=lambda item: item[0])] for some in found]


def _rung(
    step: Step,
    strands: Sequence[Strand],
    genet_ids: Mapping[str, int],
    labels: Mapping[str, Sequence[Label]],
    former: Collection[tuple[str, str]],
    pieces: Mapping[str, Said],
) -> Rung:
    if step.nodes:
        return Rung(
            strands,
            disc(genet_ids.get(step.nodes[0].genet or "")),
            family_heading(step.nodes, former),
            beside=generation(step.nodes),
            sentences=[family_sentence(step.nodes), *_relabelled(step, labels)],
        )
    if step.collection is not None:
        row = step.collection
        return Rung(
            strands,
            _TAKEN,
            format_html(_("Collected on {reef}"), reef=link(row.reef_name, "reef", row.reef)),
            sentences=list(collection_sentences(row)),
            note=position_note(row.position) if row.colony is None else "",
        )
    if step.donor is not None:
        donor = step.donor
        return Rung(
            strands,
            disc(genet_ids.get(donor.genet)),
            format_html(
                _("Wild colony {colony}"), colony=link(donor.colony, "colony", donor.colony)
            ),
            beside=donor.name,
            sentences=[donor_sentence(donor)],
            note=position_note(donor.position),
        )
    gap = step.gap
    said: Said = gap.message if gap is not None else ""
    if gap is not None and gap.ramet in pieces:
        said = pieces[gap.ramet]
    return Rung(strands, _GAP, _("A gap"), sentences=[said], broken=True)


def _relabelled(step: Step, labels: Mapping[str, Sequence[Label]]) -> Iterator[Said]:
    """How ramets of a rung were relabelled; those of one entry and one past together."""
    alone = len(step.nodes) == 1
    told: dict[Said, list[str]] = {}
    for node in step.nodes:
        for label in labels.get(node.ramet, ()):
            told.setdefault(label_sentence(label), []).append(node.ramet)
    for said, codes in told.items():
        yield said if alone else format_html("{}: {}", listed(map(tag, codes)), said)
