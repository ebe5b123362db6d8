"""A season in which everything happens that can: each act once at least, late ones, a void and an
amendment among them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from nursery.core.inputs import read
from nursery.core.models import Event
from nursery.donors.models import Collection, DonorColony, Genet
from nursery.genotyping.models import Decision, GenotypeTable
from nursery.lineage import actions as lineage
from nursery.lineage import inputs
from nursery.lineage.models import Fragmentation, Ramet
from nursery.outplanting import actions as outplanting
from nursery.outplanting.actions.correct import amend, void
from nursery.outplanting.corrections import AmendIn, VoidIn
from nursery.outplanting.inputs import LiftIn, VisitIn
from nursery.outplanting.models import Outplanting, Visit
from nursery.places.models import Structure
from tests import factories as f
from tests.genotyping.laboratory import ONE, accept, panel, proposal, samples, table


@dataclass(frozen=True, slots=True)
class Season:
    """What happened, by names that tests use."""

    programme: f.Programme
    colony: DonorColony
    """With an exact position."""
    other: DonorColony
    """Of a genet of its own."""
    collection: Collection
    loose: Collection
    """Of no colony, at a position."""
    intake: Event
    mother: Ramet
    """Kept through all its cuttings; in the tray."""
    spent: Ramet
    """Used up by its cutting."""
    children: list[Ramet]
    """Of the mother: the first two tagged, the first three planted, all once on the plate."""
    cutting: Fragmentation
    pooled: list[Ramet]
    """Of two genets."""
    lot: list[Ramet]
    """Of one cutting, without cells; some ended by count."""
    carried: list[Ramet]
    """Planted with the rock that they lived in."""
    rebased: Ramet
    relabelled: Ramet
    rock: Structure
    """Stands in a cell of the plate, with a ramet in a socket."""
    lost_tray: Structure
    planting: Outplanting
    visit: Visit
    reef_visit: Visit
    found: Ramet
    """A loose piece that was identified."""
    known: Ramet
    """As whom."""
    settled: Ramet
    legacy: Ramet
    never: list[Ramet]
    """Of a cutting that was voided."""
    kept_genet: Genet
    merged_genet: Genet
    relabelling: Event
    merge: Event
    identification: Event
    count: Event
    loss: Event
    ending: Event
    tagging: Event
    sampling: Event
    table: GenotypeTable
    decision: Decision
    check: Event
    """Two were alive; two seemed dead and missing, and lived after all."""


def done(act: Any, model: Any, by: Any, **values: Any) -> Event:
    """Enter something by its action and the model of its input."""
    event: Event = act(by, read(model, values)).event
    return event


def now(ramet: Ramet) -> Ramet:
    return Ramet.everything.get(pk=ramet.pk)


def season(p: f.Programme) -> Season:
    """Everything happens, in the order of its dates but for a late move."""
    by = p.lead
    colony = f.colony(by, p.taxon, p.reef, latitude="7.3456", longitude="134.5678", uncertainty_m=5)
    other = f.colony(by, p.taxon, p.reef)
    collection = f.collection(by, p.colony, pieces=[{"tag": "T9"}, {}, {}, {}])
    pieces = f.ramets_of(collection)
    intake = f.intake(
        by,
        collection,
        p.nursery,
        p.tray,
        pieces=[
            {"ramet": pieces[0].code},
            {"ramet": pieces[1].code},
            {"ramet": pieces[2].code, "outcome": "lost"},
            {"ramet": pieces[3].code, "outcome": "dead", "cause": "handling"},
        ],
    )
    mother, spent = pieces[:2]
    loose = f.collection(
        by,
        None,
        reef=p.reef.code,
        taxon=p.taxon.code,
        latitude="7.4012",
        longitude="134.6",
        count=2,
    )
    stranger = f.mothers(by, other, p.tray)[0]
    rows: list[dict[str, Any]] = [{"tag": "T1"}, {"tag": "T2", "base": "disc"}, {}, {}, {}, {}]
    children = f.cut(by, [mother], into=p.plate, children=rows)
    used = f.cut(by, [], 2, used_up=[spent], into=p.plate)
    pooled = f.cut(by, [mother, stranger], 2, into=p.plate, when="2021-03")
    lost_tray = f.tray(by, p.bay)
    lot = f.cut(by, [used[0]], 4, into=p.tray, when="2021-04-01")
    drifting = f.cut(by, [used[0]], 1, into=lost_tray, when="2021-04-01")
    check = f.check(
        by,
        {children[5]: "attached", used[1]: "loose", pooled[1]: "dead", children[3]: "missing"},
        when="2021-04-05",
    ).event
    f.check(by, {pooled[1]: "attached", children[3]: "loose"}, when="2021-04-06")
    f.cut(by, [pooled[0]], 1, into=p.tray, when="2021-04-02")
    never = f.cut(by, [children[5]], 2, into=p.plate, when="2021-04-03")
    voided(by, never[0].born)
    rock = f.structure(by, None, kind="rock", rows=1, columns=3)
    for cell, when in (("K10", "2021-03-05"), ("J10", "2021-03-06")):
        rows_of = [{"structure": rock.code, "parent": p.plate.code, "cell": cell}]
        f.move_structures(by, rows_of, when=when)
    f.move(by, [{"ramet": used[1].code}], structure=rock.code, when="2021-04-10")
    f.move(
        by,
        [{"ramet": children[4].code, "cell": "F6", "base": "peg"}],
        structure=p.plate.code,
        when="2021-04-10",
    )
    # Entered late, between the cutting and the move after it.
    f.move(
        by, [{"ramet": children[4].code, "cell": "G7"}], structure=p.plate.code, when="2021-04-04"
    )
    planting = f.planting(by, p.plot, children[:3])
    site_visit = f.visit(
        by, p.site, {children[0]: "alive", children[1]: "dead", children[2]: "missing"}
    )
    seen = [{"colony": p.colony.code, "condition": "alive"}]
    reef_visit = done(
        outplanting.visit, VisitIn, by, when="2021-09-02", reef=p.reef.code, observations=seen
    )
    legacy = f.stock(
        by, p.nursery, [{"taxon": p.taxon.code, "donors": [other.code], "generation": 3}]
    )[0]
    settled = f.stock(
        by, p.nursery, [{"taxon": p.taxon.code, "parents": [p.colony.genet.code]}], origin="settled"
    )[0]
    found = f.stock(
        by,
        p.nursery,
        [{"taxon": p.taxon.code, "structure": p.tray.code, "tag": "T7"}],
        origin="found",
        when="2021-09-05",
    )[0]
    identification = done(
        lineage.identify,
        inputs.IdentificationIn,
        by,
        when="2021-09-06",
        ramets=[{"ramet": children[2].code, "found": found.code}],
    )
    named = f.genet(by, p.taxon)
    relabelling = done(
        lineage.relabel,
        inputs.RelabellingIn,
        by,
        when="2021-09-07",
        genet=named.code,
        ramets=[{"ramet": used[0].code}],
    )
    merge = done(
        lineage.merge_genets,
        inputs.GenetMergeIn,
        by,
        when="2021-09-08",
        kept=named.code,
        merged=other.genet.code,
    )
    count = done(
        lineage.count_structures,
        inputs.CountIn,
        by,
        when="2021-09-09",
        counts=[
            {"structure": p.tray.code, "lot": str(lot[0].born.uid), "dead": 1, "missing": 1},
            {"structure": p.plate.code, "alive": 4},
        ],
    )
    tagging = done(
        lineage.retag,
        inputs.TaggingIn,
        by,
        when="2021-09-10",
        ramets=[{"ramet": children[0].code, "off": "T1"}, {"ramet": children[3].code, "on": "T1"}],
    )
    loss = done(
        lineage.lose_structures,
        inputs.LossIn,
        by,
        when="2021-09-11",
        structures=[{"structure": lost_tray.code}],
    )
    ending = done(
        lineage.end_ramets,
        inputs.EndingIn,
        by,
        when="2021-09-12",
        fate="sampled",
        ramets=[{"ramet": lot[3].code}],
    )
    carrier = f.structure(by, p.bay, kind="rock", rows=1, columns=2)
    carried = f.cut(by, [mother], 2, into=carrier, when="2021-09-20")
    f.planting(
        by,
        p.plot,
        [],
        when="2021-10-01",
        structures=[{"structure": carrier.code}],
    )
    # Lifted, and planted again elsewhere.
    done(
        outplanting.lift,
        LiftIn,
        by,
        when="2021-10-02",
        structure=p.tray.code,
        ramets=[{"ramet": children[0].code}],
    )
    second_plot = f.plot(by, p.site)
    f.planting(by, second_plot, children[:1], when="2021-10-03")
    f.visit(
        by,
        p.site,
        {children[0]: "alive"},
        when="2021-10-04",
        counts=[{"plot": second_plot.code, "alive": 1}],
    )
    taken = samples(by, mother, p.colony, when="2021-10-05")
    genotypes = table(by, panel(by), {taken[0]: ONE, taken[1]: ("", *ONE[1:])})
    (group,) = proposal(by, genotypes).groups.all()
    decision = accept(by, group, p.colony.genet)
    given = {"event": str(ending.uid), "reason": "another day", "when": "2021-09-13"}
    amend(by, read(AmendIn, given))
    assert now(drifting[0]).life != drifting[0].life
    return Season(
        programme=p,
        colony=colony,
        other=other,
        collection=collection,
        loose=loose,
        intake=intake,
        mother=mother,
        spent=spent,
        children=children,
        cutting=Fragmentation.objects.get(event=children[0].born),
        pooled=pooled,
        lot=lot,
        carried=carried,
        rebased=children[4],
        relabelled=used[0],
        rock=rock,
        lost_tray=lost_tray,
        planting=planting,
        visit=site_visit,
        reef_visit=Visit.objects.get(event=reef_visit),
        found=found,
        known=children[2],
        settled=settled,
        legacy=legacy,
        never=never,
        kept_genet=named,
        merged_genet=other.genet,
        relabelling=relabelling,
        merge=merge,
        identification=identification,
        count=count,
        loss=loss,
        ending=ending,
        tagging=tagging,
        sampling=taken[0].event,
        table=genotypes,
        decision=decision,
        check=check,
    )


def voided(by: Any, event: Event, together: bool = False) -> None:
    void(by, VoidIn(event=event.uid, reason="a slip", together=together))
