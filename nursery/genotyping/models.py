"""Samples, panels, tables of genotypes, and what was decided about samples that match."""

from __future__ import annotations

import re
import uuid
from collections.abc import Mapping
from typing import Any, ClassVar

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext, gettext_noop
from django.utils.translation import gettext_lazy as _

from nursery.core.actor import Role
from nursery.core.models import Event, Register, unique_code
from nursery.core.spoken import choices_of
from nursery.core.words import Word
from nursery.donors.models import DonorColony, Genet
from nursery.genotyping import reading
from nursery.genotyping.calls import Calls, unpacked
from nursery.lineage.models import Ramet

MOST_LOCI = 20_000
_LOCUS = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,39}")


class Sample(Register):
    """A piece of tissue for the laboratory, taken from one ramet or one donor colony.

    It comes into the record by its sampling, which its event is; where it was sent and when it came
    is edited, with its history, as registers are.
    """

    WRITERS = frozenset({Role.FIELD, Role.NURSERY})
    ACT = "edit samples"

    label = models.CharField(
        max_length=40,
        blank=True,
        help_text=_("what the laboratory calls it; tables may name it so"),
    )
    laboratory = models.CharField(max_length=120, blank=True)
    sent_on = models.DateField(null=True, blank=True)
    received_on = models.DateField(null=True, blank=True, help_text=_("by the laboratory"))
    event = models.ForeignKey(
        Event, on_delete=models.PROTECT, editable=False, related_name="samples"
    )
    ramet = models.ForeignKey(
        Ramet, on_delete=models.PROTECT, null=True, editable=False, related_name="samples"
    )
    colony = models.ForeignKey(
        DonorColony, on_delete=models.PROTECT, null=True, editable=False, related_name="samples"
    )

    class Meta(Register.Meta):
        constraints: ClassVar = [
            unique_code("genotyping_sample"),
            models.CheckConstraint(
                condition=Q(ramet__isnull=True, colony__isnull=False)
                | Q(ramet__isnull=False, colony__isnull=True),
                name="genotyping_sample_of_one_thing",
            ),
            models.CheckConstraint(
                condition=Q(sent_on__isnull=True)
                | Q(received_on__isnull=True)
                | Q(sent_on__lte=F("received_on")),
                name="genotyping_sample_sent_before_received",
                violation_error_message="It cannot have been received before it was sent.",
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["label"], name="genotyping_sample_label")]

    @property
    def source(self) -> Ramet | DonorColony:
        """What it was taken from."""
        found = self.ramet or self.colony
        if found is None:
            raise ValueError(f"sample {self.code} is of nothing")
        return found

    def clean(self) -> None:
        days = {"sent_on": self.sent_on, "received_on": self.received_on}
        faults = {
            name: ValidationError(
                f"It was taken {self.event.when}, and cannot have left before.",
                code="before_sampling",
            )
            for name, day in days.items()
            if day is not None and day < self.event.earliest
        }
        if faults:
            raise ValidationError(faults)


class Panel(Register):
    """The loci that individuals are told apart by, and what kind they are."""

    ACT = "change panels"

    class Marker(models.TextChoices):
        MICROSATELLITE = reading.Marker.MICROSATELLITE.value, _("microsatellites")
        SNP = reading.Marker.SNP.value, _("SNPs")

    name = models.CharField(max_length=120, blank=True)
    marker = models.CharField(max_length=14, choices=Marker.choices)
    loci = models.JSONField(help_text=_("names, with blanks between"))
    made_on = models.DateField(null=True, blank=True)

    class Meta(Register.Meta):
        constraints: ClassVar = [unique_code("genotyping_panel")]

    def __str__(self) -> str:
        return f"{self.code} {self.name}".strip()

    @classmethod
    def prepare(cls, given: Mapping[str, Any]) -> Mapping[str, Any]:
        """Loci may be written as text, with blanks, commas or semicolons between."""
        loci = given.get("loci")
        return {**given, "loci": re.findall(r"[^\s,;]+", loci)} if isinstance(loci, str) else given

    def clean(self) -> None:
        """Loci have names of their own; those of a panel that was used stay as they are."""
        if not isinstance(self.loci, list) or not self.loci or len(self.loci) > MOST_LOCI:
            raise ValidationError({"loci": f"A panel has 1 to {MOST_LOCI:,} loci."})
        wrong = [name for name in self.loci if not _LOCUS.fullmatch(str(name))]
        if wrong:
            raise ValidationError(
                {"loci": f"{wrong[0]!r} is no name: letters, digits, dots, hyphens, underscores."}
            )
        if len(set(self.loci)) < len(self.loci) or reading.SAMPLE in self.loci:
            raise ValidationError({"loci": "Each locus is named once, and none of them `sample`."})
        stored = Panel.objects.filter(pk=self.pk).first() if self.pk else None
        if stored is None or not stored.referred_to():
            return
        faults = {
            name: ValidationError(
                "Tables of this panel are on record, so it stays. Enter another panel.",
                code="fixed",
            )
            for name in ("marker", "loci")
            if getattr(stored, name) != getattr(self, name)
        }
        if faults:
            raise ValidationError(faults)


