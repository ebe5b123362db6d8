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


def least_violation(
    field: Field, seconds: float, firm: frozenset[Name] = frozenset(), price: float = 1.0
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


def clash(field: Field, seconds: float) -> frozenset[Name]:
    """Rules that cannot be kept together, though without any one of them the others could be."""
    firm: frozenset[Name] = frozenset()
    while (given := least_violation(field, seconds, firm)) is not None:
        giving = {name for name, much in given.items() if much}
        if not giving:
            return frozenset()
        firm |= giving
    for name in sorted(firm, key=_order):
        if least_violation(field, seconds, firm - {name}, price=0.0) is None:
            firm -= {name}
    return firm


def _order(name: Name) -> tuple[str, int, float]:
    kind, place, plot = name
    return (kind.value, place, -math.inf if plot is None else plot)
