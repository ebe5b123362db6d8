"""Field work on a phone of 390 px: a collection, a dive and a visit from end to end."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from django.test import override_settings

from nursery.core.models import Event, EventKind
from nursery.donors.models import Collection, DonorColony, Photo
from nursery.lineage.models import Life, Ramet
from nursery.lineage.words import Cause
from nursery.outplanting.models import Observation
from tests import factories as make
from tests.browser.visiting import PHONE, Visitor, faults, faults_light_and_dark, unfolded
from tests.donors import photographed
from tests.lineage.test_first_collections import HERE, entered
from tests.verified import nothing_wrong

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def folder(tmp_path: Path) -> Iterator[Path]:
    with override_settings(MEDIA_ROOT=tmp_path):
        yield tmp_path


@pytest.fixture
def page(page: Page) -> Page:
    page.set_viewport_size(PHONE)
    return page


def shuts_nobody_out(page: Page) -> None:
    """No fault by day or by night, nothing wider than the phone, and all targets large enough."""
    assert faults_light_and_dark(page) == []
    assert page.evaluate("document.scrollingElement.scrollWidth") <= PHONE["width"]
    small = page.evaluate(
        "[...document.querySelectorAll('main button:not(.plain), main select, main .pick label,"
        " main input:not([type=hidden], [type=checkbox], [type=radio])')]"
        ".filter(e => e.checkVisibility() && e.getBoundingClientRect().height < 44)"
        ".map(e => e.outerHTML.slice(0, 80))"
    )
    assert small == []


def row(page: Page, ramet: Ramet) -> Locator:
    return page.locator(f'.one-of[data-names^="{ramet.code} "]')


def test_a_whole_collection_on_a_phone(visitor: Visitor) -> None:
    page, here = visitor.page, visitor.programme
    near = entered(here, here.lead).colony
    assert near is not None
    permit = make.permit(here.lead)
    page.context.grant_permissions(["geolocation"])
    where = {name: float(value) for name, value in HERE.items()}
    page.context.set_geolocation({**where, "accuracy": 7.2})  # type: ignore[typeddict-item]
    visitor.open("/collect/")
    unfolded(page)
    shuts_nobody_out(page)
    page.get_by_label("Taxon").select_option(here.taxon.code)
    page.get_by_label("Reef").select_option(here.reef.code)
    page.get_by_role("button", name="Where this phone is").click()
    page.get_by_text("Taken from this phone, within 8 m.").wait_for()
    assert page.get_by_label("Latitude").input_value() == "-17.500000"
    assert page.get_by_label("Within how many metres").input_value() == "8"
    # While it is filled in, the neighbour and the missing permit are warned of.
    page.get_by_text(f"{near} stands 0 m from here.").wait_for()
    page.get_by_text("No permit is named for this.").wait_for()
    page.get_by_label("Depth").fill("12 ft")
    page.get_by_text("Depth: 3.7 m.").wait_for()
    page.get_by_label("Pieces taken").fill("3")
    page.get_by_label(permit.code).check()
    page.get_by_text("No permit is named for this.").wait_for(state="detached")
    page.get_by_label("Hands").fill("Ana Reyes")
    page.locator("#in-photos").set_input_files(
        {"name": "reef.jpg", "mimeType": "image/jpeg", "buffer": photographed.photo((900, 600))}
    )
    shuts_nobody_out(page)
    page.get_by_role("button", name="Enter it").click()
    page.wait_for_url("**/events/*/")
    assert "Entered: 3 pieces collected from" in page.get_by_role("status").first.inner_text()
    collection = Collection.objects.latest("pk")
    assert collection.perhaps_same == near.code
    colony = DonorColony.objects.latest("pk")
    visitor.open(f"/colonies/{colony.code}/")
    shown = page.locator(".photos img")
    shown.scroll_into_view_if_needed()
    assert shown.evaluate("photo => photo.decode().then(() => photo.naturalWidth)") == 480
    assert faults(page) == []
    assert Photo.objects.get().colony == colony
    nothing_wrong()


def test_the_colony_that_was_warned_of_is_taken_instead(visitor: Visitor) -> None:
    page, here = visitor.page, visitor.programme
    near = entered(here, here.lead).colony
    assert near is not None
    visitor.open("/collect/")
    page.get_by_label("Taxon").select_option(here.taxon.code)
    page.get_by_label("Latitude").fill("17°30.0' S")
    page.get_by_label("Longitude").fill("149°49.8' W")
    page.get_by_role("button", name=f"It is {near.code}").click()
    page.get_by_text(f"{near}: {near.taxon.name}").wait_for()
    assert page.get_by_label("On record", exact=True).is_checked()
    assert not page.get_by_label("Taxon").is_visible()
    page.get_by_label("Pieces taken").fill("many")
    page.get_by_role("button", name="Enter it").click()
    assert "One thing is in the way" in page.get_by_role("alert").inner_text()
    shuts_nobody_out(page)
    page.get_by_label("Pieces taken").fill("2")
    page.get_by_role("button", name="Enter it").click()
    page.wait_for_url("**/events/*/")
    assert Collection.objects.latest("pk").colony == near


def test_a_whole_visit_on_a_phone(visitor: Visitor) -> None:
    page, here = visitor.page, visitor.programme
    first, second, third = here.outplants(3)
    visitor.open("/watch/")
    shuts_nobody_out(page)
    page.get_by_role("link", name=str(here.plot)).click()
    row(page, first).get_by_text("Alive").click()
    row(page, second).get_by_text("Dead").click()
    row(page, second).get_by_label("Cause").select_option("storm")
    assert page.locator("#progress").inner_text().startswith("2 of")
    shuts_nobody_out(page)
    # The phone sleeps, and its browser forgets the page.
    visitor.open("/watch/")
    page.get_by_role("link", name=f"{here.site} (3)").click()
    page.get_by_text("Taken from this phone's draft").wait_for()
    assert row(page, first).locator("[value=alive]").is_checked()
    assert row(page, second).get_by_label("Cause").input_value() == "storm"
    # There is no signal: it is kept, and sent when there is.
    page.context.set_offline(True)
    page.get_by_role("button", name="Send the visit").click()
    page.get_by_text("No signal.").wait_for()
    page.context.set_offline(False)
    page.get_by_label("To a tag").fill(third.code)
    page.keyboard.press("Enter")
    page.keyboard.press("Space")
    page.get_by_label("Day").fill(make.SEEN)
    page.get_by_role("button", name="Send the visit").click()
    page.wait_for_url("**/watch/*/*/")
    assert page.evaluate("localStorage.length") == 0
    shuts_nobody_out(page)
    uid = page.locator("[data-sent]").get_attribute("data-sent")
    seen = Observation.objects.filter(visit__event__uid=uid)
    assert {entry.ramet for entry in seen} == {first, second, third}
    assert Ramet.objects.get(pk=second.pk).cause == Cause.STORM
    assert Ramet.objects.get(pk=third.pk).life != Life.DEAD
    nothing_wrong()


def test_a_sheet_is_counted_and_its_draft_goes_with_the_visit_of_the_site(
    visitor: Visitor,
) -> None:
    page, here = visitor.page, visitor.programme
    here.outplants(2)
    other = make.plot(here.lead, here.site)
    rows = make.cut(here.lead, here.mothers(), 3)
    make.planting(here.lead, other, rows)
    visitor.open(f"/watch/{other.code}/")
    page.get_by_role("button", name="The rest of").click()
    assert page.locator("#progress").inner_text() == "3 of 3"
    visitor.open(f"/watch/{here.plot.code}/")
    page.get_by_text("By taxon").first.click()
    page.get_by_label("All together: Alive").fill("2")
    page.get_by_label("Day").fill(make.SEEN)
    shuts_nobody_out(page)
    page.get_by_role("button", name="Send the visit").click()
    page.wait_for_url("**/watch/*/*/")
    event = Event.objects.filter(kind=EventKind.VISIT).latest("pk")
    assert event.visit.observations.count() == 3
    assert event.visit.counts.get().alive == 2


def test_a_whole_dive_on_a_phone(visitor: Visitor) -> None:
    page, here = visitor.page, visitor.programme
    rows = make.cut(here.lead, here.mothers(), 5, into=here.tray)
    make.move(here.lead, [{"ramet": row.code} for row in rows], packed=True, when="2021-05-31")
    planted, back, lost, dead, aboard = rows
    visitor.open("/dive/")
    shuts_nobody_out(page)
    page.get_by_label("Plot", exact=True).select_option(here.plot.code)
    page.get_by_label("All that is packed").check()
    page.get_by_role("button", name="Show what is aboard").click()
    page.get_by_text("are aboard.").wait_for()
    row(page, planted).get_by_text("Planted").click()
    row(page, planted).get_by_label("Position").fill("12")
    row(page, back).get_by_text("Back").click()
    row(page, lost).get_by_text("Lost").click()
    row(page, dead).get_by_text("Died").click()
    row(page, dead).get_by_label("Cause").select_option("handling")
    assert page.locator("#progress").inner_text().startswith("4 of")
    page.get_by_label("Buddies").fill("Ana Reyes, Iro Falk")
    shuts_nobody_out(page)
    page.reload()
    page.get_by_text("Taken from this phone's draft").wait_for()
    assert row(page, planted).get_by_label("Position").input_value() == "12"
    assert page.get_by_label("Buddies").input_value() == "Ana Reyes, Iro Falk"
    page.get_by_label("Day").fill("soon")
    page.get_by_role("button", name="Enter the dive").click()
    assert "One thing is in the way" in page.get_by_role("alert").inner_text()
    assert row(page, back).locator("[value=returned]").is_checked()
    shuts_nobody_out(page)
    page.get_by_label("Day").fill(make.PLANTED)
    page.get_by_label("Held by").select_option("cement")
    page.get_by_role("button", name="Enter the dive").click()
    page.get_by_text("1 planted, 1 back, 1 lost and 1 died").first.wait_for()
    assert page.evaluate("localStorage.length") == 0
    assert row(page, aboard).is_visible()
    assert not row(page, planted).is_visible()
    shuts_nobody_out(page)
    assert Ramet.objects.get(pk=planted.pk).plot == here.plot
    assert Ramet.objects.get(pk=back.pk).structure == here.tray
    page.get_by_role("button", name="Undo").click()
    page.get_by_text("Undone: ").wait_for()
    assert Ramet.objects.get(pk=planted.pk).plot is None
    nothing_wrong()


def test_a_bag_is_cut_from_aboard_and_taken_in(visitor: Visitor) -> None:
    page, here = visitor.page, visitor.programme
    collection = make.collection(here.lead, here.colony, count=3)
    one, two, three = make.ramets_of(collection)
    visitor.open("/bags/?on=2021-01-10")
    shuts_nobody_out(page)
    page.get_by_role("link", name="Cut from bag").last.click()
    page.get_by_label(three.code).check()
    page.get_by_label("Their tags").fill("T-801 T-802")
    page.get_by_label("Day").fill(make.COLLECTED)
    shuts_nobody_out(page)
    page.get_by_role("button", name="Cut them").click()
    page.get_by_text("Entered: 2 pieces cut aboard.").wait_for()
    page.get_by_role("link", name="Take in bag").last.click()
    page.get_by_label("Nursery").select_option(here.nursery.code)
    page.get_by_label("Into structure").select_option(here.plate.code)
    page.get_by_text(f"4 pieces go into {here.plate.code}.").wait_for()
    of_two = page.locator(".one-of", has_text=two.code)
    of_two.get_by_text("Dead").click()
    page.get_by_text(f"3 pieces go into {here.plate.code}.").wait_for()
    of_two.get_by_label("Cause").select_option("handling")
    # A scanner types a tag and Enter; the form waits for the rest.
    page.locator(".one-of", has_text=one.code).get_by_label("Tag").fill("T-800")
    page.keyboard.press("Enter")
    page.get_by_label("Day").fill(make.RECEIVED)
    shuts_nobody_out(page)
    page.get_by_role("button", name="Take them in").click()
    page.wait_for_url("**/events/*/")
    assert "Entered: 3 pieces taken in." in page.get_by_role("status").first.inner_text()
    assert Ramet.objects.get(pk=one.pk).structure == here.plate
    assert Ramet.objects.get(pk=one.pk).tags.get().text == "T-800"
    assert Ramet.objects.get(pk=two.pk).cause == Cause.HANDLING
    assert Ramet.objects.filter(structure=here.plate, tags__text__startswith="T-80").count() == 3
    nothing_wrong()
