"""What a proposal says: plain data that is kept as JSON and read back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pydantic import TypeAdapter

from nursery.diversity.allocation.asked import Kind
from nursery.diversity.indices import hill, largest_share


@dataclass(frozen=True, slots=True)
class Numbers:
    """The diversity of one taxon on one site; null without ramets. Shares are 0 to 1."""

    ramets: int
    genets: int
    hill_1: float | None
    hill_2: float | None
    largest_share: float | None


@dataclass(frozen=True, slots=True)
class Side:
    """One taxon on one site: as it stands, and as it would stand."""

    site: str
    site_name: str
    asked: int
    given: int
    before: Numbers
    after: Numbers


@dataclass(frozen=True, slots=True)
class RuleOf:
    """A rule of a site, or of one of its plots."""

    kind: Kind
    site: str
    plot: str | None


@dataclass(frozen=True, slots=True)
class Broken:
    """A rule that the proposal does not keep: what it asks, and what would be."""

    rule: RuleOf
    asked: float
    reached: float


@dataclass(frozen=True, slots=True)
class Pool:
    """All about one taxon.

    `unevenness` is Σ over sites of Σ (n/N)²; no plan is below `bound`, and `evenest` is the plan's
    without regard to plates. `plates` structures are touched; none fewer than `fewest_plates` hold
    these plugs. `weighed`: numbers were chosen with the plates in mind. `clashes` are sets of rules
    that cannot be kept together.
    """

    taxon: str
    taxon_name: str
    ready: int
    ready_genets: int
    sides: tuple[Side, ...]
    unevenness: float
    bound: float
    evenest: float
    gap: float
    plates: int
    fewest_plates: int
    weighed: bool
    broken: tuple[Broken, ...]
    clashes: tuple[tuple[RuleOf, ...], ...]

    @property
    def price(self) -> float:
        """How much more uneven it is for the sake of fewer plates, as a share."""
        return self.unevenness / self.evenest - 1 if self.evenest else 0.0


@dataclass(frozen=True, slots=True)
class Portion:
    """Plugs of one genet from one structure for one plot, and which ramets they are."""

    taxon: str
    genet: str
    genet_name: str
    genet_id: int
    plate: str
    plugs: int
    ramets: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Spot:
    """A position that is planted: its name, as of a cell; its unit; and what comes there."""

    position: str
    row: int
    column: int
    unit: int
    ramet: str
    genet: str
    genet_id: int
    plate: str


@dataclass(frozen=True, slots=True)
class Laid:
    """A plot's grid, planted. Of `pairs` neighbouring units, `like` are of one genet (or donor
    colony or reef, as `kept_apart` says): at random it would be `expected`, and no layout has fewer
    than `bound`. `clashing` pairs are of two taxa that were to be kept apart."""

    rows: int
    columns: int
    spacing_cm: float
    unit: int
    kept_apart: str
    spots: tuple[Spot, ...]
    pairs: int
    like: int
    expected: float
    bound: int
    clashing: int


@dataclass(frozen=True, slots=True)
class PlotPlan:
    """What one plot gets. `unlaid` says why there is no layout although one was asked for."""

    site: str
    site_name: str
    plot: str
    asked: int
    given: int
    portions: tuple[Portion, ...]
    layout: Laid | None
    unlaid: str


@dataclass(frozen=True, slots=True)
class Proposal:
    """Which plugs go where, and how good that is."""

    title: str
    planned: str
    pools: tuple[Pool, ...]
    plots: tuple[PlotPlan, ...]
    permits: tuple[str, ...] = ()

    @property
    def given(self) -> int:
        return sum(plot.given for plot in self.plots)

    @property
    def asked(self) -> int:
        return sum(plot.asked for plot in self.plots)


_ADAPTER = TypeAdapter(Proposal)


def kept(proposal: Proposal) -> dict[str, Any]:
    """A proposal as JSON holds it."""
    found: dict[str, Any] = _ADAPTER.dump_python(proposal, mode="json")
    return found


def read_back(stored: Any) -> Proposal:
    """The proposal that was kept so."""
    return _ADAPTER.validate_python(stored)


def numbers(counts: list[int]) -> Numbers:
    """The diversity of genets of which there are so many each."""
    return Numbers(
        ramets=sum(counts),
        genets=sum(n > 0 for n in counts),
        hill_1=hill(counts, 1).value,
        hill_2=hill(counts, 2).value,
        largest_share=largest_share(counts).value,
    )
