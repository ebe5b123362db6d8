"""Programmes made up at random, done through the actions and reckoned beside them in plain Python.

A plan is a list of acts that name ramets by number, counted round: any plan fits any state. What
the rules forbid must be refused, so that a plan may ask for anything.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, timedelta

import networkx as nx  # type: ignore[import-untyped]
import pytest
from django.db import transaction
from hypothesis import strategies as st

from nursery.core.errors import Refused
from nursery.donors.models import DonorColony
from nursery.lineage.models import Ramet
from nursery.lineage.words import Life, Place
from tests import factories as f

START = date(2022, 3, 1)


@dataclass(frozen=True)
class Act:
    """`kind` of act, on the ramets of these numbers; the rest as the kind needs it."""

    kind: str
    numbers: tuple[int, ...]
    count: int
    flags: tuple[bool, bool, bool]
    vague: str


acts = st.builds(
    Act,
    kind=st.sampled_from(["collect", "stock", "cut", "cut", "cut", "move", "plant", "visit"]),
    numbers=st.lists(st.integers(0, 60), min_size=1, max_size=3, unique=True).map(tuple),
    count=st.integers(1, 3),
    flags=st.tuples(st.booleans(), st.booleans(), st.booleans()),
    vague=st.sampled_from(["day", "day", "month", "year"]),
)
plans = st.lists(acts, min_size=3, max_size=14)


@dataclass
class Known:
    """What this reckoning knows of one ramet."""

    pk: int
    donors: frozenset[str]
    genet: int | None
    generation: int | None
    whole: bool
    """Whether every way back ends in a donor colony."""
    collections: frozenset[str]
    life: Life = Life.LIVING
    place: Place = Place.NOWHERE
    planted: bool = False


@dataclass
class Reckoning:
    """A programme under way: `graph` leads from each source to its children, by code."""

    programme: f.Programme
    colonies: list[DonorColony]
    known: dict[str, Known] = field(default_factory=dict)
    graph: nx.DiGraph = field(default_factory=nx.DiGraph)
    day: date = START
    refusals: int = 0

    def do(self, plan: list[Act]) -> None:
        for act in plan:
            self.day += timedelta(days=1)
            if not self.known and act.kind not in ("collect", "stock"):
                continue
            getattr(self, f"_{act.kind}")(act)

    def _when(self, act: Act, legal: bool = True) -> str:
        """When it is done. What is not legal is so on a day: a vague date could be an earlier one,
        on which it was."""
        if not legal:
            return self.day.isoformat()
        return {
            "day": self.day.isoformat(),
            "month": self.day.isoformat()[:7],
            "year": self.day.isoformat()[:4],
        }[act.vague]

    def _chosen(self, act: Act) -> list[str]:
        codes = sorted(self.known)
        return list(dict.fromkeys(codes[number % len(codes)] for number in act.numbers))

    def _rows(self, codes: list[str]) -> list[Ramet]:
        return [Ramet.objects.get(code=code) for code in codes]

    @contextmanager
    def _expecting(self, legal: bool) -> Iterator[None]:
        """The block must be refused exactly where this reckoning says so."""
        if legal:
            yield
        else:
            self.refusals += 1
            with pytest.raises(Refused):
                yield

    def _born(self, ramet: Ramet, known: Known, parents: list[str]) -> None:
        self.known[ramet.code] = known
        self.graph.add_node(ramet.code)
        self.graph.add_edges_from((parent, ramet.code) for parent in parents)

    def _collect(self, act: Act) -> None:
        """From a colony or loose; half of the time received into the tray."""
        p = self.programme
        loose, received, _ = act.flags
        colony = None if loose else self.colonies[act.numbers[0] % len(self.colonies)]
        values = {"reef": p.reef.code, "taxon": p.taxon.code} if colony is None else {}
        taken = f.collection(p.lead, colony, count=act.count, when=self._when(act), **values)
        if received:
            f.intake(p.lead, taken, p.nursery, p.tray, when=self._when(act))
        for ramet in f.ramets_of(taken):
            known = Known(
                ramet.pk,
                frozenset({colony.code} if colony else ()),
                colony.genet_id if colony else None,
                0,
                colony is not None,
                frozenset({str(taken.event.uid)}),
                place=Place.STRUCTURE if received else Place.PACKED,
            )
            self._born(ramet, known, [])

    def _stock(self, act: Act) -> None:
        p = self.programme
        with_donors, with_generation, _ = act.flags
        donors = {self.colonies[number % 3] for number in act.numbers} if with_donors else set()
        generation = act.count if with_generation else None
        row = {
            "taxon": p.taxon.code,
            "donors": [colony.code for colony in donors],
            "generation": generation,
        }
        ramet = f.stock(p.lead, p.nursery, [row], when=self._when(act))[0]
        genets = {colony.genet_id for colony in donors}
        known = Known(
            ramet.pk,
            frozenset(colony.code for colony in donors),
            genets.pop() if len(genets) == 1 else None,
            generation,
            False,
            frozenset(),
        )
        self._born(ramet, known, [])

    def _cut(self, act: Act) -> None:
        p = self.programme
        sources = self._chosen(act)
        spent = [code for code, flag in zip(sources, act.flags, strict=False) if flag]
        kept = [code for code in sources if code not in spent]
        into = [p.tray, p.plate, None][act.numbers[0] % 3]
        legal = all(self.known[code].life is Life.LIVING for code in sources)
        with self._expecting(legal):
            children = f.cut(
                p.lead,
                self._rows(kept),
                act.count,
                into=into,
                used_up=self._rows(spent),
                when=self._when(act, legal),
            )
            self._cut_as_known(sources, spent, children, into is not None)

    def _cut_as_known(
        self, sources: list[str], spent: list[str], children: list[Ramet], placed: bool
    ) -> None:
        mothers = [self.known[code] for code in sources]
        aboard = all(mother.place is Place.PACKED for mother in mothers)
        genets = {mother.genet for mother in mothers}
        generations = [mother.generation for mother in mothers]
        known = [each for each in generations if each is not None]
        for code in spent:
            self.known[code].life, self.known[code].place = Life.USED_UP, Place.NOWHERE
        for ramet in children:
            child = Known(
                ramet.pk,
                frozenset().union(*(mother.donors for mother in mothers)),
                genets.copy().pop() if len(genets) == 1 else None,
                max(known) + 1 if len(known) == len(generations) else None,
                all(mother.whole for mother in mothers),
                frozenset().union(*(mother.collections for mother in mothers)),
                place=Place.STRUCTURE if placed else Place.PACKED if aboard else Place.NOWHERE,
            )
            self._born(ramet, child, sources)

    def _move(self, act: Act) -> None:
        p = self.programme
        codes = self._chosen(act)
        packed = act.flags[0]
        known = [self.known[code] for code in codes]
        legal = all(row.life is Life.LIVING and row.place is not Place.PLOT for row in known)
        with self._expecting(legal):
            into = None if packed else (p.plate if act.flags[1] else p.tray).code
            f.move(
                p.lead,
                [{"ramet": code} for code in codes],
                structure=into,
                packed=packed,
                when=self._when(act, legal),
            )
            for row in known:
                row.place = Place.PACKED if packed else Place.STRUCTURE

    def _plant(self, act: Act) -> None:
        codes = self._chosen(act)
        known = [self.known[code] for code in codes]
        legal = all(row.life is Life.LIVING and row.place is not Place.PLOT for row in known)
        with self._expecting(legal):
            f.planting(
                self.programme.lead,
                self.programme.plot,
                self._rows(codes),
                when=self._when(act, legal),
            )
            for row in known:
                row.place, row.planted = Place.PLOT, True

    def _visit(self, act: Act) -> None:
        codes = self._chosen(act)
        known = [self.known[code] for code in codes]
        seen, life = [
            ("alive", Life.LIVING),
            ("dead", Life.DEAD),
            ("missing", Life.LOST),
        ][act.count - 1]
        legal = all(row.planted for row in known)
        with self._expecting(legal):
            f.visit(
                self.programme.lead,
                self.programme.site,
                dict.fromkeys(self._rows(codes), seen),
                when=self._when(act, legal),
            )
            for row in known:
                row.life = life


@contextmanager
def programme_done(standing: f.Programme, plan: list[Act]) -> Iterator[Reckoning]:
    """The plan done in the database and reckoned beside it; afterwards it is undone.

    Of three donor colonies two are of one genet.
    """
    with transaction.atomic():
        other = f.colony(standing.lead, standing.taxon, standing.reef)
        twin = f.colony(
            standing.lead, standing.taxon, standing.reef, genet=standing.colony.genet.code
        )
        reckoning = Reckoning(standing, [standing.colony, other, twin])
        reckoning.do(plan)
        yield reckoning
        transaction.set_rollback(True)
