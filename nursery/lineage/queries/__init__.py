"""What can be asked of ramets."""

from nursery.lineage.queries.answers import (
    CollectionView,
    DonorView,
    EventView,
    Gap,
    IntakeView,
    Node,
    ObservationView,
    OutplantView,
    PlaceView,
    SourceView,
    StepView,
    Trace,
)
from nursery.lineage.queries.candidates import Candidates, relabelled
from nursery.lineage.queries.candidates import of_cuttings as candidates_of_cuttings
from nursery.lineage.queries.candidates import of_way as candidates_of_way
from nursery.lineage.queries.descent import (
    Descent,
    PlaceCount,
    of_donor,
    of_genet,
    of_ramet,
    summary,
)
from nursery.lineage.queries.told import Headers, tenths
from nursery.lineage.queries.trace import Tracer, place_view, trace

__all__ = [
    "Candidates",
    "CollectionView",
    "Descent",
    "DonorView",
    "EventView",
    "Gap",
    "Headers",
    "IntakeView",
    "Node",
    "ObservationView",
    "OutplantView",
    "PlaceCount",
    "PlaceView",
    "SourceView",
    "StepView",
    "Trace",
    "Tracer",
    "candidates_of_cuttings",
    "candidates_of_way",
    "of_donor",
    "of_genet",
    "of_ramet",
    "place_view",
    "relabelled",
    "summary",
    "tenths",
    "trace",
]
