"""What fields of registers, entries and filters are called on pages, which is worked out from what
they are called in the code. The names are marked here, so that translators find them; a test holds
that none is left out."""

from __future__ import annotations

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

NAMES = frozenset(
    (
        _("Aphia id"),
        _("AphiaID"),
        _("Area m2"),
        _("Authority"),
        _("Bay"),
        _("Blocked"),
        _("Born"),
        _("Canonical"),
        _("Cause"),
        _("Children"),
        _("Closed on"),
        _("Code"),
        _("Collection"),
        _("Colony"),
        _("Columns"),
        _("Confirmed on"),
        _("Count"),
        _("Counts"),
        _("Depth"),
        _("Depth m"),
        _("Done by"),
        _("Donor"),
        _("Donor colony"),
        _("Ended"),
        _("Fate"),
        _("Findings"),
        _("Fixing"),
        _("Found on"),
        _("Generation"),
        _("Genet"),
        _("Group"),
        _("Into"),
        _("Kept"),
        _("Kind"),
        _("Label"),
        _("Laboratory"),
        _("Latitude"),
        _("Life"),
        _("Living"),
        _("Loci"),
        _("Longitude"),
        _("Made on"),
        _("Manifest"),
        _("Marker"),
        _("Merged"),
        _("Name"),
        _("Note"),
        _("Nursery"),
        _("Observations"),
        _("On"),
        _("Origin"),
        _("Other purposes"),
        _("Outline"),
        _("Outplants"),
        _("Packed"),
        _("Panel"),
        _("Parent"),
        _("Permit"),
        _("Permits"),
        _("Piece size"),
        _("Pieces"),
        _("Place"),
        _("Plot"),
        _("Programme"),
        _("Purpose"),
        _("Ramet"),
        _("Ramets"),
        _("Rank"),
        _("Received"),
        _("Received on"),
        _("Recipient"),
        _("Reef"),
        _("Reefs"),
        _("Rows"),
        _("Sample"),
        _("Samples"),
        _("Sent"),
        _("Sent on"),
        _("Series"),
        _("Share taken"),
        _("Site"),
        _("Sites"),
        _("Size cm"),
        _("Sources"),
        _("Status"),
        _("Structure"),
        _("Structures"),
        _("System"),
        _("Tag"),
        _("Taxa"),
        _("Taxon"),
        _("Timezone"),
        _("Title"),
        _("Typed"),
        _("Uncertainty m"),
        _("Unknown"),
        _("Valid from"),
        _("Valid until"),
        _("When"),
    )
)


def capital(name: str) -> str:
    """`closed_on` as `Closed on`."""
    text = name.replace("_", " ")
    return f"{text[:1].upper()}{text[1:]}"


def titled(name: str) -> str:
    """A field's name as it stands above its blank: `Closed on`."""
    return gettext(capital(name))


def within(name: str) -> str:
    """A field's name within a sentence: `closed on`."""
    text = titled(name)
    return f"{text[:1].lower()}{text[1:]}"
