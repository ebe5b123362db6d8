"""A programme lead reads: from Today to a site, a genet and a trace; map, matrix and descent."""

from __future__ import annotations

import re
from dataclasses import dataclass

import pytest

from nursery.donors.models import DonorColony
from nursery.lineage.models import Ramet
from nursery.places.models import Nursery, Site
from tests import factories as make
from tests.browser.test_budget import too_heavy
from tests.browser.visiting import PHONE, Visitor, faults, faults_light_and_dark, unfolded

pytestmark = pytest.mark.django_db(transaction=True)


@dataclass
class Reef:
    """What the lead reads about: a site that one colony's genet holds, and a map to find it on."""

    site: Site
    nursery: Nursery
    colony: DonorColony
    outplant: Ramet

    @property
    def pages(self) -> list[str]:
        return [
            "/",
            "/map/",
            "/genets/matrix/",
            f"/sites/{self.site.code}/",
            f"/colonies/{self.colony.code}/descent/",
            f"/genets/{self.colony.genet.code}/descent/",
            f"/ramets/{self.outplant.code}/",
        ]


@pytest.fixture
def reef(visitor: Visitor) -> Reef:
    """Three plugs of one colony and one of another on a site; all places with their positions."""
    here = visitor.programme
    lead = here.lead
    home = make.nursery(lead, name="Kelp Stair", latitude="7.10", longitude="134.50")
    tray = make.tray(lead, make.bay(lead, home))
    make.reef(lead, name="Far Shelf", latitude="7.25", longitude="134.42")
    site = make.site(lead, name="Long Ledge", latitude="7.30", longitude="134.60")
    plot = make.plot(lead, site)
    first, second = (
        make.colony(lead, here.taxon, here.reef, latitude="7.12", longitude="134.45")
        for _ in range(2)
    )
    mothers = make.mothers(lead, first, tray, 2)
    made = make.cut(lead, mothers, 3, done_by=["Ana Reyes"])
    made += make.cut(lead, make.mothers(lead, second, tray))
    make.planting(lead, plot, made)
    make.visit(lead, site, {made[2]: "dead"})
    return Reef(site, home, first, made[0])


def show(site: Site) -> re.Pattern[str]:
    """The name of the button that shows a site; how its parts are joined is the browser's."""
    return re.compile(rf"^Show on the map ?: {site.name}$")


def test_a_lead_reads_from_today_to_the_wild_colony(visitor: Visitor, reef: Reef) -> None:
    page = visitor.page
    visitor.open("/")
    page.get_by_role("heading", name=re.compile("^One genet holds")).get_by_role(
        "link", name=reef.site.name
    ).click()
    page.wait_for_url(f"**/sites/{reef.site.code}/")
    assert "effective genets" in page.locator(".says").inner_text()
    assert page.get_by_role("img", name=re.compile("^Effective genets of Long Ledge")).is_visible()
    genet = reef.colony.genet.code
    page.get_by_role("rowheader", name=genet).get_by_role("link").click()
    page.wait_for_url(f"**/genets/{genet}/")
    page.get_by_role("link", name="All its ramets").click()
    page.get_by_role("link", name=reef.outplant.code).click()
    page.wait_for_url(f"**/ramets/{reef.outplant.code}/")
    assert "Planted at Long Ledge" in page.locator(".trace > li").first.inner_text()
    assert page.get_by_role("img", name=re.compile("^The way of")).is_visible()
    page.locator(f'.trace a[href="/colonies/{reef.colony.code}/"]').last.click()
    page.get_by_role("link", name="Its whole descent as a picture").click()
    page.wait_for_url(f"**/colonies/{reef.colony.code}/descent/")
    assert page.get_by_role("img", name=re.compile("^Descent of")).is_visible()


def test_the_dots_of_a_descent_stand_beside_their_words(visitor: Visitor, reef: Reef) -> None:
    page = visitor.page
    for window in (PHONE, {"width": 1280, "height": 900}):
        page.set_viewport_size(window)
        visitor.open(f"/colonies/{reef.colony.code}/descent/")
        dots = page.locator(".descent-picture .descent-dot").all()
        rows = page.locator(".descent-list li").all()
        assert len(dots) == len(rows) == 3
        for dot, row in zip(dots, rows, strict=True):
            at, beside = dot.bounding_box(), row.bounding_box()
            assert at is not None
            assert beside is not None
            middle = at["y"] + at["height"] / 2
            assert abs(middle - (beside["y"] + beside["height"] / 2)) < 2


