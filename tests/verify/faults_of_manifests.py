"""Faults in manifests, and in what was planted of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from nursery.diversity.actions import audit
from nursery.outplanting.models import Manifest, ManifestLine, Outplanting
from tests import factories as f
from tests.verify.season import Season

Plant = Callable[[Season], object]


def audited(s: Season) -> Manifest:
    manifest = f.manifest(s.programme.lead, s.programme.plot, [s.legacy])
    audit(s.programme.lead, manifest)
    return manifest


def another_digest(s: Season) -> None:
    Manifest.objects.filter(pk=audited(s).pk).update(stock="0" * 64)


def another_life_seen(s: Season) -> None:
    ManifestLine.objects.filter(manifest=audited(s)).update(seen_life=2)


def line_forgotten(s: Season) -> None:
    ManifestLine.objects.filter(manifest=audited(s)).delete()


def line_for_another_site(s: Season) -> None:
    elsewhere = f.plot(s.programme.lead, f.site(s.programme.lead))
    ManifestLine.objects.filter(manifest=audited(s)).update(plot=elsewhere)


def planted_of_another_manifest(s: Season) -> None:
    Outplanting.objects.filter(pk=s.planting.pk).update(manifest=audited(s))


def planted_of_what_was_taken_off(s: Season) -> None:
    manifest = audited(s)
    ManifestLine.objects.filter(manifest=manifest).update(ramet=s.children[0], taken_off=True)
    Outplanting.objects.filter(pk=s.planting.pk).update(manifest=manifest)


FAULTS: Mapping[str, Sequence[Plant]] = {
    "manifest_stock": [another_digest, another_life_seen, line_forgotten],
    "manifest_other_site": [line_for_another_site],
    "manifest_planted": [planted_of_another_manifest, planted_of_what_was_taken_off],
}
