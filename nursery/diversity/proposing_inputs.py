"""What is said when a proposal is asked for. Limits hold for each taxon by itself."""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from nursery.core.inputs import Centimetres, CodeText, Given, Percent, PlannedField
from nursery.outplanting.inputs import MOST_LINES, Title
from nursery.places.cells import MAX_SIDE

MOST_NEEDS = 600
"""The most plots and taxa that are asked for at once."""

Few = Annotated[int, Field(ge=0, le=10_000)]
Side = Annotated[int, Field(ge=1, le=MAX_SIDE)]


class LimitsIn(Given):
    """What a place has to keep of each taxon when it is planted: the most that one genet may hold
    in per cent, and the fewest genets, and reefs that they come from."""

    largest_share: Percent | None = None
    fewest_genets: Few = 0
    fewest_reefs: Few = 0

    @model_validator(mode="after")
    def _possible(self) -> Self:
        if self.largest_share is not None and self.largest_share <= 0:
            raise PydanticCustomError("out_of_range", "a largest share is above 0 per cent")
        return self


class NeedIn(Given):
    """So many plugs of a taxon for a plot."""

    plot: CodeText
    taxon: CodeText
    plugs: Annotated[int, Field(ge=1, le=MOST_LINES)]


class LayoutIn(Given):
    """A grid to lay a plot out on. `unit` plugs of one genet lie side by side, to fuse; `corners`:
    positions that touch at a corner are neighbours; `kept_apart`: neighbours are to be of different
    genets, or from different donor colonies or reefs; `taxa_apart`: not of different taxa."""

    plot: CodeText
    rows: Side
    columns: Side
    spacing: Centimetres
    unit: Annotated[int, Field(ge=1, le=100)] = 1
    corners: bool = True
    kept_apart: Literal["genet", "donor_colony", "donor_reef"] = "genet"
    taxa_apart: bool = False

    @model_validator(mode="after")
    def _apart(self) -> Self:
        if self.spacing <= 0:
            raise PydanticCustomError("out_of_range", "positions are more than 0 cm apart")
        return self


class ProposalIn(Given):
    """What plots need, of what is ready, within which limits.

    Offered are living ramets for production in a nursery, on no open manifest, born at least
    `least_days` and at most `most_days` days before the planned day and, if `smallest` is given,
    measured at so many centimetres or more by a check; of these `nurseries` alone if any are named.
    `tolerance` is how much more uneven (in per cent) a plan may be for the sake of fewer plates: 0
    takes the fewest plates of all that are as even, null chooses the numbers first. `with_planned`
    counts what is on open manifests for the sites as if it stood there; without `presumed`, genets
    that were never genotyped are left out. Manifests drafted from it name the `permits`.
    """

    title: Title
    planned: PlannedField
    needs: Annotated[tuple[NeedIn, ...], Field(min_length=1, max_length=MOST_NEEDS)]
    site_limits: LimitsIn = LimitsIn()
    plot_limits: LimitsIn = LimitsIn()
    nurseries: Annotated[tuple[CodeText, ...], Field(max_length=100)] = ()
    least_days: Annotated[int, Field(ge=0, le=36_500)] = 0
    most_days: Annotated[int, Field(ge=0, le=36_500)] | None = None
    smallest: Centimetres | None = None
    tolerance: Annotated[Decimal, Field(ge=0, le=1000)] | None = Decimal(0)
    with_planned: bool = True
    presumed: bool = True
    permits: Annotated[tuple[CodeText, ...], Field(max_length=20)] = ()
    layouts: Annotated[tuple[LayoutIn, ...], Field(max_length=MOST_NEEDS)] = ()
    seed: Annotated[int, Field(ge=0, le=2**31 - 1)] = 0

    @model_validator(mode="after")
    def _once(self) -> Self:
        if len({(need.plot, need.taxon) for need in self.needs}) < len(self.needs):
            raise PydanticCustomError("named_twice", "name each plot and taxon once")
        if len({layout.plot for layout in self.layouts}) < len(self.layouts):
            raise PydanticCustomError("named_twice", "lay each plot out once")
        return self
