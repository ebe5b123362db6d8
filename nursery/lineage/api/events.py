"""What happens to ramets, by API: collections, intakes, cuttings, moves, stock entries."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, ClassVar, cast

from django.db.models import Prefetch, QuerySet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from nursery.core.actor import Actor
from nursery.core.api.answers import schema_of
from nursery.core.api.base import EventViewSet
from nursery.core.api.serializers import AnyField, AnySerializer, derived_serializer
from nursery.core.models import Event, EventKind
from nursery.core.plain import plain
from nursery.core.recording import Recorded
from nursery.donors import positions
from nursery.donors.api import ROUNDED, PositionField
from nursery.donors.filters import CollectionFilters
from nursery.donors.flagged import flags_of_collection
from nursery.donors.models import Collection, DonorSetMember
from nursery.donors.permits import Flag
from nursery.lineage.actions import collect, cut, enter_stock, move, move_structures, take_in
from nursery.lineage.api.ramets import DonorCodes, PlaceField
from nursery.lineage.filters import (
    AtNurseryFilters,
    FragmentationFilters,
    MoveFilters,
    StructureMoveFilters,
)
from nursery.lineage.inputs import (
    CollectionIn,
    FragmentationIn,
    IntakeIn,
    MoveIn,
    StockEntryIn,
    StructureMoveIn,
)
from nursery.lineage.models import Fragmentation, Intake, Ramet, Step, StockEntry
from nursery.places.api import ParentCellField
from nursery.places.models import StructureStep

StepSerializer = derived_serializer(
    Step,
    hide={"event", "ramet", "order", "structure", "row", "column", "plot", "place"},
    first={
        "ramet": serializers.CharField(source="ramet.code", read_only=True),
        "number": serializers.IntegerField(
            source="ramet.number",
            read_only=True,
            allow_null=True,
            help_text="the piece's number in its collection or cutting",
        ),
    },
    also={"place": PlaceField(allow_null=True)},
)
StructureStepSerializer = derived_serializer(
    StructureStep,
    hide={"event", "order", "parent_row", "parent_column"},
    also={"parent_cell": ParentCellField()},
)


@extend_schema_field(schema_of(tuple[Flag, ...]))
class FlagsField(serializers.Field):  # type: ignore[type-arg]
    """What is irregular about a collection: it stands nevertheless."""

    def to_representation(self, value: Any) -> Any:
        return plain(flags_of_collection(value))


class SteppedViewSet(EventViewSet):
    """Events that are told by their steps, one for each ramet they touched, in the order of entry;
    and by further rows of their own."""

    further: ClassVar[Mapping[str, QuerySet[Any]]] = {}
    """How these rows are read, by the path that leads to them: one more query each."""

    def detailed(self, rows: QuerySet[Any]) -> QuerySet[Any]:
        steps = Step.objects.select_related("ramet", "structure__nursery", "plot__site")
        path = f"{self.path()}__steps" if self.path() else "steps"
        read = {path: steps.order_by("pk"), **self.further}
        return rows.prefetch_related(*(Prefetch(to, queryset=how) for to, how in read.items()))


def rows_of(serializer: type[AnySerializer], source: str | None = None) -> AnyField:
    """Rows of one event as a field of it; `source` where the field is called otherwise."""
    options: dict[str, Any] = {} if source is None else {"source": source}
    return cast("AnyField", serializer(many=True, read_only=True, **options))


def steps_of(path: str = "event") -> AnyField:
    """What an event did to which ramet, for a row that leads to it by `path` ("": itself)."""
    return rows_of(StepSerializer, f"{path}.steps" if path else None)


STANDINGS = StructureStep.objects.select_related("structure", "bay", "parent", "plot").order_by(
    "pk"
)
"""How it is read where an event put structures."""


class CollectionViewSet(SteppedViewSet):
    """Collections. Their pieces are ramets from then on, on their way until an intake."""

    kind = EventKind.COLLECTION
    model = Collection
    hide = ROUNDED
    input_model = CollectionIn
    filterset_class = CollectionFilters
    also = {"position": PositionField()}
    also_detailed = {"flags": FlagsField(source="*", read_only=True), "steps": steps_of()}

    def act(self, actor: Actor, given: CollectionIn) -> Recorded:
        return collect(actor, given)

    def about(self, rows: Sequence[Any]) -> dict[str, Any]:
        return {"positions": positions.of_collections(self.actor, rows)}


class IntakeViewSet(SteppedViewSet):
    """Intakes: what became of the pieces of a collection on the way."""

    kind = EventKind.INTAKE
    model = Intake
    hide = frozenset({"collection"})
    input_model = IntakeIn
    filterset_class = AtNurseryFilters
    also = {"collection": serializers.UUIDField(source="collection.event.uid", read_only=True)}
    also_detailed = {"steps": steps_of()}

    def act(self, actor: Actor, given: IntakeIn) -> Recorded:
        return take_in(actor, given)

    def get_queryset(self) -> QuerySet[Any]:
        return super().get_queryset().select_related("collection__event")


class FragmentationViewSet(SteppedViewSet):
    """Cuttings. A step with `born` is a new ramet, `cut_from` and `used_up` are the sources'."""

    kind = EventKind.FRAGMENTATION
    model = Fragmentation
    hide = frozenset({"donor_set"})
    input_model = FragmentationIn
    filterset_class = FragmentationFilters
    also = {"donors": DonorCodes()}
    also_detailed = {"steps": steps_of()}

    def act(self, actor: Actor, given: FragmentationIn) -> Recorded:
        return cut(actor, given)

    def get_queryset(self) -> QuerySet[Any]:
        members = DonorSetMember.objects.select_related("colony")
        return (
            super()
            .get_queryset()
            .select_related("donor_set")
            .prefetch_related(Prefetch("donor_set__members", queryset=members))
        )


