"""Planting on the reef and looking again: manifests, outplantings, visits, observations."""

from __future__ import annotations

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_noop as _

from nursery.core.dates import When
from nursery.core.models import Event
from nursery.core.spoken import choices_of
from nursery.core.words import Word
from nursery.donors.models import DonorColony, Genet, Permit, Taxon
from nursery.lineage.models import Ramet
from nursery.lineage.words import Cause, Life, Place
from nursery.outplanting.rules import Rule, written
from nursery.places.models import Plot, Reef, Site, Structure


class Fixing(Word):
    """How an outplant is held to the reef."""

    FRICTION = 1, _("friction")
    EPOXY = 2, _("epoxy")
    CEMENT = 3, _("cement")
    NAIL = 4, _("nail")
    TIE = 5, _("tie")


class Condition(Word):
    """What was seen of an outplant or a colony on a visit."""

    ALIVE = 1, _("alive")
    DEAD = 2, _("dead")
    MISSING = 3, _("missing")


class PolicyRule(models.Model):
    """What one rule asks of a taxon (null: of all) from a day on; until null: still.

    A row is never edited: a new one ends it, and what was asked on a past day is still known.
    Without a value nothing is asked. `number` is 1 or 0 where the rule is yes or no.
    """

    rule = models.PositiveSmallIntegerField(choices=choices_of(Rule))
    taxon = models.ForeignKey(Taxon, on_delete=models.PROTECT, null=True, related_name="+")
    number = models.DecimalField(max_digits=8, decimal_places=2, null=True)
    word = models.CharField(max_length=20, blank=True)
    since = models.DateField()
    until = models.DateField(null=True)
    note = models.CharField(max_length=200, blank=True)
    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering: ClassVar = ["id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(rule__in=Rule.numbers()), name="outplanting_policyrule_known"
            ),
            models.UniqueConstraint(
                fields=["rule", "taxon"],
                condition=Q(until__isnull=True, taxon__isnull=False),
                name="outplanting_policyrule_one_open",
            ),
            models.UniqueConstraint(
                fields=["rule"],
                condition=Q(until__isnull=True, taxon__isnull=True),
                name="outplanting_policyrule_one_open_of_all",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_rule_display()} since {self.since}"

    @property
    def asks(self) -> bool:
        return self.number is not None or bool(self.word)

    @property
    def value(self) -> str:
        """Its value as it is shown and sent."""
        return written(Rule(self.rule), self.number, self.word)


class Stage(Word):
    """How far a manifest has come. That it is planted is told by its outplantings."""

    DRAFT = 1, _("draft")
    AUDITED = 2, _("audited")
    SIGNED = 3, _("signed")
    CANCELLED = 4, _("cancelled")


class Manifest(models.Model):
    """The proposed list for an outplanting at one site, on a planned range of days.

    It is a plan and no event: nothing has happened yet. `digest` tells a repeated draft from a
    different one with the same uid; `stock` is that of what its last audit saw (see
    `nursery.outplanting.stock`); `lapsed` says why its last sign-off holds no more.
    """

    uid = models.UUIDField(default=uuid.uuid4, editable=False)
    code = models.CharField(max_length=40)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="manifests")
    title = models.CharField(max_length=200)
    earliest = models.DateField()
    latest = models.DateField()
    note = models.TextField(blank=True)
    permits = models.ManyToManyField(Permit, blank=True, related_name="+")
    stage = models.PositiveSmallIntegerField(choices=choices_of(Stage), default=Stage.DRAFT)
    drafted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    drafted_at = models.DateTimeField(auto_now_add=True)
    digest = models.CharField(max_length=64, editable=False)
    stock = models.CharField(max_length=64, blank=True, editable=False)
    lapsed = models.CharField(max_length=500, blank=True, editable=False)

    class Meta:
        ordering: ClassVar = ["-earliest", "-id"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["uid"], name="outplanting_manifest_uid"),
            models.UniqueConstraint(fields=["code"], name="outplanting_manifest_code"),
            models.CheckConstraint(
                condition=Q(earliest__lte=F("latest")), name="outplanting_manifest_range_in_order"
            ),
            models.CheckConstraint(
                condition=Q(stage__in=Stage.numbers()), name="outplanting_manifest_stage_known"
            ),
            models.CheckConstraint(
                condition=~Q(stage=Stage.SIGNED) | (~Q(stock="") & Q(lapsed="")),
                name="outplanting_manifest_signed_of_a_stock",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.title}"

    @property
    def planned(self) -> When:
        return When(self.earliest, self.latest)


