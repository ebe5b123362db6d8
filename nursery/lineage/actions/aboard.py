"""A colony is registered and its first pieces are taken: one entry, all of it or nothing."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from decimal import Decimal

from django.db import transaction

from nursery.core.actor import Actor, Role, require
from nursery.core.dates import When
from nursery.core.errors import Conflict, Problem, Refused
from nursery.core.models import Change, Event
from nursery.core.recording import Recorded
from nursery.core.registers import as_json
from nursery.donors import clones, photos
from nursery.donors.actions import enter_colony
from nursery.donors.models import Collection, DonorColony
from nursery.donors.pictures import Picture
from nursery.donors.positions import read_point
from nursery.lineage.actions.collect import collect
from nursery.lineage.inputs import CollectionIn
from nursery.lineage.inputs.aboard import FirstCollectionIn

_TRIES = 3
_ROOM = Collection._meta.get_field("perhaps_same").max_length or 200


@transaction.atomic
def register_and_collect(
    actor: Actor, given: FirstCollectionIn, pictures: Sequence[Picture] = (), says: str = ""
) -> Recorded:
    """Register a donor colony and record a collection from it, with photos of both.

    The colony does not stay where the collection is refused. With a `uid` that is known it answers
    as `collect` does, and writes nothing. A colony of the same taxon close by is kept with the
    collection as a flag. Raises what `enter_colony`, `collect` and `photos.keep` raise.
    """
    require(actor, Role.FIELD, act="register donor colonies and enter collections")
    known = _entered(given)
    if known is None:
        try:
            with transaction.atomic():
                return _collect(actor, given, _register(actor, given), pictures, says)
        except (Refused, Conflict):
            # The same entry, sent twice at once, may have won while this one waited.
            known = _entered(given)
            if known is None:
                raise
    return _again(actor, given, known)


@transaction.atomic
def collect_again(
    actor: Actor, given: CollectionIn, pictures: Sequence[Picture] = (), says: str = ""
) -> Recorded:
    """Record a collection from a colony on record, with photos of both."""
    recorded = collect(actor, given)
    if recorded.fresh and pictures:
        collection = Collection.objects.select_related("colony").get(event=recorded.event)
        photos.keep(actor, pictures, None, collection, _day(given.when), says)
    return recorded


def _collect(
    actor: Actor,
    given: FirstCollectionIn,
    colony: DonorColony,
    pictures: Sequence[Picture],
    says: str,
) -> Recorded:
    recorded = collect(actor, given.collection_from(colony.code))
    collection = Collection.objects.get(event=recorded.event)
    if given.latitude and given.longitude:
        point = read_point(given.latitude, given.longitude, colony.reef)
        found = clones.near(actor, colony.taxon, point, but=colony.code)
        collection.perhaps_same = clones.kept_as(found, _ROOM)
        collection.save(update_fields=["perhaps_same"])
    if pictures:
        photos.keep(actor, pictures, colony, collection, _day(given.when), says)
    return recorded


def _entered(given: FirstCollectionIn) -> Event | None:
    return Event.objects.filter(uid=given.uid).first() if given.uid is not None else None


def _again(actor: Actor, given: FirstCollectionIn, event: Event) -> Recorded:
    """The entry that this uid belongs to, if it is this one; else Conflict (`uid_taken`)."""
    collection = Collection.objects.select_related("colony").filter(event=event).first()
    colony = collection.colony if collection is not None else None
    if colony is None or not _same_colony(colony, given):
        raise Conflict(
            Problem(
                "uid_taken",
                "This uid belongs to another entry. Send the same entry again unchanged, "
                "or choose a new uid.",
                ("uid",),
            )
        )
    return collect(actor, given.collection_from(colony.code))


def _same_colony(colony: DonorColony, given: FirstCollectionIn) -> bool:
    """Whether the colony was registered as it is given now. Its position is the collection's."""
    label = DonorColony._meta.label_lower
    changes = Change.objects.filter(register=label, row_id=colony.pk, before__isnull=True)
    first = changes.order_by("pk").first()
    if first is None:
        return False
    wanted = {name: value for name, value in _values(given).items() if value not in (None, "")}
    if given.code is None:
        wanted.pop("code", None)
    return all(first.after.get(name) == as_json(value) for name, value in wanted.items())


def _register(actor: Actor, given: FirstCollectionIn) -> DonorColony:
    for left in reversed(range(_TRIES)):
        code = given.code or next_code(given.reef)
        values = {
            **_values(given),
            "code": code,
            "latitude": given.latitude,
            "longitude": given.longitude,
            "uncertainty_m": given.uncertainty_m,
        }
        try:
            return enter_colony(actor, values)
        except Refused as refusal:
            # Another boat took the next code of the reef meanwhile.
            if given.code is not None or refusal.code != "code_taken" or not left:
                raise
    raise AssertionError("the last try returns or raises")


def next_code(reef: str) -> str:
    """The code that the next colony of a reef gets where nobody names one: the reef's and a
    number."""
    stem = f"{reef[:32]}-"
    numbers = [
        int(found[1])
        for code in DonorColony.objects.filter(code__startswith=stem).values_list("code", flat=True)
        if (found := re.fullmatch(rf"{re.escape(stem)}(\d{{1,6}})", code))
    ]
    return f"{stem}{max(numbers, default=0) + 1}"


def _values(given: FirstCollectionIn) -> dict[str, object]:
    """The colony's own values, as a register takes and keeps them."""
    return {
        "code": given.code,
        "name": given.name,
        "taxon": given.taxon,
        "reef": given.reef,
        "genet": given.genet,
        "depth_m": _tenth(given.depth),
        "size_cm": _tenth(given.size),
        "found_on": given.when.earliest.isoformat(),
    }


def _tenth(value: Decimal | None) -> Decimal | None:
    return value.quantize(Decimal("0.1")) if value is not None else None


def _day(when: When) -> date | None:
    return when.earliest if when.is_day else None
