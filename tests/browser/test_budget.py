"""What the first look at a page weighs, compressed: a phone on a boat has to fetch it."""

from __future__ import annotations

import gzip
from collections.abc import Iterable
from typing import TYPE_CHECKING

from tests.browser.visiting import Visitor

if TYPE_CHECKING:
    from playwright.sync_api import Request

WHOLE = 150_000
"""Bytes of a page with everything that it needs, as gzip sends it."""
SCRIPTS = 60_000


def too_heavy(visitor: Visitor, addresses: Iterable[str]) -> dict[str, tuple[int, int]]:
    """Of each page that is too heavy, the compressed bytes of all that a first visit fetches,
    and of its scripts alone."""
    context = visitor.page.context.browser.new_context(  # type: ignore[union-attr]
        storage_state=visitor.page.context.storage_state()
    )
    page = context.new_page()
    context.new_cdp_session(page).send("Network.setCacheDisabled", {"cacheDisabled": True})
    fetched: list[Request] = []
    page.on("requestfinished", fetched.append)
    known: dict[str, int] = {}
    heavy = {}
    for address in addresses:
        fetched.clear()
        page.goto(f"{visitor.root}{address}")
        scripts = whole = 0
        for request in fetched:
            if request.url.startswith(("data:", "blob:")):
                continue
            if request.url not in known:
                known[request.url] = len(gzip.compress(request.response().body()))  # type: ignore[union-attr]
            whole += known[request.url]
            scripts += known[request.url] if request.resource_type == "script" else 0
        assert scripts > 0, address
        assert any(request.resource_type == "stylesheet" for request in fetched), address
        if whole > WHOLE or scripts > SCRIPTS:
            heavy[address] = (whole, scripts)
    context.close()
    return heavy


def test_no_page_is_too_heavy_for_a_phone(visitor: Visitor) -> None:
    assert too_heavy(visitor, [*visitor.kinds(), *visitor.others()]) == {}
