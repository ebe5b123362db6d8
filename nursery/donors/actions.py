"""What can happen to donor registers: colonies with their presumed genets and positions."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db import transaction

from nursery.core.actor import Actor, require
from nursery.core.errors import Problem, Refused
from nursery.core.registers import parse, write
from nursery.donors.models import DonorColony, Genet
from nursery.donors.positions import keep_for_colony, read_point

POSITION = ("latitude", "longitude", "uncertainty_m")


@transaction.atomic
def enter_colony(
    actor: Actor,
    given: Mapping[str, Any],
    row: DonorColony | None = None,
    seen_version: int | None = None,
) -> DonorColony:
    """Enter a donor colony, or edit one.

    Besides the register's fields, `latitude`, `longitude` (in any usual notation) and
    `uncertainty_m` give the exact position, which is kept apart. A new colony without a `genet`
    gets a presumed one of its own. Raises NotAllowed, or Refused with one problem a field.
    """
    require(actor, *DonorColony.WRITERS, act=DonorColony.ACT)
    values = {name: value for name, value in given.items() if name not in POSITION}
    if row is None:
        if not values.get("genet"):
            values["genet"] = _presumed_genet(actor, values)
        colony = write(actor, DonorColony(), values)
    else:
        colony = write(actor, row, values, seen_version)
    latitude = _text(given.get("latitude"))
    longitude = _text(given.get("longitude"))
    if latitude or longitude:
        if not (latitude and longitude):
            missing = "longitude" if latitude else "latitude"
            raise Refused(
                Problem("required", "A position has a latitude and a longitude.", (missing,))
            )
        point = read_point(latitude, longitude, colony.reef)
        keep_for_colony(actor, colony, point, _uncertainty(given.get("uncertainty_m")))
        colony.save(
            update_fields=[
                "rounded_latitude",
                "rounded_longitude",
                "uncertainty_m",
                "generalisation",
            ]
        )
    return colony


def _presumed_genet(actor: Actor, values: Mapping[str, Any]) -> Genet:
    """A colony is presumed to be its own genet until a panel says otherwise."""
    wanted = {name: values[name] for name in ("code", "taxon") if name in values}
    parsed = parse(DonorColony, wanted)
    code = str(parsed.get("code") or "")
    taxon = parsed.get("taxon")
    missing = [name for name in ("code", "taxon") if not parsed.get(name)]
    if missing:
        raise Refused([Problem("required", f"{name} is required.", (name,)) for name in missing])
    genet_code = f"G-{code}"[:40]
    known = Genet.objects.filter(code=genet_code).first()
    if known is not None:
        same_taxon = taxon is not None and known.taxon_id == taxon.pk
        if not same_taxon or known.colonies.exclude(code=code).exists():
            raise Refused(
                Problem(
                    "code_taken",
                    f"Genet {genet_code} exists already and is another one. Name the genet of this "
                    "colony, or enter a new one for it first.",
                    ("genet",),
                )
            )
        return known
    return write(actor, Genet(), {"code": genet_code, "taxon": taxon})


def _text(value: Any) -> str:
    return "" if value is None else str(value).strip()


def _uncertainty(value: Any) -> int | None:
    text = _text(value)
    if not text:
        return None
    try:
        metres = int(text)
    except ValueError as error:
        raise Refused(
            Problem("not_a_number", "The uncertainty is whole metres.", ("uncertainty_m",))
        ) from error
    if not 1 <= metres <= 10_000_000:
        # Darwin Core: zero is not a valid uncertainty; leave it empty where it is unknown.
        raise Refused(
            Problem("out_of_range", "The uncertainty is at least 1 m.", ("uncertainty_m",))
        )
    return metres
