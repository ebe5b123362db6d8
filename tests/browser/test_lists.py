"""Lists in a browser: narrowed, kept, shared, taken along; and the find field while one types."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import expect

from nursery.core.actor import Role
from nursery.lineage.models import Ramet
from nursery.lineage.words import Life
from tests import factories as make
from tests.browser.visiting import PHONE, Visitor, faults_light_and_dark, unfolded

if TYPE_CHECKING:
    pass

pytestmark = pytest.mark.django_db(transaction=True)


def test_a_list_is_narrowed_kept_shared_and_taken_along(visitor: Visitor) -> None:
    page = visitor.page
    visitor.open("/ramets/")
    page.get_by_text("Narrow this list").click()
    page.get_by_label("Life").select_option("living")
    page.get_by_label("Generation from").fill("1")
    page.get_by_role("button", name="Show", exact=True).click()
    page.wait_for_url(re.compile(r"/ramets/\?life=living&generation__gte=1$"))
    # In place: the form is still open, with what was chosen.
    assert page.get_by_label("Generation from").input_value() == "1"
    living = Ramet.objects.filter(life=Life.LIVING, generation__gte=1).count()
    expect(page.locator("#says")).to_contain_text(f"{living} ramets with life living")

    page.get_by_text("Columns", exact=True).click()
    for heading in ("Taxon", "Generation", "In the record since", "Place"):
        page.get_by_role("checkbox", name=heading, exact=True).uncheck()
    page.get_by_role("button", name="Show these").click()
    page.wait_for_url(re.compile("columns="))
    page.get_by_text("Keep this list", exact=True).click()
    page.locator("#kept-name").fill("Cut and alive")
    page.get_by_label("for everybody").check()
    page.get_by_role("button", name="Keep", exact=True).click()
    expect(page.get_by_role("status").first).to_have_text("Kept as Cut and alive.")
    address = page.url

    # Somebody else finds it, at the same address, and takes it along.
    user = make.person(Role.VIEWER)
    page.context.clear_cookies()
    visitor.open("/login/")
    page.get_by_label("Name").fill(user.username)
    page.get_by_label("Password").fill(make.PASSWORD)
    page.get_by_role("button", name="Log in").click()
    visitor.open("/ramets/")
    page.get_by_role("link", name="Cut and alive").click()
    page.wait_for_url(address)
    page.get_by_text("Take it along").click()
    with page.expect_download() as taken:
        page.get_by_role("link", name=f"All {living} rows as CSV").click()
    lines = Path(taken.value.path()).read_text(encoding="utf-8").splitlines()
    assert lines[0] == "Ramet,Genet,State"
    assert len(lines) == living + 1
    assert re.fullmatch(r"ramets-\d{4}-\d\d-\d\d\.csv", taken.value.suggested_filename)


def test_what_a_filter_does_not_understand_is_said_and_the_form_stays(visitor: Visitor) -> None:
    page = visitor.page
    visitor.open("/ramets/")
    page.get_by_text("Narrow this list").click()
    page.get_by_label("Genet (code)").fill("NOSUCH")
    page.get_by_role("button", name="Show", exact=True).click()
    expect(page.locator("#found .problems")).to_contain_text("There is no genet NOSUCH.")
    assert page.get_by_label("Genet (code)").input_value() == "NOSUCH"
    page.get_by_label("Genet (code)").fill("")
    page.get_by_role("button", name="Show", exact=True).click()
    expect(page.locator("#found .rows")).to_be_visible()
    page.go_back()
    page.wait_for_load_state()
    assert page.get_by_role("heading", level=1).inner_text() == "Ramets"


def test_rows_are_picked_and_cut(visitor: Visitor) -> None:
    page = visitor.page
    visitor.open("/ramets/?life=living&limit=10")
    assert not page.locator("[name=pick]").first.is_visible()
    page.get_by_text("Pick rows").click()
    page.get_by_label("this page").check()
    count = page.locator("[name=pick]").count()
    expect(page.locator("[data-picked]")).to_have_text(f"{count} picked")
    assert faults_light_and_dark(page) == []
    page.get_by_label("this page").uncheck()
    codes = [box.get_attribute("value") for box in page.locator("[name=pick]").all()[:2]]
    for code in codes:
        page.get_by_label(f"Pick {code}").check()
    expect(page.locator("[data-picked]")).to_have_text("2 picked")
    page.get_by_role("button", name="Cut", exact=True).click()
    page.wait_for_url(re.compile(r"/cut/\?mother="))
    assert all(code in page.content() for code in codes if code)


@pytest.mark.sweep
@pytest.mark.parametrize("width", [PHONE["width"], 1280])
def test_a_list_with_everything_unfolded_shuts_nobody_out(visitor: Visitor, width: int) -> None:
    page = visitor.page
    page.set_viewport_size({"width": width, "height": 844})
    for address in ("/ramets/", "/ramets/?format=print", f"/reefs/{visitor.programme.reef.code}/"):
        visitor.open(address)
        unfolded(page)
        assert faults_light_and_dark(page) == []
        assert page.evaluate("document.scrollingElement.scrollWidth") <= width, address


def test_the_find_field_offers_what_is_meant_and_arrows_choose(visitor: Visitor) -> None:
    page, plate = visitor.page, visitor.programme.plate
    visitor.open("/")
    field = page.get_by_role("combobox", name="Find a tag, a place or a name")
    field.press_sequentially("t-11")
    option = page.locator("#find-near [role=option]")
    expect(option).to_have_count(1)
    expect(option).to_contain_text("carries tag T-117")
    assert field.get_attribute("aria-expanded") == "true"
    assert faults_light_and_dark(page) == []
    field.press("ArrowDown")
    assert option.get_attribute("aria-selected") == "true"
    assert field.get_attribute("aria-activedescendant") == option.get_attribute("id")
    assert faults_light_and_dark(page) == []
    field.press("Escape")
    expect(option).to_have_count(0)
    assert field.input_value() == "t-11"
    field.press_sequentially("7")
    expect(option).to_have_count(1)
    field.press("ArrowUp")
    field.press("Enter")
    page.wait_for_url(f"**/ramets/{visitor.outplant.code}/")

    # The page of a plate has it too, and a press leads there as well.
    visitor.open(f"/structures/{plate.code}/")
    page.get_by_role("combobox", name="Find a tag, a place or a name").press_sequentially("t-117")
    page.locator("#find-near [role=option]").click()
    page.wait_for_url(f"**/ramets/{visitor.outplant.code}/")


def test_what_is_offered_fits_a_phone(visitor: Visitor) -> None:
    page = visitor.page
    page.set_viewport_size(PHONE)
    visitor.open("/genets/")
    page.locator("#find").press_sequentially(visitor.programme.plate.code[:2])
    expect(page.locator("#find-near [role=option]").first).to_be_visible()
    for box in (each.bounding_box() for each in page.locator("#find-near [role=option]").all()):
        assert box is not None
        assert box["height"] >= 44
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= PHONE["width"]
    assert page.evaluate("document.scrollingElement.scrollWidth") <= PHONE["width"]
