"""A lead before the pages of a small programme."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from django.db import connection

from nursery.core.actor import Role
from tests import factories as make
from tests.browser.visiting import Visitor

if TYPE_CHECKING:
    from playwright.sync_api import Page
    from pytest_django.live_server_helper import LiveServer


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """A sweep over pages is done on one database: what they look like is the same on the other."""
    if connection.vendor == "sqlite":
        return
    sweeps = [item for item in items if item.get_closest_marker("sweep")]
    config.hook.pytest_deselected(items=sweeps)
    items[:] = [item for item in items if item not in sweeps]


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
