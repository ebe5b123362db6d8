"""The page of a structure: the plate as it lies on the bench, and all that is done with it."""

from __future__ import annotations

import datetime
import json
import uuid
from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from nursery.core.errors import Trouble
from nursery.core.phrases import day, in_words, link, number
from nursery.core.spoken import shown
from nursery.core.views.entered import tell
from nursery.core.views.register import Fact, RegisterPage, Section
from nursery.core.views.tables import Column, table
from nursery.core.words import Word
from nursery.donors.models import Taxon
from nursery.husbandry.queries import LastCheck, findings_of, is_due, last_checks
from nursery.lineage.living import living
from nursery.lineage.members import with_held
from nursery.lineage.plate import bench, with_room
from nursery.lineage.words import Cause, Purpose
from nursery.places.models import Structure
from nursery.places.views.acting import FATE_WORDS, FINDING_WORDS, UID, perform, softened
from nursery.places.views.cutting import filled_in
from nursery.places.views.grid import Drawn, signs, taxa_in_words
from nursery.places.views.lists import size, stands_in
from nursery.places.views.words import words_for_scripts

MOST_SHOWN = 20
"""The most rows that the page shows of where a structure stood and what was counted in it."""
LAST_DAY = datetime.date.max


class StructurePage(RegisterPage):
    """A structure as it lies on the bench, with what can be done with its cells."""

    http_method_names = ["get", "head", "post"]
    template_name = "places/structure.html"
    place = "nursery"
    model = Structure
    name = "structure"
    joined = ("nursery", "bay__system", "parent", "plot__site")

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """One act with what was picked. What is refused comes back with the picks as they were."""
        try:
            done = perform(self.actor, self.row, request.POST)
        except Trouble as trouble:
            return self._refused(trouble)
        tell(request, done.recorded, done.says)
        return HttpResponseRedirect(reverse("structure", args=[done.to]))

    def _refused(self, trouble: Trouble) -> HttpResponse:
        typed, problems = softened(trouble, self.request.POST.dict())
        context = self.get_context_data(typed=typed, problems=problems, faults=len(problems))
        return self.render_to_response(context, status=trouble.status)

    @cached_property
    def today(self) -> datetime.date:
        """The day where the actor works."""
        return timezone.localdate()

    @cached_property
    def drawn(self) -> Drawn:
        return Drawn(bench(self.row), findings_of(self.row), self.today)

    @cached_property
    def last(self) -> LastCheck:
        return last_checks([self.row])[self.row.pk]

    @cached_property
    def may_act(self) -> bool:
        """Whether the actor handles the stock of the nursery that it stands in."""
        here = self.row.nursery_id
        return not self.actor.read_only and self.row.plot_id is None and self.actor.works_at(here)

    def says(self) -> str:
        """What lives on it, how it was found, and whether a look is due: one sentence."""
        here = self.drawn.bench
        code = self.row.code
        parts = [
            ngettext("%(n)s ramet lives in %(code)s", "%(n)s ramets live in %(code)s", here.living)
            % {"n": number(here.living), "code": code}
        ]
        if here.free is not None:
            parts.append(
                ngettext("%(n)s cell is free", "%(n)s cells are free", here.free)
                % {"n": number(here.free)}
            )
        if self.row.lost:
            parts.insert(0, _("%(code)s is lost") % {"code": code})
        if here.ended:
            parts.append(_("%(n)s ended here") % {"n": number(here.ended)})
        return f"{'; '.join(parts)}."

    def summary(self) -> str:
        """What grows there and how it does, in one line."""
        here = self.drawn.bench
        counts = [f"{number(n)} {words}" for _key, words, n in self.drawn.counts()]
        return " · ".join(
            [taxa_in_words(here), ", ".join(counts)] if counts else [taxa_in_words(here)]
        )

    def looked_at(self) -> str:
        """When it was last looked at."""
        looks = [look for look in (self.last.checked, self.last.counted) if look is not None]
        if not looks:
            return _("never checked")
        when = max(looks, key=lambda look: look.key).when
        return _("last checked %(day)s") % {"day": day(when.latest)}

    def check_due(self) -> str:
        """Why a look is due, or an empty text."""
        filled = self.last.filled
        if self.row.lost or filled is None or not is_due(self.last, self.today):
            return ""
        days = (self.today - filled.when.latest).days
        return ngettext("day %(n)s: check due", "day %(n)s: check due", days) % {"n": number(days)}

    def facts(self) -> Sequence[Fact]:
        row = self.row
        nursery = row.nursery
        return [
            Fact(_("Kind"), row.get_kind_display()),
            Fact(_("Size"), size(row)),
            Fact(_("Stands in"), _("nowhere: it is lost") if row.lost else stands_in(row)),
            Fact(_("Nursery"), link(nursery, "nursery", nursery.code) if nursery else ""),
            Fact(_("Closed"), day(row.closed_on) if row.closed_on else ""),
            Fact(_("Note"), row.note),
        ]

    def sections(self) -> Sequence[Section]:
        moves = list(
            self.row.steps.filter(live=True)
            .select_related("event", "bay", "parent", "plot")
            .order_by("-order")[:MOST_SHOWN]
        )
        counts = list(
            self.row.counts.filter(event__live=True)
            .select_related("event", "lot__event")
            .order_by("-event__moment", "-pk")[:MOST_SHOWN]
        )
        counted_here = Section(
            _("Counted here"), table(COUNTS, counts, _("Counts of this structure"))
        )
        return [
            *([counted_here] if counts else []),
            Section(
                _("Where it stood"),
                table(
                    [
                        Column(_("Since"), lambda step: in_words(step.event.when)),
                        Column(_("In"), lambda step: _stood_in(step)),
                        Column(_("Entry"), _entry),
                    ],
                    moves,
                    _("Where this structure stood"),
                    _("It has not been set up anywhere yet."),
                ),
            ),
        ]

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        typed: Mapping[str, str] = kwargs.setdefault("typed", {})
        drawn = self.drawn
        here = drawn.bench
        context = super().get_context_data(
            bench=here,
            drawn=drawn,
            signs=signs(),
            counts=drawn.counts(),
            summary=self.summary(),
            looked_at=self.looked_at(),
            check_due=self.check_due(),
            mixed=len(here.taxa) > 1,
            may_act=self.may_act,
            uid=typed.get(UID) or str(uuid.uuid4()),
            form=filled_in(self.actor, self.today, typed),
            **kwargs,
        )
        if here.rows:
            told = {
                **drawn.data(self.row),
                "picked": typed.get("picked", ""),
                "act": typed.get("act", ""),
                "acts": self.may_act,
                "words": words_for_scripts(),
            }
            context["data"] = json.dumps(told, separators=(",", ":"))
        return {**context, **self._acts()} if self.may_act else context

    def _acts(self) -> dict[str, Any]:
        """What the forms offer to those who may act."""
        here = self.drawn.bench
        nurseries = None if self.actor.leads else sorted(self.actor.nurseries)
        posted = self.request.POST
        inside = with_held([self.row.pk], datetime.datetime.combine(LAST_DAY, datetime.time()))
        going = living().filter(structure__in=inside).count()
        return {
            "causes": _choices(Cause),
            "purposes": _choices(Purpose),
            "fates": FATE_WORDS.items(),
            "finding_words": FINDING_WORDS.items(),
            "rooms": with_room(nurseries),
            "may_set_up": True,
            "zoanthid": any(taxon.group == Taxon.Group.ZOANTHID for taxon in here.taxa),
            "going": going,
            "goes_with": _goes_with(self.row.code, going, len(inside) - 1),
            "ticked": frozenset(posted.getlist("tick")),
            "lots": [
                (lot, *(posted.get(f"{name}-{lot.uid}", "") for name in ("dead", "missing")))
                for lot in here.lots
            ],
        }


