"""A form that was sent, and one that comes back: what is told beside its blanks or above them."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable, Collection, Mapping, MutableMapping, Sequence
from dataclasses import dataclass

from nursery.core.errors import Problem, Trouble
from nursery.core.models import Event

TAKEN = "uid_taken"
"""The form was entered before: told in a sentence of its own, with the way to that entry."""


@dataclass(frozen=True, slots=True)
class Returned:
    """The problems of a form by the blanks that they are told beside; `status` is of the answer."""

    told: Mapping[str, Sequence[Problem]]
    status: int = 200

    @property
    def faults(self) -> int:
        return sum(len(problems) for problems in self.told.values())

    def above(self, shown: Collection[str]) -> list[Problem]:
        """Those whose blank is not among the ones that are shown."""
        return [each for name, found in self.told.items() if name not in shown for each in found]


def above(problem: Problem) -> str:
    """Beside no blank."""
    return ""


def returned(trouble: Trouble | None, blank_of: Callable[[Problem], str] = above) -> Returned:
    """Why a form comes back, or that it does not; `blank_of` says beside what a problem is told."""
    if trouble is None:
        return Returned({})
    told: dict[str, list[Problem]] = {}
    for problem in trouble.problems:
        if problem.code != TAKEN:
            told.setdefault(blank_of(problem), []).append(problem)
    return Returned(told, trouble.status)


def entered_before(
    trouble: Trouble, typed: MutableMapping[str, str], uid: uuid.UUID | str | None
) -> Event | None:
    """The entry that a form was already, where its uid is taken; the form gets another uid, for
    what stands in it now may be another entry."""
    if trouble.code != TAKEN or uid is None:
        return None
    typed["uid"] = str(uuid.uuid4())
    return Event.objects.filter(uid=uid).first()


def names_in(text: str) -> list[str]:
    """People's names, parted by commas, semicolons or lines."""
    return [name.strip() for name in re.split(r"[;,\n]", text) if name.strip()]
