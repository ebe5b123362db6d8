"""The kinds of entries as they are entered: which input, which act, what it is in one sentence.

The sentences are marked here and translated in the templates that show them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext_noop as _

from nursery.core.actor import Actor, Role, require
from nursery.core.inputs import EventIn
from nursery.core.models import EventKind
from nursery.core.recording import Recorded
from nursery.genotyping.actions import take_samples
from nursery.genotyping.inputs import SamplingIn
from nursery.husbandry.actions import check
from nursery.husbandry.inputs import CheckIn
from nursery.lineage import actions as lineage
from nursery.lineage import inputs
from nursery.lineage.regrouping import Effect
from nursery.outplanting import actions as reef
from nursery.outplanting.inputs import LiftIn, OutplantingIn, VisitIn

ACT = "enter what happened"


@dataclass(frozen=True, slots=True)
class Slip:
    """One kind of entry. With `effect` it says what it would change before it is entered."""

    kind: EventKind
    model: type[EventIn]
    act: Callable[[Actor, Any], Recorded]
    says: str
    place: str
    effect: Callable[[Actor, Any], Effect] | None = None
    roles: Sequence[Role] = (Role.FIELD, Role.NURSERY)

    @property
    def shown_first(self) -> bool:
        """Whether what it would change is shown before it is entered."""
        return self.effect is not None

    def require(self, actor: Actor) -> None:
        """Refuse those who may enter nothing of this kind, whatever they would fill in."""
        require(actor, *self.roles, act=ACT)

    def open_to(self, actor: Actor) -> bool:
        return actor.leads or actor.has(*self.roles)


GROUPS: Sequence[tuple[str, Sequence[Slip]]] = (
    (
        _("Into the record"),
        (
            Slip(
                EventKind.COLLECTION,
                inputs.CollectionIn,
                lineage.collect,
                _("Pieces were taken from a donor colony, or loose ones from a reef."),
                "colonies",
            ),
            Slip(
                EventKind.INTAKE,
                inputs.IntakeIn,
                lineage.take_in,
                _("Pieces of a collection reached a nursery, or were lost on the way."),
                "nursery",
            ),
            Slip(
                EventKind.STOCK_ENTRY,
                inputs.StockEntryIn,
                lineage.enter_stock,
                _("Ramets whose cuttings were not recorded: legacy, found, settled or received."),
                "nursery",
            ),
        ),
    ),
    (
        _("In the nursery"),
        (
            Slip(
                EventKind.FRAGMENTATION,
                inputs.FragmentationIn,
                lineage.cut,
                _("Ramets were cut into new ones."),
                "nursery",
            ),
            Slip(
                EventKind.MOVE,
                inputs.MoveIn,
                lineage.move,
                _("Ramets were placed, moved, packed for a journey, or given another base."),
                "nursery",
            ),
            Slip(
                EventKind.STRUCTURE_MOVE,
                inputs.StructureMoveIn,
                lineage.move_structures,
                _("Structures were set up or moved with all they hold."),
                "nursery",
            ),
            Slip(
                EventKind.TAGGING,
                inputs.TaggingIn,
                lineage.retag,
                _("Tags were put on, taken off or lost."),
                "nursery",
            ),
            Slip(
                EventKind.CHECK,
                CheckIn,
                check,
                _("Ramets in a nursery were looked at: attached, loose, dead or missing."),
                "nursery",
                roles=(Role.NURSERY,),
            ),
            Slip(
                EventKind.COUNT,
                inputs.CountIn,
                lineage.count_structures,
                _("Structures were counted: alive, dead and missing, of a lot or of all."),
                "nursery",
            ),
            Slip(
                EventKind.ENDING,
                inputs.EndingIn,
                lineage.end_ramets,
                _("Ramets died, were lost, discarded, sampled, handed over, or fused."),
                "nursery",
            ),
            Slip(
                EventKind.STRUCTURE_LOSS,
                inputs.LossIn,
                lineage.lose_structures,
                _("Structures were lost with all that lived in them."),
                "nursery",
            ),
        ),
    ),
    (
        _("On the reef"),
        (
            Slip(
                EventKind.OUTPLANTING,
                OutplantingIn,
                reef.plant,
                _("Ramets were planted in a plot, one by one or with their structures."),
                "reef",
            ),
            Slip(
                EventKind.VISIT,
                VisitIn,
                reef.visit,
                _("Outplants or donor colonies were looked at, or plots counted."),
                "reef",
            ),
            Slip(
                EventKind.LIFT,
                LiftIn,
                reef.lift,
                _("Living outplants were lifted from their plots."),
                "reef",
            ),
        ),
    ),
    (
        _("Which is which"),
        (
            Slip(
                EventKind.SAMPLING,
                SamplingIn,
                take_samples,
                _("Samples for the laboratory were taken from ramets or donor colonies."),
                "genets",
            ),
            Slip(
                EventKind.RELABELLING,
                inputs.RelabellingIn,
                lineage.relabel,
                _("Ramets turned out to be of another genet than their labels say."),
                "genets",
                effect=lineage.relabelling_effect,
            ),
            Slip(
                EventKind.IDENTIFICATION,
                inputs.IdentificationIn,
                lineage.identify,
                _("Known ramets were found again: as loose pieces, or in a structure."),
                "genets",
            ),
            Slip(
                EventKind.GENET_MERGE,
                inputs.GenetMergeIn,
                lineage.merge_genets,
                _("Two genets turned out to be one individual. For programme leads."),
                "genets",
                effect=lineage.merging_effect,
                roles=(),
            ),
        ),
    ),
)

SLIPS = {slip.kind.word: slip for _heading, slips in GROUPS for slip in slips}
"""All of them, by the word of their kind."""
