"""Texts without what chance put into them, for tests of digits that must not be there."""

from __future__ import annotations

import re

_CHANCE = re.compile(
    r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}"  # uids
    r"|[0-9a-f]{32,}"  # digests, hashed passwords
    r"|\d\d:\d\d:\d\d\.\d+"  # moments, to the microsecond
)


def without_chance(text: str) -> str:
    """The text without uids, digests and moments: some of their digits are anybody's."""
    return _CHANCE.sub("…", text)
