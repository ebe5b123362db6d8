"""What can be asked of donor registers."""

from __future__ import annotations

from nursery.core.errors import Problem, Unknown
from nursery.core.registers import as_asked
from nursery.donors.models import DonorColony, Genet, Taxon


def colony(code: str) -> DonorColony:
    """The donor colony with this code, in any case; raises Unknown (`unknown_donorcolony`)."""
    row = (
        DonorColony.objects.select_related("taxon", "genet__canonical", "reef")
        .filter(code=as_asked(code).upper()[:60])
        .first()
    )
    if row is None:
        raise Unknown(Problem("unknown_donorcolony", f"There is no donor colony {code!r}."))
    return row


def genet(code: str) -> Genet:
    """The genet with this code or staff name; raises Unknown (`unknown_genet`)."""
    clean = as_asked(code)[:120]
    row = Genet.objects.filter(code=clean.upper()).first()
    if row is None:
        row = Genet.objects.filter(name__iexact=clean).order_by("pk").first() if clean else None
    if row is None:
        raise Unknown(Problem("unknown_genet", f"There is no genet {code!r}."))
    return row


def taxon(text: str) -> Taxon:
    """The taxon with this code or name, in any case; raises Unknown (`unknown_taxon`)."""
    clean = as_asked(text)[:120]
    row = Taxon.objects.filter(code=clean.upper()).first()
    if row is None:
        row = Taxon.objects.filter(name__iexact=clean).order_by("pk").first() if clean else None
    if row is None:
        raise Unknown(Problem("unknown_taxon", f"There is no taxon {text!r}."))
    return row
