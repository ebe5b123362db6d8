"""The proposed list for an outplanting: drafted, changed, cancelled."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import IntegrityError, transaction

from nursery.core import bulk
from nursery.core.actor import Actor, Role, require
from nursery.core.errors import Conflict, NotAllowed, Path, Problem, ProblemList, Refused
from nursery.core.inputs import digest_of
from nursery.core.models import Change
from nursery.donors.models import Permit
from nursery.lineage import rows
from nursery.lineage.models import Ramet
from nursery.lineage.resolve import all_of
from nursery.lineage.words import Life, Place, Purpose
from nursery.outplanting.inputs import MOST_LINES, LinesIn, ManifestIn, ManifestLineIn
from nursery.outplanting.manifests import lines, unplanted
from nursery.outplanting.models import Manifest, ManifestLine, Outplant, Stage
from nursery.places.models import Plot, Site

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
    _add(row, given.lines, given.plot, given.other_purposes, ("lines",))
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
    going = _listed(manifest, off)
    coming = [
        ManifestLineIn(ramet=swap.on, position=line.position, cluster=line.cluster)
        for swap, line in zip(given.swap, going[len(given.remove) :], strict=True)
    ]
    ManifestLine.objects.filter(pk__in=[line.pk for line in going]).update(taken_off=True)
    added = _add(manifest, given.add, given.plot, given.other_purposes, ("add",))
    swapped = _swap(manifest, going[len(given.remove) :], coming, given.other_purposes)
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


def _add(
    manifest: Manifest,
    given: Sequence[ManifestLineIn],
    plot: str | None,
    other_purposes: bool,
    path: Path,
) -> list[str]:
    """Put ramets on the manifest; gives their codes."""
    if not given:
        return []
    plots = _plots(manifest, given, plot, path)
    taken = _taken(manifest, given, other_purposes, path)
    _store(
        manifest,
        [(ramet, plots[row.plot or plot], row) for ramet, row in zip(taken, given, strict=True)],
    )
    return [ramet.code for ramet in taken]


def _swap(
    manifest: Manifest,
    going: Sequence[ManifestLine],
    given: Sequence[ManifestLineIn],
    other_purposes: bool,
) -> list[str]:
    if not given:
        return []
    path: Path = ("swap",)
    taken = _taken(manifest, given, other_purposes, path, "on")
    problems = ProblemList()
    for number, (line, ramet) in enumerate(zip(going, taken, strict=True)):
        if individual(line.ramet) is None or individual(line.ramet) != individual(ramet):
            problems.add(
                "other_genet",
                f"{ramet.code} is not known to be of the genet of {line.ramet.code}, so it does "
                "not take its place. Take one off and add the other.",
                *path,
                number,
                "on",
            )
    problems.raise_if_any()
    _store(
        manifest,
        [(ramet, line.plot_id, row) for ramet, line, row in zip(taken, going, given, strict=True)],
    )
    return [ramet.code for ramet in taken]


def individual(ramet: Ramet) -> int | None:
    """The genet of a ramet (with its genet at hand), or the one that it turned out to be."""
    genet = ramet.genet
    return None if genet is None else genet.canonical_id or genet.pk


def _store(manifest: Manifest, said: Sequence[tuple[Ramet, int, ManifestLineIn]]) -> None:
    """Insert lines; those that had been taken off come back as they are said now."""
    ids = [ramet.pk for ramet, _, _ in said]
    again = {
        line.ramet_id: line
        for line in ManifestLine.objects.filter(manifest=manifest, ramet__in=ids)
    }
    fresh = []
    for ramet, plot, row in said:
        line = again.get(ramet.pk)
        if line is None:
            fresh.append((manifest.pk, ramet.pk, plot, row.position, row.cluster))
            continue
        line.taken_off, line.plot_id = False, plot
        line.position, line.cluster = row.position, row.cluster
    names = ("manifest_id", "ramet_id", "plot_id", "position", "cluster")
    bulk.insert_values(ManifestLine, names, fresh)
    bulk.update(ManifestLine, list(again.values()), ["taken_off", "plot", "position", "cluster"])


def _plots(
    manifest: Manifest, given: Sequence[ManifestLineIn], plot: str | None, path: Path
) -> dict[str | None, int]:
    """The id of each plot that lines name, by its code; all of the manifest's site and open."""
    wanted = {row.plot or plot for row in given}
    found = {row.code: row for row in Plot.objects.filter(code__in=wanted - {None})}
    problems = ProblemList()
    for number, row in enumerate(given):
        code = row.plot or plot
        where = (*path, number, "plot") if row.plot else ("plot",)
        if code is None:
            problems.add("plot_missing", f"Say in which plot {row.ramet} goes.", *where)
            continue
        kept = found.get(code)
        if kept is None:
            problems.add("unknown_plot", f"There is no plot {code}.", *where)
        elif kept.site_id != manifest.site_id:
            message = f"{code} is not a plot of {manifest.site.code}. A manifest is for one site."
            problems.add("plot_elsewhere", message, *where)
        elif kept.closed_on is not None and manifest.earliest > kept.closed_on:
            message = f"{code} was closed on {kept.closed_on}. Choose another plot."
            problems.add("plot_closed", message, *where)
    # The same fault of the manifest's own plot is told once.
    problems.items = list(dict.fromkeys(problems.items))
    problems.raise_if_any()
    return {code: row.pk for code, row in found.items()}


