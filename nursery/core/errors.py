"""How a refusal is told: one stable code, one sentence, and the place in the input it is about.

Pages, API, commands and the loader show the same problems. A code, once published, keeps its
meaning; the sentence beside it may be bettered.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from urllib.parse import quote

Path = tuple[str | int, ...]


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong.

    `code` is stable and in snake case, `message` says what is wrong, why it matters and, where it
    helps, what to do. `path` leads to the value in the input: ("children", 3, "cell").
    """

    code: str
    message: str
    path: Path = ()

    @property
    def pointer(self) -> str:
        """The path as a JSON Pointer in URI fragment form (RFC 6901): `#/children/3/cell`."""
        parts = (str(part).replace("~", "~0").replace("/", "~1") for part in self.path)
        return "#" + "".join(f"/{quote(part)}" for part in parts)

    @property
    def row(self) -> int | None:
        """The number of the row in its list, from 0, or None."""
        return next((part for part in self.path if isinstance(part, int)), None)

    @property
    def field(self) -> str:
        """The last named part of the path, or an empty text."""
        return next((part for part in reversed(self.path) if isinstance(part, str)), "")

    def under(self, *before: str | int) -> Problem:
        """The same problem with `before` put in front of its path."""
        return Problem(self.code, self.message, (*before, *self.path))

    def __str__(self) -> str:
        return self.message


class Trouble(Exception):
    """What an action or a question refuses with; holds at least one problem."""

    status = 400
    title = "The entry was refused"

    def __init__(self, problems: Problem | Iterable[Problem]) -> None:
        found = (problems,) if isinstance(problems, Problem) else tuple(problems)
        if not found:
            raise ValueError("a refusal names at least one problem")
        self.problems: Sequence[Problem] = found
        super().__init__("; ".join(problem.message for problem in found))

    @property
    def code(self) -> str:
        """The code of the first problem."""
        return self.problems[0].code


class Refused(Trouble):
    """The input, or what the record already says, does not allow it. Nothing was stored."""


class NotAllowed(Trouble):
    """This person's roles do not allow it."""

    status = 403
    title = "Not allowed"


class Unknown(Trouble):
    """What the question is about does not exist."""

    status = 404
    title = "Not found"


class Conflict(Trouble):
    """The identity of an entry is already taken by another one."""

    status = 409
    title = "Already entered otherwise"


class HeldOff(Trouble):
    """Too many tries; the same will be let in later."""

    status = 429
    title = "Too many tries"


class ProblemList:
    """Collects problems, so that one answer names all that is wrong."""

    def __init__(self) -> None:
        self.items: list[Problem] = []

    def add(self, code: str, message: str, *path: str | int) -> None:
        self.items.append(Problem(code, message, path))

    def __bool__(self) -> bool:
        return bool(self.items)

    def raise_if_any(self) -> None:
        """Raise Refused with everything collected so far, if anything was."""
        if self.items:
            raise Refused(self.items)
