"""Ramets and the ledger of their steps.

What a ramet is now (place, life, how it ended) is a cache on its row: the fold of its live steps.
Genet, generation and donors are caches of its descent. Only the actions of this app write them.
"""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from nursery.core.models import Event
from nursery.core.spoken import choices_of
from nursery.donors.models import Collection, DonorSet, Genet, Taxon
from nursery.lineage.words import Cause, Life, Origin, Place, Purpose, What
from nursery.places.cells import Cell
from nursery.places.models import Nursery, Plot, Structure


def _place_holds(place: str = "place") -> Q:
    """The place values that belong together, for each kind of place."""
    no_cell = Q(row__isnull=True, column__isnull=True)
    cell = Q(row__isnull=False, column__isnull=False)
    return (
        (
            Q(**{place: Place.STRUCTURE}, structure__isnull=False, plot__isnull=True)
            & (no_cell | cell)
        )
        | (Q(**{place: Place.PLOT}, structure__isnull=True, plot__isnull=False) & no_cell)
        | (
            Q(**{f"{place}__in": [Place.NOWHERE, Place.PACKED]})
            & Q(structure__isnull=True, plot__isnull=True)
            & no_cell
        )
    )


class Fragmentation(models.Model):
    """Particulars of a cutting. Genet, generation and donors are what its children get."""

    event = models.OneToOneField(
        Event, on_delete=models.PROTECT, primary_key=True, related_name="fragmentation"
    )
    taxon = models.ForeignKey(Taxon, on_delete=models.PROTECT, related_name="+")
    genet = models.ForeignKey(Genet, on_delete=models.PROTECT, null=True, related_name="+")
    donor_set = models.ForeignKey(DonorSet, on_delete=models.PROTECT, null=True, related_name="+")
    generation = models.PositiveSmallIntegerField(null=True)
    children_count = models.PositiveSmallIntegerField()

    def __str__(self) -> str:
        return f"fragmentation {self.event_id}"


class Intake(models.Model):
    """Particulars of an intake: the pieces of a collection that reached a nursery."""

    event = models.OneToOneField(
        Event, on_delete=models.PROTECT, primary_key=True, related_name="intake"
    )
    collection = models.ForeignKey(Collection, on_delete=models.PROTECT, related_name="intakes")
    nursery = models.ForeignKey(Nursery, on_delete=models.PROTECT, related_name="intakes")

    def __str__(self) -> str:
        return f"intake {self.event_id}"


class Ramets(models.Manager["Ramet"]):
    """All ramets but those that have never been, for their births were voided."""

    def get_queryset(self) -> models.QuerySet[Ramet]:
        return super().get_queryset().exclude(life=Life.NEVER)


