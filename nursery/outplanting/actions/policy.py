"""Setting a rule of the programme's policy from a day on."""

from __future__ import annotations

from datetime import timedelta

from django.db import IntegrityError, transaction

from nursery.core.actor import Actor, require
from nursery.core.dates import EARLIEST_YEAR, latest_today
from nursery.core.errors import Conflict, Problem, Refused
from nursery.donors.models import Taxon
from nursery.outplanting.inputs import PolicyRuleIn
from nursery.outplanting.models import PolicyRule
from nursery.outplanting.rules import Rule, ValueFault, read_value


@transaction.atomic
def set_rule(actor: Actor, given: PolicyRuleIn) -> PolicyRule:
    """Set what a rule asks from a day on (today, if none is named); the row before it ends then.

    Raises NotAllowed; Conflict (`edited_meanwhile`); Refused (`unknown_taxon`, `not_a_number`,
    `out_of_range`, `not_yes_or_no`, `not_a_choice`, `date_too_early`, `rule_set_later`,
    `nothing_asked`, `of_all_taxa`).
    """
    require(actor, act="set the programme's policy")
    rule = Rule.of(given.rule)
    since = given.since or latest_today()
    if since.year < EARLIEST_YEAR:
        message = f"A date is not before {EARLIEST_YEAR}."
        raise Refused(Problem("date_too_early", message, ("since",)))
    taxon = _taxon(given.taxon)
    if taxon is not None and rule is Rule.KEPT_APART:
        # A layout has neighbours of several taxa.
        message = "What a layout keeps apart is set for all taxa together."
        raise Refused(Problem("of_all_taxa", message, ("taxon",)))
    number, word = None, ""
    if given.value is not None and given.value.strip():
        try:
            number, word = read_value(rule, given.value)
        except ValueFault as fault:
            raise Refused(Problem(fault.code, str(fault), ("value",))) from fault
    before = (
        PolicyRule.objects.select_for_update(no_key=True)
        .filter(rule=rule, taxon=taxon, until=None)
        .first()
    )
    if before is None and number is None and not word and taxon is None:
        raise Refused(Problem("nothing_asked", "This rule asks nothing as it is.", ("value",)))
    if before is not None:
        if before.since > since:
            raise Refused(
                Problem(
                    "rule_set_later",
                    f"This rule is set already from {before.since} on. Choose that day or a later "
                    "one, so that what was asked on a past day stays known.",
                    ("since",),
                )
            )
        before.until = since - timedelta(days=1)
        before.save(update_fields=["until"])
    row = PolicyRule(
        rule=rule,
        taxon=taxon,
        number=number,
        word=word,
        since=since,
        note=given.note,
        by_id=actor.user_id,
    )
    try:
        with transaction.atomic():
            row.save(force_insert=True)
    except IntegrityError as error:
        # Two set it for the first time, at once.
        message = "Somebody else has just set this rule. Look at it again."
        raise Conflict(Problem("edited_meanwhile", message)) from error
    return row


def _taxon(code: str | None) -> Taxon | None:
    if code is None:
        return None
    taxon = Taxon.objects.filter(code=code).first()
    if taxon is None:
        raise Refused(Problem("unknown_taxon", f"There is no taxon {code}.", ("taxon",)))
    return taxon
