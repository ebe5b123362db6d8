"""What comes in for planting, lifting and monitoring."""

from __future__ import annotations

import uuid
from datetime import date
from decimal import Decimal
from typing import Annotated, Literal

from pydantic import (
    AfterValidator,
    Field,
    PlainValidator,
    StringConstraints,
    WithJsonSchema,
    model_validator,
)
from pydantic_core import PydanticCustomError

from nursery.core.inputs import (
    Centimetres,
    CodeText,
    EventIn,
    Given,
    Label,
    Line,
    Note,
    Percent,
    PlannedField,
    printable,
)
from nursery.lineage.inputs import MOST_ROWS, CauseWord, CellText, RametText
from nursery.lineage.inputs.ends import Counted

MOST_STRUCTURES = 200
"""The most structures that one outplanting may name."""

MOST_LINES = 20_000
"""The most ramets on one manifest."""

FixingWord = Literal["friction", "epoxy", "cement", "nail", "tie"]


class OutplantIn(Given):
    """One ramet to plant; position and cluster are the plot's own labels."""

    ramet: RametText
    position: Label = ""
    cluster: Label = ""
    fixing: FixingWord | None = None


class PlantedStructureIn(Given):
    """One structure to plant with every living ramet in it: a rock with sockets, say."""

    structure: CodeText
    position: Label = ""
    cluster: Label = ""
    fixing: FixingWord | None = None


class OutplantingIn(EventIn):
    """Ramets planted in one plot, one by one or with the structures that they live in.

    `other_purposes` also lets broodstock and reserve be planted. `manifest` is the signed-off list
    that it is planted of.
    """

    plot: CodeText
    manifest: CodeText | None = None
    fixing: FixingWord | None = None
    other_purposes: bool = False
    outplants: Annotated[tuple[OutplantIn, ...], Field(max_length=MOST_ROWS)] = ()
    structures: Annotated[tuple[PlantedStructureIn, ...], Field(max_length=MOST_STRUCTURES)] = ()

    @model_validator(mode="after")
    def _plants_something(self) -> OutplantingIn:
        if not self.outplants and not self.structures:
            raise PydanticCustomError("too_few", "name what was planted: ramets or structures")
        return self


Title = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=200),
    AfterValidator(printable),
]


class ManifestLineIn(Given):
    """One ramet to be planted; without a plot it is the one that the manifest names."""

    ramet: RametText
    plot: CodeText | None = None
    position: Label = ""
    cluster: Label = ""


class ManifestIn(Given):
    """The proposed list for an outplanting. `planned` may be a range, and lie ahead.

    `plot` is that of the lines which name none. `other_purposes` also lets broodstock and reserve
    on it.
    """

    uid: uuid.UUID | None = None
    site: CodeText
    title: Title
    planned: PlannedField
    note: Note = ""
    permits: Annotated[tuple[CodeText, ...], Field(max_length=20)] = ()
    plot: CodeText | None = None
    other_purposes: bool = False
    lines: Annotated[tuple[ManifestLineIn, ...], Field(max_length=MOST_LINES)] = ()


class SwapIn(Given):
    """One ramet in the place of another of the same genet."""

    off: RametText
    on: RametText


class LinesIn(Given):
    """What changes on a manifest: ramets added, taken off, and swapped within their genets."""

    plot: CodeText | None = None
    other_purposes: bool = False
    add: Annotated[tuple[ManifestLineIn, ...], Field(max_length=MOST_LINES)] = ()
    remove: Annotated[tuple[RametText, ...], Field(max_length=MOST_LINES)] = ()
    swap: Annotated[tuple[SwapIn, ...], Field(max_length=MOST_LINES)] = ()

    @model_validator(mode="after")
    def _changes_something(self) -> LinesIn:
        if not (self.add or self.remove or self.swap):
            raise PydanticCustomError("too_few", "name what changes: add, remove or swap ramets")
        return self


