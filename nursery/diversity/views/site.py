"""The page of a site: how many different individuals stand there, and how evenly."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, ClassVar

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext_lazy
from rest_framework.request import Request

from nursery.core.errors import Problem, Unknown
from nursery.core.filters import refuse_unknown
from nursery.core.phrases import counted, day, link, number, percent
from nursery.core.problems import ParameterRefused
from nursery.core.views.base import Page, canonical
from nursery.core.views.edits import edits_of
from nursery.core.views.keeping import may_keep, way_to_form
from nursery.core.views.tables import Column, Table, address, table, without_empty
from nursery.diversity.forms import SiteForm
from nursery.diversity.measures import MEASURES, SYMBOLS, Measure
from nursery.diversity.queries import Group, Report, diversity, planned_for, sides
from nursery.diversity.values import Value
from nursery.diversity.views.pictures import (
    STATE_WORDS,
    profile,
    ranked,
    ranks_sentence,
    ranks_tables,
    rarefaction,
    sides_sentence,
    sides_table,
    value_words,
)
from nursery.donors.models import Genet, Taxon
from nursery.donors.queries import taxon as taxon_named
from nursery.outplanting.counts import Stand
from nursery.places.models import Site
from nursery.places.queries import site as site_of_code

PARAMETERS = ("state", "as_of", "taxon")
_MEASURE = {measure.key: measure for measure in MEASURES}
_IN_TABLE = ("hill_1", "clonal_richness", "pielou", "largest_share")
_MINOR = ("clonal_richness", "pielou")


@dataclass(frozen=True, slots=True)
class Shown:
    """An index with its number in words, or why it has none."""

    measure: Measure
    value: str
    reason: str


class SitePage(Page):
    """Diversity of a site in a state, on a day, of all taxa or one."""

    place = "reef"
    template_name = "diversity/site.html"
    parameters: ClassVar[tuple[str, ...]] = PARAMETERS

    @cached_property
    def site(self) -> Site:
        return site_of_code(self.kwargs["code"])

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        return self.elsewhere() or super().get(request, *args, **kwargs)

    def elsewhere(self) -> HttpResponse | None:
        """The way to the address by which this is known, None where it is this one; refuses
        parameters that it does not know."""
        if self.site.code != self.kwargs["code"]:
            match = self.request.resolver_match
            there = {**self.kwargs, "code": self.site.code}
            path = reverse(match.view_name if match else "site", kwargs=there)
            return canonical(self.request, path)
        filled = without_empty(self.request.GET)
        if filled is not None:
            return HttpResponseRedirect(address(self.request.path, filled))
        refuse_unknown(Request(self.request), self.parameters)
        return None

    def form(self) -> SiteForm:
        """What the address asks for, with the taxa that were ever planted here to choose from."""
        rows = Taxon.objects.filter(ramets__outplants__outplanting__plot__site=self.site)
        taxa = list(rows.order_by("name").distinct())
        return SiteForm(self.request.GET, taxa=[(row.code, row.name) for row in taxa])

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        form = self.form()
        state, as_of, taxon = read(form)
        report = diversity(self.actor, self.site, taxon, state, as_of)
        whole = report.whole
        found = sides(self.actor, self.site, report, taxon)
        planned = planned_for(self.actor, self.site, taxon) if as_of is None else None
        ranks = ranked(report, found[0].group)
        ids = dict(
            Genet.objects.filter(code__in=[row.genet.genet for row in ranks]).values_list(
                "code", "pk"
            )
        )
        first, others = ranks_tables(ranks, ids, state)
        today = day(as_of) if as_of else _("today")
        return super().get_context_data(
            site=self.site,
            form=form,
            report=report,
            whole=whole,
            says=says(report),
            beside=beside(report),
            looked=look_words(report),
            measures=[shown(measure, whole) for measure in MEASURES],
            symbols=_(SYMBOLS),
            sides=sides_table(found, planned, today),
            sides_say=sides_sentence(found),
            ranks=first,
            other_ranks=others,
            ranks_say=ranks_sentence(ranks, state),
            profile=profile(found, self.site.name),
            rarefaction=rarefaction(found, self.site.name),
            today=today,
            groups=groups_table(
                [row for row in report.groups if row.plot is None or row.taxon is None],
                _("Diversity of the site, of its taxa and of its plots"),
            ),
            taxa_in_plots=groups_table(
                [row for row in report.groups if row.plot is not None and row.taxon is not None],
                _("Diversity of each taxon in each plot"),
            ),
            now=state is Stand.ALIVE and as_of is None,
            edit_href=way_to_form(self.actor, self.site),
            edits=edits_of(self.site) if may_keep(self.actor, Site) else (),
            **kwargs,
        )


def read(form: SiteForm) -> tuple[Stand, Any, Taxon | None]:
    """State, day and taxon that the address asks for; raises ParameterRefused."""
    problems = []
    if not form.is_valid():
        for name, faults in form.errors.as_data().items():
            code = "date_malformed" if name == "as_of" else "not_a_choice"
            text = " ".join(part for fault in faults for part in fault.messages)
            problems.append(Problem(code, f"{name}: {text}", (name,)))
    given = form.cleaned_data
    taxon = None
    if given.get("taxon"):
        try:
            taxon = taxon_named(given["taxon"])
        except Unknown as unknown:
            problems += [problem.under("taxon") for problem in unknown.problems]
    if problems:
        raise ParameterRefused(problems)
    return Stand(given["state"] or Stand.ALIVE), given["as_of"], taxon


def says(report: Report) -> str:
    """The opening sentence: effective genets, genets, and how few hold more than half."""
    whole = report.whole
    effective = whole.indices.hill_1.value
    told: dict[str, Any] = {
        "site": report.site_name,
        "taxon": report.taxon,
        "state": STATE_WORDS[report.state],
    }
    if effective is None:
        if report.taxon:
            return (
                _("No ramet of %(taxon)s with a known genet is %(state)s at site %(site)s.") % told
            )
        return _("No ramet with a known genet is %(state)s at site %(site)s.") % told
    total, few = 0.0, 0
    for share in whole.genets:
        total += share.share
        few += 1
        if total > 0.5:
            break
    genets = _("%(n)s effective genets") % {"n": number(effective, 1)}
    if report.taxon:
        genets = _("%(genets)s of %(taxon)s") % {"genets": genets, "taxon": report.taxon}
    told |= {
        "genets": genets,
        "all": len(whole.genets),
        "few": counted(few, ngettext_lazy("genet holds", "genets hold")),
        "share": percent(total),
    }
    if report.state is Stand.PLANTED:
        return (
            _(
                "Site %(site)s was planted with %(genets)s (Hill q\u00a0=\u00a01) of %(all)d; "
                "%(few)s %(share)s."
            )
            % told
        )
    return (
        _(
            "Site %(site)s stands at %(genets)s (Hill q\u00a0=\u00a01) of %(all)d; "
            "%(few)s %(share)s."
        )
        % told
    )


def beside(report: Report) -> str:
    """What the number rests on: how many ramets, in which state, on which day."""
    whole = report.whole
    when = _("on %(day)s") % {"day": day(report.as_of)} if report.as_of else _("today")
    parts = [
        _("n = %(n)s ramets %(state)s, %(when)s")
        % {
            "n": number(whole.indices.ramets),
            "state": STATE_WORDS[report.state],
            "when": when,
        }
    ]
    if whole.without_genet:
        text = _("%(n)s more have no known genet and stand in no index")
        parts.append(text % {"n": number(whole.without_genet)})
    if whole.presumed:
        text = _("%(n)d of the %(all)d genets are presumed")
        parts.append(text % {"n": whole.presumed, "all": len(whole.genets)})
    return f"{'; '.join(parts)}."


def look_words(report: Report) -> str:
    """What stands behind `alive`: what was found when each was looked at last."""
    look = report.look
    if not look.planted:
        return ""
    seen = look.seen_alive + look.seen_dead + look.seen_missing
    count = _("Of %(ramets)s planted, %(alive)s count as alive.") % {
        "ramets": counted(look.planted, ngettext_lazy("ramet", "ramets")),
        "alive": number(look.alive),
    }
    if not seen or look.oldest is None or look.newest is None:
        return f"{count} {_('None has been looked for since.')}"
    when = _("on %(day)s") % {"day": day(look.newest)}
    if look.oldest != look.newest:
        days = {"first": day(look.oldest), "last": day(look.newest)}
        when = _("between %(first)s and %(last)s") % days
    found = _(
        "At the last look at each, %(when)s, %(alive)s were seen alive, %(dead)s dead and "
        "%(missing)s were missing; %(never)s were never looked for."
    ) % {
        "when": when,
        "alive": number(look.seen_alive),
        "dead": number(look.seen_dead),
        "missing": number(look.seen_missing),
        "never": number(look.never),
    }
    return f"{count} {found}"


def shown(measure: Measure, group: Group) -> Shown:
    """One index of a group."""
    value: Value = getattr(group.indices, measure.key)
    return Shown(measure, value_words(measure, value), value.reason)


def groups_table(groups: Sequence[Group], caption: str) -> Table:
    """Groups one below the other: the whole site, its taxa, its plots, taxa in plots."""
    columns = [
        Column(_("Group"), _group_words),
        Column(_("Ramets"), lambda row: row.indices.ramets, number=True),
        Column(_("No genet"), lambda row: row.without_genet, number=True, minor=True),
        Column(_("Genets"), lambda row: row.indices.genets, number=True),
    ]
    for key in _IN_TABLE:
        columns.append(Column(_(_MEASURE[key].name), _cell(key), number=True, minor=key in _MINOR))
    return table(columns, groups, caption, compact=True)


def _cell(key: str) -> Any:
    measure = _MEASURE[key]

    def show(row: Group) -> SafeString | str:
        value: Value = getattr(row.indices, key)
        if value.value is None:
            return format_html('<span class="undefined">{}</span>', value.reason)
        return value_words(measure, value)

    return show


def _group_words(row: Group) -> SafeString | str:
    parts = list(_group_parts(row))
    found = format_html("{}", parts[0])
    for part in parts[1:]:
        found = format_html("{}, {}", found, part)
    return found


def _group_parts(row: Group) -> Iterator[SafeString | str]:
    if row.plot is not None:
        yield format_html(_("plot {plot}"), plot=link(row.plot, "plot", row.plot))
    elif row.taxon is None:
        yield _("whole site")
    if row.taxon is not None:
        yield row.taxon
