"""The closed sets of words of the ledger. Stored as small numbers: a million rows carry them."""

from __future__ import annotations

from nursery.core.words import Word

_ = str
"""Marks words for translation; pages translate them, for the rules of replay know no Django."""


class Origin(Word):
    """How a ramet came to be in the record."""

    COLLECTED = 1, _("collected")
    CUT = 2, _("cut")
    SETTLED = 3, _("settled")
    RECEIVED = 4, _("received")
    FOUND = 5, _("found")
    LEGACY = 6, _("legacy")


class Life(Word):
    """Whether a ramet lives, and if not, how it ended. Lost is reversible.

    NEVER: the event that it was born by was voided, so it has never been. IDENTIFIED: a found piece
    that turned out to be another ramet on record.
    """

    NEVER = 0, _("never")
    LIVING = 1, _("living")
    DEAD = 2, _("dead")
    LOST = 3, _("lost")
    USED_UP = 4, _("used up")
    FUSED = 5, _("fused")
    DISCARDED = 6, _("discarded")
    SAMPLED = 7, _("sampled")
    HANDED_OVER = 8, _("handed over")
    IDENTIFIED = 9, _("identified")


class Place(Word):
    """What kind of place a ramet is in, or was last in when it ended."""

    NOWHERE = 0, _("nowhere")
    STRUCTURE = 1, _("structure")
    PACKED = 2, _("packed")
    PLOT = 3, _("plot")


class Purpose(Word):
    """What a ramet is kept for; only production is planted unless said otherwise."""

    PRODUCTION = 1, _("production")
    BROODSTOCK = 2, _("broodstock")
    RESERVE = 3, _("reserve")


class What(Word):
    """What a step says of a ramet."""

    BORN = 1, _("born")
    RECEIVED = 2, _("received")
    PLACED = 3, _("placed")
    PACKED = 4, _("packed")
    CUT_FROM = 5, _("cut from")
    USED_UP = 6, _("used up")
    PLANTED = 7, _("planted")
    SEEN_ALIVE = 8, _("seen alive")
    SEEN_DEAD = 9, _("seen dead")
    SEEN_MISSING = 10, _("seen missing")
    LIFTED = 11, _("lifted")
    ENDED = 12, _("ended")
    FOUND = 13, _("found")
    COUNTED_DEAD = 14, _("counted dead")
    COUNTED_MISSING = 15, _("counted missing")
    RELABELLED = 16, _("relabelled")
    TAGGED = 17, _("tagged")
    REBASED = 18, _("rebased")
    CHECKED_ALIVE = 19, _("checked alive")
    CHECKED_DEAD = 20, _("checked dead")
    CHECKED_MISSING = 21, _("checked missing")
    SAMPLED = 22, _("sampled")


class Cause(Word):
    """Why a ramet died, as far as it was seen."""

    UNKNOWN = 1, _("unknown")
    BLEACHING = 2, _("bleaching")
    DISEASE = 3, _("disease")
    PREDATION = 4, _("predation")
    OVERGROWTH = 5, _("overgrowth")
    SEDIMENT = 6, _("sediment")
    DETACHED = 7, _("detached")
    STORM = 8, _("storm")
    HANDLING = 9, _("handling")
    WATER_QUALITY = 10, _("water quality")
    COLD = 11, _("cold")
