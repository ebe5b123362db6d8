"""What may be planted: of a signed-off manifest only what is on it, and without one only where the
programme's policy demands none."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from nursery.core.errors import Path, Problem, ProblemList, Refused
from nursery.donors.models import Taxon
from nursery.lineage.models import Ramet
from nursery.outplanting.manifests import IS_PLANTED, since_seen
from nursery.outplanting.models import Manifest, ManifestLine, Stage
from nursery.outplanting.policies import demanding
from nursery.outplanting.stock import told
from nursery.places.models import Plot


def manifest_to_plant(code: str | None, plot: Plot) -> Manifest | None:
    """The manifest that an outplanting names, locked before any ramet is; None if it names none.

    Raises Refused (`unknown_manifest`, `manifest_cancelled`, `not_signed_off`, `sign_off_lapsed`,
    `manifest_elsewhere`).
    """
    if code is None:
        return None
    rows = Manifest.objects.select_for_update(no_key=True, of=("self",)).select_related("site")
    row = rows.filter(code=code).first()
    if row is None:
        raise _refused("unknown_manifest", f"There is no manifest {code}.")
    if row.stage == Stage.CANCELLED:
        raise _refused("manifest_cancelled", f"{code} was cancelled, so nothing is planted of it.")
    if row.stage != Stage.SIGNED:
        if row.lapsed:
            raise _refused(
                "sign_off_lapsed",
                f"The sign-off of {code} holds no more: {row.lapsed} A lead signs it off again.",
            )
        raise _refused(
            "not_signed_off", f"{code} is not signed off by a lead yet, so it is not planted."
        )
    if row.site_id != plot.site_id:
        message = f"{code} is for {row.site.code}; {plot.code} is a plot of {plot.site.code}."
        raise _refused("manifest_elsewhere", message)
    return row


def refuse_unlisted(
    manifest: Manifest | None, plot: Plot, planted: Sequence[tuple[Ramet, Path]], day: date
) -> None:
    """Refuse what may not be planted of this manifest, or without one on that day.

    The ramets are locked. Raises Refused (`manifest_demanded`, `sign_off_lapsed`,
    `not_on_manifest`, `other_plot`, `planted_already`). Two queries at most.
    """
    if manifest is None:
        _refuse_without(planted, day)
        return
    differences = since_seen(manifest)
    if differences:
        raise _refused(
            "sign_off_lapsed",
            f"{manifest.code} has changed since its sign-off: {told(differences)}. Audit it again: "
            "where only ramets were taken off, or swapped within their genets, and the rest still "
            "passes, the sign-off stands.",
        )
    rows = ManifestLine.objects.filter(
        manifest=manifest, taken_off=False, ramet__in=[ramet.pk for ramet, _ in planted]
    ).annotate(done=IS_PLANTED)
    lines = {pk: told for pk, *told in rows.values_list("ramet", "plot", "plot__code", "done")}
    problems = ProblemList()
    for ramet, path in planted:
        if ramet.pk not in lines:
            message = f"{ramet.code} is not on {manifest.code}. Plant only what was signed off."
            problems.add("not_on_manifest", message, *path)
            continue
        where, code, done = lines[ramet.pk]
        if done:
            message = f"{ramet.code} was planted of {manifest.code} already."
            problems.add("planted_already", message, *path)
        elif where != plot.pk:
            message = f"{manifest.code} has {ramet.code} for {code}, not for {plot.code}."
            problems.add("other_plot", message, *path)
    problems.raise_if_any()


def _refuse_without(planted: Sequence[tuple[Ramet, Path]], day: date) -> None:
    demanded = demanding(day, {ramet.taxon_id for ramet, _ in planted})
    if not demanded:
        return
    names = Taxon.objects.filter(pk__in=demanded).order_by("name").values_list("name", flat=True)
    raise _refused(
        "manifest_demanded",
        f"The programme's policy demands a signed-off manifest for {', '.join(names)}. "
        "Name the one that this is planted of.",
    )


def _refused(code: str, message: str) -> Refused:
    return Refused(Problem(code, message, ("manifest",)))
