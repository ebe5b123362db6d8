"""Whether the record agrees with itself: everything that is written down twice is worked out again,
and every rule is tried on all of it. Nothing is changed.

Each module is a family of rules; each difference names its rule by a stable code. A pass reads the
record by batches and keeps a few bytes a ramet, so that a million fit.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator

from nursery.outplanting.verify import (
    births,
    cells,
    descent,
    events,
    genets,
    genotyping,
    histories,
    husbandry,
    labels,
    manifests,
    reef,
    registers,
    structures,
)
from nursery.outplanting.verify.difference import Difference, Family, Tell, quiet
from nursery.outplanting.verify.reading import one_view
from nursery.outplanting.verify.rules import RULES

__all__ = ["FAMILIES", "RULES", "Difference", "verify"]

FAMILIES: dict[str, Family] = {
    "registers": registers.find,
    "genets": genets.find,
    "events": events.find,
    "structures": structures.find,
    "histories": histories.find,
    "cells": cells.find,
    "births": births.find,
    "descent": descent.find,
    "husbandry": husbandry.find,
    "genotyping": genotyping.find,
    "reef": reef.find,
    "manifests": manifests.find,
    "codes": labels.find_codes,
    "tags": labels.find_tags,
}


def verify(only: Collection[str] = (), tell: Tell = quiet) -> Iterator[Difference]:
    """Every difference, as it is found; of the families `only`, where some are named.

    The record is read as it stands when this begins. Raises KeyError for an unknown family.
    """
    chosen = [FAMILIES[name] for name in only or FAMILIES]
    with one_view():
        for family in chosen:
            yield from family(tell)
