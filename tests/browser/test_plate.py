"""The day's work on a plate in a browser: few presses, by the keyboard too, and fast when large."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from nursery.core.models import EventKind
from nursery.lineage.models import Ramet
from nursery.lineage.words import Life
from nursery.places.models import Structure
from tests import factories as make
from tests.browser.visiting import PHONE, Visitor, faults_light_and_dark
from tests.places.plates import now, page_of, written

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page

pytestmark = pytest.mark.django_db(transaction=True)

LAG = 100
"""Milliseconds within which a pick is drawn."""


class Hand:
    """Counts everything that a hand does: each press of a button or key, each scan."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.presses = 0

    def click(self, what: Locator) -> None:
        self.presses += 1
        what.click()

    def key(self, *keys: str) -> None:
        for key in keys:
            self.presses += 1
            self.page.keyboard.press(key)

    def scan(self, text: str) -> None:
        """A scanner types a code and Enter."""
        self.presses += 1
        self.page.keyboard.type(text)
        self.page.keyboard.press("Enter")


def cell(page: Page, name: str) -> Locator:
    """The cell of the page's own grid, by its name."""
    column, row = ord(name[0]) - ord("A"), int(name[1:])
    return page.locator(f"[role=grid] tbody tr:nth-child({row}) td:nth-of-type({column + 1})")


def picked(page: Page) -> int:
    return page.locator("[role=grid] td[aria-selected=true]").count()


@pytest.fixture
def empty(visitor: Visitor) -> Structure:
    """An empty plate of 117 cells."""
    here = visitor.programme
    return make.structure(here.lead, here.bay, blocked="A1 K1 A11 K11")


def posts(page: Page) -> list[str]:
    """The addresses to which forms are sent from now on."""
    sent: list[str] = []
    page.on("request", lambda it: sent.append(it.url) if it.method == "POST" else None)
    return sent


def test_a_full_plate_is_cut_from_a_mother_on_another_with_three_presses(
    visitor: Visitor, empty: Structure
) -> None:
    page, hand = visitor.page, Hand(visitor.page)
    visitor.open(page_of(visitor.programme.plate))
    sent = posts(page)
    hand.click(cell(page, "A1"))
    hand.key("c")
    page.get_by_text("117 of 117 free cells of").wait_for()
    hand.key("Enter")
    page.wait_for_url(f"**{page_of(empty)}")
    assert hand.presses <= 6
    assert len(sent) == 1
    assert Ramet.objects.filter(structure=empty, life=Life.LIVING).count() == 117
    assert "117 cut from" in page.get_by_role("status").first.inner_text()


def test_a_mother_is_scanned_into_the_free_cells_of_the_opened_plate(
    visitor: Visitor, empty: Structure
) -> None:
    page, hand = visitor.page, Hand(visitor.page)
    mother = Ramet.objects.filter(structure=visitor.programme.plate).first()
    assert mother is not None
    visitor.open(page_of(empty))
    sent = posts(page)
    hand.click(page.get_by_role("button", name=re.compile("free 117")))
    hand.key("c")
    hand.scan(mother.code)
    page.get_by_role("button", name=f"Cut 117 from {mother.code}").wait_for()
    page.wait_for_function("document.activeElement.matches('[data-cut-go]')")
    assert page.locator("[role=grid] td.coming").count() == 117
    hand.key("Enter")
    page.get_by_text("Entered: 117 cut from").wait_for()
    assert hand.presses <= 6
    assert len(sent) == 1
    assert page.locator("[role=grid] td.u").count() == 117


