"""Rows of a list that are picked: one by one, or all that match; and what is done with them.

Nothing is kept between two pages. Picked rows stand in the address by their own names; all that
match are the filter itself with the number that was seen, so that it is told if it has changed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import reduce
from typing import Any, ClassVar
from urllib.parse import urlencode
from uuid import UUID

from django.db.models import QuerySet
from django.http import HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import render
from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from nursery.core.actor import Actor, Role
from nursery.core.errors import NotAllowed, Problem
from nursery.core.problems import ParameterRefused
from nursery.core.views.base import Page
from nursery.core.views.tables import address

PICK, ALL, ACT, ONLY = "pick", "all", "act", "only"
FORMAT = "format"
MOST_PICKED = 200
"""How many rows at most are named in an address, which servers and proxies cut off."""
MOST_UIDS = 80
"""As many as that where each is named by a uid, which is long."""

SHOW, PRINT, FILE = "show", "print", "csv"
EVERYBODY: Sequence[tuple[str, str | Promise]] = (
    (SHOW, gettext_lazy("Show only these")),
    (PRINT, gettext_lazy("Print")),
    (FILE, gettext_lazy("As CSV")),
)
"""What can be done with rows of any list."""


@dataclass(frozen=True, slots=True)
class Act:
    """What can be done with picked rows: `to` is the address of the page that does it."""

    word: str
    label: str | Promise
    to: Callable[[Sequence[str]], str]
    roles: frozenset[Role] = frozenset({Role.FIELD, Role.NURSERY})

    def open_to(self, actor: Actor) -> bool:
        return actor.leads or actor.has(*self.roles)


def form_for(name: str, field: str, between: str = ",") -> Callable[[Sequence[str]], str]:
    """The page `name` with the keys in one of its fields."""
    return lambda keys: f"{reverse(name)}?{urlencode({field: between.join(keys)})}"


def entry_of(kind: str, field: str, columns: str) -> Callable[[Sequence[str]], str]:
    """The form of a kind of entry with a line for each key, below the names of the columns."""
    return lambda keys: (
        f"{reverse('enter-kind', args=[kind])}?{urlencode({field: chr(10).join((columns, *keys))})}"
    )


class Picking(Page):
    """A list of which rows can be picked."""

    key: ClassVar[str] = "code"
    """The path to what a row is called in an address."""
    acts: ClassVar[Sequence[Act]] = ()
    PARAMETERS: ClassVar[frozenset[str]] = frozenset({PICK, ALL, ACT, ONLY})

    def asked_for(self) -> QuerySet[Any]:
        """The rows that the address asks for, in its order."""
        raise NotImplementedError

    def key_of(self, row: Any) -> str:
        return str(reduce(getattr, self.key.split("__"), row))

    def only(self, rows: QuerySet[Any]) -> QuerySet[Any]:
        """The rows that `only` of the address names; raises ParameterRefused (`unknown_row`)."""
        if ONLY not in self.request.GET:
            return rows
        keys = self._keys(ONLY)
        found = rows.filter(**{f"{self.key}__in": keys})
        known = {str(key) for key in found.order_by().values_list(self.key, flat=True)}
        if missing := [key for key in keys if key not in known]:
            message = _("There is no %(name)s here.") % {"name": missing[0][:60]}
            raise ParameterRefused(Problem("unknown_row", message, (ONLY,)))
        return found

    def _keys(self, parameter: str) -> list[str]:
        """The names of rows that a parameter holds, each once."""
        names = self.request.GET.get(parameter, "").split(",")
        keys = list(dict.fromkeys(name.strip() for name in names if name.strip()))
        by_uid = self.key.endswith("uid")
        refuse_too_many(len(keys), MOST_UIDS if by_uid else MOST_PICKED)
        if not by_uid:
            return [key.upper() for key in keys]
        try:
            return [str(UUID(key)) for key in keys]
        except ValueError:
            raise ParameterRefused(
                Problem("malformed", _("Entries are named by their uids."), (parameter,))
            ) from None

    def offered(self) -> list[tuple[str, str]]:
        """The acts that are open to who looks: word and label."""
        own = [(act.word, act.label) for act in self.acts if act.open_to(self.actor)]
        return [(word, str(label)) for word, label in (*EVERYBODY, *own)]

    def act(self) -> HttpResponse:
        """On to where the act of the address is done with the rows that it names.

        Raises ParameterRefused (`unknown_act`, `nothing_picked`, `too_many_picked`), NotAllowed.
        """
        asked = self.request.GET
        word = asked[ACT]
        act = next((each for each in self.acts if each.word == word), None)
        if act is None and word not in {word for word, _label in EVERYBODY}:
            raise ParameterRefused(Problem("unknown_act", _("There is no such act."), (ACT,)))
        if act is not None and not act.open_to(self.actor):
            raise NotAllowed(
                Problem(
                    "act_not_allowed", _("%(name)s may not do this.") % {"name": self.actor.name}
                )
            )
        query = self._without(PICK, ALL, ACT, "offset", "limit")
        if ALL in asked:
            seen = asked[ALL]
            rows = self.asked_for()
            count = rows.count()
            if seen != str(count):
                return self._changed(seen, count)
        else:
            # By their names alone: one that no longer fits the filter was picked all the same.
            keys = self._keys(PICK)
            if not keys:
                message = _("Nothing is picked yet: tick rows, or all that match.")
                raise ParameterRefused(Problem("nothing_picked", message, (PICK,)))
            query = self._kept(keys)
        if act is None:
            if word != SHOW:
                query[FORMAT] = word
            return HttpResponseRedirect(address(self.request.path, query))
        if ALL in asked:
            refuse_too_many(count, MOST_PICKED)
            keys = [str(key) for key in rows.values_list(self.key, flat=True)]
        return HttpResponseRedirect(act.to(keys))

    def _kept(self, keys: Sequence[str]) -> QueryDict:
        """The address of rows by their names: of the rest only how they are shown stays."""
        query = QueryDict(mutable=True)
        for name in ("columns", "ordering"):
            if name in self.request.GET:
                query[name] = self.request.GET[name]
        query[ONLY] = ",".join(keys)
        return query

    def _without(self, *names: str) -> QueryDict:
        query = self.request.GET.copy()
        for name in names:
            query.pop(name, None)
        return query

    def _changed(self, seen: str, count: int) -> HttpResponse:
        """Other rows match than when the list was looked at: that is said, and nothing is done."""
        again = self.request.GET.copy()
        again[ALL] = str(count)
        context = {
            "place": self.place,
            "seen": seen[:20],
            "count": count,
            "again": address(self.request.path, again),
            "back": address(self.request.path, self._without(PICK, ALL, ACT)),
        }
        return render(self.request, "core/list_changed.html", context, status=409)


def refuse_too_many(count: int, most: int) -> None:
    """Refuse (`too_many_picked`) to act on more rows together than an address can name."""
    if count > most:
        message = _("%(count)d rows are too many for this: at most %(most)d. Narrow the list.")
        told = message % {"count": count, "most": most}
        raise ParameterRefused(Problem("too_many_picked", told, (PICK,)))