class MoveViewSet(SteppedViewSet):
    """Ramets placed, moved, or packed for a journey."""

    kind = EventKind.MOVE
    model = Event
    input_model = MoveIn
    filterset_class = MoveFilters
    also_detailed = {"steps": steps_of("")}

    def act(self, actor: Actor, given: MoveIn) -> Recorded:
        return move(actor, given)


class StructureMoveViewSet(EventViewSet):
    """Whole structures set up or moved, with all they hold."""

    kind = EventKind.STRUCTURE_MOVE
    model = Event
    input_model = StructureMoveIn
    filterset_class = StructureMoveFilters
    also_detailed = {"structures": rows_of(StructureStepSerializer, "structure_steps")}

    def act(self, actor: Actor, given: StructureMoveIn) -> Recorded:
        return move_structures(actor, given)

    def detailed(self, rows: QuerySet[Any]) -> QuerySet[Any]:
        return rows.prefetch_related(Prefetch("structure_steps", queryset=STANDINGS))


@extend_schema_field({"type": "array", "items": {"type": "string"}})
class ParentGenets(serializers.Field):  # type: ignore[type-arg]
    """The codes of the genets that a settled ramet may descend from."""

    def to_representation(self, value: Any) -> list[str]:
        return sorted(row.genet.code for row in value.all())


EnteredSerializer = derived_serializer(
    Ramet,
    name="Entered",
    hide={field.name for field in Ramet._meta.fields} - {"code", "origin"},
    also={"parents": ParentGenets(read_only=True)},
)


class StockEntryViewSet(SteppedViewSet):
    """Stock whose cuttings were not recorded: legacy, found, settled, or received."""

    kind = EventKind.STOCK_ENTRY
    model = StockEntry
    input_model = StockEntryIn
    filterset_class = AtNurseryFilters
    also_detailed = {
        "ramets": rows_of(EnteredSerializer, "event.births"),
        "steps": steps_of(),
    }

    # Those of a voided entry have never been: they are told all the same.
    further: ClassVar = {
        "event__births": Ramet.everything.order_by("pk").prefetch_related("parents__genet")
    }

    def act(self, actor: Actor, given: StockEntryIn) -> Recorded:
        return enter_stock(actor, given)