def test_19_deaths_take_21_presses_and_are_undone_by_one(visitor: Visitor) -> None:
    page, hand = visitor.page, Hand(visitor.page)
    plate = visitor.programme.plate
    ramets = list(Ramet.objects.filter(structure=plate).order_by("row", "column")[:19])
    visitor.open(page_of(plate))
    sent = posts(page)
    for ramet in ramets:
        hand.click(cell(page, str(ramet.cell)))
    assert "19 cells" in page.locator("[data-count]").inner_text()
    hand.key("d")
    assert page.locator("[role=grid] td.d.coming").count() == 19
    assert not written(EventKind.CHECK)
    hand.key("Enter")
    page.get_by_text(f"Entered: 19 dead in {plate.code}.").wait_for()
    assert hand.presses <= 25
    assert len(sent) == 1
    assert {ramet.life for ramet in now(ramets)} == {Life.DEAD}
    page.get_by_role("button", name="Undo: 19 dead").click()
    page.get_by_text("Undone: 19 dead").wait_for()
    assert {ramet.life for ramet in now(ramets)} == {Life.LIVING}


def test_a_check_of_the_whole_plate_by_the_keyboard_alone(visitor: Visitor) -> None:
    page = visitor.page
    plate = visitor.programme.plate
    visitor.open(page_of(plate))
    page.locator(".plate-window").focus()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.matches('td')")
    page.keyboard.press("Space")
    page.keyboard.press("Shift+ArrowRight")
    page.keyboard.press("Shift+ArrowDown")
    assert picked(page) == 4
    page.keyboard.press("Escape")
    assert picked(page) == 0
    page.keyboard.press("Home")
    page.keyboard.press("Space")
    page.keyboard.press("d")
    page.get_by_label("Cause").focus()
    page.keyboard.type("handling")
    page.keyboard.press("Tab")
    page.keyboard.press("Space")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Mark 1 dead, 29 attached"
    page.keyboard.press("Enter")
    page.get_by_text("Entered: 1 dead in").wait_for()
    assert page.locator("[role=grid] td.a").count() == 29
    (check,) = written(EventKind.CHECK)
    assert check.nursery_check.findings.count() == 30
    # The cause is the next one's as well.
    cell(page, "C3").click()
    page.keyboard.press("d")
    assert page.get_by_label("Cause").first.input_value() == "handling"


def test_cells_are_picked_in_every_way(visitor: Visitor) -> None:
    page = visitor.page
    visitor.open(page_of(visitor.programme.plate))
    cell(page, "B2").click()
    cell(page, "B2").click()
    assert picked(page) == 0
    cell(page, "B2").hover()
    page.mouse.down()
    cell(page, "D4").hover()
    page.mouse.up()
    assert picked(page) == 9
    cell(page, "F6").click()
    cell(page, "G7").click(modifiers=["Shift"])
    assert picked(page) == 13
    page.keyboard.press("Escape")
    page.get_by_role("columnheader", name="C", exact=True).click()
    page.get_by_role("rowheader", name="3", exact=True).click()
    assert picked(page) == 21
    page.keyboard.press("Control+a")
    assert picked(page) == 121
    page.keyboard.press("Escape")
    page.get_by_label("Cells", exact=True).fill("a1:c4, E5")
    page.keyboard.press("Enter")
    assert picked(page) == 13
    page.get_by_label("Cells", exact=True).fill("Z9")
    page.keyboard.press("Enter")
    assert page.locator("#range-fault").inner_text() == "Z9 is not on this plate."
    cell(page, "B2").focus()
    page.keyboard.press("Escape")
    page.locator("[data-genet]").first.click()
    assert picked(page) == 30


def test_a_cell_is_named_and_its_ramet_opened(visitor: Visitor) -> None:
    page = visitor.page
    ramet = Ramet.objects.filter(structure=visitor.programme.plate).order_by("pk")[0]
    visitor.open(page_of(visitor.programme.plate))
    cell(page, "A1").hover()
    named = page.locator("[data-named]").inner_text()
    assert re.fullmatch(rf"A1: {ramet.code} · .* · not looked at yet · \d+ weeks", named)
    cell(page, "A1").focus()
    page.keyboard.press("ArrowRight")
    assert page.locator("[data-named]").inner_text().startswith("B1: ")
    page.get_by_role("button", name="Ages").click()
    assert re.fullmatch(r"\d+w", cell(page, "A1").inner_text())
    cell(page, "B1").focus()
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("o")
    page.wait_for_url(f"**/ramets/{ramet.code}/")


