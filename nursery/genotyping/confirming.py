"""Which genets are confirmed by decisions that stand.

A decision stands while it is the last about its group and all entries that it led to are live; it
confirms a genet by those samples whose sampling is live. When one of these is voided, what was
confirmed by it is presumed again; a restoration confirms it anew.
"""

from __future__ import annotations

from collections.abc import Collection

from django.db.models import Exists, OuterRef, Q, QuerySet

from nursery.core.actor import Actor
from nursery.core.models import Event
from nursery.core.registers import write
from nursery.donors.models import Genet
from nursery.genotyping.models import Confirmation, Decision, Verdict


def standing() -> QuerySet[Decision]:
    """The decisions that stand and accepted something."""
    later = Decision.objects.filter(group=OuterRef("group"), pk__gt=OuterRef("pk"))
    void = Decision.events.through.objects.filter(decision=OuterRef("pk"), event__live=False)
    return Decision.objects.filter(~Exists(later), ~Exists(void), verdict=Verdict.ACCEPTED)


def confirmations() -> QuerySet[Confirmation]:
    """What confirms a genet as the record stands."""
    return Confirmation.objects.filter(sample__event__live=True, decision__in=standing())


def confirm_anew(actor: Actor, genets: Collection[int]) -> None:
    """Confirm these genets by the first decision about them that stands. Where none does, those
    that were confirmed by one are presumed again; what people wrote there themselves stays."""
    for genet in Genet.objects.filter(pk__in=genets).order_by("pk"):
        said = ("decision__group__proposal__panel__code", "on")
        told = Confirmation.objects.filter(genet=genet).values_list(*said)
        stand = list(confirmations().filter(genet=genet).order_by("pk").values_list(*said))
        says = genet.panel, genet.confirmed_on
        confirmed = genet.status == Genet.Status.CONFIRMED
        if confirmed and says not in set(told):
            continue
        if stand and (not confirmed or says not in stand):
            panel, day = stand[0]
            values = {"status": Genet.Status.CONFIRMED, "panel": panel, "confirmed_on": day}
            write(actor, genet, values)
        elif confirmed and not stand:
            values = {"status": Genet.Status.PRESUMED, "panel": "", "confirmed_on": None}
            write(actor, genet, values)


def follow(actor: Actor, event: Event) -> None:
    """Confirm anew what the decisions say that led to an event, after it was corrected."""
    rows = Confirmation.objects.filter(Q(decision__events=event) | Q(sample__event=event))
    confirm_anew(actor, set(rows.values_list("genet_id", flat=True)))
