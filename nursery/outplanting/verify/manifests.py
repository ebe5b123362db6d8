"""Manifests: what an audit saw of their ramets, and what was planted of them."""

from __future__ import annotations

from collections.abc import Iterator

from django.db.models import Exists, F, OuterRef

from nursery.outplanting.manifests import stock_of
from nursery.outplanting.models import Manifest, ManifestLine, Outplant
from nursery.outplanting.verify.difference import Difference, Tell, breaks, differs
from nursery.outplanting.verify.reading import EVENT, by_id, each, event_name


def find(tell: Tell) -> Iterator[Difference]:
    """Every manifest, each of its lines, and every outplant that was planted of one."""
    for batch in by_id(
        Manifest.objects.exclude(stock=""), "code", "stock", tell=tell, things="manifests"
    ):
        for pk, code, stock in batch:
            right = stock_of(Manifest(pk=pk))
            if stock != right:
                yield differs("manifest_stock", code, "the digest of its stock", stock, right)
    yield from _elsewhere()
    yield from _unlisted()


def _elsewhere() -> Iterator[Difference]:
    """Lines for a plot of another site."""
    rows = ManifestLine.objects.exclude(plot__site=F("manifest__site"))
    for _, code, ramet, plot in each(rows, "manifest__code", "ramet__code", "plot__code"):
        message = f"{ramet} is meant for {plot}, which is not of its site."
        yield breaks("manifest_other_site", code, message, plot)


def _unlisted() -> Iterator[Difference]:
    """Ramets that were planted of a manifest and are not on it."""
    on = ManifestLine.objects.filter(
        manifest=OuterRef("outplanting__manifest"), ramet=OuterRef("ramet"), taken_off=False
    )
    rows = Outplant.objects.filter(
        ~Exists(on), outplanting__event__live=True, outplanting__manifest__isnull=False
    )
    names = tuple(f"outplanting__event__{name}" for name in EVENT)
    for _, ramet, code, *event in each(rows, "ramet__code", "outplanting__manifest__code", *names):
        message = f"{ramet} was planted of {code}, and is not on it."
        yield breaks("manifest_planted", event_name(event), message, ramet)