def test_a_move_is_shown_on_both_plates_before_it_is_made(
    visitor: Visitor, empty: Structure
) -> None:
    page = visitor.page
    visitor.open(page_of(visitor.programme.plate))
    cell(page, "A1").click()
    cell(page, "B1").click()
    page.keyboard.press("v")
    page.keyboard.type(empty.code)
    page.keyboard.press("Enter")
    page.get_by_text(f"2 of 2 find a free cell in {empty.code}.").wait_for()
    assert page.locator("[role=grid] td.leaving").count() == 2
    assert page.locator(".strip [data-target] td.coming").count() == 2
    page.get_by_label("From cell").fill("C3")
    page.keyboard.press("Tab")
    page.get_by_role("button", name="Move 2").click()
    page.wait_for_url(f"**{page_of(empty)}")
    cells = {str(ramet.cell) for ramet in Ramet.objects.filter(structure=empty)}
    assert cells == {"C3", "D3"}


def test_tags_are_scanned_one_after_another_into_picked_cells(
    visitor: Visitor, empty: Structure
) -> None:
    page = visitor.page
    here = visitor.programme
    mother = Ramet.objects.filter(structure=here.plate).first()
    assert mother is not None
    loose = make.cut(here.lead, [mother], 2)
    visitor.open(page_of(empty))
    page.get_by_label("Cells", exact=True).fill("C3:D3")
    page.keyboard.press("Enter")
    page.keyboard.press("p")
    for ramet in loose:
        page.keyboard.type(ramet.code)
        page.keyboard.press("Enter")
        page.get_by_text(f"{ramet.code} goes into").wait_for()
    page.keyboard.type("NOSUCH")
    page.keyboard.press("Enter")
    page.get_by_text("There is no ramet").wait_for()
    page.get_by_role("button", name="Place 2").click()
    page.get_by_text("Entered: 2 placed").wait_for()
    assert [str(ramet.cell) for ramet in now(loose)] == ["C3", "D3"]


def test_what_was_taken_meanwhile_comes_back_with_the_picks(
    visitor: Visitor, empty: Structure
) -> None:
    page = visitor.page
    here = visitor.programme
    visitor.open(page_of(here.plate))
    cell(page, "A1").click()
    cell(page, "B1").click()
    page.keyboard.press("v")
    page.keyboard.type(empty.code)
    page.keyboard.press("Enter")
    page.get_by_text("2 of 2 find a free cell").wait_for()
    mother = Ramet.objects.filter(structure=here.plate).order_by("-pk").first()
    assert mother is not None
    make.cut(here.lead, [mother], 1, into=empty)
    page.get_by_role("button", name="Move 2").click()
    assert f"{empty.code} B1 is taken by" in page.get_by_role("alert").inner_text()
    assert picked(page) == 2
    page.get_by_text("2 of 2 find a free cell").wait_for()
    page.get_by_role("button", name="Move 2").click()
    page.wait_for_url(f"**{page_of(empty)}")


def took(page: Page, act: str) -> float:
    """Milliseconds from an act in the page until what it changed has been drawn."""
    found: float = page.evaluate(
        """async () => {
          const drawn = () => new Promise((done) =>
            requestAnimationFrame(() => setTimeout(done)));
          await drawn();
          const start = performance.now();
          ACT;
          await drawn();
          return performance.now() - start;
        }""".replace("ACT", act)
    )
    return found