class Ramet(models.Model):
    """One living piece of a genet, from birth to its end and beyond: rows are never deleted.

    `objects` leaves out those that have never been; `everything` has them too. `entered_genet` is
    what a ramet that was not cut came into the record as; `genet` follows from it, from the
    relabellings and the cuttings.
    """

    code = models.CharField(max_length=16)
    taxon = models.ForeignKey(Taxon, on_delete=models.PROTECT, related_name="ramets")
    origin = models.PositiveSmallIntegerField(choices=choices_of(Origin))
    born = models.ForeignKey(Event, on_delete=models.PROTECT, related_name="births")
    collection = models.ForeignKey(
        Collection, on_delete=models.PROTECT, null=True, related_name="ramets"
    )
    fragmentation = models.ForeignKey(
        Fragmentation, on_delete=models.PROTECT, null=True, related_name="children"
    )
    number = models.PositiveSmallIntegerField(
        null=True, help_text="the piece's number in its collection or cutting, from 1"
    )
    pieces = models.PositiveSmallIntegerField(
        default=1, help_text="micro-fragments of one genet on one base are one ramet of n pieces"
    )
    base = models.CharField(max_length=40, blank=True, help_text="what it was born on")
    rebased = models.CharField(  # noqa: DJ001 - an empty text is a base without a name
        max_length=40, null=True, help_text="the base it was given last; null: still the first"
    )
    purpose = models.PositiveSmallIntegerField(
        choices=choices_of(Purpose), default=Purpose.PRODUCTION
    )
    note = models.CharField(max_length=200, blank=True)

    entered_genet = models.ForeignKey(
        Genet, on_delete=models.PROTECT, null=True, db_index=False, related_name="+"
    )

    genet = models.ForeignKey(Genet, on_delete=models.PROTECT, null=True, related_name="ramets")
    donor_set = models.ForeignKey(
        DonorSet, on_delete=models.PROTECT, null=True, db_index=False, related_name="ramets"
    )
    generation = models.PositiveSmallIntegerField(
        null=True, help_text="0 straight from the wild; null where the cuttings were not recorded"
    )

    life = models.PositiveSmallIntegerField(choices=choices_of(Life), default=Life.LIVING)
    cause = models.PositiveSmallIntegerField(choices=choices_of(Cause), null=True)
    place = models.PositiveSmallIntegerField(choices=choices_of(Place), default=Place.NOWHERE)
    structure = models.ForeignKey(
        Structure, on_delete=models.PROTECT, null=True, related_name="ramets"
    )
    row = models.PositiveSmallIntegerField(null=True)
    column = models.PositiveSmallIntegerField(null=True)
    plot = models.ForeignKey(
        Plot, on_delete=models.PROTECT, null=True, db_index=False, related_name="ramets"
    )
    steps_taken = models.PositiveIntegerField(default=0)
    not_before = models.DateTimeField(help_text="the moment of its last step")

    objects = Ramets()
    everything: ClassVar[models.Manager[Ramet]] = models.Manager()

    class Meta:
        ordering: ClassVar = ["id"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["code"], name="lineage_ramet_code"),
            models.CheckConstraint(
                condition=Q(
                    origin=Origin.COLLECTED, collection__isnull=False, fragmentation__isnull=True
                )
                | Q(origin=Origin.CUT, collection__isnull=True, fragmentation__isnull=False)
                | Q(
                    origin__in=[Origin.SETTLED, Origin.RECEIVED, Origin.FOUND, Origin.LEGACY],
                    collection__isnull=True,
                    fragmentation__isnull=True,
                ),
                name="lineage_ramet_origin_and_links",
            ),
            models.CheckConstraint(
                condition=~Q(origin=Origin.COLLECTED)
                | Q(generation__isnull=False, generation=0, born=F("collection")),
                name="lineage_ramet_wild_is_generation_0",
            ),
            models.CheckConstraint(
                condition=~Q(origin=Origin.CUT) | Q(born=F("fragmentation")),
                name="lineage_ramet_born_by_its_cutting",
            ),
            models.CheckConstraint(condition=_place_holds(), name="lineage_ramet_place"),
            models.CheckConstraint(condition=Q(life__in=Life.numbers()), name="lineage_ramet_life"),
            models.CheckConstraint(
                condition=Q(cause__isnull=True) | Q(life=Life.DEAD),
                name="lineage_ramet_cause_of_death",
            ),
            models.CheckConstraint(condition=Q(pieces__gte=1), name="lineage_ramet_pieces"),
            models.UniqueConstraint(
                fields=["structure", "row", "column"],
                condition=Q(life=Life.LIVING, row__isnull=False),
                name="lineage_ramet_one_living_a_cell",
            ),
        ]
        # Each stands for the foreign key's own. That of the donors holds all that a recall counts.
        indexes: ClassVar = [
            models.Index(fields=["plot", "life"], name="lineage_ramet_plot"),
            models.Index(
                fields=["donor_set", "life", "place", "structure", "plot"],
                name="lineage_ramet_donors",
            ),
        ]

    def __str__(self) -> str:
        return self.code

    @property
    def living(self) -> bool:
        return self.life == Life.LIVING

    @property
    def base_now(self) -> str:
        """What it sits on: the base it was given last, else the one it was born on."""
        return self.base if self.rebased is None else self.rebased

    @property
    def cell(self) -> Cell | None:
        if self.row is None or self.column is None:
            return None
        return Cell(self.row, self.column)


