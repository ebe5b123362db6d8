"""The lists that belong to each of the five places: words, and the name of the address.

The words are marked here and translated in core/kin.html, where they are shown.
"""

from django.utils.translation import gettext_noop as _

TODAY = ((_("Today"), "home"), (_("To settle"), "unsettled"), (_("All entries"), "events"))
COLONIES = (
    (_("Donor colonies"), "colonies"),
    (_("Collections"), "collections"),
    (_("Reefs"), "reefs"),
    (_("Taxa"), "taxa"),
    (_("Permits"), "permits"),
    (_("Bags"), "bags"),
)
NURSERY = (
    (_("Structures"), "structures"),
    (_("Ramets"), "ramets"),
    (_("Cuttings"), "fragmentations"),
    (_("Nurseries"), "nurseries"),
    (_("Systems"), "systems"),
    (_("Bays"), "bays"),
)
GENETS = (
    (_("Genets"), "genets"),
    (_("Where they are kept"), "matrix"),
    (_("Samples"), "samples"),
    (_("Genotypes"), "genotype-tables"),
    (_("Panels"), "panels"),
)
REEF = (
    (_("Sites"), "sites"),
    (_("Map"), "map"),
    (_("Plots"), "plots"),
    (_("Manifests"), "manifests"),
    (_("Proposals"), "proposals"),
    (_("Outplantings"), "outplantings"),
    (_("Visits"), "visits"),
    (_("Policy"), "policy"),
)