def test_1600_cells_open_and_are_picked_without_lag(visitor: Visitor) -> None:
    page, here = visitor.page, visitor.programme
    large = make.structure(here.lead, here.bay, rows=40, columns=40)
    mother = Ramet.objects.filter(structure=here.plate).first()
    assert mother is not None
    for n in (1000, 600):
        make.cut(here.lead, [mother], n, into=large)
    visitor.open(page_of(large))
    opened = page.evaluate(
        "performance.getEntriesByType('navigation')[0].domContentLoadedEventEnd"
        " - performance.getEntriesByType('navigation')[0].responseEnd"
    )
    grid = "document.querySelector('[role=grid]')"
    key = f"{grid}.querySelector('td[tabindex]').dispatchEvent(new KeyboardEvent('keydown', %s))"
    # The best of three: another's load is no lag of the page.
    rounds = [lap(page, grid, key) for _ in range(3)]
    times = {name: min(each[name] for each in rounds) for name in rounds[0]}
    print(f"opened in {opened:.0f} ms;", {name: round(ms) for name, ms in times.items()})
    assert picked(page) == 0
    # A loaded machine is slow now and then; what lags does so by far.
    assert max(times.values()) < 3 * LAG, times
    assert opened < 3000


def lap(page: Page, grid: str, key: str) -> dict[str, float]:
    """How long it takes to pick a column, a row, all and none."""
    return {
        "column": took(page, f"{grid}.tHead.querySelector('th').click()"),
        "row": took(page, f"{grid}.tBodies[0].rows[3].cells[0].click()"),
        "all": took(page, key % "{key: 'a', ctrlKey: true, bubbles: true}"),
        "none": took(page, key % "{key: 'Escape', bubbles: true}"),
    }


@pytest.mark.sweep
def test_the_pages_shut_nobody_out(visitor: Visitor, empty: Structure) -> None:
    page, here = visitor.page, visitor.programme
    visitor.open(page_of(here.plate))
    assert faults_light_and_dark(page) == []
    cell(page, "A1").click()
    cell(page, "K11").click()
    for key in "advpe":
        page.keyboard.press(key)
        page.locator(f"[aria-keyshortcuts={key.upper()}][aria-pressed=true]").wait_for()
        assert faults_light_and_dark(page) == [], key
        page.keyboard.press("Escape")
    page.keyboard.press("c")
    page.get_by_text("1 of 1 free cells").wait_for()
    assert faults_light_and_dark(page) == []
    page.get_by_label("or another").fill(empty.code)
    page.keyboard.press("Enter")
    page.get_by_text("117 of 117 free cells").wait_for()
    assert faults_light_and_dark(page) == []
    for address in ("/cut/", f"{page_of(here.plate)}label/", page_of(here.tray)):
        visitor.open(address)
        assert faults_light_and_dark(page) == [], address


def test_on_a_phone_the_plate_scrolls_in_its_window_and_cells_are_large(
    visitor: Visitor,
) -> None:
    browser = visitor.page.context.browser
    assert browser is not None
    context = browser.new_context(
        viewport={"width": PHONE["width"], "height": PHONE["height"]},
        has_touch=True,
        is_mobile=True,
        storage_state=visitor.page.context.storage_state(),
    )
    page = context.new_page()
    page.goto(f"{visitor.root}{page_of(visitor.programme.plate)}")
    cell(page, "B2").tap()
    cell(page, "C2").tap()
    assert picked(page) == 2
    box = cell(page, "B2").bounding_box()
    assert box is not None
    assert min(box["width"], box["height"]) >= 44
    assert page.evaluate("document.scrollingElement.scrollWidth") <= PHONE["width"]
    window = page.locator(".plate-window")
    window.evaluate("it => it.scrollTo(120, 0)")
    head = page.get_by_role("rowheader", name="2", exact=True).bounding_box()
    assert head is not None
    assert 0 <= head["x"] < 60
    strip = page.locator(".strip").bounding_box()
    rail = page.locator(".rail").bounding_box()
    assert strip is not None
    assert rail is not None
    assert abs(strip["y"] + strip["height"] - rail["y"]) < 4
    page.get_by_role("button", name="loose").last.tap()
    page.get_by_role("button", name="Mark 2 loose").tap()
    page.get_by_text("Entered: 2 loose").wait_for()
    context.close()
