"""Who descends from whom as networkx sees it, reckoned from the cuttings and collections alone."""

from __future__ import annotations

import networkx as nx

from nursery.donors.models import Collection
from nursery.lineage.models import Ramet, Source


class Family:
    """A graph of colonies, ramets and cuttings: colony → piece, mother → cutting → child."""

    def __init__(self) -> None:
        self.graph: nx.DiGraph[tuple[str, int]] = nx.DiGraph()
        add = self.graph.add_edge
        colonies = dict(Collection.objects.values_list("event_id", "colony_id"))
        rows = Ramet.objects.order_by().values_list("pk", "fragmentation_id", "collection_id")
        for pk, cutting, collection in rows.iterator(chunk_size=50_000):
            if cutting is not None:
                add(("cutting", cutting), ("ramet", pk))
            elif colonies.get(collection) is not None:
                add(("colony", colonies[collection]), ("ramet", pk))
        for cutting, ramet in Source.objects.values_list("fragmentation_id", "ramet_id"):
            add(("ramet", ramet), ("cutting", cutting))

    def of_colony(self, pk: int) -> set[int]:
        """The ids of all ramets that came from a colony."""
        return self._ramets(nx.descendants(self.graph, ("colony", pk)))

    def of_ramet(self, pk: int) -> set[int]:
        """The ids of all ramets cut from a ramet, directly or not."""
        return self._ramets(nx.descendants(self.graph, ("ramet", pk)))

    def before(self, pk: int) -> set[int]:
        """The ids of all ramets that a ramet was cut from."""
        return self._ramets(nx.ancestors(self.graph, ("ramet", pk)))

    @staticmethod
    def _ramets(nodes: set[tuple[str, int]]) -> set[int]:
        return {pk for kind, pk in nodes if kind == "ramet"}