class ManifestLine(models.Model):
    """One ramet that is to be planted, and in which plot.

    A line that is `taken_off` is kept: it says what an audit saw and is gone. What the last audit
    saw of the ramet is in `seen_…`; all null of a line that it did not see.
    """

    manifest = models.ForeignKey(Manifest, on_delete=models.PROTECT, related_name="lines")
    ramet = models.ForeignKey(Ramet, on_delete=models.PROTECT, related_name="manifest_lines")
    plot = models.ForeignKey(Plot, on_delete=models.PROTECT, related_name="manifest_lines")
    position = models.CharField(max_length=40, blank=True)
    cluster = models.CharField(max_length=40, blank=True)
    taken_off = models.BooleanField(default=False)
    seen_plot = models.ForeignKey(
        Plot, on_delete=models.PROTECT, null=True, db_index=False, related_name="+"
    )
    seen_genet = models.ForeignKey(
        Genet, on_delete=models.PROTECT, null=True, db_index=False, related_name="+"
    )
    seen_life = models.PositiveSmallIntegerField(choices=choices_of(Life), null=True)
    seen_place = models.PositiveSmallIntegerField(choices=choices_of(Place), null=True)

    class Meta:
        ordering: ClassVar = ["id"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["manifest", "ramet"], name="outplanting_manifestline_once"
            ),
            models.CheckConstraint(
                condition=Q(seen_life=None, seen_place=None, seen_plot=None, seen_genet=None)
                | Q(seen_life__isnull=False, seen_place__isnull=False, seen_plot__isnull=False),
                name="outplanting_manifestline_seen_whole",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.ramet_id} on {self.manifest_id}"


class Outplanting(models.Model):
    """Particulars of an outplanting: everything of one event goes to one plot."""

    event = models.OneToOneField(
        Event, on_delete=models.PROTECT, primary_key=True, related_name="outplanting"
    )
    plot = models.ForeignKey(Plot, on_delete=models.PROTECT, related_name="outplantings")
    manifest = models.ForeignKey(
        Manifest,
        on_delete=models.PROTECT,
        null=True,
        related_name="outplantings",
        help_text="the signed-off list that was planted from",
    )

    def __str__(self) -> str:
        return f"outplanting {self.event_id}"


class Outplant(models.Model):
    """One ramet as it was planted by one outplanting."""

    outplanting = models.ForeignKey(Outplanting, on_delete=models.PROTECT, related_name="outplants")
    ramet = models.ForeignKey(Ramet, on_delete=models.PROTECT, related_name="outplants")
    position = models.CharField(max_length=40, blank=True)
    cluster = models.CharField(max_length=40, blank=True)
    fixing = models.PositiveSmallIntegerField(choices=choices_of(Fixing), null=True)
    structure = models.ForeignKey(
        Structure,
        on_delete=models.PROTECT,
        null=True,
        related_name="outplants",
        help_text="the rock or frame that it was planted on, with all else on it",
    )
    row = models.PositiveSmallIntegerField(null=True)
    column = models.PositiveSmallIntegerField(null=True)

    class Meta:
        ordering: ClassVar = ["id"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["outplanting", "ramet"], name="outplanting_outplant_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.ramet_id} by {self.outplanting_id}"


class Visit(models.Model):
    """Particulars of a monitoring visit: to a site or to a reef."""

    event = models.OneToOneField(
        Event, on_delete=models.PROTECT, primary_key=True, related_name="visit"
    )
    site = models.ForeignKey(Site, on_delete=models.PROTECT, null=True, related_name="visits")
    reef = models.ForeignKey(Reef, on_delete=models.PROTECT, null=True, related_name="visits")

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(site__isnull=False, reef__isnull=True)
                | Q(site__isnull=True, reef__isnull=False),
                name="outplanting_visit_site_or_reef",
            )
        ]

    def __str__(self) -> str:
        return f"visit {self.event_id}"


