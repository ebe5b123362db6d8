"""The lines of a manifest: which ramets may be on it, in which plots, and in whose place."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from nursery.core import bulk
from nursery.core.errors import Path, ProblemList
from nursery.lineage import rows
from nursery.lineage.models import Ramet
from nursery.lineage.resolve import all_of
from nursery.lineage.words import Life, Place, Purpose
from nursery.outplanting.inputs import ManifestLineIn
from nursery.outplanting.manifests import lines, unplanted
from nursery.outplanting.models import Manifest, ManifestLine, Outplant
from nursery.places.models import Plot


def add(
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


def swap(
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


def listed(manifest: Manifest, named: Sequence[tuple[str, Path]]) -> list[ManifestLine]:
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
