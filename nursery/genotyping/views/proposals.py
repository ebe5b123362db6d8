"""Pages of a proposal: its groups, and each group with what accepting it would change."""

from __future__ import annotations

import uuid
from collections import Counter
from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import Any

from django.contrib import messages
from django.db.models import Exists, OuterRef, Sum
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from rest_framework.request import Request

from nursery.core.actor import require
from nursery.core.errors import Problem, Trouble, Unknown
from nursery.core.filters import refuse_unknown
from nursery.core.inputs import read
from nursery.core.phrases import joined, link, number
from nursery.core.views.base import Page
from nursery.core.views.returned import returned
from nursery.core.views.tables import Column, sheet, table
from nursery.genotyping.actions import accept, accepting_effect, reject
from nursery.genotyping.actions.decide import ACT
from nursery.genotyping.inputs import AcceptedIn, RejectedIn
from nursery.genotyping.models import Decision, MatchGroup, Proposal
from nursery.genotyping.queries import Standing, elsewhere, groups_of
from nursery.genotyping.views.telling import (
    MOST_PAIRS,
    blank_of,
    chain_says,
    members_table,
    pairs_table,
    verdict_words,
)
from nursery.lineage.regrouping import Effect
from nursery.lineage.views.regrouping import effect_shown

STEP = "step"
"""Which button was pressed: `look`, `change`, `accept` or `reject`."""

MOST_SPREAD = 40
"""Up to how many differing loci the number of pairs is told."""

_SEVERAL = ("merge", "ramets")


def proposal_of(key: uuid.UUID) -> Proposal:
    """The proposal of this uid; raises Unknown (`unknown_proposal`)."""
    rows = Proposal.objects.select_related("panel", "table", "made_by").defer("table__calls")
    row = rows.filter(uid=key).first()
    if row is None:
        raise Unknown(Problem("unknown_proposal", _("There is no such proposal.")))
    return row


class ProposalPage(Page):
    """A proposal: how far pairs of samples differ, and which groups that makes."""

    place = "genets"
    template_name = "genotyping/proposal.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        refuse_unknown(Request(request), {"limit", "offset"})
        return super().get(request, *args, **kwargs)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        row = proposal_of(self.kwargs["uid"])
        groups = row.groups.order_by("number")
        page = sheet(self.request, groups)
        decided = Exists(Decision.objects.filter(group=OuterRef("pk")))
        open_ = groups.exclude(decided).count()
        samples = groups.aggregate(n=Sum("size"))["n"] or 0
        says = ngettext(
            "%(samples)s samples make %(n)s group.",
            "%(samples)s samples make %(n)s groups.",
            page.count,
        )
        left = ngettext("%(n)s is not decided yet.", "%(n)s are not decided yet.", open_)
        return super().get_context_data(
            row=row,
            says=says % {"samples": number(samples), "n": number(page.count)},
            left=left % {"n": number(open_)} if open_ else _("All of them are decided."),
            table=_groups_table(row, groups_of(page.rows)),
            sheet=page,
            spread=_spread_table(row),
            **kwargs,
        )


def _groups_table(row: Proposal, groups: Sequence[Standing]) -> Any:
    return table(
        [
            Column(
                _("Group"),
                lambda one: link(
                    _("group %(n)s") % {"n": one.number}, "match-group", row.uid, one.number
                ),
            ),
            Column(_("Samples"), lambda one: number(len(one.members)), number=True),
            Column(_("Labelled as"), _labels),
            Column(_("Chain"), lambda one: chain_says(one) if one.chain.apart_count else ""),
            Column(_("Decision"), verdict_words),
        ],
        groups,
        _("Groups of samples that match"),
        _("Nothing was compared."),
    )


def _labels(group: Standing) -> Any:
    shown: list[Any] = [link(code, "genet", code) for code in group.genets]
    if group.unlabelled:
        shown.append(_("not known"))
    return joined(shown)


def _spread_table(row: Proposal) -> Any:
    """How many pairs differ at how many loci: clones are few loci apart, others many."""
    pairs = [(differ, n) for differ, n in enumerate(row.spread[: MOST_SPREAD + 1]) if n]
    beyond = sum(row.spread[MOST_SPREAD + 1 :])
    shown = [
        (_("%(n)s, matching") % {"n": differ} if differ <= row.threshold else str(differ), n)
        for differ, n in pairs
    ]
    if beyond:
        shown.append((_("more than %(n)s") % {"n": MOST_SPREAD}, beyond))
    return table(
        [
            Column(_("Loci that differ"), lambda one: one[0]),
            Column(_("Pairs of samples"), lambda one: number(one[1]), number=True),
        ],
        shown,
        _("How many pairs of samples differ at how many loci"),
        _("No two samples share enough loci."),
        compact=True,
    )


