"""Auditing manifests and signing them off: what is kept, what stands, and what lapses."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pytest

from nursery.core.actor import Role
from nursery.core.errors import NotAllowed
from nursery.core.inputs import read
from nursery.diversity import actions
from nursery.diversity.audit.case import Answer, Verdict
from nursery.diversity.inputs import SignOffIn
from nursery.diversity.models import Audit, Override, SignOff
from nursery.lineage.models import Ramet
from nursery.outplanting import actions as outplanting
from nursery.outplanting.inputs import LinesIn
from nursery.outplanting.models import Manifest, Stage
from tests import factories as f
from tests.lineage.ends import end
from tests.lineage.identities import merge
from tests.refusals import refused
from tests.verified import nothing_wrong


@dataclass
class Stock:
    """Plugs of two genets on a plate, four each, and a draft of three each."""

    programme: f.Programme
    first: list[Ramet]
    second: list[Ramet]
    manifest: Manifest


@pytest.fixture
def stock(programme: f.Programme) -> Stock:
    by = programme.lead
    other = f.colony(by, programme.taxon, programme.reef)
    first = f.cut(by, programme.mothers(), 4, into=programme.plate)
    second = f.cut(by, f.mothers(by, other, programme.tray), 4, into=programme.plate)
    drafted = f.manifest(by, programme.plot, [*first[:3], *second[:3]])
    return Stock(programme, first, second, drafted)


def answer(row: Audit, rule: str) -> Answer:
    (found,) = [each for each in actions.answers_of(row) if each.rule == rule]
    return found


def change(stock: Stock, **values: Any) -> None:
    given = read(LinesIn, values)
    outplanting.change_lines(stock.programme.lead, stock.manifest, given)


def again(stock: Stock) -> Audit:
    return actions.audit(stock.programme.lead, stock.manifest)


def now(stock: Stock) -> Manifest:
    return Manifest.objects.get(pk=stock.manifest.pk)


def sign(of: Stock, seen: Audit, **values: Any) -> SignOff:
    given = {"audit": seen.pk, "stock": seen.stock, **values}
    return actions.sign_off(of.programme.lead, of.manifest, read(SignOffIn, given))


def test_an_audit_keeps_what_it_saw_and_by_which_rows(stock: Stock) -> None:
    row = f.rule(stock.programme.lead, "genets_of_site", 2)
    f.rule(stock.programme.lead, "genets_of_site", 9, since="2021-12-01")
    found = again(stock)
    assert found.verdict == Verdict.HOLDS
    assert (found.ramets, found.day.isoformat(), len(found.stock)) == (6, f.PLANTED, 64)
    assert [each.pk for each in found.rules.all()] == [row.pk]
    kept = answer(found, "genets_of_site")
    assert (kept.limit, kept.alone, kept.after) == (2, 2, 2)
    assert (now(stock).stage, now(stock).stock) == (Stage.AUDITED, found.stock)
    nothing_wrong()


def test_the_same_stock_has_the_same_digest_and_another_has_another(stock: Stock) -> None:
    first = again(stock)
    assert again(stock).stock == first.stock
    change(stock, remove=[stock.first[0].code])
    assert again(stock).stock != first.stock


def test_what_stands_on_the_site_counts_and_the_dead_do_not(stock: Stock) -> None:
    programme = stock.programme
    f.rule(programme.lead, "genets_of_site", 3)
    third = f.colony(programme.lead, programme.taxon, programme.reef)
    lives, died = f.cut(
        programme.lead, f.mothers(programme.lead, third, programme.tray), 2, into=programme.tray
    )
    f.planting(programme.lead, programme.plot, [lives, died], when="2021-04-01")
    assert answer(again(stock), "genets_of_site").verdict is Verdict.WARNS
    f.visit(programme.lead, programme.site, {lives: "dead", died: "dead"}, when="2021-05-01")
    found = answer(again(stock), "genets_of_site")
    assert (found.verdict, found.alone, found.after) == (Verdict.FAILS, 2, 2)


def test_merged_genets_are_one(stock: Stock) -> None:
    f.rule(stock.programme.lead, "genets_of_site", 2)
    genets = [ramet.genet for ramet in (stock.first[0], stock.second[0])]
    assert genets[0] is not None
    assert genets[1] is not None
    merge(stock.programme.lead, genets[0], genets[1])
    assert answer(again(stock), "genets_of_site").after == 1


def test_looks_and_sizes_come_from_checks_in_the_nursery(stock: Stock) -> None:
    programme = stock.programme
    f.rule(programme.lead, "inspected_within", 10)
    f.rule(programme.lead, "least_size", 2)
    findings = [
        {"ramet": ramet.code, "state": "attached", "size_cm": 2}
        for ramet in (*stock.first[:3], *stock.second[:2])
    ]
    f.check(programme.lead, {}, findings=findings, when="2021-05-30")
    found = again(stock)
    for rule in ("inspected_within", "least_size"):
        told = answer(found, rule)
        assert (told.verdict, told.reason, told.tags) == (
            Verdict.WARNS,
            "not_recorded",
            (stock.second[2].code,),
        )
    assert answer(found, "inspected_within").alone == 2


def test_ages_distances_and_depths_come_from_the_record(stock: Stock) -> None:
    programme = stock.programme
    f.rule(programme.lead, "least_age", 93)
    f.rule(programme.lead, "donor_distance", 50)
    f.rule(programme.lead, "depth_difference", 5)
    f.rule(programme.lead, "donor_reefs", 2)
    found = again(stock)
    age = answer(found, "least_age")
    # From 1 March to 1 June 2021 there are 92 days.
    assert (age.verdict, age.alone, age.at_fault) == (Verdict.FAILS, 92, 6)
    assert answer(found, "donor_distance").reason == "not_recorded"
    assert answer(found, "depth_difference").reason == "not_recorded"
    assert answer(found, "donor_reefs").after == 1


def test_permits_cover_taxon_site_day_and_number(stock: Stock) -> None:
    programme = stock.programme
    f.rule(programme.lead, "permit_covers", "yes")
    assert answer(again(stock), "permit_covers").notes == ("no_permit",)
    stock.manifest.permits.set([f.permit(programme.lead, valid_until="2021-05-31", pieces=5)])
    assert answer(again(stock), "permit_covers").notes == ("permit_lapsed", "permit_exceeded")
    stock.manifest.permits.set([f.permit(programme.lead, valid_until="2021-06-01", pieces=6)])
    assert answer(again(stock), "permit_covers").verdict is Verdict.HOLDS


def test_an_audit_takes_a_constant_number_of_queries(
    stock: Stock, django_assert_max_num_queries: Any
) -> None:
    programme = stock.programme
    for rule, value in (("genets_of_site", 2), ("permit_covers", "yes"), ("least_size", 1)):
        f.rule(programme.lead, rule, value)
    more = f.cut(programme.lead, programme.mothers(), 300, into=programme.tray)
    change(stock, plot=programme.plot.code, add=[{"ramet": ramet.code} for ramet in more])
    with django_assert_max_num_queries(30):
        found = again(stock)
    assert found.ramets == 306


def test_an_empty_or_cancelled_manifest_is_not_audited(stock: Stock) -> None:
    by = stock.programme.lead
    empty = f.manifest(by, stock.programme.plot, [])
    with refused("nothing_to_audit"):
        actions.audit(by, empty)
    outplanting.cancel(by, stock.manifest, "Storm")
    with refused("manifest_cancelled"):
        again(stock)


def test_a_lead_signs_what_the_audit_saw(stock: Stock) -> None:
    seen = again(stock)
    signed = sign(stock, seen, note="Go")
    assert (signed.audit, signed.stock, signed.note) == (seen, seen.stock, "Go")
    assert now(stock).stage == Stage.SIGNED
    with refused("already_signed_off"):
        sign(stock, seen)
    nothing_wrong()


def test_a_failed_rule_needs_a_reason_that_is_kept(stock: Stock) -> None:
    f.rule(stock.programme.lead, "genets_of_site", 3)
    seen = again(stock)
    with refused("rule_fails", pointer="#/overrides"):
        sign(stock, seen)
    taxon = stock.programme.taxon.code
    over = {"rule": "genets_of_site", "taxon": taxon, "reason": "The third died in the storm."}
    with refused("required", pointer="#/overrides/0/reason"):
        sign(stock, seen, overrides=[{**over, "reason": " "}])
    with refused("no_such_failure", pointer="#/overrides/1/rule"):
        sign(stock, seen, overrides=[over, {**over, "rule": "least_age"}])
    sign(stock, seen, overrides=[over])
    kept = Override.objects.get()
    assert (kept.rule, kept.taxon, kept.reason) == (
        "genets_of_site",
        stock.programme.taxon,
        "The third died in the storm.",
    )


def test_what_was_not_audited_as_it_is_is_not_signed(stock: Stock) -> None:
    by = stock.programme.lead
    with refused("not_audited"):
        actions.sign_off(by, stock.manifest, SignOffIn(audit=1, stock="x"))
    first = again(stock)
    second = again(stock)
    with refused("audit_outdated"):
        sign(stock, first)
    with refused("audit_outdated"):
        sign(stock, second, stock="0" * 64)
    end(by, stock.first[:1], when="2021-05-01")
    with refused("audit_outdated") as caught:
        sign(stock, second)
    assert stock.first[0].code in caught.value.problems[0].message
    change(stock, remove=[stock.first[1].code])
    with refused("not_audited"):
        sign(stock, second)


@pytest.mark.parametrize("who", [Role.FIELD, Role.NURSERY])
def test_staff_audit_and_only_leads_sign(stock: Stock, who: Role) -> None:
    by = f.actor(who, at=stock.programme.nursery)
    seen = actions.audit(by, stock.manifest)
    given = SignOffIn(audit=seen.pk, stock=seen.stock)
    with refused("not_allowed", by=NotAllowed):
        actions.sign_off(by, stock.manifest, given)


def test_a_viewer_does_not_audit(stock: Stock) -> None:
    by = f.viewer()
    with refused("not_allowed", by=NotAllowed):
        actions.audit(by, stock.manifest)


def test_a_sign_off_stands_after_removals_and_swaps_that_pass(stock: Stock) -> None:
    f.rule(stock.programme.lead, "genets_of_site", 2)
    f.signed(stock.programme.lead, stock.manifest)
    first, second = stock.first, stock.second
    change(stock, remove=[first[0].code], swap=[{"off": second[0].code, "on": second[3].code}])
    assert now(stock).stage == Stage.SIGNED
    end(stock.programme.lead, first[1:2], when="2021-05-01")
    found = again(stock)
    assert found.stands is True
    for code in (first[0].code, first[1].code, second[0].code, second[3].code):
        assert code in found.changed
    assert (now(stock).stage, now(stock).stock) == (Stage.SIGNED, found.stock)
    nothing_wrong()


def test_a_sign_off_lapses_if_what_is_left_fails(stock: Stock) -> None:
    f.rule(stock.programme.lead, "genets_of_site", 2)
    signed = f.signed(stock.programme.lead, stock.manifest)
    change(stock, remove=[ramet.code for ramet in stock.first[:3]])
    found = again(stock)
    assert found.stands is False
    signed.refresh_from_db()
    assert signed.lapsed_at is not None
    assert "genets of site" in signed.because
    assert (now(stock).stage, now(stock).lapsed) == (Stage.AUDITED, signed.because)


def test_an_override_covers_no_worse_a_failure(stock: Stock) -> None:
    by = stock.programme.lead
    f.rule(by, "largest_share", 40)
    f.signed(by, stock.manifest, largest_share="There is no third genet.")
    change(stock, remove=[stock.first[0].code, stock.second[0].code])
    assert again(stock).stands is True
    change(stock, remove=[stock.first[1].code])
    assert again(stock).stands is False


def test_what_is_added_lapses_the_sign_off_at_once(stock: Stock) -> None:
    f.signed(stock.programme.lead, stock.manifest)
    change(stock, plot=stock.programme.plot.code, add=[{"ramet": stock.first[3].code}])
    assert now(stock).stage == Stage.DRAFT
    assert "added" in now(stock).lapsed
    f.signed(stock.programme.lead, stock.manifest)
    assert (now(stock).stage, now(stock).lapsed) == (Stage.SIGNED, "")
    assert SignOff.objects.filter(lapsed_at=None).count() == 1
    nothing_wrong()


def test_another_genet_lapses_the_sign_off(stock: Stock) -> None:
    f.signed(stock.programme.lead, stock.manifest)
    genets = [ramet.genet for ramet in (stock.first[0], stock.second[0])]
    assert genets[0] is not None
    assert genets[1] is not None
    merge(stock.programme.lead, genets[0], genets[1])
    found = again(stock)
    assert found.stands is False
    assert "of another genet" in now(stock).lapsed


def test_a_stricter_policy_lapses_at_the_next_look(stock: Stock) -> None:
    f.signed(stock.programme.lead, stock.manifest)
    assert again(stock).stands is True
    f.rule(stock.programme.lead, "genets_of_site", 3)
    assert again(stock).stands is False


def test_moving_and_packing_leaves_a_sign_off_as_it_is(stock: Stock) -> None:
    f.signed(stock.programme.lead, stock.manifest)
    f.move(stock.programme.lead, [{"ramet": stock.first[0].code}], packed=True)
    assert again(stock).stands is True
