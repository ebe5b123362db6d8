"""The pages in a browser: found by tag, read by anybody, on a phone, in the dark and on paper."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe

from nursery.core.actor import Role
from nursery.lineage.models import Ramet
from tests import factories as make

if TYPE_CHECKING:
    from playwright.sync_api import Page
    from pytest_django.live_server_helper import LiveServer

pytestmark = pytest.mark.django_db(transaction=True)

RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
"""The rules of WCAG 2.2 up to AA, and the checker's own on landmarks and headings."""
PHONE = {"width": 390, "height": 844}


@dataclass
class Visitor:
    """A lead before the pages of a small programme, in which there is one of everything."""

    page: Page
    root: str
    programme: make.Programme
    outplant: Ramet

    def open(self, address: str) -> None:
        self.page.goto(f"{self.root}{address}")

    def kinds(self) -> list[str]:
        """The address of one page of each kind."""
        here = self.programme
        return [
            "/",
            "/find/?q=zzzz",
            "/colonies/",
            f"/ramets/{self.outplant.code}/",
            "/ramets/XX0001-0/",
            f"/colonies/{here.colony.code}/",
            f"/genets/{here.colony.genet.code}/",
            f"/sites/{here.site.code}/",
            f"/plots/{here.plot.code}/",
            f"/structures/{here.plate.code}/",
            f"/structures/{here.tray.code}/",
            f"/events/{self.outplant.born.uid}/",
        ]

    def others(self) -> list[str]:
        """The addresses of the remaining lists and registers, which are built alike."""
        here = self.programme
        lists = (
            "collections reefs taxa permits genets structures ramets fragmentations nurseries "
            "systems bays sites plots outplantings visits events"
        )
        return [
            f"/nurseries/{here.nursery.code}/",
            f"/reefs/{here.reef.code}/",
            f"/taxa/{here.taxon.code}/",
            *(f"/{name}/" for name in lists.split()),
        ]


@pytest.fixture
def visitor(page: Page, live_server: LiveServer) -> Visitor:
    """A zoanthid, so that its caution is on the pages; pooled, planted, seen; some on a plate."""
    begun = make.programme()
    taxon = make.taxon(begun.lead, group="zoanthid", name="Zoanthus invented")
    colonies = [make.colony(begun.lead, taxon, begun.reef, name="Old Stair") for _ in range(2)]
    here = replace(begun, taxon=taxon, colony=colonies[0])
    permit = make.permit(here.lead, valid_until="2021-01-01").code
    mothers = [
        make.mothers(here.lead, colony, here.tray, permits=[permit])[0] for colony in colonies
    ]
    (outplant,) = make.cut(here.lead, mothers, children=[{"tag": "T-117"}], done_by=["Ana Reyes"])
    make.cut(here.lead, mothers[:1], 30, into=here.plate)
    rows = [{"taxon": taxon.code, "structure": here.tray.code}, {"taxon": taxon.code}]
    legacy = make.stock(here.lead, here.nursery, rows)
    make.planting(here.lead, here.plot, [outplant, legacy[0]], permits=[permit])
    make.visit(here.lead, here.site, {outplant: "alive"})
    user = make.person(Role.LEAD, name="iro")
    page.goto(f"{live_server.url}/login/")
    page.get_by_label("Name").fill(user.username)
    page.get_by_label("Password").fill(make.PASSWORD)
    page.get_by_role("button", name="Log in").click()
    return Visitor(page, live_server.url, here, outplant)


def faults(page: Page) -> list[str]:
    """What the accessibility checker finds on the page: the rule and the first place."""
    found = Axe().run(page, options={"runOnly": {"type": "tag", "values": RULES}})
    # A page that the checker did not see would have no faults either.
    assert len(found.response["passes"]) > 10
    return [
        f"{fault['id']}: {fault['nodes'][0]['html'][:120]}"
        for fault in found.response["violations"]
    ]


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


def test_a_cell_that_one_steps_to_is_named(visitor: Visitor) -> None:
    page = visitor.page
    visitor.open(f"/structures/{visitor.programme.plate.code}/")
    cell = page.locator(".spot").first
    cell.focus()
    named = page.locator("[data-named]").inner_text()
    assert named.startswith("A1: ")
    assert "living" in named


def unfolded(page: Page) -> None:
    """Open everything that is folded away."""
    for summary in page.locator("summary").all():
        summary.click()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_page_shuts_anybody_out(visitor: Visitor, scheme: str) -> None:
    page = visitor.page
    page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
    found = {}
    for address in visitor.kinds():
        visitor.open(address)
        unfolded(page)
        if wrong := faults(page):
            found[address] = wrong
    assert found == {}


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


def test_nothing_comes_from_another_host(visitor: Visitor) -> None:
    asked: list[str] = []
    visitor.page.on("request", lambda request: asked.append(request.url))
    for address in visitor.kinds():
        visitor.open(address)
    assert asked
    assert [url for url in asked if not url.startswith(visitor.root)] == []


def test_pages_hold_no_script_and_no_style_of_their_own(visitor: Visitor) -> None:
    for address in visitor.kinds():
        visitor.open(address)
        html = visitor.page.content()
        assert re.search(r"<script(?![^>]*\bsrc=)", html) is None, address
        assert re.search(r"\sstyle=|<style|\son[a-z]+=", html) is None, address