class Source(models.Model):
    """A ramet that a cutting was made from; used up, or kept to grow on."""

    fragmentation = models.ForeignKey(
        Fragmentation, on_delete=models.PROTECT, related_name="sources"
    )
    ramet = models.ForeignKey(Ramet, on_delete=models.PROTECT, related_name="cuttings")
    used_up = models.BooleanField()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["fragmentation", "ramet"], name="lineage_source_once_a_cutting"
            )
        ]

    def __str__(self) -> str:
        return f"{self.ramet_id} in {self.fragmentation_id}"


class StockEntry(models.Model):
    """Particulars of ramets that came into the record without recorded cuttings: legacy stock,
    found and settled ones, and those received from another programme."""

    event = models.OneToOneField(
        Event, on_delete=models.PROTECT, primary_key=True, related_name="stock_entry"
    )
    nursery = models.ForeignKey(
        Nursery, on_delete=models.PROTECT, null=True, related_name="stock_entries"
    )
    programme = models.CharField(
        max_length=120, blank=True, help_text="the programme that received ramets came from"
    )

    def __str__(self) -> str:
        return f"stock entry {self.event_id}"


class Parent(models.Model):
    """A genet that may be a parent of a ramet that settled."""

    ramet = models.ForeignKey(Ramet, on_delete=models.PROTECT, related_name="parents")
    genet = models.ForeignKey(Genet, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["ramet", "genet"], name="lineage_parent_once")
        ]

    def __str__(self) -> str:
        return f"{self.genet_id} of {self.ramet_id}"


class Relabelling(models.Model):
    """Particulars of a relabelling: the ramets it touches are of this genet (null: of a genet that
    is not known), whatever their labels say; and so is all that was cut from them."""

    event = models.OneToOneField(
        Event, on_delete=models.PROTECT, primary_key=True, related_name="relabelling"
    )
    genet = models.ForeignKey(Genet, on_delete=models.PROTECT, null=True, related_name="+")

    def __str__(self) -> str:
        return f"relabelling {self.event_id}"


class Identification(models.Model):
    """One row of an identification: a known ramet was found again, as the found one or as seen."""

    event = models.ForeignKey(Event, on_delete=models.PROTECT, related_name="identifications")
    ramet = models.ForeignKey(Ramet, on_delete=models.PROTECT, related_name="identifications")
    found = models.ForeignKey(
        Ramet, on_delete=models.PROTECT, null=True, related_name="identified_as"
    )

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["event", "ramet"], name="lineage_identification_once")
        ]

    def __str__(self) -> str:
        return f"{self.found_id} is {self.ramet_id}"


class Ending(models.Model):
    """Particulars of an ending: to whom ramets were handed over, or what they were fused into."""

    event = models.OneToOneField(
        Event, on_delete=models.PROTECT, primary_key=True, related_name="ending"
    )
    recipient = models.CharField(max_length=120, blank=True)
    into = models.ForeignKey(Ramet, on_delete=models.PROTECT, null=True, related_name="fusions")

    def __str__(self) -> str:
        return f"ending {self.event_id}"


class StructureCount(models.Model):
    """One row of a count: how many were alive, dead and missing in a structure.

    With `lot`, untagged ramets of one cutting in it, interchangeable: as many of them ended by
    count. Without, a bare count, which changes no ramet: nobody invents which.
    """

    event = models.ForeignKey(Event, on_delete=models.PROTECT, related_name="structure_counts")
    structure = models.ForeignKey(Structure, on_delete=models.PROTECT, related_name="counts")
    lot = models.ForeignKey(
        Fragmentation, on_delete=models.PROTECT, null=True, related_name="counts"
    )
    alive = models.PositiveIntegerField(null=True)
    dead = models.PositiveIntegerField(default=0)
    missing = models.PositiveIntegerField(default=0)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering: ClassVar = ["id"]

    def __str__(self) -> str:
        return f"{self.structure_id} counted by {self.event_id}"


