"""How tests say that the record agrees with itself."""

from __future__ import annotations

from nursery.outplanting.verify import Difference, verify


def differences(*families: str) -> list[Difference]:
    """All that does not agree, of these families of rules or of all."""
    return list(verify(families))


def nothing_wrong(*families: str) -> None:
    """Fail with each difference by its message, if there is any."""
    found = differences(*families)
    assert not found, "\n".join(map(str, found))