def _value(value: object) -> str:
    """A rule's value: yes and no and numbers may also come as what JSON has for them."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float | Decimal):
        return str(value)
    if isinstance(value, str):
        return printable(value)[:40]
    raise PydanticCustomError("not_a_number", "a number, yes or no, or a word")


RuleValue = Annotated[
    str,
    PlainValidator(_value),
    WithJsonSchema({"anyOf": [{"type": "string"}, {"type": "number"}, {"type": "boolean"}]}),
]


class PolicyRuleIn(Given):
    """What one rule asks of a taxon (of all, if none is named) from a day on.

    Without a value it asks nothing from then on.
    """

    rule: Literal[
        "genets_of_site",
        "genets_of_plot",
        "largest_share",
        "effective_genets",
        "donor_reefs",
        "donor_distance",
        "depth_difference",
        "presumed_genets",
        "least_age",
        "greatest_age",
        "least_size",
        "inspected_within",
        "quarantine",
        "permit_covers",
        "manifest_demanded",
        "kept_apart",
    ]
    taxon: CodeText | None = None
    value: RuleValue | None = None
    since: date | None = None
    note: Line = ""


class LiftedIn(Given):
    """One outplant and where it goes; without a structure it is the one that the entry names."""

    ramet: RametText
    structure: CodeText | None = None
    cell: CellText | None = None


class LiftIn(EventIn):
    """Living outplants are lifted from their plots, into structures or packed for a journey."""

    structure: CodeText | None = None
    packed: bool = False
    ramets: Annotated[tuple[LiftedIn, ...], Field(min_length=1, max_length=MOST_ROWS)]

    @model_validator(mode="after")
    def _one_way(self) -> LiftIn:
        if self.packed and (self.structure or any(r.structure or r.cell for r in self.ramets)):
            raise PydanticCustomError("packed_or_placed", "packed ramets have no cell")
        return self


class ObservationIn(Given):
    """What was seen of one outplant or one donor colony."""

    ramet: RametText | None = None
    colony: CodeText | None = None
    condition: Literal["alive", "dead", "missing"]
    cause: CauseWord | None = None
    tissue_lost: Percent | None = None
    size: Centimetres | None = None
    note: Line = ""

    @model_validator(mode="after")
    def _fits(self) -> ObservationIn:
        if (self.ramet is None) == (self.colony is None):
            raise PydanticCustomError(
                "ramet_or_colony", "name one thing that was seen: a ramet or a donor colony"
            )
        if self.cause and self.condition != "dead":
            raise PydanticCustomError("cause_without_death", "only a dead one has a cause of death")
        return self


class PlotCountIn(Given):
    """What was counted in one plot: of a genet, of a taxon, or (neither) of all together."""

    plot: CodeText
    genet: CodeText | None = None
    taxon: CodeText | None = None
    alive: Counted
    dead: Counted | None = None
    missing: Counted | None = None
    note: Line = ""

    @model_validator(mode="after")
    def _one_kind(self) -> PlotCountIn:
        if self.genet is not None and self.taxon is not None:
            raise PydanticCustomError(
                "genet_or_taxon", "count by genet or by taxon: the taxon follows from the genet"
            )
        return self


class VisitIn(EventIn):
    """A trip to a site (outplants, and counts of its plots) or to a reef (donor colonies)."""

    site: CodeText | None = None
    reef: CodeText | None = None
    observations: Annotated[tuple[ObservationIn, ...], Field(max_length=2 * MOST_ROWS)] = ()
    counts: Annotated[tuple[PlotCountIn, ...], Field(max_length=MOST_ROWS)] = ()

    @model_validator(mode="after")
    def _one_place(self) -> VisitIn:
        if (self.site is None) == (self.reef is None):
            raise PydanticCustomError("site_or_reef", "a visit is to a site or to a reef: name one")
        if self.counts and self.site is None:
            raise PydanticCustomError(
                "site_or_reef", "plots are counted on a visit to their site, not to a reef"
            )
        return self