class Step(models.Model):
    """The ledger: one row for each ramet that an event touches.

    Values are absolute; null means unchanged. `order` is the place in the ramet's own sequence of
    live steps, from 1.
    """

    event = models.ForeignKey(Event, on_delete=models.PROTECT, related_name="steps")
    ramet = models.ForeignKey(Ramet, on_delete=models.PROTECT, db_index=False, related_name="steps")
    order = models.PositiveIntegerField()
    live = models.BooleanField(default=True)
    what = models.PositiveSmallIntegerField(choices=choices_of(What))
    life = models.PositiveSmallIntegerField(choices=choices_of(Life), null=True)
    cause = models.PositiveSmallIntegerField(choices=choices_of(Cause), null=True)
    place = models.PositiveSmallIntegerField(choices=choices_of(Place), null=True)
    structure = models.ForeignKey(
        Structure, on_delete=models.PROTECT, null=True, db_index=False, related_name="+"
    )
    row = models.PositiveSmallIntegerField(null=True)
    column = models.PositiveSmallIntegerField(null=True)
    plot = models.ForeignKey(
        Plot, on_delete=models.PROTECT, null=True, db_index=False, related_name="ramet_steps"
    )
    base = models.CharField(max_length=40, null=True)  # noqa: DJ001 - null: unchanged

    class Meta:
        ordering: ClassVar = ["ramet", "order"]
        constraints: ClassVar = [
            # Also the way to a ramet's live steps: the foreign key has no index of its own.
            models.UniqueConstraint(
                fields=["ramet", "order"], condition=Q(live=True), name="lineage_step_sequence"
            ),
            models.CheckConstraint(condition=Q(what__in=What.numbers()), name="lineage_step_what"),
            models.CheckConstraint(
                condition=Q(
                    place__isnull=True,
                    structure__isnull=True,
                    plot__isnull=True,
                    row__isnull=True,
                    column__isnull=True,
                )
                | (Q(place__isnull=False) & _place_holds()),
                name="lineage_step_place",
            ),
        ]
        # Most steps name no structure or no plot.
        indexes: ClassVar = [
            models.Index(
                fields=["structure"],
                condition=Q(structure__isnull=False),
                name="lineage_step_structure",
            ),
            models.Index(
                fields=["plot"], condition=Q(plot__isnull=False), name="lineage_step_plot"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.ramet_id} {self.get_what_display()} ({self.order})"


class Tag(models.Model):
    """A physical tag or an old label: a dated alias of a ramet. Found by search for ever.

    Given by `event`, taken off or lost by `ended_by`. Not live: the event that gave it was voided.
    """

    text = models.CharField(max_length=40)
    ramet = models.ForeignKey(Ramet, on_delete=models.PROTECT, related_name="tags")
    since = models.DateField()
    until = models.DateField(null=True, blank=True)
    event = models.ForeignKey(Event, on_delete=models.PROTECT, null=True, related_name="tags")
    ended_by = models.ForeignKey(
        Event, on_delete=models.PROTECT, null=True, related_name="tags_ended"
    )
    lost = models.BooleanField(default=False)
    live = models.BooleanField(default=True)

    class Meta:
        ordering: ClassVar = ["text", "since"]
        indexes: ClassVar = [models.Index(fields=["text"], name="lineage_tag_text")]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["text"],
                condition=Q(until__isnull=True, live=True),
                name="lineage_tag_one_in_force",
            ),
            models.CheckConstraint(
                condition=Q(until__isnull=True) | Q(since__lte=F("until")),
                name="lineage_tag_range_in_order",
            ),
        ]

    def __str__(self) -> str:
        return self.text
