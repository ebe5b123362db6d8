"""Where rules cannot all be kept: which clash, and by how little they have to give way.

Each rule may give way at a price of one for each plug above a largest share, each genet and each
reef that is missing; the least price is the least violation. Which rules clash is found by the
elastic filter and then made irreducible by leaving one out at a time (Chinneck & Dravnieks 1991,
ORSA Journal on Computing 3:157; from memory). Pure.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from nursery.diversity.allocation.field import Field
from nursery.diversity.allocation.program import Program
from nursery.diversity.allocation.rows import (
    Flow,
    Name,
    Slack,
    in_two,
    links,
    supplies,
)

Names = frozenset[Name]


def least_violation(
    field: Field, seconds: float, firm: Names = frozenset(), price: float = 1.0
) -> Mapping[Name, int] | None:
    """By how much each rule gives way in the least violation; None if `firm` ones do not let it.

    Rules that give way by nothing are named too. Needs and supply are never given up.
    """
    program, slack = Program(), Slack(firm, price)
    flow = in_two(program, field, slack)
    supplies(program, field, flow)
    for where, plots in field.inner.items():
        here = flow.places == where
        part = Flow(flow.genets[here], flow.places[here], flow.columns[here])
        links(program, len(field.supply), part, in_two(program, plots, slack, where))
    solved = program.solve()
    if solved is not None and not solved.whole:
        solved = program.solve_whole(seconds)
    if solved is None:
        return None
    values = np.rint(solved.values).astype(np.int64)
    return {name: int(values[column]) for name, column in slack.columns.items()}


def clashes(field: Field, given: Mapping[Name, int], seconds: float) -> tuple[Names, ...]:
    """Rules that cannot be kept together, though without any one of a set the rest of it could be.

    `given` is the least violation. Sets of each place that cannot keep its own rules, as long as
    what is left of these clashes too; if there is none, one set over several places.
    """
    found = []
    giving = frozenset(name for name, much in given.items() if much)
    for place in sorted({name[1] for name in giving}):
        own = frozenset(name for name in given if name[1] == place)
        while own and not _possible(field, own, seconds):
            found.append(_irreducible(field, own, seconds))
            own -= found[-1]
    if found or not giving:
        return tuple(found)
    firm = giving
    while _possible(field, firm, seconds):
        more = least_violation(field, seconds, firm)
        if more is None:
            break
        firm |= {name for name, much in more.items() if much}
    return (_irreducible(field, firm, seconds),)


def _irreducible(field: Field, firm: Names, seconds: float) -> Names:
    for name in sorted(firm, key=_order):
        if not _possible(field, firm - {name}, seconds):
            firm -= {name}
    return firm


def _possible(field: Field, firm: Names, seconds: float) -> bool:
    """Whether these rules can be kept if no other has to be.

    Places without any of them take whatever is left: they are one place here.
    """
    places = sorted({name[1] for name in firm})
    number = {place: at for at, place in enumerate(places)}
    rest = int(field.need.sum() - field.need[places].sum())
    none = np.zeros((len(field.supply), 1), np.int64)
    fewer = Field(
        supply=field.supply,
        standing=np.hstack([field.standing[:, places], none]),
        need=np.append(field.need[places], rest),
        room=np.hstack([field.room[:, places], field.supply[:, None]]),
        new_genets=np.append(field.new_genets[places], 0),
        new_reefs=np.append(field.new_reefs[places], 0),
        open_reefs=np.vstack([field.open_reefs[places], np.ones_like(field.open_reefs[:1])]),
        reef_of=field.reef_of,
        inner={number[place]: plots for place, plots in field.inner.items() if place in number},
    )
    renamed = frozenset((kind, number[place], plot) for kind, place, plot in firm)
    return least_violation(fewer, seconds, renamed, price=0.0) is not None


def _order(name: Name) -> tuple[str, int, float]:
    kind, place, plot = name
    return (kind.value, place, -math.inf if plot is None else plot)