class GenotypeTable(models.Model):
    """A table of genotypes as it came: the calls of some samples at the loci of a panel.

    `digest` is the SHA-256 of the text that was read; the same text of the same panel is the same
    table. `calls` is what `nursery.genotyping.calls` packs, a row for each sample.
    """

    uid = models.UUIDField(default=uuid.uuid4, editable=False)
    panel = models.ForeignKey(Panel, on_delete=models.PROTECT, related_name="tables")
    name = models.CharField(max_length=120, blank=True)
    writing = models.CharField(
        max_length=7, choices=[(word.value, word.value) for word in reading.Writing]
    )
    digest = models.CharField(max_length=64, editable=False)
    calls = models.BinaryField(editable=False)
    imported_at = models.DateTimeField(auto_now_add=True)
    imported_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering: ClassVar = ["-id"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["uid"], name="genotyping_table_uid"),
            models.UniqueConstraint(fields=["panel", "digest"], name="genotyping_table_once"),
        ]

    def __str__(self) -> str:
        return self.name or gettext("table %(digest)s") % {"digest": self.digest[:8]}

    def genotypes(self, samples: tuple[str, ...]) -> Calls:
        """The calls; `samples` are the codes of its rows, in their order."""
        return unpacked(samples, tuple(self.panel.loci), bytes(self.calls))


class TableRow(models.Model):
    """The row of one sample in a table, from 0, and at how many loci it was typed."""

    table = models.ForeignKey(
        GenotypeTable, on_delete=models.PROTECT, db_index=False, related_name="rows"
    )
    number = models.PositiveIntegerField()
    sample = models.ForeignKey(Sample, on_delete=models.PROTECT, related_name="rows")
    typed = models.PositiveIntegerField()

    class Meta:
        ordering: ClassVar = ["table", "number"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["table", "number"], name="genotyping_row_number"),
            models.UniqueConstraint(fields=["table", "sample"], name="genotyping_row_once"),
        ]

    def __str__(self) -> str:
        return f"{self.sample_id} in {self.table_id}"


class Proposal(models.Model):
    """Which samples match, by one table or all of a panel, and so may be of one individual.

    `spread` counts the pairs that differ at 0, 1, 2 … loci.
    """

    uid = models.UUIDField(default=uuid.uuid4, editable=False)
    panel = models.ForeignKey(Panel, on_delete=models.PROTECT, related_name="proposals")
    table = models.ForeignKey(
        GenotypeTable, on_delete=models.PROTECT, null=True, related_name="proposals"
    )
    threshold = models.PositiveIntegerField()
    minimum = models.PositiveIntegerField()
    spread = models.JSONField(default=list)
    digest = models.CharField(max_length=64, editable=False)
    made_at = models.DateTimeField(auto_now_add=True)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering: ClassVar = ["-id"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["uid"], name="genotyping_proposal_uid")
        ]

    def __str__(self) -> str:
        return f"proposal {self.uid}"


class MatchGroup(models.Model):
    """Samples of a proposal that hang together by matches. `chain` says by which, and which of them
    do not match: lists of [sample, sample, mismatches, shared loci], by the samples' codes."""

    proposal = models.ForeignKey(
        Proposal, on_delete=models.PROTECT, db_index=False, related_name="groups"
    )
    number = models.PositiveIntegerField()
    size = models.PositiveIntegerField()
    chain = models.JSONField(default=dict)

    class Meta:
        ordering: ClassVar = ["proposal", "number"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["proposal", "number"], name="genotyping_group_number")
        ]

    def __str__(self) -> str:
        return f"group {self.number} of {self.proposal_id}"


class GroupMember(models.Model):
    """A sample in a group."""

    group = models.ForeignKey(
        MatchGroup, on_delete=models.PROTECT, db_index=False, related_name="members"
    )
    sample = models.ForeignKey(Sample, on_delete=models.PROTECT, related_name="memberships")

    class Meta:
        ordering: ClassVar = ["id"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["group", "sample"], name="genotyping_member_once")
        ]

    def __str__(self) -> str:
        return f"{self.sample_id} in {self.group_id}"


class Verdict(Word):
    """What a person decided about a group."""

    ACCEPTED = 1, gettext_noop("accepted")
    REJECTED = 2, gettext_noop("rejected")


class Decision(models.Model):
    """What was decided about a group, by whom and why. The last one of a group counts.

    `events` are the merges and the relabelling that it led to: they are entries as any other, and
    voiding them takes back what it did to the record.
    """

    uid = models.UUIDField(default=uuid.uuid4, editable=False)
    group = models.ForeignKey(MatchGroup, on_delete=models.PROTECT, related_name="decisions")
    verdict = models.PositiveSmallIntegerField(choices=choices_of(Verdict))
    genet = models.ForeignKey(Genet, on_delete=models.PROTECT, null=True, related_name="+")
    reason = models.CharField(max_length=500)
    digest = models.CharField(max_length=64, editable=False)
    decided_at = models.DateTimeField(auto_now_add=True)
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    events = models.ManyToManyField(Event, related_name="decisions")

    class Meta:
        ordering: ClassVar = ["id"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["uid"], name="genotyping_decision_uid"),
            models.CheckConstraint(
                condition=Q(verdict=Verdict.ACCEPTED, genet__isnull=False)
                | Q(verdict=Verdict.REJECTED, genet__isnull=True),
                name="genotyping_decision_genet",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_verdict_display()} {self.group_id}"


class Confirmation(models.Model):
    """A genet was confirmed by the genotype of this sample: of what the sample is, and of nothing
    else. That a donor colony was typed says nothing of the label on a tray."""

    decision = models.ForeignKey(
        Decision, on_delete=models.PROTECT, db_index=False, related_name="confirmations"
    )
    genet = models.ForeignKey(Genet, on_delete=models.PROTECT, related_name="confirmations")
    sample = models.ForeignKey(Sample, on_delete=models.PROTECT, related_name="confirmations")
    on = models.DateField()

    class Meta:
        ordering: ClassVar = ["id"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["decision", "sample"], name="genotyping_confirmation_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.genet_id} by {self.sample_id}"