def _taken(
    manifest: Manifest,
    given: Sequence[ManifestLineIn],
    other_purposes: bool,
    path: Path,
    field: str = "ramet",
) -> list[Ramet]:
    """The ramets that lines name, locked, in order; refused where one cannot be planted."""
    paths: list[Path] = [(*path, number, field) for number in range(len(given))]
    ids = all_of([(row.ramet, where) for row, where in zip(given, paths, strict=True)])
    held = rows.lock(ids)
    genets = dict(_with_genets(ids))
    elsewhere = _elsewhere(manifest, ids)
    on = set(lines(manifest).filter(ramet__in=ids).values_list("ramet", flat=True))
    problems = ProblemList()
    for pk, where in zip(ids, paths, strict=True):
        ramet = held[pk]
        ramet.genet = genets[pk]
        code = ramet.code
        if ramet.life != Life.LIVING:
            message = f"{code} is {Life(ramet.life).label}, so it cannot be planted."
            problems.add("not_living", message, *where)
        elif pk in on:
            problems.add("named_twice", f"{code} is on {manifest.code} already.", *where)
        elif ramet.place == Place.PLOT:
            problems.add("already_planted", f"{code} is planted already. Lift it first.", *where)
        elif pk in elsewhere:
            message = (
                f"{code} is on manifest {elsewhere[pk]}, which is not planted yet. "
                "Take it off there, or cancel that one."
            )
            problems.add("on_another_manifest", message, *where)
        elif not other_purposes and ramet.purpose != Purpose.PRODUCTION:
            message = (
                f"{code} is kept as {Purpose(ramet.purpose).label}. Only production is planted, "
                "unless you say that other purposes may be."
            )
            problems.add("not_for_planting", message, *where)
    problems.raise_if_any()
    return [held[pk] for pk in ids]


def _with_genets(ids: Iterable[int]) -> Iterable[tuple[int, Any]]:
    found = Ramet.objects.filter(pk__in=list(ids)).select_related("genet").only("pk", "genet")
    return ((row.pk, row.genet) for row in found)


def _elsewhere(manifest: Manifest, ids: Sequence[int]) -> Mapping[int, str]:
    """The code of the other open manifest that a ramet is still to be planted of."""
    others = unplanted().filter(ramet__in=ids).exclude(manifest=manifest)
    return dict(others.values_list("ramet", "manifest__code"))


def _listed(manifest: Manifest, named: Sequence[tuple[str, Path]]) -> list[ManifestLine]:
    """The lines of the named ramets, in order; what any outplanting planted stays on."""
    if not named:
        return []
    ids = all_of(named)
    found = {
        line.ramet_id: line
        for line in lines(manifest).filter(ramet__in=ids).select_related("ramet__genet")
    }
    # A void outplanting may be restored, and its ramets are then planted of this manifest.
    planted = set(
        Outplant.objects.filter(outplanting__manifest=manifest, ramet__in=ids).values_list(
            "ramet", flat=True
        )
    )
    problems = ProblemList()
    for pk, (text, path) in zip(ids, named, strict=True):
        if pk not in found:
            problems.add("not_on_manifest", f"{text} is not on {manifest.code}.", *path)
        elif pk in planted:
            message = f"{text} was planted of {manifest.code}, so it stays on it."
            problems.add("planted_already", message, *path)
    problems.raise_if_any()
    return [found[pk] for pk in ids]


def _stage_after(manifest: Manifest, added: bool) -> None:
    """Where a manifest stands after its lines changed."""
    if manifest.stage == Stage.SIGNED and not added:
        return
    if manifest.stage == Stage.SIGNED:
        manifest.lapsed = "Ramets were added after the sign-off."
    manifest.stage = Stage.DRAFT
    manifest.save(update_fields=["stage", "lapsed"])


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
