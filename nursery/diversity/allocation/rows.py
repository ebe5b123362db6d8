"""The rows that evenness and its relaxation share: what a place needs and what it has to keep.

Pure.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from nursery.diversity.allocation.asked import Kind
from nursery.diversity.allocation.field import Field
from nursery.diversity.allocation.program import Program, Whole

Name = tuple[Kind, int, int | None]
"""A rule: its kind, the place, and the plot within it if it is a plot's."""


@dataclass(slots=True)
class Slack:
    """Rules that may give way: for each of them a column that says by how much.

    `firm` rules do not give way; the others cost `price` for each plug, genet or reef.
    """

    firm: frozenset[Name] = frozenset()
    price: float = 1.0
    columns: dict[Name, int] = field(default_factory=dict)

    def column(self, program: Program, name: Name, most: float) -> int:
        upper = 0.0 if name in self.firm else most
        self.columns[name] = int(program.columns(1, self.price, upper)[0])
        return self.columns[name]


@dataclass(frozen=True, slots=True)
class Flow:
    """Columns that carry plugs of genets to places, as three arrays side by side."""

    genets: Whole
    places: Whole
    columns: Whole


def in_two(
    program: Program, field: Field, slack: Slack | None = None, within: int | None = None
) -> Flow:
    """Plugs of a genet at a place in two columns, the first plug and the rest, with the rows of
    needs and rules. `within` is the place whose plots these are."""
    room = field.wide
    if slack is not None:
        room = np.minimum(field.supply[:, None], field.need[None, :])
    genets, places = np.nonzero(room)
    width = room[genets, places]
    first = program.columns(len(genets), 0.0, 1.0)
    rest = program.columns(len(genets), 0.0, width - 1)
    both = Flow(np.tile(genets, 2), np.tile(places, 2), np.concatenate([first, rest]))
    needs(program, field, both)
    if slack is not None:
        over = width > field.room[genets, places]
        for place in np.unique(places[over]).tolist():
            here = over & (places == place)
            rows = program.rows(int(here.sum()), high=field.room[genets[here], place])
            name = _name(Kind.LARGEST_SHARE, place, within)
            program.put(rows, first[here])
            program.put(rows, rest[here])
            program.put(rows, slack.column(program, name, float(field.supply.max())), -1.0)
    new = field.standing[genets, places] == 0
    rules(program, field, Flow(genets[new], places[new], first[new]), slack, within)
    return both


def supplies(program: Program, field: Field, flow: Flow) -> Whole:
    """No more of a genet than there is. Returns the rows."""
    rows = program.rows(len(field.supply), high=field.supply)
    program.put(rows[flow.genets], flow.columns)
    return rows


def needs(program: Program, field: Field, flow: Flow) -> Whole:
    """Each place gets what it needs. Returns the rows."""
    rows = program.rows(len(field.need), field.need, field.need)
    program.put(rows[flow.places], flow.columns)
    return rows


def links(program: Program, genets: int, flow: Flow, inner: Flow) -> Whole:
    """What comes to a place of each genet comes to its plots. Returns the rows, a genet each."""
    rows = program.rows(genets, 0.0, 0.0)
    program.put(rows[flow.genets], flow.columns, -1.0)
    program.put(rows[inner.genets], inner.columns)
    return rows


def rules(
    program: Program,
    field: Field,
    first: Flow,
    slack: Slack | None = None,
    within: int | None = None,
) -> None:
    """As many genets and reefs as a place has to have. `first` are the first plugs of the genets
    that do not stand there; each counts its genet once, for it carries at most one."""
    for place in np.flatnonzero((field.new_genets > 0) | (field.new_reefs > 0)).tolist():
        here = first.places == place
        genets, columns = first.genets[here], first.columns[here]
        if asked := int(field.new_genets[place]):
            row = program.rows(1, low=asked)
            program.put(row, columns)
            if slack is not None:
                name = _name(Kind.FEWEST_GENETS, place, within)
                program.put(row, slack.column(program, name, asked))
        if asked := int(field.new_reefs[place]):
            reefs = np.flatnonzero(field.open_reefs[place])
            seen = program.columns(len(reefs), 0.0, 1.0, whole=False)
            of, reef = np.nonzero(field.reef_of[genets][:, reefs])
            rows = program.rows(len(reefs), low=0.0)
            program.put(rows, seen, -1.0)
            program.put(rows[reef], columns[of])
            row = program.rows(1, low=asked)
            program.put(row, seen)
            if slack is not None:
                name = _name(Kind.FEWEST_REEFS, place, within)
                program.put(row, slack.column(program, name, asked))


def relaxed(field: Field, given: Mapping[Name, int], within: int | None = None) -> Field:
    """The field with rules that give way by so much."""
    room, genets, reefs = field.room.copy(), field.new_genets.copy(), field.new_reefs.copy()
    for place in range(len(field.need)):
        room[:, place] += given.get(_name(Kind.LARGEST_SHARE, place, within), 0)
        genets[place] -= given.get(_name(Kind.FEWEST_GENETS, place, within), 0)
        reefs[place] -= given.get(_name(Kind.FEWEST_REEFS, place, within), 0)
    return Field(
        supply=field.supply,
        standing=field.standing,
        need=field.need,
        room=room,
        new_genets=genets,
        new_reefs=reefs,
        open_reefs=field.open_reefs,
        reef_of=field.reef_of,
        inner={place: relaxed(plots, given, place) for place, plots in field.inner.items()},
    )


def _name(kind: Kind, place: int, within: int | None) -> Name:
    return (kind, place, None) if within is None else (kind, within, place)
