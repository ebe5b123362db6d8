"""Cautions of health and safety, as they stand where the work is done.

Facts of the trade and of public health leaflets, kept short. They defer to the local authority and
to licensed people, and certify nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution: its key, a heading, and what to mind."""

    key: str
    heading: str | Promise
    text: str | Promise


CAUTIONS = {
    caution.key: caution
    for caution in (
        Caution(
            "zoanthid",
            _("Zoanthids: presume palytoxin"),
            _(
                "Gloves and eye protection. Cut under water, without a power saw; never boil or "
                "heat them or what they touched. Fever, cough, a metallic taste or eye pain: seek "
                "medical care at once and name palytoxin. The local safety code and a licensed "
                "person decide; this page certifies nothing."
            ),
        ),
        Caution(
            "cutting",
            _("Blades, glue and mains"),
            _(
                "Cut away from the hand; blades go into the sharps bin. Instant glue bonds skin: "
                "have its solvent at hand. Electricity near water needs residual-current "
                "protection and drip loops; an electrician decides what may be used."
            ),
        ),
        Caution(
            "cement",
            _("Wet cement burns"),
            _(
                "It is strongly alkaline: waterproof gloves and goggles, and a dust mask while "
                "mixing. Rinse skin at once and long. The product's safety sheet and the local "
                "code decide."
            ),
        ),
        Caution(
            "diving",
            _("Diving"),
            _(
                "With a buddy, within the dive plan and the national rules for scientific or "
                "working divers. Whether a dive goes ahead, the dive supervisor decides, not this "
                "list."
            ),
        ),
        Caution(
            "permit",
            _("Permits"),
            _(
                "Collecting, transfer and planting need the local authority's permit. This "
                "register keeps what permits say and flags what they do not cover; whether an act "
                "is allowed, the authority decides."
            ),
        ),
    )
}
