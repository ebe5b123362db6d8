"""The proposed list for an outplanting: drafted, changed, cancelled."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db import IntegrityError, transaction

from nursery.core.actor import Actor, Role, require
from nursery.core.errors import Conflict, NotAllowed, Path, Problem, ProblemList, Refused
from nursery.core.inputs import digest_of
from nursery.core.models import Change
from nursery.donors.models import Permit
from nursery.outplanting import listing
from nursery.outplanting.inputs import MOST_LINES, LinesIn, ManifestIn, ManifestLineIn
from nursery.outplanting.manifests import lines
from nursery.outplanting.models import Manifest, ManifestLine, Stage
from nursery.places.models import Site

REGISTER = "outplanting.manifest"
"""The name under which changes of manifests stand in the history."""


@dataclass(frozen=True, slots=True)
class Drafted:
    """A manifest as it stands, and whether this call wrote it (`fresh`) or found it."""

    manifest: Manifest
    fresh: bool


@transaction.atomic
def draft(actor: Actor, given: ManifestIn) -> Drafted:
    """Draft a manifest of up to MOST_LINES ramets, with or without lines yet.

    The same draft under its `uid` is stored once. Raises NotAllowed; Conflict (`uid_taken`);
    Refused (`unknown_site`, `site_closed`, `unknown_permit`, `unknown_plot`, `plot_missing`,
    `plot_elsewhere`, `plot_closed`, `unknown_ramet`, `named_twice`, `not_living`,
    `already_planted`, `not_for_planting`, `on_another_manifest`).
    """
    require(actor, Role.FIELD, Role.NURSERY, act="draft a manifest")
    digest = digest_of("MANIFEST", given)
    known = Manifest.objects.filter(uid=given.uid).first() if given.uid is not None else None
    if known is not None:
        return _same_or_refuse(known, actor, digest)
    site = _site(given)
    permits = _permits(given.permits)
    row = Manifest(
        uid=given.uid or uuid.uuid4(),
        site=site,
        title=given.title,
        earliest=given.planned.earliest,
        latest=given.planned.latest,
        note=given.note,
        drafted_by_id=actor.user_id,
        digest=digest,
    )
    # Until its number is known, a name that nobody else has.
    row.code = row.uid.hex
    try:
        with transaction.atomic():
            row.save(force_insert=True)
    except IntegrityError:
        # Somebody else's insert of the same uid won while we waited for its commit.
        known = Manifest.objects.filter(uid=row.uid).first()
        if known is None:
            raise
        return _same_or_refuse(known, actor, digest)
    row.code = f"M{row.pk:04d}"
    row.save(update_fields=["code"])
    row.permits.set(permits)
    listing.add(row, given.lines, given.plot, given.other_purposes, ("lines",))
    _keep(actor, row, None, {"lines": len(given.lines), "title": row.title})
    return Drafted(row, fresh=True)


@transaction.atomic
def change_lines(actor: Actor, manifest: Manifest, given: LinesIn) -> Manifest:
    """Add, take off and swap ramets, in this order: off, on.

    A signed-off manifest from which ramets are taken, or in which they are swapped within their
    genets, has to be audited again before it is planted; one to which ramets are added is no longer
    signed off. Raises what `draft` raises of lines, and Refused (`manifest_cancelled`,
    `not_on_manifest`, `planted_already`, `other_genet`, `too_many`).
    """
    require(actor, Role.FIELD, Role.NURSERY, act="change a manifest")
    manifest = locked(manifest)
    refuse_cancelled(manifest)
    off: list[tuple[str, Path]] = [(text, ("remove", n)) for n, text in enumerate(given.remove)]
    off += [(swap.off, ("swap", n, "off")) for n, swap in enumerate(given.swap)]
    going = listing.listed(manifest, off)
    coming = [
        ManifestLineIn(ramet=swap.on, position=line.position, cluster=line.cluster)
        for swap, line in zip(given.swap, going[len(given.remove) :], strict=True)
    ]
    ManifestLine.objects.filter(pk__in=[line.pk for line in going]).update(taken_off=True)
    added = listing.add(manifest, given.add, given.plot, given.other_purposes, ("add",))
    swapped = listing.swap(manifest, going[len(given.remove) :], coming, given.other_purposes)
    if lines(manifest).count() > MOST_LINES:
        raise Refused(Problem("too_many", f"At most {MOST_LINES} ramets on one manifest."))
    _stage_after(manifest, bool(added))
    before = [line.ramet.code for line in going]
    _keep(actor, manifest, {"off": before}, {"on": [*added, *swapped]})
    return manifest


@transaction.atomic
def cancel(actor: Actor, manifest: Manifest, reason: str) -> Manifest:
    """Cancel a manifest: nothing more is planted of it, and its ramets are free for others.

    What was planted of it stays planted. Raises NotAllowed (`not_yours`), Refused (`required`,
    `manifest_cancelled`).
    """
    require(actor, Role.FIELD, Role.NURSERY, act="cancel a manifest")
    manifest = locked(manifest)
    if not actor.leads and manifest.drafted_by_id != actor.user_id:
        raise NotAllowed(
            Problem(
                "not_yours",
                f"{manifest.code} was drafted by somebody else. They, or a lead, may cancel it.",
            )
        )
    refuse_cancelled(manifest)
    because = reason.strip()[:500]
    if not because:
        raise Refused(Problem("required", "Say why it is cancelled.", ("reason",)))
    before = {"stage": Stage(manifest.stage).word}
    manifest.stage = Stage.CANCELLED
    manifest.save(update_fields=["stage"])
    _keep(actor, manifest, before, {"stage": Stage.CANCELLED.word, "reason": because})
    return manifest


def locked(manifest: Manifest) -> Manifest:
    """The manifest under lock, as it is now; before any ramet is locked."""
    rows_ = Manifest.objects.select_for_update(no_key=True, of=("self",))
    return rows_.select_related("site").get(pk=manifest.pk)


def refuse_cancelled(manifest: Manifest) -> None:
    """Refuse (`manifest_cancelled`) what was cancelled."""
    if manifest.stage == Stage.CANCELLED:
        raise Refused(
            Problem(
                "manifest_cancelled",
                f"{manifest.code} was cancelled, so it is neither changed nor planted. "
                "Draft another one.",
            )
        )


def _same_or_refuse(known: Manifest, actor: Actor, digest: str) -> Drafted:
    if known.digest == digest and known.drafted_by_id == actor.user_id:
        return Drafted(known, fresh=False)
    raise Conflict(
        Problem(
            "uid_taken",
            "This uid belongs to another manifest. Send the same one again unchanged, "
            "or choose a new uid.",
            ("uid",),
        )
    )


def _site(given: ManifestIn) -> Site:
    site = Site.objects.filter(code=given.site).first()
    if site is None:
        raise Refused(Problem("unknown_site", f"There is no site {given.site}.", ("site",)))
    if site.closed_on is not None and given.planned.earliest > site.closed_on:
        raise Refused(
            Problem(
                "site_closed",
                f"{site.code} was closed on {site.closed_on}. Choose another site or day.",
                ("site",),
            )
        )
    return site


def _permits(codes: Iterable[str]) -> list[Permit]:
    wanted = list(dict.fromkeys(codes))
    known = {row.code: row for row in Permit.objects.filter(code__in=wanted)}
    problems = ProblemList()
    for number, code in enumerate(wanted):
        if code not in known:
            problems.add("unknown_permit", f"There is no permit {code}.", "permits", number)
    problems.raise_if_any()
    return [known[code] for code in wanted]


def _stage_after(manifest: Manifest, added: bool) -> None:
    """Where a manifest stands after its lines changed."""
    if manifest.stage == Stage.SIGNED and not added:
        return
    if manifest.stage == Stage.SIGNED:
        manifest.lapsed = "Ramets were added after the sign-off."
    manifest.stage, manifest.stock = Stage.DRAFT, ""
    manifest.save(update_fields=["stage", "stock", "lapsed"])


def _keep(
    actor: Actor, manifest: Manifest, before: dict[str, Any] | None, after: dict[str, Any]
) -> None:
    Change.objects.create(
        register=REGISTER,
        row_id=manifest.pk,
        code=manifest.code,
        by_id=actor.user_id,
        before=before,
        after=after,
    )
