"""A lead proposes a planting in the browser, from what a plot needs to the manifest."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from nursery.outplanting.models import ManifestLine
from tests.browser.visiting import PHONE, Visitor, faults
from tests.diversity.proposed import stocked

pytestmark = pytest.mark.django_db(transaction=True)


def test_a_lead_fills_in_needs_reads_the_proposal_and_drafts_it(visitor: Visitor) -> None:
    here = visitor.programme
    stocked(here, 6, 6, 6)
    page = visitor.page
    visitor.open(f"/proposals/?taxon={here.taxon.code}")
    page.get_by_label("Title").fill("An invented day")
    page.get_by_label("Planned day, or range of days").fill("2021-07-01")
    page.get_by_label(f"Plugs for {here.plot.code}").fill("9")
    page.get_by_label(f"Rows of {here.plot.code}").fill("3")
    page.get_by_label(f"Columns of {here.plot.code}").fill("3")
    page.get_by_role("button", name="Propose").click()
    expect(page.locator(".plot-map")).to_be_visible()
    expect(page.locator(".plot-map g")).to_have_count(9)
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        page.reload()
        assert faults(page) == []
    address = page.url
    page.set_viewport_size(PHONE)
    assert page.evaluate("document.scrollingElement.scrollWidth") <= PHONE["width"]
    page.get_by_role("link", name="Sheet for the nursery and the dive").click()
    expect(page.get_by_role("heading", name="Take from the nursery")).to_be_visible()
    assert faults(page) == []
    page.goto(address)
    page.get_by_role("button", name="Draft the manifests").click()
    expect(page.get_by_text("Manifests of this proposal:")).to_be_visible()
    assert ManifestLine.objects.count() == 9
