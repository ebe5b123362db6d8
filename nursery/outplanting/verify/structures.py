"""Structures: their steps in one order, and where each stands, which follows from the last."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from nursery.lineage.rows import plain_moment
from nursery.lineage.timeline import Key
from nursery.outplanting.verify.difference import Difference, Tell, breaks, differs
from nursery.outplanting.verify.reading import Row, by_id, codes, event_names
from nursery.places.models import Bay, Nursery, Plot, Structure, StructureStep

CACHED = ("bay_id", "parent_id", "parent_row", "parent_column", "plot_id", "lost")
"""The columns of a structure that its last step says."""

_NOWHERE = (None, None, None, None, None, False)
_REGISTERS = {"bay_id": Bay, "parent_id": Structure, "plot_id": Plot}


@dataclass(frozen=True, slots=True)
class _Standing:
    """In which structure one stood from an event on; None in none."""

    key: Key
    parent: int | None


def find(tell: Tell) -> Iterator[Difference]:
    """Every structure; then where each stood in another, all together."""
    parents: dict[int, int] = {}
    nurseries: dict[int, int | None] = {}
    homes: dict[int, int] = dict(Bay.objects.values_list("pk", "system__nursery_id"))
    bays: dict[int, int] = {}
    stood: dict[int, list[_Standing]] = {}
    fields = ("code", "nursery_id", *CACHED)
    for batch in by_id(Structure.objects.all(), *fields, tell=tell, things="structures"):
        steps = _live_steps(batch[0][0], batch[-1][0])
        for pk, code, nursery, *cached in batch:
            nurseries[pk] = nursery
            own = steps.get(pk, [])
            yield from _of_structure(f"structure {code}", cached, own)
            bay, parent = cached[:2]
            if bay is not None:
                bays[pk] = bay
            elif parent is not None:
                parents[pk] = parent
            standings = [_Standing(_key(row), row[6]) for row in own]
            if any(standing.parent is not None for standing in standings):
                stood[pk] = standings
    yield from _nurseries(nurseries, {pk: homes[bay] for pk, bay in bays.items()}, parents)
    yield from _rings(stood)


_STEP = ("structure_id", "order", "event_id", "event__moment", "event__live")


def _live_steps(first: int, last: int) -> dict[int, list[Row]]:
    found: dict[int, list[Row]] = defaultdict(list)
    steps = StructureStep.objects.filter(structure__gte=first, structure__lte=last, live=True)
    for row in steps.order_by("structure_id", "order").values_list(*_STEP, *CACHED):
        found[row[0]].append(row)
    return found


def _key(row: Row) -> Key:
    return plain_moment(row[3]), row[2]


def _of_structure(
    what: str, cached: Sequence[object], steps: Sequence[Row]
) -> Iterator[Difference]:
    for number, row in enumerate(steps, start=1):
        if row[1] != number:
            yield differs(
                "structure_step_numbers", what, f"the order of live step {number}", row[1], number
            )
        if not row[4]:
            yield breaks(
                "live_standing_of_void_event", what, f"a live step is of {_event(row[2])}."
            )
        bay, parent, parent_row, parent_column, plot, lost = row[5:]
        places = [place for place in (bay, parent, plot) if place is not None]
        if (
            len(places) != (0 if lost else 1)
            or (parent_row is None) != (parent_column is None)
            or (parent_row is not None and parent is None)
        ):
            yield breaks("standing_values", what, f"{_event(row[2])} puts it in no one place.")
    right = sorted(steps, key=_key)
    if right != list(steps):
        yield breaks(
            "structure_steps_out_of_order",
            what,
            "its steps are not in the order in which their events stand.",
            [_event(row[2]) for row in steps],
            [_event(row[2]) for row in right],
        )
    expected = right[-1][5:] if right else _NOWHERE
    for column, found, wanted in zip(CACHED, cached, expected, strict=True):
        if found != wanted:
            name = column.removesuffix("_id")
            yield differs(
                f"structure_{name}", what, name, _said(column, found), _said(column, wanted)
            )


def _said(column: str, value: object) -> object:
    register = _REGISTERS.get(column)
    if register is None or not isinstance(value, int):
        return value
    return codes(register, [value])[value]


def _nurseries(
    written: Mapping[int, int | None], homes: Mapping[int, int], parents: Mapping[int, int]
) -> Iterator[Difference]:
    """A structure is at the nursery of its bay, or of the one that it stands in; no two stand in
    each other."""
    rings: set[int] = set()
    for pk, nursery in written.items():
        way = [pk]
        while way[-1] in parents and parents[way[-1]] not in way:
            way.append(parents[way[-1]])
        if way[-1] in parents:
            ring = way[way.index(parents[way[-1]]) :]
            if rings.isdisjoint(ring):
                rings.update(ring)
                named = codes(Structure, ring)
                yield breaks(
                    "structure_in_itself",
                    f"structure {named[ring[0]]}",
                    f"it stands in itself: {', '.join(named[one] for one in ring)}.",
                )
            continue
        right = homes.get(way[-1])
        if nursery != right:
            yield _other_nursery(pk, nursery, right)


def _other_nursery(pk: int, found: int | None, right: int | None) -> Difference:
    what = f"structure {codes(Structure, [pk])[pk]}"
    named = codes(Nursery, [found, right])
    return differs("structure_nursery", what, "nursery", named[found], named[right])


def _rings(stood: Mapping[int, Sequence[_Standing]]) -> Iterator[Difference]:
    """No structure stood in itself at any time, by way of what it stood in then."""
    changes = sorted(
        (standing.key, pk, standing.parent)
        for pk, standings in stood.items()
        for standing in standings
    )
    at: dict[int, int | None] = {}
    found: set[int] = set()
    number = 0
    while number < len(changes):
        key = changes[number][0]
        moved = []
        while number < len(changes) and changes[number][0] == key:
            _, pk, parent = changes[number]
            at[pk] = parent
            moved.append(pk)
            number += 1
        for pk in moved:
            way = {pk}
            above = at.get(pk)
            while above is not None and above not in way:
                way.add(above)
                above = at.get(above)
            if above == pk and found.isdisjoint(way):
                found |= way
                named = codes(Structure, way)
                yield breaks(
                    "structure_stood_in_itself",
                    f"structure {named[pk]}",
                    f"from {_event(key[1])} on it stood in itself.",
                )


def _event(pk: int) -> str:
    return event_names([pk])[pk]