class GroupPage(Page):
    """A group: its samples, its chain, and the decision, which is shown before it is made."""

    http_method_names = ["get", "head", "post"]
    place = "genets"
    template_name = "genotyping/group.html"

    @cached_property
    def proposal(self) -> Proposal:
        return proposal_of(self.kwargs["uid"])

    @cached_property
    def group(self) -> Standing:
        """The group of the number in the address; raises Unknown (`unknown_group`)."""
        rows = MatchGroup.objects.filter(proposal=self.proposal, number=self.kwargs["number"])
        found = groups_of(rows)
        if not found:
            raise Unknown(Problem("unknown_group", _("There is no such group.")))
        return found[0]

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        refuse_unknown(Request(request), ())
        typed = {"uid": str(uuid.uuid4()), "when": timezone.localdate().isoformat()}
        return self._form({**typed, **_offered(self.group)})

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, act=ACT)
        typed: dict[str, Any] = request.POST.dict()
        typed |= {name: request.POST.getlist(name) for name in _SEVERAL}
        step = typed.get(STEP)
        if step == "change":
            return self._form(typed)
        try:
            if step == "reject":
                made = reject(self.actor, read(RejectedIn, self._given(typed, ("uid", "reason"))))
                return self._decided(made.decision)
            names = ("uid", "genet", *_SEVERAL, "when", "reason")
            given = read(AcceptedIn, self._given(typed, names))
            if step != "accept":
                return self._form(typed, effect=accepting_effect(self.actor, given))
            return self._decided(accept(self.actor, given).decision)
        except Trouble as trouble:
            return self._form(typed, trouble)

    def _given(self, typed: Mapping[str, Any], names: Sequence[str]) -> dict[str, Any]:
        given = {name: typed[name] for name in names if typed.get(name)}
        return {**given, "proposal": self.proposal.uid, "group": self.kwargs["number"]}

    def _decided(self, decision: Decision) -> HttpResponse:
        (group,) = groups_of([decision.group])
        messages.success(
            self.request,
            _("Group %(n)s: %(verdict)s.")
            % {"n": self.kwargs["number"], "verdict": verdict_words(group)},
        )
        return HttpResponseRedirect(reverse("matches", args=[decision.group.proposal.uid]))

    def _form(
        self,
        typed: Mapping[str, Any],
        trouble: Trouble | None = None,
        effect: Effect | None = None,
    ) -> HttpResponse:
        group = self.group
        back = returned(trouble, blank_of)
        shown = {"genet", *_SEVERAL, "when", "reason"}
        context = self.get_context_data(
            proposal=self.proposal,
            group=group,
            says=chain_says(group),
            verdict=verdict_words(group),
            members=members_table(group),
            links=pairs_table(group.chain.links, _("Matches that hold the group together")),
            apart=pairs_table(group.chain.apart, _("Pairs that do not match")),
            untold=pairs_table(group.chain.untold, _("Pairs that share too few loci")),
            most_pairs=MOST_PAIRS,
            elsewhere=elsewhere(self.proposal, group),
            may_decide=self.actor.leads and not (group.stands and group.events),
            doubtful=_doubtful(group),
            typed=typed,
            several=_SEVERAL,
            told=back.told,
            problems=back.above(shown),
            faults=back.faults,
            effect=effect_shown(effect) if effect is not None else None,
        )
        return self.render_to_response(context, status=back.status)


def _offered(group: Standing) -> dict[str, Any]:
    """What the form offers: the label that most bear, genets of other colonies as merged into it,
    and other ramets as wrongly labelled. A colony's label is its genet itself, a ramet's may have
    been mixed up."""
    labels = Counter(member.genet for member in group.members if member.genet is not None)
    colonies = {member.genet for member in group.members if member.of_colony}
    if not labels:
        return {"genet": "", "merge": [], "ramets": [one.source for one in group.members]}
    genet = min(labels, key=lambda code: (-labels[code], code not in colonies, code))
    merged = sorted(code for code in colonies if code is not None and code != genet)
    wrong = [
        member.source
        for member in group.members
        if not member.of_colony and member.genet != genet and member.genet not in merged
    ]
    return {"genet": genet, "merge": merged, "ramets": wrong}


def _doubtful(group: Standing) -> list[str]:
    """The ramets of the group that may be relabelled: all that were sampled, each once."""
    return list(dict.fromkeys(one.source for one in group.members if not one.of_colony))
