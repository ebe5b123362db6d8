"""Entering and correcting in a browser: by the keyboard, on a phone, and open to everybody."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from nursery.core.models import Event, EventKind
from nursery.lineage.models import Ramet
from tests import factories as make
from tests.browser.visiting import PHONE, Visitor, faults, unfolded
from tests.verify.season import season

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.django_db(transaction=True)


def press(page: Page, *keys: str) -> None:
    for key in keys:
        page.keyboard.press(key)


def test_a_move_is_entered_by_the_keyboard_alone(visitor: Visitor) -> None:
    page, here = visitor.page, visitor.programme
    (mother,) = make.mothers(here.lead, here.colony, here.tray)
    visitor.open("/")
    page.get_by_role("link", name="Enter", exact=True).focus()
    press(page, "Enter")
    page.get_by_role("link", name="Move", exact=True).focus()
    press(page, "Enter")
    page.wait_for_url("**/enter/move/")
    page.get_by_label("When").focus()
    page.keyboard.type("2021-07-01")
    page.locator("#in-ramets").focus()
    press(page, "Control+End")
    page.keyboard.type(f"{mother.code}, {here.plate.code}, K11")
    # The explanation of the columns, then the button.
    press(page, "Tab", "Tab", "Enter")
    page.wait_for_url("**/events/*/")
    assert "Entered: move." in page.get_by_role("status").inner_text()
    assert str(Ramet.objects.get(pk=mother.pk).cell) == "K11"


def test_what_is_refused_is_said_beside_its_blank_and_shuts_nobody_out(visitor: Visitor) -> None:
    page = visitor.page
    page.set_viewport_size(PHONE)
    visitor.open("/enter/fragmentation/")
    page.get_by_label("When").fill("2021-13")
    page.locator("#in-sources").fill("ramet, used_up\nNOSUCH, perhaps")
    page.get_by_role("button", name="Enter it").click()
    assert "2 things are in the way." in page.get_by_role("alert").inner_text()
    when = page.get_by_label("When")
    assert when.get_attribute("aria-invalid") == "true"
    said = page.locator(f"#{when.get_attribute('aria-describedby')}").inner_text()
    assert "There is no such date" in said
    assert page.locator("#in-sources").input_value() == "ramet, used_up\nNOSUCH, perhaps"
    unfolded(page)
    assert faults(page) == []
    assert page.evaluate("document.scrollingElement.scrollWidth") <= PHONE["width"]


def test_a_cutting_and_all_that_came_of_it_is_voided_and_told(visitor: Visitor) -> None:
    page = visitor.page
    event = visitor.outplant.born
    visitor.open(f"/events/{event.uid}/")
    page.get_by_role("link", name="It did not happen").click()
    page.get_by_label("Reason").fill("a slip of the pen")
    page.get_by_role("button", name="Show what it changes").click()
    assert faults(page) == []
    assert page.get_by_role("link", name=re.compile("In the way: ")).is_visible()
    page.get_by_role("button", name="Show what voiding them together").click()
    assert faults(page) == []
    assert page.locator(".order-of li").count() > 1
    page.get_by_role("button", name="Void it").click()
    page.wait_for_url(f"**/events/{event.uid}/")
    assert "Void: this did not happen." in page.locator("main").inner_text()
    assert faults(page) == []
    assert not Event.objects.get(pk=event.pk).live


def test_something_is_let_stand_as_it_is(visitor: Visitor) -> None:
    page = visitor.page
    visitor.open("/unsettled/")
    before = page.locator(".stands").count()
    page.locator(".stands summary").first.click()
    page.get_by_label("Why").first.fill("as it was")
    page.get_by_role("button", name="Let it stand").first.click()
    page.wait_for_url(re.compile("/unsettled/#"))
    assert page.locator(".stands").count() == before - 1
    page.get_by_role("link", name="1 thing stands as it is").click()
    assert "as it was" in page.locator("main").inner_text()
    assert faults(page) == []


@pytest.mark.sweep
@pytest.mark.parametrize("width", [PHONE["width"], 1280])
def test_every_form_fits_its_window(visitor: Visitor, width: int) -> None:
    page = visitor.page
    page.set_viewport_size({"width": width, "height": 844})
    wide = {}
    for kind in EventKind:
        visitor.open(f"/enter/{kind.word}/")
        unfolded(page)
        if page.evaluate("document.scrollingElement.scrollWidth") > width:
            wide[kind.word] = page.evaluate("document.scrollingElement.scrollWidth")
    assert wide == {}
    assert faults(page) == []


@pytest.mark.sweep
def test_the_pages_of_a_season_shut_nobody_out(visitor: Visitor) -> None:
    page = visitor.page
    page.emulate_media(color_scheme="dark", reduced_motion="reduce")
    year = season(make.programme())
    addresses = [
        *(f"/events/{event.uid}/" for event in (year.count, year.loss, year.ending, year.merge)),
        f"/events/{year.never[0].born.uid}/",
        *(f"/ramets/{ramet.code}/" for ramet in (year.children[0], year.relabelled, year.found)),
        f"/structures/{year.lost_tray.code}/",
    ]
    for address in addresses:
        visitor.open(address)
        assert faults(page) == [], address


def test_the_top_of_a_phone_has_one_line(visitor: Visitor) -> None:
    page = visitor.page
    page.set_viewport_size(PHONE)
    visitor.open("/")
    find = page.get_by_role("button", name="Find").bounding_box()
    enter = page.get_by_role("link", name="Enter", exact=True).bounding_box()
    assert find is not None
    assert enter is not None
    assert abs(find["y"] - enter["y"]) < 10
    assert enter["height"] >= 44