def _goes_with(code: str, ramets: int, structures: int) -> str:
    """What goes along when a structure goes."""
    told = ngettext(
        "%(code)s goes with %(n)s living ramet", "%(code)s goes with %(n)s living ramets", ramets
    ) % {"code": code, "n": number(ramets)}
    if structures:
        held = ngettext("%(n)s structure", "%(n)s structures", structures)
        told = _("%(told)s and the %(held)s in it") % {
            "told": told,
            "held": held % {"n": number(structures)},
        }
    return f"{told}."


def _choices(words: type[Word]) -> list[tuple[str, str]]:
    """The words of a closed set, as they are sent and as they are read."""
    return [(word.word, shown(word)) for word in words]


def _entry(step: Any) -> str:
    """What set a structure up, moved or lost it."""
    return link(step.event.get_kind_display(), "event", step.event.uid)


def _lot(count: Any) -> str:
    """What was counted: the ramets of one cutting, or all that the structure held."""
    if count.lot is None:
        return _("all that it held")
    return link(in_words(count.lot.event.when), "event", count.lot.event.uid)


COUNTS = (
    Column(
        gettext_lazy("When"),
        lambda count: link(in_words(count.event.when), "event", count.event.uid),
    ),
    Column(gettext_lazy("Of"), _lot),
    Column(
        gettext_lazy("Alive"),
        lambda count: _("not counted") if count.alive is None else number(count.alive),
        number=True,
    ),
    Column(gettext_lazy("Dead"), lambda count: number(count.dead), number=True),
    Column(gettext_lazy("Missing"), lambda count: number(count.missing), number=True),
    Column(gettext_lazy("Note"), lambda count: count.note),
)
"""What was counted in a structure. Only a count of a lot changed any ramet."""


def _stood_in(step: Any) -> str:
    """The place that a structure's step names."""
    if step.lost:
        return _("lost")
    if step.bay is not None:
        return link(step.bay, "bay", step.bay.code)
    if step.parent is not None:
        return link(step.parent, "structure", step.parent.code)
    return link(step.plot, "plot", step.plot.code) if step.plot is not None else _("nowhere")