def test_the_map_is_read_by_the_keyboard(visitor: Visitor, reef: Reef) -> None:
    page = visitor.page
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("console", lambda said: wrong.append(said.text) if said.type == "error" else None)
    visitor.open("/map/")
    page.locator("#map[data-ready]").wait_for()
    assert page.locator(".graticule").count() >= 4
    assert "134°30′ E" in page.locator("#map").inner_text()
    assert "km" in page.locator(".leaflet-control-scale").inner_text()
    page.get_by_role("button", name=show(reef.site)).focus()
    page.keyboard.press("Enter")
    told = page.locator(".leaflet-popup")
    told.wait_for()
    assert "3\u00a0ramets alive, of 2\u00a0known genets" in told.inner_text()
    assert page.evaluate("document.activeElement.title") == reef.site.name
    page.keyboard.press("Escape")
    told.wait_for(state="detached")
    page.keyboard.press("Enter")
    page.get_by_role("link", name="Open its page").click()
    page.wait_for_url(f"**/sites/{reef.site.code}/")
    assert wrong == []


def test_the_map_asks_no_other_host(visitor: Visitor, reef: Reef) -> None:
    asked: list[str] = []
    visitor.page.on("request", lambda request: asked.append(request.url))
    visitor.open("/map/")
    visitor.page.locator("#map[data-ready]").wait_for()
    assert asked
    own = (visitor.root, "data:", "blob:")
    assert [url for url in asked if not url.startswith(own)] == []
    assert reef.site.code not in asked


def test_the_matrix_is_sorted_with_a_click(visitor: Visitor, reef: Reef) -> None:
    page = visitor.page
    visitor.open("/genets/matrix/")
    page.get_by_role("columnheader", name="Living").get_by_role("link").click()
    head = page.get_by_role("columnheader", name="Living")
    assert head.get_attribute("aria-sort") == "descending"
    page.get_by_label("Which genets").select_option("those at risk")
    page.get_by_role("button", name="Show").click()
    page.wait_for_url("**risk=1**")
    assert page.locator("tbody tr").count() == page.locator("tbody tr:has(.risk)").count() > 0
    assert reef.nursery.code in page.locator("thead").inner_text()


@pytest.mark.sweep
def test_what_a_lead_reads_shuts_nobody_out(visitor: Visitor, reef: Reef) -> None:
    page = visitor.page
    found = {}
    for address in reef.pages:
        visitor.open(address)
        page.wait_for_load_state("networkidle")
        unfolded(page)
        if wrong := faults_light_and_dark(page):
            found[address] = wrong
    assert found == {}


def test_a_popup_of_the_map_shuts_nobody_out(visitor: Visitor, reef: Reef) -> None:
    page = visitor.page
    page.emulate_media(reduced_motion="reduce")
    visitor.open("/map/")
    page.get_by_role("button", name=show(reef.site)).click()
    page.locator(".leaflet-popup").wait_for()
    assert faults(page) == []


@pytest.mark.sweep
def test_nothing_a_lead_reads_scrolls_sideways_on_a_phone(visitor: Visitor, reef: Reef) -> None:
    page = visitor.page
    page.set_viewport_size(PHONE)
    page.emulate_media(reduced_motion="reduce")
    wide = {}
    for address in reef.pages:
        visitor.open(address)
        unfolded(page)
        width = page.evaluate("document.scrollingElement.scrollWidth")
        if width > PHONE["width"] or (wrong := faults(page)):
            wide[address] = (width, wrong if width <= PHONE["width"] else [])
    assert wide == {}


@pytest.mark.sweep
def test_what_a_lead_reads_is_light_enough_for_a_phone(visitor: Visitor, reef: Reef) -> None:
    assert too_heavy(visitor, reef.pages) == {}


def test_a_trace_with_its_map_prints_on_one_page(visitor: Visitor, reef: Reef) -> None:
    visitor.open(f"/ramets/{reef.outplant.code}/")
    assert visitor.page.locator(".way svg").is_visible()
    paper = visitor.page.pdf(format="A4")
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", paper)) == 1
