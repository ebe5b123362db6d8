"""The closed sets of words of the ledger. Stored as small numbers: a million rows carry them."""

from __future__ import annotations

from nursery.core.words import Word


class Origin(Word):
    """How a ramet came to be in the record."""

    COLLECTED = 1
    CUT = 2
    SETTLED = 3
    RECEIVED = 4
    FOUND = 5
    LEGACY = 6


class Life(Word):
    """Whether a ramet lives, and if not, how it ended. Lost is reversible.

    NEVER: the event that it was born by was voided, so it has never been. IDENTIFIED: a found piece
    that turned out to be another ramet on record.
    """

    NEVER = 0
    LIVING = 1
    DEAD = 2
    LOST = 3
    USED_UP = 4
    FUSED = 5
    DISCARDED = 6
    SAMPLED = 7
    HANDED_OVER = 8
    IDENTIFIED = 9


class Place(Word):
    """What kind of place a ramet is in, or was last in when it ended."""

    NOWHERE = 0
    STRUCTURE = 1
    PACKED = 2
    PLOT = 3


class Purpose(Word):
    """What a ramet is kept for; only production is planted unless said otherwise."""

    PRODUCTION = 1
    BROODSTOCK = 2
    RESERVE = 3


class What(Word):
    """What a step says of a ramet."""

    BORN = 1
    RECEIVED = 2
    PLACED = 3
    PACKED = 4
    CUT_FROM = 5
    USED_UP = 6
    PLANTED = 7
    SEEN_ALIVE = 8
    SEEN_DEAD = 9
    SEEN_MISSING = 10
    LIFTED = 11
    ENDED = 12
    FOUND = 13
    COUNTED_DEAD = 14
    COUNTED_MISSING = 15
    RELABELLED = 16
    TAGGED = 17
    REBASED = 18
    CHECKED_ALIVE = 19
    CHECKED_DEAD = 20
    CHECKED_MISSING = 21


class Cause(Word):
    """Why a ramet died, as far as it was seen."""

    UNKNOWN = 1
    BLEACHING = 2
    DISEASE = 3
    PREDATION = 4
    OVERGROWTH = 5
    SEDIMENT = 6
    DETACHED = 7
    STORM = 8
    HANDLING = 9
    WATER_QUALITY = 10
    COLD = 11
