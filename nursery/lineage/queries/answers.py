"""The shapes of answers about ramets: frozen plain values, the same for API, pages and files."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from nursery.core.dates import When
from nursery.donors.positions import Seen
from nursery.lineage.words import Cause, Life, Origin, Place, Purpose, What


@dataclass(frozen=True, slots=True)
class EventView:
    """The header of an event: its uid, kind, date range, people, permits by number."""

    uid: str
    kind: str
    when: When
    done_by: tuple[str, ...]
    permits: tuple[str, ...]
    note: str


@dataclass(frozen=True, slots=True)
class PlaceView:
    """A place by its codes; `name` reads it in one line (`K-14 C7`)."""

    kind: Place
    name: str
    nursery: str | None = None
    structure: str | None = None
    cell: str | None = None
    site: str | None = None
    plot: str | None = None


@dataclass(frozen=True, slots=True)
class StepView:
    """One step of a ramet: what, by which event, and what it says of place and life."""

    what: What
    event: EventView
    place: PlaceView | None
    life: Life | None
    cause: Cause | None


@dataclass(frozen=True, slots=True)
class SourceView:
    ramet: str
    used_up: bool


@dataclass(frozen=True, slots=True)
class Node:
    """One ramet on the way back. `distance` counts cuttings from the ramet asked for (0)."""

    ramet: str
    distance: int
    generation: int | None
    origin: Origin
    taxon: str
    genet: str | None
    genet_status: str | None
    purpose: Purpose
    pieces: int
    life: Life
    cause: Cause | None
    place: PlaceView
    tags: tuple[str, ...]
    born: EventView
    collection: str | None
    sources: tuple[SourceView, ...]
    steps: tuple[StepView, ...]


@dataclass(frozen=True, slots=True)
class DonorView:
    """A donor colony at the foot; its position as the actor may see it."""

    colony: str
    name: str
    taxon: str
    genet: str
    genet_status: str
    reef: str
    reef_name: str
    depth_m: Decimal | None
    size_cm: Decimal | None
    position: Seen | None


@dataclass(frozen=True, slots=True)
class IntakeView:
    event: EventView
    nursery: str


@dataclass(frozen=True, slots=True)
class CollectionView:
    """A collection at the foot: from a colony, or loose (`colony` is None)."""

    event: EventView
    colony: str | None
    reef: str
    reef_name: str
    taxon: str
    pieces: int
    depth_m: Decimal | None
    piece_size_cm: Decimal | None
    share_taken: Decimal | None
    position: Seen | None
    intakes: tuple[IntakeView, ...]


@dataclass(frozen=True, slots=True)
class Gap:
    """A missing link: at which ramet, why (a stable code), and in words."""

    ramet: str
    code: str
    message: str


@dataclass(frozen=True, slots=True)
class OutplantView:
    """One planting of the ramet asked for, with what only the reef knows."""

    event: EventView
    site: str
    site_name: str
    plot: str
    position: str
    cluster: str
    fixing: str | None


@dataclass(frozen=True, slots=True)
class ObservationView:
    event: EventView
    condition: str
    cause: str | None
    tissue_lost: Decimal | None
    size_cm: Decimal | None
    note: str


@dataclass(frozen=True, slots=True)
class Trace:
    """The whole way from a ramet to its sources. `nodes` begins with the ramet asked for and goes
    by distance; `complete` is false where a link is missing, and `gaps` says which and why."""

    ramet: str
    taxon: str
    genet: str | None
    complete: bool
    gaps: tuple[Gap, ...]
    candidate_genets: tuple[str, ...]
    outplants: tuple[OutplantView, ...]
    observations: tuple[ObservationView, ...]
    nodes: tuple[Node, ...]
    collections: tuple[CollectionView, ...]
    donors: tuple[DonorView, ...]

    @property
    def head(self) -> Node:
        return self.nodes[0]
