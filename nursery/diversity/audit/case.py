"""What is judged, and the answers: plain values."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from nursery.core.words import Word
from nursery.outplanting.rules import Rule

MOST_TAGS = 500
"""The most tags at fault that an answer names; `at_fault` counts all."""

AT_HAND = "at_hand"
GENET_KNOWN = "genet_known"
"""Two things that are asked of every manifest, whatever the policy."""

NOT_RECORDED = "not_recorded"
UNCERTAIN = "uncertain"
NOTHING_TO_COUNT = "nothing_to_count"


_ = str
"""Marks words for translation; pages translate them, for a judge knows no Django."""


class Verdict(Word):
    """How a rule is answered."""

    HOLDS = 1, _("holds")
    WARNS = 2, _("warns")
    FAILS = 3, _("fails")


@dataclass(frozen=True, slots=True)
class Donor:
    """A donor colony: its reef, how far it is from the site (km, with the uncertainty of its
    rounded position), and its depth in metres. None: not recorded."""

    colony: str
    reef: str | None
    km: float | None
    uncertain_km: float
    depth_m: float | None


@dataclass(frozen=True, slots=True)
class Plug:
    """One ramet of a manifest. `born` is the range of days of its cutting, `looked` that of the
    last look at it in a nursery; `donors` names a set in `Case.donors`."""

    ramet: str
    taxon: int
    genet: int | None
    plot: str
    donors: int | None = None
    born: tuple[date, date] | None = None
    size_cm: float | None = None
    looked: tuple[date, date] | None = None
    planted: bool = False


@dataclass(frozen=True, slots=True)
class Standing:
    """So many living ramets that stand on the site already."""

    plot: str
    taxon: int
    genet: int | None
    donors: int | None
    ramets: int


@dataclass(frozen=True, slots=True)
class Limit:
    """What one row of the policy asks."""

    number: float | None
    word: str = ""


@dataclass(frozen=True, slots=True)
class Case:
    """All that is judged. `gone` are the codes of lines that live no more or are planted otherwise:
    they are in no figure. `permits` has, of each taxon, what is wrong with the permits."""

    days: tuple[date, date]
    plugs: Sequence[Plug]
    gone: Sequence[str] = ()
    standing: Sequence[Standing] = ()
    donors: Mapping[int, tuple[Donor, ...]] = field(default_factory=dict)
    depths: Mapping[str, float | None] = field(default_factory=dict)
    presumed: frozenset[int] = frozenset()
    permits: Mapping[int, tuple[str, ...]] = field(default_factory=dict)
    limits: Mapping[tuple[Rule, int], Limit] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Answer:
    """How one rule is answered for one taxon (None: for all together).

    `alone` is the figure of the manifest, `after` that of the site as it would stand; None where
    there is none. `where` is the plot that the figure is of. `at_fault` ramets break the rule, of
    `unknown` ones it cannot be said, for the `reason`; `tags` names them.
    """

    rule: str
    verdict: Verdict
    taxon: int | None = None
    limit: float | None = None
    alone: float | None = None
    after: float | None = None
    where: str = ""
    reason: str = ""
    at_fault: int = 0
    unknown: int = 0
    tags: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def verdict_of(answers: Iterable[Answer]) -> Verdict:
    """The worst of all; HOLDS of none."""
    return max((answer.verdict for answer in answers), default=Verdict.HOLDS)


def no_worse(now: Answer, then: Answer) -> bool:
    """Whether a rule that failed before fails no worse now: of an override that was given for it.

    A rule about single plugs has no more of them at fault; any other no worse a figure.
    """
    about_plugs = now.after is None or then.after is None
    if now.rule != then.rule or now.taxon != then.taxon or now.limit != then.limit:
        return False
    if about_plugs or now.rule == Rule.PRESUMED_GENETS.word:
        return now.at_fault <= then.at_fault and set(now.notes) <= set(then.notes)
    here, there = now.after or 0.0, then.after or 0.0
    return here <= there if now.rule == Rule.LARGEST_SHARE.word else here >= there
