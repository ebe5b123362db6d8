"""Genotypes in words: chances, groups, chains, and by what a genet is confirmed."""

from __future__ import annotations

from collections.abc import Sequence

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from nursery.core.errors import Problem
from nursery.core.phrases import in_words, link, number, ramet_link
from nursery.core.views.register import Section
from nursery.core.views.tables import Column, Table, table
from nursery.genotyping.measures import Product
from nursery.genotyping.models import Proposal
from nursery.genotyping.queries import Confirmed, Link, Member, Standing

MOST_PAIRS = 20
"""The most pairs of a group that a page tells one by one."""


def blank_of(problem: Problem) -> str:
    """The blank that a problem is told beside: the first of its path."""
    return str(problem.path[0]) if problem.path else ""


def proposal_link(row: Proposal) -> SafeString:
    return link(in_words(row.made_at), "matches", row.uid)


def chance_words(chance: Product | None) -> str:
    """A chance for people: as a number, or one in so many where it is small."""
    if chance is None:
        return _("not defined: nothing was typed")
    if chance.log10 > -2:
        return f"{chance.value:.3f}"
    if chance.log10 > -9:
        return _("1 in %(n)s") % {"n": number(round(10**-chance.log10))}
    return _("1 in 10 to the power of %(n)s") % {"n": number(-chance.log10, 1)}


def chance_number(value: float | None) -> str:
    """One locus's figure."""
    return f"{value:.3f}" if value is not None else _("not typed")


def verdict_words(group: Standing) -> str:
    """What was decided about a group."""
    if group.verdict is None:
        return _("not decided yet")
    if group.verdict == "rejected":
        return _("rejected: %(reason)s") % {"reason": group.reason}
    if not group.stands:
        return _("was accepted as %(genet)s; what that did is void") % {"genet": group.genet}
    return _("accepted as %(genet)s: %(reason)s") % {"genet": group.genet, "reason": group.reason}


def source_link(member: Member) -> SafeString:
    if member.of_colony:
        return link(member.source, "colony", member.source)
    return ramet_link(member.source)


def members_table(group: Standing) -> Table:
    """The samples of a group, what they are of, and how that is labelled."""
    return table(
        [
            Column(_("Sample"), lambda row: link(row.sample, "sample", row.sample)),
            Column(_("Of"), source_link),
            Column(_("What"), lambda row: _("donor colony") if row.of_colony else _("ramet")),
            Column(
                _("Labelled as"),
                lambda row: link(row.genet, "genet", row.genet) if row.genet else _("not known"),
            ),
        ],
        group.members,
        _("Samples of this group"),
    )


def pairs_table(pairs: Sequence[Link], caption: str) -> Table:
    """Pairs of samples, at how many of how many loci they differ."""
    return table(
        [
            Column(_("Sample"), lambda row: link(row.first, "sample", row.first)),
            Column(_("And"), lambda row: link(row.second, "sample", row.second)),
            Column(_("Loci that differ"), lambda row: number(row.mismatches), number=True),
            Column(_("Loci typed in both"), lambda row: number(row.shared), number=True),
        ],
        pairs[:MOST_PAIRS],
        caption,
        compact=True,
    )


def chain_says(group: Standing) -> str:
    """Whether all members match each other, in one sentence."""
    if len(group.members) == 1:
        return _("It matches no other sample.")
    apart, untold = group.chain.apart_count, group.chain.untold_count
    if not apart and not untold:
        return _("Each of them matches each other one.")
    parts = []
    if apart:
        told = ngettext(
            "A chain: %(n)s pair in it does not match, though others join the two.",
            "A chain: %(n)s pairs in it do not match, though others join them.",
            apart,
        )
        parts.append(told % {"n": number(apart)})
    if untold:
        told = ngettext(
            "%(n)s pair shares too few loci to be compared.",
            "%(n)s pairs share too few loci to be compared.",
            untold,
        )
        parts.append(told % {"n": number(untold)})
    return " ".join(parts)


def confirmed_section(rows: Sequence[Confirmed]) -> Section:
    """By what a genet is confirmed: which panel, which day, and of what the sample was."""
    ramets = {row.source for row in rows if not row.of_colony}
    says = ""
    if rows and not ramets:
        says = _(
            "Only donor colonies of it were typed. That says nothing of the labels on its ramets: "
            "none of these was sampled."
        )
    elif ramets:
        told = ngettext(
            "%(n)s ramet of it was typed itself; nothing was typed of the others.",
            "%(n)s ramets of it were typed themselves; nothing was typed of the others.",
            len(ramets),
        )
        says = told % {"n": number(len(ramets))}
    return Section(
        _("Confirmed by"),
        table(
            [
                Column(_("Sample"), lambda row: link(row.sample, "sample", row.sample)),
                Column(
                    _("Of"),
                    lambda row: source_link(Member(row.sample, row.source, row.of_colony, None)),
                ),
                Column(_("What"), lambda row: _("donor colony") if row.of_colony else _("ramet")),
                Column(_("Panel"), lambda row: link(row.panel, "panel", row.panel)),
                Column(_("On"), lambda row: in_words(row.on)),
                Column(
                    _("Decision"),
                    lambda row: link(
                        _("group %(n)s") % {"n": row.group}, "match-group", row.proposal, row.group
                    ),
                ),
            ],
            rows,
            _("Samples whose genotypes confirm this genet"),
            _("No decision about genotypes confirms it: it is presumed, or was entered so."),
        ),
        says=says,
    )
