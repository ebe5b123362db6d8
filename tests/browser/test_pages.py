"""The pages in a browser: found by tag, read by anybody, on a phone, in the dark and on paper."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from tests.browser.visiting import PHONE, Visitor, faults, faults_light_and_dark, unfolded

if TYPE_CHECKING:
    from playwright.sync_api import Page
    from pytest_django.live_server_helper import LiveServer

pytestmark = pytest.mark.django_db(transaction=True)


def test_a_tag_leads_to_the_trace_and_on_to_the_site(visitor: Visitor) -> None:
    page, here = visitor.page, visitor.programme
    assert page.get_by_role("heading", level=1).inner_text() == "Today"
    page.keyboard.press("/")
    page.keyboard.type("t-117")
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/ramets/{visitor.outplant.code}/")
    trace = page.locator(".trace > li")
    assert "Planted at" in trace.first.inner_text()
    assert "Wild colony" in trace.last.inner_text()
    page.get_by_role("link", name=f"plot {here.plot.code}").click()
    page.get_by_role("link", name=str(here.site)).click()
    assert "effective genets" in page.locator(".says").inner_text() or (
        "No ramet with a known genet" in page.locator(".says").inner_text()
    )


def test_the_first_step_of_the_keyboard_leads_past_the_rail(visitor: Visitor) -> None:
    visitor.open("/genets/")
    visitor.page.keyboard.press("Tab")
    assert visitor.page.evaluate("document.activeElement.textContent") == "To the content"
    visitor.page.keyboard.press("Enter")
    assert visitor.page.evaluate("document.activeElement.id") == "content"


def test_a_slash_that_is_written_somewhere_stays_there(visitor: Visitor) -> None:
    visitor.open("/events/")
    visitor.page.get_by_text("Narrow this list").click()
    field = visitor.page.locator("#id_when")
    field.fill("2021-01-01")
    field.press("End")
    field.press("/")
    assert field.input_value() == "2021-01-01/"


@pytest.mark.sweep
def test_no_page_shuts_anybody_out(visitor: Visitor) -> None:
    page = visitor.page
    found = {}
    for address in visitor.kinds():
        visitor.open(address)
        unfolded(page)
        if wrong := faults_light_and_dark(page):
            found[address] = wrong
    assert found == {}


@pytest.mark.sweep
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_high_contrast_shuts_nobody_out(visitor: Visitor, scheme: str) -> None:
    page = visitor.page
    page.emulate_media(color_scheme=scheme, contrast="more", reduced_motion="reduce")
    for address in visitor.kinds()[:4]:
        visitor.open(address)
        assert faults(page) == [], address


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_way_in_shuts_nobody_out(page: Page, live_server: LiveServer, scheme: str) -> None:
    page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
    page.goto(f"{live_server.url}/login/")
    assert faults(page) == []
    page.get_by_label("Name").fill("nobody")
    page.get_by_label("Password").fill("wrong")
    page.get_by_role("button", name="Log in").click()
    assert page.get_by_role("alert").is_visible()
    assert faults(page) == []


@pytest.mark.sweep
def test_nothing_scrolls_sideways_on_a_phone(visitor: Visitor) -> None:
    page = visitor.page
    page.set_viewport_size(PHONE)
    wide = {}
    for address in (*visitor.kinds(), *visitor.others()):
        visitor.open(address)
        unfolded(page)
        width = page.evaluate("document.scrollingElement.scrollWidth")
        if width > PHONE["width"]:
            wide[address] = width
    assert wide == {}


@pytest.mark.sweep
def test_a_phone_meets_pages_without_faults(visitor: Visitor) -> None:
    page = visitor.page
    page.set_viewport_size(PHONE)
    page.emulate_media(reduced_motion="reduce")
    for address in visitor.kinds()[2:10:2]:
        visitor.open(address)
        assert faults(page) == [], address


def test_the_places_are_at_the_thumb_and_large_enough(visitor: Visitor) -> None:
    page = visitor.page
    page.set_viewport_size(PHONE)
    visitor.open("/")
    for link in page.locator(".rail a").all():
        box = link.bounding_box()
        assert box is not None
        assert box["height"] >= 44
        assert box["width"] >= 44
        assert box["y"] + box["height"] <= PHONE["height"]
        assert box["y"] > PHONE["height"] * 0.85


def test_a_trace_prints_on_one_page(visitor: Visitor) -> None:
    visitor.open(f"/ramets/{visitor.outplant.code}/")
    paper = visitor.page.pdf(format="A4")
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", paper)) == 1


@pytest.mark.sweep
def test_nothing_comes_from_another_host(visitor: Visitor) -> None:
    asked: list[str] = []
    visitor.page.on("request", lambda request: asked.append(request.url))
    for address in visitor.kinds():
        visitor.open(address)
    assert asked
    assert [url for url in asked if not url.startswith(visitor.root)] == []


@pytest.mark.sweep
def test_pages_hold_no_script_and_no_style_of_their_own(visitor: Visitor) -> None:
    for address in visitor.kinds():
        visitor.open(address)
        html = visitor.page.content()
        assert re.search(r"<script(?![^>]*\bsrc=)(?![^>]*application/json)", html) is None, address
        assert re.search(r"\sstyle=|<style|\son[a-z]+=", html) is None, address
