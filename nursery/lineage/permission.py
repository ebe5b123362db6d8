"""Who may handle which stock: staff that of their nursery, field staff what is under way or
planted."""

from __future__ import annotations

from collections.abc import Iterable

from nursery.core.actor import Actor, Role, require
from nursery.core.errors import NotAllowed, Problem
from nursery.lineage.models import Ramet
from nursery.lineage.words import Place
from nursery.places.models import Nursery, Structure


def require_stock(
    actor: Actor, ramets: Iterable[Ramet], targets: Iterable[Structure], act: str
) -> None:
    """Refuse (`not_your_nursery`, `not_allowed`) unless the actor may handle all of these.

    `act` completes "may not …".
    """
    require(actor, Role.NURSERY, Role.FIELD, act=act)
    if actor.leads:
        return
    structures = {ramet.structure_id for ramet in ramets if ramet.structure_id is not None}
    homes = Structure.objects.filter(pk__in=structures).values_list("nursery_id", flat=True)
    nurseries = {*homes, *(target.nursery_id for target in targets)}
    foreign = {pk for pk in nurseries if not actor.works_at(pk)}
    if foreign:
        names = [
            str(row)
            for row in Nursery.objects.filter(pk__in=[pk for pk in foreign if pk is not None])
        ]
        place = ", ".join(names) or "a structure that stands nowhere yet"
        raise NotAllowed(
            Problem(
                "not_your_nursery",
                f"{actor.name} does not work at {place}, so may not {act} there. "
                "Ask its staff or a programme lead.",
            )
        )
    if any(ramet.place == Place.PLOT for ramet in ramets) and not actor.has(Role.FIELD):
        raise NotAllowed(
            Problem("not_allowed", f"Only field staff and leads may {act} on the reef.")
        )
