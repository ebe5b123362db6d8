"""Genets and where they are kept: a matrix of living ramets, and what is at risk in it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cached_property
from typing import Any, cast

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, QueryDict
from django.urls import reverse
from django.utils.html import format_html
from django.utils.http import urlencode
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext_lazy
from rest_framework.request import Request

from nursery.core.errors import Problem, Unknown
from nursery.core.filters import ORDERING, refuse_unknown
from nursery.core.paging import Paging
from nursery.core.phrases import counted, in_words, joined, link, listed, number
from nursery.core.problems import ParameterRefused
from nursery.core.views import kin
from nursery.core.views.base import Page
from nursery.core.views.exporting import rows_as_csv
from nursery.core.views.lists import kin_links
from nursery.core.views.tables import (
    Column,
    Head,
    Table,
    address,
    cells,
    sheet,
    table,
    without_empty,
)
from nursery.diversity.forms import MOST_FEW, read_few
from nursery.diversity.lost import Gone, gone
from nursery.diversity.risk import FEW, Keeping, Kept, Risk, keeping
from nursery.donors.models import Taxon
from nursery.donors.queries import taxon as taxon_named
from nursery.donors.views.lists import genet_link

_SORTS: dict[str, Callable[[Kept], Any]] = {
    "genet": lambda row: row.genet.code,
    "taxon": lambda row: (row.genet.taxon.name, row.genet.code),
    "living": lambda row: row.living,
    "reef": lambda row: row.on_reef,
    "elsewhere": lambda row: row.elsewhere,
    "risk": lambda row: (not row.risks, row.living),
}
_NURSERY = "nursery:"
_SYSTEM = "system:"
_BYS = ("nursery", "system")


class Whole(Paging):
    """Everything on one sheet, as it is printed; only a very large programme has a second."""

    default_limit = Paging.max_limit


def taxon_asked(request: HttpRequest) -> Taxon | None:
    """The taxon that the address asks for; raises ParameterRefused."""
    text = request.GET.get("taxon")
    if not text:
        return None
    try:
        return taxon_named(text)
    except Unknown as unknown:
        raise ParameterRefused([each.under("taxon") for each in unknown.problems]) from None


class MatrixPage(Page):
    """Living ramets by genet and nursery."""

    place = "genets"
    template_name = "diversity/matrix.html"
    parameters = frozenset({"taxon", "risk", "few", "by", ORDERING, "limit", "offset"})

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        filled = without_empty(request.GET)
        if filled is not None:
            return HttpResponseRedirect(address(request.path, filled))
        refuse_unknown(Request(request), self.parameters)
        return super().get(request, *args, **kwargs)

    @cached_property
    def taxon(self) -> Taxon | None:
        return taxon_asked(self.request)

    @property
    def few(self) -> int:
        return read_few(self.request.GET.get("few", ""))

    @property
    def by(self) -> str:
        """Whether ramets are counted by nursery or by system."""
        asked = self.request.GET.get("by", "nursery")
        if asked not in _BYS:
            problem = Problem("not_a_choice", f"by is one of: {', '.join(_BYS)}.", ("by",))
            raise ParameterRefused(problem)
        return asked

    @property
    def only_risky(self) -> bool:
        asked = self.request.GET.get("risk", "")
        if asked not in ("", "1"):
            raise ParameterRefused(Problem("not_a_choice", "risk is 1 or left out.", ("risk",)))
        return bool(asked)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        found = keeping(self.actor, self.taxon, self.few)
        lost = gone(self.actor, self.taxon)
        rows: list[Kept] = found.at_risk if self.only_risky else list(found.rows)
        rows = self._ordered(rows, found)
        page = sheet(self.request, rows, Whole())  # type: ignore[arg-type]  # a list pages too
        columns = self._columns(found)
        heads = [self._head(column) for column in columns]
        taxa = Taxon.objects.filter(genets__isnull=False).distinct().order_by("name")
        return super().get_context_data(
            found=found,
            says=says(found, self.taxon),
            beside=beside(found),
            taxon=self.taxon,
            taxa=list(taxa),
            only_risky=self.only_risky,
            ordering=self.request.GET.get(ORDERING, ""),
            table=Table(
                _("Living ramets by genet and place"),
                heads,
                cells(columns, heads, page.rows),
                _("Nothing fits."),
                compact=True,
            ),
            sheet=page,
            kin=kin_links(kin.GENETS, self.request.path),
            few=found.enough,
            usual=FEW,
            most_few=MOST_FEW,
            by=self.by,
            lost=lost_table(lost),
            lost_says=lost_words(lost),
            files=[
                (words, address(reverse(name), self._file_query()))
                for words, name in ((_("genets"), "bank-file"), (_("lost genets"), "lost-file"))
            ],
            **kwargs,
        )

    def _file_query(self) -> QueryDict:
        """What a file takes of what this page was asked for."""
        query = self.request.GET.copy()
        for name in set(query) - FILE_PARAMETERS:
            del query[name]
        return query

    def _ordered(self, rows: list[Kept], found: Keeping) -> list[Kept]:
        asked = self.request.GET.get(ORDERING, "") or "risk"
        name = asked.removeprefix("-")
        kind, _colon, code = name.partition(":")
        sort = _SORTS.get(name)
        if sort is None and kind == "nursery" and code in {row.code for row in found.nurseries}:
            sort = _count_at(code)
        if sort is None and kind == "system" and code in found.waters:
            sort = _count_in(code)
        if sort is None:
            raise ParameterRefused(
                Problem(
                    "unknown_ordering",
                    f"ordering is one of {', '.join(_SORTS)} , {_NURSERY}CODE or {_SYSTEM}CODE.",
                    (ORDERING,),
                )
            )
        # By code first: rows that are alike stand in one order, whichever way they are sorted.
        by_code = sorted(rows, key=_SORTS["genet"])
        return sorted(by_code, key=sort, reverse=asked.startswith("-"))

    def _columns(self, found: Keeping) -> list[Column]:
        columns = [
            Column(_("Genet"), lambda row: genet_link(row.genet), "genet"),
            Column(_("Taxon"), lambda row: row.genet.taxon.name, "taxon", minor=True),
            Column(_("At risk"), risk_words, "risk"),
            Column(_("Living"), lambda row: number(row.living), "living", number=True),
        ]
        if self.by == "system":
            columns += [
                Column(code, _shown_in(code), f"{_SYSTEM}{code}", True) for code in found.waters
            ]
        else:
            columns += [
                Column(row.code, _shown_at(row.code), f"{_NURSERY}{row.code}", True)
                for row in found.nurseries
            ]
        columns.append(
            Column(
                _("Reef"),
                lambda row: _ramets(row.on_reef, row, place="plot"),
                "reef",
                number=True,
            )
        )
        if any(row.elsewhere for row in found.rows):
            columns.append(
                Column(_("No place"), lambda row: row.elsewhere or "–", "elsewhere", number=True)
            )
        return columns

    def _head(self, column: Column) -> Head:
        now = self.request.GET.get(ORDERING, "") or "risk"
        up, down = column.order, f"-{column.order}"
        # A number is asked for largest first.
        first, second = (down, up) if column.number else (up, down)
        query = self.request.GET.copy()
        query.pop("offset", None)
        query[ORDERING] = second if now == first else first
        state = {up: "ascending", down: "descending"}.get(now, "")
        href = address(self.request.path, query)
        return Head(column.heading, column.number, href, state, column.minor)


def _count_at(code: str) -> Callable[[Kept], int]:
    return lambda row: row.by_nursery.get(code, 0)


def _count_in(code: str) -> Callable[[Kept], int]:
    return lambda row: row.by_water.get(code, 0)


def _shown_in(code: str) -> Callable[[Kept], str]:
    # No link: a list of ramets knows only the system that a structure stands in by itself.
    return lambda row: number(row.by_water[code]) if code in row.by_water else "–"


def _shown_at(code: str) -> Callable[[Kept], SafeString | str]:
    return lambda row: _ramets(row.by_nursery.get(code, 0), row, nursery=code)


def _ramets(n: int, row: Kept, **where: str) -> SafeString | str:
    """A count that leads to the ramets it counts."""
    if not n:
        return "–"
    query = urlencode({"genet": row.genet.code, "life": "living", **where})
    return format_html('<a href="{}?{}">{}</a>', reverse("ramets"), query, number(n))


def risk_words(row: Kept) -> SafeString | str:
    """Why a genet is at risk: a sign, a word and the figure; nothing where it is not."""
    return joined([risk_mark(risk, row) for risk in row.risks], " ")


def risk_mark(risk: Risk, row: Kept) -> SafeString:
    if risk is Risk.FEW:
        return format_html('<span class="risk">▼ {}</span>', _("few: %(n)s") % {"n": row.living})
    if risk is Risk.ONE_WATER and row.water is not None:
        return format_html(
            '<span class="risk">◉ {} {}</span>',
            _("one water:"),
            link(row.water, "system", row.water),
        )
    return format_html(
        '<span class="risk">◎ {} {}</span>',
        _("one nursery:"),
        link(row.nursery or "", "nursery", row.nursery or "-"),
    )


def says(found: Keeping, taxon: Taxon | None) -> str:
    """How many genets live, and how many could be lost by one mishap."""
    if not found.rows:
        if taxon is None:
            return _("No genet has a living ramet in the record.")
        return _("No genet of %(taxon)s has a living ramet in the record.") % {"taxon": taxon.name}
    risky = len(found.at_risk)
    live = counted(len(found.rows), ngettext_lazy("genet", "genets"))
    if taxon is not None:
        live = _("%(genets)s of %(taxon)s") % {"genets": live, "taxon": taxon.name}
    if not risky:
        return _("%(live)s live, and none of them is at risk by the rules below.") % {"live": live}
    are = counted(risky, ngettext_lazy("is at risk", "are at risk"))
    return _("%(live)s live; %(are)s.") % {"live": live, "are": are}


def beside(found: Keeping) -> str:
    """How many are at risk for which reason; one genet may have two."""
    parts: Sequence[str] = [
        text % {"n": number(found.with_risk(risk)), "few": found.enough}
        for risk, text in (
            (Risk.FEW, _("%(n)s have fewer than %(few)s living ramets")),
            (Risk.ONE_WATER, _("%(n)s live in one water alone")),
            (Risk.ONE_NURSERY, _("%(n)s in one nursery alone, in several waters")),
        )
        if found.with_risk(risk)
    ]
    return f"{listed(parts)}." if parts else ""


# What is gone


def lost_words(rows: Sequence[Gone]) -> str:
    """How many genets were lost; empty where none was."""
    if not rows:
        return ""
    return _("%(genets)s in the record and no ramet alive.") % {
        "genets": counted(len(rows), ngettext_lazy("genet has ramets", "genets have ramets"))
    }


def lost_table(rows: Sequence[Gone]) -> Table:
    columns = [
        Column(_("Genet"), lambda row: genet_link(row.genet)),
        Column(_("Taxon"), lambda row: row.genet.taxon.name, minor=True),
        Column(_("Ramets there were"), lambda row: number(row.ramets), number=True),
        Column(_("The last one ended"), lambda row: in_words(row.ended)),
        Column(_("How"), _end_words),
    ]
    return table(columns, rows, _("Genets without a living ramet"), compact=True)


def _end_words(row: Gone) -> str:
    how = _(str(row.how.label))
    if row.cause is None:
        return how
    return _("%(how)s: %(cause)s") % {"how": how, "cause": _(str(row.cause.label))}


# Files

FILE_PARAMETERS = frozenset({"taxon", "few"})


class BankFile(Page):
    """The programme's living genets as CSV: one row each, with a column for each place."""

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        refuse_unknown(Request(request), FILE_PARAMETERS)
        few = read_few(request.GET.get("few", ""))
        found = keeping(self.actor, taxon_asked(request), few)
        columns = [
            Column("genet", lambda row: row.genet.code),
            Column("name", lambda row: row.genet.name),
            Column("status", lambda row: row.genet.status),
            Column("taxon", lambda row: row.genet.taxon.name),
            Column("living", lambda row: row.living),
            Column("risks", lambda row: " ".join(row.risks)),
            Column("on_reef", lambda row: row.on_reef),
            Column("elsewhere", lambda row: row.elsewhere),
        ]
        columns += [Column(f"{_NURSERY}{row.code}", _count_at(row.code)) for row in found.nurseries]
        columns += [Column(f"{_SYSTEM}{code}", _count_in(code)) for code in found.waters]
        return cast("HttpResponse", rows_as_csv("genet-bank", columns, found.rows))


class LostFile(Page):
    """The genets without a living ramet as CSV."""

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        refuse_unknown(Request(request), FILE_PARAMETERS)
        columns = [
            Column("genet", lambda row: row.genet.code),
            Column("name", lambda row: row.genet.name),
            Column("taxon", lambda row: row.genet.taxon.name),
            Column("ramets", lambda row: row.ramets),
            Column("ended", lambda row: str(row.ended)),
            Column("how", lambda row: row.how.word),
            Column("cause", lambda row: row.cause.word if row.cause is not None else ""),
        ]
        return cast(
            "HttpResponse",
            rows_as_csv("lost-genets", columns, gone(self.actor, taxon_asked(request))),
        )
