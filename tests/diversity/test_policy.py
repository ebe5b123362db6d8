"""The programme's policy: who sets what, of which taxon, from which day on."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any, get_args

import pytest

from nursery.core.actor import Role
from nursery.core.errors import NotAllowed
from nursery.diversity.audit import judge
from nursery.diversity.views.audit import RULE_NAMES
from nursery.outplanting.inputs import PolicyRuleIn
from nursery.outplanting.models import PolicyRule
from nursery.outplanting.policies import history, in_force
from nursery.outplanting.rules import ASKED, Form, Rule, ValueFault, read_value, written
from tests import factories as f
from tests.refusals import refused


def asked(rule: Rule, taxon: int | None, day: str) -> str | None:
    row = in_force(date.fromisoformat(day)).of(rule, taxon)
    return row.value if row is not None else None


def test_a_rule_holds_from_its_day_on_and_its_past_stays_known(programme: f.Programme) -> None:
    f.rule(programme.lead, "genets_of_site", 10, since="2021-01-01")
    f.rule(programme.lead, "genets_of_site", "15", since="2021-06-01", note="Workshop")
    days = ["2020-12-31", "2021-01-01", "2021-05-31", "2021-06-01", "2999-01-01"]
    told = [asked(Rule.GENETS_OF_SITE, programme.taxon.pk, day) for day in days]
    assert told == [None, "10", "10", "15", "15"]
    assert [(row.value, row.until) for row in history()] == [
        ("15", None),
        ("10", date(2021, 5, 31)),
    ]


def test_a_taxon_of_its_own_goes_before_all_taxa(programme: f.Programme) -> None:
    other = f.taxon(programme.lead)
    f.rule(programme.lead, "largest_share", 30)
    f.rule(programme.lead, "largest_share", "12.5 %", taxon=other.code)
    day = "2021-06-01"
    assert asked(Rule.LARGEST_SHARE, programme.taxon.pk, day) == "30"
    assert asked(Rule.LARGEST_SHARE, other.pk, day) == "12.5"


def test_a_row_without_a_value_asks_nothing_any_more(programme: f.Programme) -> None:
    other = f.taxon(programme.lead)
    f.rule(programme.lead, "least_age", 90)
    f.rule(programme.lead, "least_age", None, taxon=other.code)
    assert asked(Rule.LEAST_AGE, other.pk, "2021-06-01") is None
    assert asked(Rule.LEAST_AGE, programme.taxon.pk, "2021-06-01") == "90"
    f.rule(programme.lead, "least_age", None, since="2021-06-01")
    assert asked(Rule.LEAST_AGE, programme.taxon.pk, "2021-06-01") is None
    assert asked(Rule.LEAST_AGE, programme.taxon.pk, "2021-05-31") == "90"


def test_a_rule_set_twice_on_a_day_is_what_was_said_last(programme: f.Programme) -> None:
    f.rule(programme.lead, "least_age", 90, since="2021-01-01")
    f.rule(programme.lead, "least_age", 60, since="2021-01-01")
    assert asked(Rule.LEAST_AGE, programme.taxon.pk, "2021-01-01") == "60"
    assert PolicyRule.objects.count() == 2


def test_what_was_asked_on_a_past_day_is_not_changed(programme: f.Programme) -> None:
    f.rule(programme.lead, "least_age", 90, since="2021-06-01")
    with refused("rule_set_later", pointer="#/since") as caught:
        f.rule(programme.lead, "least_age", 60, since="2021-05-31")
    assert "2021-06-01" in caught.value.problems[0].message


@pytest.mark.parametrize(
    ("rule", "value", "code"),
    [
        ("genets_of_site", "many", "not_a_number"),
        ("genets_of_site", "2.5", "not_a_number"),
        ("genets_of_site", -1, "out_of_range"),
        ("genets_of_site", "NaN", "out_of_range"),
        ("largest_share", 101, "out_of_range"),
        ("manifest_demanded", "maybe", "not_yes_or_no"),
        ("kept_apart", "colour", "not_a_choice"),
        ("beauty", 1, "not_a_choice"),
        ("genets_of_site", None, "nothing_asked"),
        ("genets_of_site", [], "not_a_number"),
    ],
)
def test_a_value_that_makes_no_sense_is_refused(
    programme: f.Programme, rule: str, value: Any, code: str
) -> None:
    with refused(code):
        f.rule(programme.lead, rule, value)


def test_an_unknown_taxon_and_a_day_too_early_are_refused(programme: f.Programme) -> None:
    with refused("unknown_taxon", pointer="#/taxon"):
        f.rule(programme.lead, "least_age", 1, taxon="NONE")
    with refused("date_too_early", pointer="#/since"):
        f.rule(programme.lead, "least_age", 1, since="1066-10-14")
    with refused("of_all_taxa", pointer="#/taxon"):
        f.rule(programme.lead, "kept_apart", "genet", taxon=programme.taxon.code)


@pytest.mark.parametrize("who", [Role.FIELD, Role.NURSERY, Role.VIEWER])
def test_only_leads_set_the_policy(programme: f.Programme, who: Role) -> None:
    by = f.actor(who, at=programme.nursery)
    with refused("not_allowed", by=NotAllowed):
        f.rule(by, "least_age", 90)


@pytest.mark.parametrize("rule", list(Rule))
def test_every_value_is_written_as_it_is_read(rule: Rule) -> None:
    asked = ASKED[rule]
    text = {Form.YES_OR_NO: "yes", Form.ONE_OF: (*asked.words, "")[0]}.get(asked.form, "12")
    assert written(rule, *read_value(rule, text)) == text


def test_each_rule_is_set_judged_and_named() -> None:
    offered = get_args(PolicyRuleIn.model_fields["rule"].annotation)
    assert list(offered) == Rule.all_words()
    assert set(Rule) == ASKED.keys()
    assert set(Rule) - {Rule.MANIFEST_DEMANDED} == judge._WAYS.keys()
    assert set(Rule.all_words()) <= RULE_NAMES.keys()


def test_no_and_nothing_are_told_apart() -> None:
    assert read_value(Rule.MANIFEST_DEMANDED, "No") == (Decimal(0), "")
    assert written(Rule.MANIFEST_DEMANDED, Decimal(0), "") == "no"
    assert written(Rule.MANIFEST_DEMANDED, None, "") == ""
    with pytest.raises(ValueFault):
        read_value(Rule.MANIFEST_DEMANDED, "")
