"""What the first look at a page weighs, compressed: a phone on a boat has to fetch it."""

from __future__ import annotations

import gzip

from tests.browser.visiting import Visitor

WHOLE = 150_000
"""Bytes of a page with everything that it needs, as gzip sends it."""
SCRIPTS = 60_000


def weight(visitor: Visitor, address: str) -> tuple[int, int]:
    """The compressed bytes of everything that a first visit fetches, and of its scripts alone."""
    context = visitor.page.context.browser.new_context(  # type: ignore[union-attr]
        storage_state=visitor.page.context.storage_state()
    )
    page = context.new_page()
    sizes: list[tuple[str, int]] = []
    page.on(
        "requestfinished",
        lambda request: (
            sizes.append((request.resource_type, len(gzip.compress(request.response().body()))))
            if not request.url.startswith(("data:", "blob:"))
            else None
        ),
    )
    page.goto(f"{visitor.root}{address}", wait_until="networkidle")
    context.close()
    assert any(kind == "stylesheet" for kind, _ in sizes)
    return sum(size for _, size in sizes), sum(n for kind, n in sizes if kind == "script")


def test_no_page_is_too_heavy_for_a_phone(visitor: Visitor) -> None:
    heavy = {}
    for address in [*visitor.kinds(), *visitor.others()]:
        whole, scripts = weight(visitor, address)
        assert scripts > 0
        if whole > WHOLE or scripts > SCRIPTS:
            heavy[address] = (whole, scripts)
    assert heavy == {}
