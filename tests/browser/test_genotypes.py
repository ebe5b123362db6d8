"""From samples in a tray to two genets that are one: taken, typed, compared, decided."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from nursery.donors.models import Genet
from nursery.genotyping.models import Sample
from tests import factories as make
from tests.browser.visiting import PHONE, Visitor, faults
from tests.genotyping.laboratory import ONE, OTHER, panel, text_of

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.django_db(transaction=True)


def shuts_nobody_out(page: Page) -> None:
    """By light and in the dark, on a desk and on a phone."""
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme, reduced_motion="reduce")  # type: ignore[arg-type]
        assert faults(page) == [], (page.url, scheme)
    desk = page.viewport_size
    page.set_viewport_size(PHONE)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), page.url
    if desk is not None:
        page.set_viewport_size(desk)
    page.emulate_media(color_scheme="light")


def test_two_genets_turn_out_to_be_one(visitor: Visitor) -> None:
    page, here = visitor.page, visitor.programme
    lead = here.lead
    twin = make.colony(lead, here.taxon, here.reef)
    (plug,) = make.cut(lead, make.mothers(lead, twin, here.tray), 1, into=here.tray)
    of = panel(lead)

    # A scanner types a code and Enter.
    visitor.open("/samples/")
    page.get_by_role("link", name="Take samples").click()
    shuts_nobody_out(page)
    lines = page.get_by_label("Samples")
    expect(lines).to_be_focused()
    for code in (here.colony.code, twin.code, plug.code):
        page.keyboard.type(code)
        page.keyboard.press("Enter")
    page.get_by_role("button", name="Enter them").click()
    page.wait_for_url("**/events/*/")
    expect(page.get_by_text("Entered: 3 samples taken.")).to_be_visible()
    taken = list(Sample.objects.order_by("pk"))
    assert [sample.source.code for sample in taken] == [here.colony.code, twin.code, plug.code]

    # A faulty table is refused whole; the mended one is taken.
    visitor.open(f"/panels/{of.code}/")
    shuts_nobody_out(page)
    page.get_by_role("link", name="Import a table").click()
    text = text_of({taken[0]: ONE, taken[1]: ONE, taken[2]: OTHER})
    page.get_by_label("Or its text").fill(text.replace("1/2", "1/x", 1))
    page.get_by_role("button", name="Import it").click()
    expect(page.get_by_role("alert")).to_contain_text("Line 2, Inv1: 'X' is no allele")
    shuts_nobody_out(page)
    page.get_by_label("Or its text").fill(text)
    page.get_by_label("What you call it").fill("run 1")
    page.get_by_role("button", name="Import it").click()
    page.wait_for_url("**/genotypes/*-*/")
    shuts_nobody_out(page)

    page.get_by_role("link", name="Compare its samples").click()
    shuts_nobody_out(page)
    page.get_by_role("button", name="Compare them").click()
    page.wait_for_url("**/matches/*-*/")
    expect(page.locator(".says")).to_contain_text("3 samples make 2 groups.")
    shuts_nobody_out(page)

    # The two colonies are alike: what that would change is shown, and then done.
    page.get_by_role("link", name="group 1").click()
    shuts_nobody_out(page)
    page.get_by_label("Reason").fill("one genotype at four loci")
    page.get_by_role("button", name="Show what it changes").click()
    expect(page.locator(".says")).to_contain_text("Nothing is stored yet.")
    shuts_nobody_out(page)
    page.get_by_role("button", name="Accept it").click()
    page.wait_for_url("**/matches/*-*/")
    expect(page.get_by_text(re.compile("^Group 1: accepted as"))).to_be_visible()
    genets = Genet.objects.filter(pk__in=[here.colony.genet_id, twin.genet_id])
    (merged,) = genets.exclude(canonical=None)
    kept = merged.canonical
    assert kept is not None

    # Its page names what was sampled: donors, so no label of a ramet.
    visitor.open(f"/genets/{kept.code}/")
    expect(page.get_by_text(re.compile("^Only donor colonies of it were typed"))).to_be_visible()
    shuts_nobody_out(page)
