"""What every app stands on: people, the header of an event, code series, edit history."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from typing import Any, ClassVar

from django.conf import settings
from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_noop as _

from nursery.core.actor import Role
from nursery.core.dates import When, words
from nursery.core.spoken import choices_of
from nursery.core.words import Word


class User(AbstractUser):
    """A log-in. What it may do is said by its memberships (see `access`), not by groups."""

    def __str__(self) -> str:
        return self.get_full_name() or self.username


class EventKind(Word):
    """The kinds of things that happen; the word outside is the member's name in lower case."""

    COLLECTION = 1, _("collection")
    INTAKE = 2, _("intake")
    FRAGMENTATION = 3, _("fragmentation")
    MOVE = 4, _("move")
    STRUCTURE_MOVE = 5, _("structure move")
    OUTPLANTING = 6, _("outplanting")
    VISIT = 7, _("visit")
    STOCK_ENTRY = 8, _("stock entry")
    LIFT = 9, _("lift")
    ENDING = 10, _("ending")
    COUNT = 11, _("count")
    STRUCTURE_LOSS = 12, _("structure loss")
    TAGGING = 13, _("tagging")
    RELABELLING = 14, _("relabelling")
    GENET_MERGE = 15, _("genet merge")
    IDENTIFICATION = 16, _("identification")
    CHECK = 17, _("check")
    SAMPLING = 18, _("sampling")


class Event(models.Model):
    """The header of something that happened. Its particulars are in the apps' own tables.

    When it happened is a range of days, `earliest` to `latest`, with a time only where the day is
    known. `moment` is where within it the event stands among all others, chosen once, when it is
    entered or corrected: events are in the order of their moments, then of their ids, and so one
    order holds for every ramet and cell. `digest` and `recorded_by` tell a repeated entry from a
    different one with the same uid. An event that is not `live` was voided: it did not happen.
    """

    uid = models.UUIDField(default=uuid.uuid4, editable=False)
    kind = models.PositiveSmallIntegerField(choices=choices_of(EventKind))
    earliest = models.DateField()
    latest = models.DateField()
    time = models.TimeField(null=True, blank=True)
    moment = models.DateTimeField(editable=False)
    recorded_at = models.DateTimeField(auto_now_add=True)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    done_by = models.CharField(max_length=500, blank=True)
    note = models.TextField(blank=True)
    digest = models.CharField(max_length=64, editable=False)
    live = models.BooleanField(default=True, editable=False)

    class Meta:
        ordering: ClassVar = ["-earliest", "-id"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["uid"], name="core_event_uid"),
            models.CheckConstraint(
                condition=Q(earliest__lte=F("latest")), name="core_event_range_in_order"
            ),
            models.CheckConstraint(
                condition=Q(time__isnull=True) | Q(earliest=F("latest")),
                name="core_event_time_needs_a_day",
            ),
            models.CheckConstraint(
                condition=Q(kind__in=EventKind.numbers()), name="core_event_kind_known"
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["kind", "earliest"], name="core_event_kind_day")]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {words(self.when)}"

    @property
    def when(self) -> When:
        return When(self.earliest, self.latest, self.time)

    @property
    def kind_word(self) -> str:
        return EventKind(self.kind).word

    @property
    def people(self) -> list[str]:
        """The names in `done_by`, one by one."""
        return [name for name in self.done_by.split("; ") if name]


class Mend(Word):
    """What a correction did to an event."""

    VOIDED = 1, _("voided")
    RESTORED = 2, _("restored")
    AMENDED = 3, _("amended")


class Correction(models.Model):
    """A correction of an event: that it did not happen, did after all, or happened otherwise.

    `changes` holds each amended field before and after, as people write it; `undone` what a void
    took out (ids of steps, structures' steps and tags), so that a restoration brings back just
    that. Corrections that were made together carry the same `together`.
    """

    event = models.ForeignKey(Event, on_delete=models.PROTECT, related_name="corrections")
    mend = models.PositiveSmallIntegerField(choices=choices_of(Mend))
    together = models.UUIDField(default=uuid.uuid4)
    reason = models.CharField(max_length=500)
    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    changes = models.JSONField(default=dict)
    undone = models.JSONField(default=dict)

    class Meta:
        ordering: ClassVar = ["id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(mend__in=Mend.numbers()), name="core_correction_mend_known"
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["together"], name="core_correction_together")]

    def __str__(self) -> str:
        return f"{self.event_id} {self.get_mend_display()}"


class CodeSeries(models.Model):
    """A run of ramet codes: one a nursery and one a field device. `next_number` is still free."""

    prefix = models.CharField(max_length=4)
    label = models.CharField(max_length=120, blank=True)
    next_number = models.PositiveIntegerField(default=1)

    class Meta:
        verbose_name_plural = "code series"
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["prefix"], name="core_codeseries_prefix"),
        ]

    def __str__(self) -> str:
        return self.prefix


class Change(models.Model):
    """One edit of a register: who, when, and each changed field before and after."""

    register = models.CharField(max_length=60)
    row_id = models.BigIntegerField()
    code = models.CharField(max_length=60)
    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    before = models.JSONField(null=True, blank=True)
    after = models.JSONField()

    class Meta:
        ordering: ClassVar = ["-id"]
        indexes: ClassVar = [models.Index(fields=["register", "row_id"], name="core_change_row")]

    def __str__(self) -> str:
        return f"{self.register} {self.code} at {self.at:%Y-%m-%d %H:%M}"


class Register(models.Model):
    """A thing that exists. It is edited and closed by a date, never deleted.

    WRITERS says who may enter and edit it (a lead always may); CACHES are fields that the ledger
    works out, so no form, API call or file may set them; ACT completes "… may not …".
    """

    WRITERS: ClassVar[frozenset[Role]] = frozenset()
    CACHES: ClassVar[frozenset[str]] = frozenset()
    ACT: ClassVar[str] = "change this register"

    code = models.CharField(max_length=40)
    note = models.TextField(blank=True)
    closed_on = models.DateField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        abstract = True
        ordering: ClassVar[Sequence[str]] = ["code"]

    def __str__(self) -> str:
        return self.code

    def referred_to(self, *but: type[models.Model]) -> bool:
        """Whether any row, but those of these models, names this one."""
        for relation in self._meta.related_objects:
            model: type[models.Model] = relation.related_model
            if issubclass(model, but):
                continue
            if model._base_manager.filter(**{relation.field.name: self.pk}).exists():
                return True
        return False

    @classmethod
    def prepare(cls, given: Mapping[str, Any]) -> Mapping[str, Any]:
        """A chance to turn what people write into values of the fields."""
        return given


def unique_code(label: str, *also: str) -> models.UniqueConstraint:
    """A register's code is unique, alone or within `also` (for example a plot within its site).

    A constraint, not `unique=True`: on PostgreSQL that would make a second index for LIKE.
    """
    return models.UniqueConstraint(fields=[*also, "code"], name=f"{label}_code")
