"""What the first look at a page weighs, compressed: a phone on a boat has to fetch it."""

from __future__ import annotations

import gzip
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

import pytest

from tests.browser.visiting import Visitor

if TYPE_CHECKING:
    from playwright.sync_api import Page, Request

WHOLE = 150_000
"""Bytes of a page with everything that it needs, as gzip sends it."""
SCRIPTS = 60_000


def too_heavy(visitor: Visitor, addresses: Iterable[str]) -> dict[str, tuple[int, int]]:
    """Of each page that is too heavy, the compressed bytes of all that a first visit fetches,
    and of its scripts alone."""
    context = visitor.page.context.browser.new_context(  # type: ignore[union-attr]
        storage_state=visitor.page.context.storage_state()
    )
    known: dict[str, int] = {}
    heavy = {}
    for address in addresses:
        sizes = list(_fetched(context.new_page(), f"{visitor.root}{address}", known))
        scripts = sum(size for kind, size in sizes if kind == "script")
        whole = sum(size for _, size in sizes)
        assert scripts > 0, address
        assert any(kind == "stylesheet" for kind, _ in sizes), address
        if whole > WHOLE or scripts > SCRIPTS:
            heavy[address] = (whole, scripts)
    context.close()
    return heavy


def _fetched(page: Page, url: str, known: dict[str, int]) -> Iterator[tuple[str, int]]:
    """Each thing that a page fetches until it is loaded: its kind and its compressed size. `known`
    keeps the sizes of what several pages fetch."""
    page.context.new_cdp_session(page).send("Network.setCacheDisabled", {"cacheDisabled": True})
    requests: list[Request] = []

    def note(request: Request) -> None:
        requests.append(request)

    page.on("requestfinished", note)
    page.goto(url)
    for request in list(requests):
        if request.url.startswith(("data:", "blob:")):
            continue
        if request.url not in known:
            response = request.response()
            assert response is not None
            known[request.url] = len(gzip.compress(response.body()))
        yield request.resource_type, known[request.url]
    page.close()


@pytest.mark.sweep
def test_no_page_is_too_heavy_for_a_phone(visitor: Visitor) -> None:
    assert too_heavy(visitor, [*visitor.kinds(), *visitor.others()]) == {}
