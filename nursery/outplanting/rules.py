"""The rules that a programme may set for its plantings: what each asks, and in which unit.

What a rule allows is never written here: it is a row of the programme's policy, with its date.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from enum import StrEnum

from nursery.core.words import Word

_ = str
"""Marks words for translation; pages translate them, for rules know no Django."""


class Rule(Word):
    """The rules. The numbers are stored."""

    GENETS_OF_SITE = 1, _("genets of site")
    GENETS_OF_PLOT = 2, _("genets of plot")
    LARGEST_SHARE = 3, _("largest share")
    EFFECTIVE_GENETS = 4, _("effective genets")
    DONOR_REEFS = 5, _("donor reefs")
    DONOR_DISTANCE = 6, _("donor distance")
    DEPTH_DIFFERENCE = 7, _("depth difference")
    PRESUMED_GENETS = 8, _("presumed genets")
    LEAST_AGE = 9, _("least age")
    GREATEST_AGE = 10, _("greatest age")
    LEAST_SIZE = 11, _("least size")
    INSPECTED_WITHIN = 12, _("inspected within")
    QUARANTINE = 13, _("quarantine")
    PERMIT_COVERS = 14, _("permit covers")
    MANIFEST_DEMANDED = 15, _("manifest demanded")
    KEPT_APART = 16, _("kept apart")


class Form(StrEnum):
    """How the value of a rule is given."""

    AT_LEAST = "at least"
    AT_MOST = "at most"
    YES_OR_NO = "yes or no"
    ONE_OF = "one of"


@dataclass(frozen=True, slots=True)
class Asked:
    """What a rule asks: the form and unit of its value, and the range that makes sense."""

    form: Form
    unit: str = ""
    most: Decimal = Decimal(99_999)
    whole: bool = False
    words: tuple[str, ...] = ()


def _count(form: Form = Form.AT_LEAST, unit: str = "") -> Asked:
    return Asked(form, unit, whole=True)


ASKED: dict[Rule, Asked] = {
    Rule.GENETS_OF_SITE: _count(unit="genets"),
    Rule.GENETS_OF_PLOT: _count(unit="genets"),
    Rule.LARGEST_SHARE: Asked(Form.AT_MOST, "%", Decimal(100)),
    Rule.EFFECTIVE_GENETS: Asked(Form.AT_LEAST, "effective genets"),
    Rule.DONOR_REEFS: _count(unit="reefs"),
    Rule.DONOR_DISTANCE: Asked(Form.AT_MOST, "km"),
    Rule.DEPTH_DIFFERENCE: Asked(Form.AT_MOST, "m"),
    Rule.PRESUMED_GENETS: Asked(Form.YES_OR_NO),
    Rule.LEAST_AGE: _count(unit="days"),
    Rule.GREATEST_AGE: _count(Form.AT_MOST, "days"),
    Rule.LEAST_SIZE: Asked(Form.AT_LEAST, "cm"),
    Rule.INSPECTED_WITHIN: _count(Form.AT_MOST, "days"),
    Rule.QUARANTINE: _count(unit="days"),
    Rule.PERMIT_COVERS: Asked(Form.YES_OR_NO),
    Rule.MANIFEST_DEMANDED: Asked(Form.YES_OR_NO),
    Rule.KEPT_APART: Asked(Form.ONE_OF, words=("genet", "donor_colony", "donor_reef")),
}


class ValueFault(ValueError):
    """A value that a rule cannot have; `code` is stable."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code


def read_value(rule: Rule, text: str) -> tuple[Decimal | None, str]:
    """A rule's value as people write it: a number (1 or 0 for yes and no), or a word.

    Raises ValueFault (`not_a_number`, `out_of_range`, `not_yes_or_no`, `not_a_choice`).
    """
    asked, said = ASKED[rule], text.strip().lower()
    if asked.form is Form.ONE_OF:
        if said.replace(" ", "_") not in asked.words:
            raise ValueFault("not_a_choice", f"One of: {', '.join(asked.words)}.")
        return None, said.replace(" ", "_")
    if asked.form is Form.YES_OR_NO:
        known = {"yes": 1, "true": 1, "1": 1, "no": 0, "false": 0, "0": 0}
        if said not in known:
            raise ValueFault("not_yes_or_no", "Yes or no.")
        return Decimal(known[said]), ""
    try:
        number = Decimal(said.removesuffix("%").removesuffix(asked.unit).strip())
    except InvalidOperation:
        raise ValueFault("not_a_number", f"A number, in {asked.unit}.") from None
    if not number.is_finite() or not 0 <= number <= asked.most:
        raise ValueFault("out_of_range", f"From 0 to {asked.most}.")
    if asked.whole and number != number.to_integral_value():
        raise ValueFault("not_a_number", f"A whole number, in {asked.unit}.")
    return number.quantize(Decimal("0.01")), ""


def written(rule: Rule, number: Decimal | None, word: str) -> str:
    """A rule's value as it is shown and sent, the other way round; empty where it asks nothing."""
    if word:
        return word
    if number is None:
        return ""
    if ASKED[rule].form is Form.YES_OR_NO:
        return "yes" if number else "no"
    return format(number.normalize(), "f")
