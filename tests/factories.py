"""Small things for tests, made through the actions: every one invented.

Codes that are not given are made up from one counter, so that a test names only what it is about.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import count
from typing import Any

from rest_framework.test import APIClient

from nursery.access.actors import actor_for
from nursery.access.models import Membership
from nursery.core import registers
from nursery.core.actor import Actor, Role
from nursery.core.inputs import read
from nursery.core.models import Event, User
from nursery.diversity import actions as diversity
from nursery.diversity.audit.case import Verdict
from nursery.diversity.inputs import SignOffIn
from nursery.diversity.models import SignOff
from nursery.donors.actions import enter_colony
from nursery.donors.models import Collection, DonorColony, Genet, Permit, Taxon
from nursery.husbandry import actions as husbandry
from nursery.husbandry.inputs import CheckIn
from nursery.husbandry.models import Check
from nursery.lineage import actions as lineage
from nursery.lineage import inputs as given_to_lineage
from nursery.lineage.models import Fragmentation, Ramet
from nursery.outplanting import actions as outplanting
from nursery.outplanting.inputs import ManifestIn, OutplantingIn, PolicyRuleIn, VisitIn
from nursery.outplanting.models import Manifest, Outplanting, PolicyRule, Visit
from nursery.places import actions as places
from nursery.places.models import Bay, Nursery, Plot, Reef, Site, Structure, System

PASSWORD = "a reef at night"
SET_UP = "2020-01-01"
"""The day on which structures are set up."""
COLLECTED = "2021-01-10"
RECEIVED = "2021-01-11"
CUT = "2021-03-01"
CHECKED = "2021-03-11"
PLANTED = "2021-06-01"
SEEN = "2021-09-01"

_numbers = count(1)


def letters(number: int) -> str:
    """Three letters for a number, from AAA: a code series of its own."""
    text = ""
    for _ in range(3):
        number, digit = divmod(number, 26)
        text = chr(ord("A") + digit) + text
    return text


# People


def person(*roles: Role, at: Nursery | None = None, name: str = "") -> User:
    """A log-in with these roles; the nursery role is given `at` a nursery."""
    user = User.objects.create_user(name or f"person{next(_numbers)}", password=PASSWORD)
    for role in roles:
        Membership.objects.create(
            user=user, role=role, nursery=at if role is Role.NURSERY else None
        )
    return user


def actor(*roles: Role, at: Nursery | None = None, read_only: bool = False) -> Actor:
    """A person who acts, with these roles (none: an account to which nothing was given)."""
    return actor_for(person(*roles, at=at), read_only=read_only)


def lead() -> Actor:
    return actor(Role.LEAD)


def field() -> Actor:
    return actor(Role.FIELD)


def viewer() -> Actor:
    return actor(Role.VIEWER)


def staff(nursery: Nursery) -> Actor:
    return actor(Role.NURSERY, at=nursery)


def client(*roles: Role, at: Nursery | None = None) -> APIClient:
    """An API client of a person with these roles, logged in as the browser is."""
    api = APIClient()
    api.force_login(person(*roles, at=at))
    return api


# Registers


def reef(by: Actor, **values: Any) -> Reef:
    n = next(_numbers)
    return registers.create(by, Reef, {"code": f"REEF{n}", "name": f"Reef {n}", **values})


def nursery(by: Actor, **values: Any) -> Nursery:
    """A nursery with a code series of its own."""
    n = next(_numbers)
    given = {"code": f"N{n}", "name": f"Nursery {n}", "kind": "land", "series": f"N{letters(n)}"}
    return places.enter_nursery(by, {**given, **values})


def bay(by: Actor, at: Nursery, /, **values: Any) -> Bay:
    """A bay in a system of its own."""
    n = next(_numbers)
    system = registers.create(
        by, System, {"code": f"SYS{n}", "name": f"System {n}", "nursery": at.code}
    )
    return registers.create(by, Bay, {"code": f"BAY{n}", "system": system.code, **values})


def structure(by: Actor, bay: Bay | None = None, /, when: str = SET_UP, **values: Any) -> Structure:
    """A plate of 11 × 11 cells, or what the values say; set up in a bay where one is given."""
    n = next(_numbers)
    given = {"code": f"PL-{n}", "kind": "plate", "rows": 11, "columns": 11, **values}
    row = places.enter_structure(by, given, None)
    if bay is not None:
        move_structures(by, [{"structure": row.code, "bay": bay.code}], when=when)
    return Structure.objects.get(pk=row.pk)


def tray(by: Actor, bay: Bay | None = None, /, when: str = SET_UP, **values: Any) -> Structure:
    """An open structure: it has no cells."""
    return structure(by, bay, when, **{"kind": "tray", "rows": None, "columns": None, **values})


def site(by: Actor, **values: Any) -> Site:
    n = next(_numbers)
    return registers.create(by, Site, {"code": f"SITE{n}", "name": f"Site {n}", **values})


def plot(by: Actor, site: Site, /, **values: Any) -> Plot:
    code = f"PLOT{next(_numbers)}"
    return registers.create(by, Plot, {"code": code, "site": site.code, **values})


def taxon(by: Actor, **values: Any) -> Taxon:
    n = next(_numbers)
    given = {"code": f"TAX{n}", "name": f"Invented species {n}", "group": "stony"}
    return registers.create(by, Taxon, {**given, **values})


def genet(by: Actor, taxon: Taxon, /, **values: Any) -> Genet:
    code = f"GEN{next(_numbers)}"
    return registers.create(by, Genet, {"code": code, "taxon": taxon.code, **values})


def permit(by: Actor, **values: Any) -> Permit:
    n = next(_numbers)
    given = {"code": f"PERMIT-{n}", "title": f"Permit {n}", "authority": "Invented Authority"}
    return registers.create(by, Permit, {**given, **values})


def colony(by: Actor, taxon: Taxon, reef: Reef, /, **values: Any) -> DonorColony:
    """A donor colony; without a `genet` it is presumed to be one of its own."""
    code = f"COL{next(_numbers)}"
    return enter_colony(by, {"code": code, "taxon": taxon.code, "reef": reef.code, **values})


# Events. Each returns the particulars or the ramets it made, read back from the database.


def collection(by: Actor, colony: DonorColony | None = None, /, **values: Any) -> Collection:
    """One piece taken from a colony, or as many as `count` or `pieces` say."""
    given: dict[str, Any] = {"when": COLLECTED, **values}
    if colony is not None:
        given["colony"] = colony.code
    if "pieces" not in given:
        given.setdefault("count", 1)
    event = lineage.collect(by, read(given_to_lineage.CollectionIn, given)).event
    return Collection.objects.get(event=event)


def intake(
    by: Actor, collection: Collection, nursery: Nursery, into: Structure | None, /, **values: Any
) -> Event:
    """All pieces of a collection reach a nursery, or those that `pieces` says."""
    given: dict[str, Any] = {
        "when": RECEIVED,
        "collection": str(collection.event.uid),
        "nursery": nursery.code,
        "structure": into.code if into is not None else None,
        "pieces": [{"ramet": ramet.code} for ramet in ramets_of(collection)],
        **values,
    }
    return lineage.take_in(by, read(given_to_lineage.IntakeIn, given)).event


def mothers(
    by: Actor, colony: DonorColony, into: Structure, count: int = 1, **values: Any
) -> list[Ramet]:
    """Wild fragments of a colony, received into a structure and ready to be cut."""
    found = collection(by, colony, count=count, **values)
    home = into.nursery
    if home is None:
        raise ValueError("the structure stands at no nursery")
    intake(by, found, home, into)
    return ramets_of(found)


def cut(
    by: Actor,
    sources: Iterable[Ramet],
    count: int | None = 1,
    /,
    into: Structure | None = None,
    used_up: Iterable[Ramet] = (),
    **values: Any,
) -> list[Ramet]:
    """Cut `sources` (kept) and `used_up` (spent) into children, and give these back."""
    given: dict[str, Any] = {
        "when": CUT,
        "sources": [
            *({"ramet": ramet.code} for ramet in sources),
            *({"ramet": ramet.code, "used_up": True} for ramet in used_up),
        ],
        "structure": into.code if into is not None else None,
        "count": None if "children" in values else count,
        **values,
    }
    event = lineage.cut(by, read(given_to_lineage.FragmentationIn, given)).event
    return ramets_of(Fragmentation.objects.get(event=event))


def move(by: Actor, ramets: Sequence[Mapping[str, Any]], /, **values: Any) -> Event:
    """Move ramets, each given as {"ramet": …, "structure": …, "cell": …}."""
    given = {"when": CUT, "ramets": list(ramets), **values}
    return lineage.move(by, read(given_to_lineage.MoveIn, given)).event


def move_structures(by: Actor, structures: Sequence[Mapping[str, Any]], /, **values: Any) -> Event:
    given = {"when": SET_UP, "structures": list(structures), **values}
    return lineage.move_structures(by, read(given_to_lineage.StructureMoveIn, given)).event


def stock(
    by: Actor, nursery: Nursery, ramets: Sequence[Mapping[str, Any]], /, **values: Any
) -> list[Ramet]:
    """Legacy ramets, each given by its row."""
    given = {"when": COLLECTED, "nursery": nursery.code, "ramets": list(ramets), **values}
    event = lineage.enter_stock(by, read(given_to_lineage.StockEntryIn, given)).event
    return list(Ramet.objects.filter(born=event).order_by("pk"))


def check(by: Actor, found: Mapping[Ramet, str], /, **values: Any) -> Check:
    """A check that found these ramets `attached`, `loose`, `dead` or `missing`."""
    given = {
        "when": CHECKED,
        "findings": [{"ramet": ramet.code, "state": how} for ramet, how in found.items()],
        **values,
    }
    event = husbandry.check(by, read(CheckIn, given)).event
    return Check.objects.get(event=event)


def planting(by: Actor, plot: Plot, ramets: Iterable[Ramet], /, **values: Any) -> Outplanting:
    given = {
        "when": PLANTED,
        "plot": plot.code,
        "outplants": [{"ramet": ramet.code} for ramet in ramets],
        **values,
    }
    event = outplanting.plant(by, read(OutplantingIn, given)).event
    return Outplanting.objects.get(event=event)


def manifest(by: Actor, plot: Plot, ramets: Iterable[Ramet], /, **values: Any) -> Manifest:
    """A draft that these ramets are planted in a plot."""
    given = {
        "site": plot.site.code,
        "title": "An invented day",
        "planned": PLANTED,
        "plot": plot.code,
        "lines": [{"ramet": ramet.code} for ramet in ramets],
        **values,
    }
    return outplanting.draft(by, read(ManifestIn, given)).manifest


def rule(by: Actor, name: str, value: object, /, **values: Any) -> PolicyRule:
    """What a rule of the policy asks since long ago."""
    given = {"rule": name, "value": value, "since": SET_UP, **values}
    return outplanting.set_rule(by, read(PolicyRuleIn, given))


def signed(by: Actor, manifest: Manifest, /, **reasons: str) -> SignOff:
    """A manifest audited and signed off, with the reason for each rule that it fails."""
    seen = diversity.audit(by, manifest)
    names = dict(Taxon.objects.values_list("pk", "code"))
    overrides = [
        {"rule": answer["rule"], "taxon": names[answer["taxon"]], "reason": reasons[answer["rule"]]}
        for answer in seen.answers
        if answer["verdict"] == Verdict.FAILS
    ]
    given = {"audit": seen.pk, "stock": seen.stock, "overrides": overrides}
    return diversity.sign_off(by, manifest, read(SignOffIn, given))


def visit(by: Actor, site: Site, seen: Mapping[Ramet, str], /, **values: Any) -> Visit:
    """A visit that saw these ramets `alive`, `dead` or `missing`."""
    given = {
        "when": SEEN,
        "site": site.code,
        "observations": [{"ramet": ramet.code, "condition": how} for ramet, how in seen.items()],
        **values,
    }
    event = outplanting.visit(by, read(VisitIn, given)).event
    return Visit.objects.get(event=event)


def ramets_of(row: Collection | Fragmentation) -> list[Ramet]:
    """The ramets that a collection or a cutting made, as they are now, by number."""
    made = row.ramets if isinstance(row, Collection) else row.children
    return list(made.order_by("number"))


@dataclass(frozen=True, slots=True)
class Programme:
    """One of everything, for tests that are about something else."""

    lead: Actor
    reef: Reef
    nursery: Nursery
    bay: Bay
    plate: Structure
    tray: Structure
    taxon: Taxon
    colony: DonorColony
    site: Site
    plot: Plot

    def mothers(self, count: int = 1, **values: Any) -> list[Ramet]:
        """Wild fragments of the colony in the tray."""
        return mothers(self.lead, self.colony, self.tray, count, **values)

    def mother(self, **values: Any) -> Ramet:
        return self.mothers(1, **values)[0]

    def outplants(self, count: int = 1, when: str = PLANTED) -> list[Ramet]:
        """Children of one mother, planted in the plot."""
        children = cut(self.lead, self.mothers(), count)
        planting(self.lead, self.plot, children, when=when)
        return [Ramet.objects.get(pk=child.pk) for child in children]


def programme() -> Programme:
    """A small programme: a reef with a colony, a nursery with a plate and a tray, a plot."""
    by = lead()
    home = nursery(by)
    water = bay(by, home)
    here = reef(by)
    kind = taxon(by)
    place = site(by, reef=here.code)
    return Programme(
        lead=by,
        reef=here,
        nursery=home,
        bay=water,
        plate=structure(by, water),
        tray=tray(by, water),
        taxon=kind,
        colony=colony(by, kind, here),
        site=place,
        plot=plot(by, place),
    )
