"""What stands on the sheet of a visit to a plot: outplants to tick, genets and taxa to count."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from django.db.models import Count, Prefetch
from django.utils.functional import Promise
from django.utils.html import format_html_join
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from nursery.core.errors import Problem
from nursery.lineage.models import Ramet, Tag
from nursery.lineage.words import Life, Place
from nursery.outplanting.models import Outplant
from nursery.places.models import Plot

SEEN = (
    ("alive", gettext_lazy("Alive")),
    ("dead", gettext_lazy("Dead")),
    ("missing", gettext_lazy("Missing")),
)
"""What may be ticked or counted, in the order of the buttons."""
_WORDS = {word for word, _label in SEEN}
_NUMBER = re.compile(r"(\d+)")


def buttons(
    name: str, words: Sequence[tuple[str, str | Promise]], chosen: str, none: str
) -> SafeString:
    """A button for each word, the chosen one pressed, and one (`none`) for nothing.

    A sheet has hundreds of rows, so that they are written as short as they can be.
    """
    return format_html_join(
        "",
        '<label{}><input type="radio" name="{}" value="{}"{}>{}</label>',
        (
            (
                "" if word else mark_safe(' class="not-yet"'),
                name,
                word,
                mark_safe(" checked") if word == chosen else "",
                label,
            )
            for word, label in (*words, ("", none))
        ),
    )


@dataclass(slots=True)
class Row:
    """One outplant of a sheet: what it is called there, and what was ticked so far."""

    code: str
    genet_id: int | None
    taxon: str
    tags: list[str]
    position: str
    cluster: str
    missing: bool
    seen: str = ""
    cause: str = ""
    told: Sequence[Problem] = ()

    @property
    def buttons(self) -> SafeString:
        return buttons(f"seen:{self.code}", SEEN, self.seen, _("Not yet"))

    @property
    def called(self) -> str:
        """What the diver reads on it: its tag, else its code."""
        return self.tags[0] if self.tags else self.code


@dataclass(slots=True)
class Cluster:
    """Outplants that stand together, or (without a name) all that have no cluster."""

    name: str
    rows: list[Row] = field(default_factory=list)


@dataclass(slots=True)
class Line:
    """What is counted of one kind in the plot: a genet, a taxon, or all together."""

    name: str
    text: str | Promise
    genet_id: int | None
    planted: int
    values: Sequence[tuple[str, str | Promise, str, str]]
    """Of each blank: its name, its word, what was typed, and its full words for those who hear."""
    told: Sequence[Problem] = ()


def clusters_of(
    plot: Plot, typed: Mapping[str, str], told: Mapping[str, Sequence[Problem]]
) -> list[Cluster]:
    """The outplants that may be seen in a plot, as they stand together. Three queries."""
    ramets = list(
        Ramet.objects.filter(plot=plot, place=Place.PLOT, life__in=[Life.LIVING, Life.LOST])
        .select_related("genet", "taxon")
        .prefetch_related(
            Prefetch(
                "tags",
                queryset=Tag.objects.filter(until=None, live=True).order_by("-since", "-pk"),
                to_attr="worn",
            )
        )
    )
    labels = {
        row.ramet_id: row
        for row in Outplant.objects.filter(
            outplanting__plot=plot, outplanting__event__live=True, ramet__plot=plot
        ).order_by("outplanting__event__moment", "outplanting_id")
    }
    rows = []
    for ramet in ramets:
        label = labels.get(ramet.pk)
        genet = ramet.genet
        rows.append(
            Row(
                code=ramet.code,
                genet_id=(genet.canonical_id or genet.pk) if genet is not None else None,
                taxon=ramet.taxon.name,
                tags=[tag.text for tag in ramet.worn],
                position=label.position if label else "",
                cluster=label.cluster if label else "",
                missing=ramet.life == Life.LOST,
                seen=seen if (seen := typed.get(f"seen:{ramet.code}", "")) in _WORDS else "",
                cause=typed.get(f"cause:{ramet.code}", ""),
                told=told.get(f"seen:{ramet.code}", ()),
            )
        )
    rows.sort(key=lambda row: (row.missing, natural(row.cluster), natural(row.position), row.code))
    found: dict[tuple[bool, str], Cluster] = {}
    for row in rows:
        name = _("Missing when last looked for") if row.missing else row.cluster
        found.setdefault((row.missing, name), Cluster(name)).rows.append(row)
    return list(found.values())


def natural(text: str) -> list[tuple[int, int, str]]:
    """A key by which 2 comes before 10."""
    return [
        (0, int(part), "") if part.isdecimal() else (1, 0, part)
        for part in _NUMBER.split(text)
        if part
    ]


def lines_of(
    plot: Plot, typed: Mapping[str, str], told: Mapping[str, Sequence[Problem]]
) -> tuple[list[Line], list[Line]]:
    """What may be counted: each genet, and each taxon with all together, that stands there."""
    standing = Ramet.objects.filter(plot=plot, place=Place.PLOT, life=Life.LIVING)
    genets = (
        standing.filter(genet__isnull=False)
        .values_list("genet_id", "genet__code", "genet__canonical_id", "genet__canonical__code")
        .annotate(n=Count("pk"))
        .order_by("genet__code")
    )
    merged: dict[str, tuple[int, int]] = {}
    for pk, code, same, same_code, n in genets:
        kept, before = merged.get(same_code or code, (same or pk, 0))
        merged[same_code or code] = (kept, before + n)
    taxa = list(
        standing.values_list("taxon__code", "taxon__name")
        .annotate(n=Count("pk"))
        .order_by("taxon__name")
    )
    stem = f"count:{plot.code}"
    by_genet = [
        _line(f"{stem}:genet:{code}", code, pk, n, typed, told)
        for code, (pk, n) in sorted(merged.items())
    ]
    by_taxon = [_line(f"{stem}:taxon:{code}", name, None, n, typed, told) for code, name, n in taxa]
    everything = _("All together")
    total = sum(n for _code, _name, n in taxa)
    by_taxon.append(_line(f"{stem}:all", everything, None, total, typed, told))
    return by_genet, by_taxon


def _line(
    name: str,
    text: str,
    genet_id: int | None,
    planted: int,
    typed: Mapping[str, str],
    told: Mapping[str, Sequence[Problem]],
) -> Line:
    values = [
        (f"{name}:{word}", label, typed.get(f"{name}:{word}", ""), f"{text}: {label}")
        for word, label in SEEN
    ]
    return Line(name, text, genet_id, planted, values, told.get(name, ()))
