"""Who looks at the pages in a browser, at which of them, and what the checker finds there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from axe_playwright_python.sync_playwright import Axe

from nursery.lineage.models import Ramet
from tests import factories as make

if TYPE_CHECKING:
    from playwright.sync_api import Page

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
            f"/sites/{here.site.code}/sheet/",
            "/overlap/",
            "/measures/",
            f"/plots/{here.plot.code}/",
            f"/structures/{here.plate.code}/",
            f"/structures/{here.tray.code}/",
            f"/events/{self.outplant.born.uid}/",
            f"/events/{self.outplant.born.uid}/void/",
            f"/events/{self.outplant.born.uid}/amend/",
            "/enter/",
            "/enter/fragmentation/",
            "/unsettled/",
            "/unsettled/settled/",
            "/work/",
            f"/register/colonies/{here.colony.code}/",
        ]

    def others(self) -> list[str]:
        """The addresses of the remaining lists and registers, which are built alike."""
        here = self.programme
        lists = (
            "collections reefs taxa permits genets structures ramets fragmentations nurseries "
            "systems bays sites plots manifests outplantings visits events"
        )
        return [
            f"/nurseries/{here.nursery.code}/",
            f"/reefs/{here.reef.code}/",
            f"/taxa/{here.taxon.code}/",
            *(f"/{name}/" for name in lists.split()),
            "/bags/",
            "/collect/",
            "/cut/",
            "/dive/",
            "/enter/check/",
            "/genets/matrix/",
            "/manifests/new/",
            "/map/",
            "/policy/",
            "/proposals/",
            f"/proposals/?taxon={here.taxon.code}",
            "/watch/",
            f"/colonies/{here.colony.code}/descent/",
            f"/structures/{here.plate.code}/label/",
            f"/watch/{here.plot.code}/",
        ]


def faults(page: Page, rules: list[str] | None = None) -> list[str]:
    """What the accessibility checker finds on the page: the rule and the first place; of all its
    rules, or of some."""
    only = {"type": "rule", "values": rules} if rules else {"type": "tag", "values": RULES}
    # Of what holds only the names are wanted: to hand over each place takes as long as to look.
    found = Axe().run(page, options={"runOnly": only, "resultTypes": ["violations"]})
    # A page that the checker did not see would have no faults either.
    assert len(found.response["passes"]) > (0 if rules else 10)
    return [
        f"{fault['id']}: {fault['nodes'][0]['html'][:120]}"
        for fault in found.response["violations"]
    ]


def faults_light_and_dark(page: Page) -> list[str]:
    """What is found by light, and what of its colours in the dark: nothing else changes there."""
    page.emulate_media(color_scheme="dark", reduced_motion="reduce")
    dark = faults(page, ["color-contrast"])
    page.emulate_media(color_scheme="light", reduced_motion="reduce")
    return [*faults(page), *(f"dark: {fault}" for fault in dark)]


def unfolded(page: Page) -> None:
    """Open everything that is folded away, but for what is hidden altogether."""
    for summary in page.locator("summary").all():
        if summary.is_visible():
            summary.click()