class PlotCount(models.Model):
    """What was counted in a plot on a visit, of a genet or of a taxon (null: of all together).

    It changes no ramet: survival is known from it, living diversity is not.
    """

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="counts")
    plot = models.ForeignKey(Plot, on_delete=models.PROTECT, related_name="counts")
    genet = models.ForeignKey(Genet, on_delete=models.PROTECT, null=True, related_name="+")
    taxon = models.ForeignKey(Taxon, on_delete=models.PROTECT, null=True, related_name="+")
    alive = models.PositiveIntegerField()
    dead = models.PositiveIntegerField(null=True)
    missing = models.PositiveIntegerField(null=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering: ClassVar = ["id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(genet__isnull=True) | Q(taxon__isnull=True),
                name="outplanting_plotcount_genet_or_taxon",
            ),
            models.UniqueConstraint(
                fields=["visit", "plot", "genet"],
                condition=Q(genet__isnull=False),
                name="outplanting_plotcount_genet_once",
            ),
            models.UniqueConstraint(
                fields=["visit", "plot", "taxon"],
                condition=Q(taxon__isnull=False),
                name="outplanting_plotcount_taxon_once",
            ),
            models.UniqueConstraint(
                fields=["visit", "plot"],
                condition=Q(genet__isnull=True, taxon__isnull=True),
                name="outplanting_plotcount_all_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.plot_id} counted on {self.visit_id}"


class Settled(models.Model):
    """Something that disagrees, or is irregular, and was looked at: it stands as it is.

    `code` is the kind of it and `thing` what it is about (an entry's uid or a ramet's code), as
    `nursery.outplanting.unsettled` tells them.
    """

    code = models.CharField(max_length=40)
    thing = models.CharField(max_length=60)
    reason = models.CharField(max_length=500)
    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        verbose_name_plural = "settled"
        ordering: ClassVar = ["-id"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["code", "thing"], name="outplanting_settled_once")
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.thing}"


class Observation(models.Model):
    """What was seen of one outplant or one donor colony on a visit."""

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="observations")
    ramet = models.ForeignKey(
        Ramet, on_delete=models.PROTECT, null=True, related_name="observations"
    )
    plot = models.ForeignKey(Plot, on_delete=models.PROTECT, null=True, related_name="+")
    colony = models.ForeignKey(
        DonorColony, on_delete=models.PROTECT, null=True, related_name="observations"
    )
    condition = models.PositiveSmallIntegerField(choices=choices_of(Condition))
    cause = models.PositiveSmallIntegerField(choices=choices_of(Cause), null=True)
    tissue_lost = models.DecimalField(
        max_digits=4, decimal_places=1, null=True, help_text="per cent of the tissue"
    )
    size_cm = models.DecimalField(max_digits=6, decimal_places=1, null=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering: ClassVar = ["id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(ramet__isnull=False, colony__isnull=True)
                | Q(ramet__isnull=True, colony__isnull=False),
                name="outplanting_observation_of_one_thing",
            ),
            models.CheckConstraint(
                condition=Q(cause__isnull=True) | Q(condition=Condition.DEAD),
                name="outplanting_observation_cause_of_death",
            ),
            models.UniqueConstraint(
                fields=["visit", "ramet"],
                condition=Q(ramet__isnull=False),
                name="outplanting_observation_ramet_once",
            ),
            models.UniqueConstraint(
                fields=["visit", "colony"],
                condition=Q(colony__isnull=False),
                name="outplanting_observation_colony_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_condition_display()} on {self.visit_id}"
