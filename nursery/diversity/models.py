"""What was judged before an outplanting, and who answered for it: audits, sign-offs, overrides."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.db.models import Q

from nursery.core.spoken import choices_of
from nursery.diversity.audit.case import Verdict
from nursery.donors.models import Taxon
from nursery.outplanting.models import Manifest, PolicyRule


class Audit(models.Model):
    """A manifest judged against the policy of its planned day. It is never changed.

    `stock` is the digest of what it saw of the ramets; `answers` are those of
    `nursery.diversity.audit.judge`. A look at a manifest that was signed off says in `stands`
    whether the sign-off outlived it, and in `changed` what was different.
    """

    manifest = models.ForeignKey(Manifest, on_delete=models.PROTECT, related_name="audits")
    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    day = models.DateField(help_text="the day whose policy it was judged by")
    stock = models.CharField(max_length=64)
    ramets = models.PositiveIntegerField(help_text="how many of the ramets were in its figures")
    verdict = models.PositiveSmallIntegerField(choices=choices_of(Verdict))
    answers = models.JSONField()
    rules = models.ManyToManyField(PolicyRule, related_name="+")
    stands = models.BooleanField(null=True)
    changed = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering: ClassVar = ["-id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(verdict__in=Verdict.numbers()), name="diversity_audit_verdict_known"
            ),
        ]

    def __str__(self) -> str:
        return f"audit {self.pk} of {self.manifest_id}"


class SignOff(models.Model):
    """A lead answers for a manifest as an audit saw it, and for each rule that it fails.

    It lapses once the stock is not what was signed: then `lapsed_at` and `because` say so.
    """

    manifest = models.ForeignKey(Manifest, on_delete=models.PROTECT, related_name="sign_offs")
    audit = models.OneToOneField(Audit, on_delete=models.PROTECT, related_name="sign_off")
    stock = models.CharField(max_length=64)
    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=500, blank=True)
    lapsed_at = models.DateTimeField(null=True)
    because = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering: ClassVar = ["-id"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["manifest"],
                condition=Q(lapsed_at__isnull=True),
                name="diversity_signoff_one_in_force",
            ),
            models.CheckConstraint(
                condition=Q(lapsed_at__isnull=True, because="")
                | (Q(lapsed_at__isnull=False) & ~Q(because="")),
                name="diversity_signoff_lapsed_because",
            ),
        ]

    def __str__(self) -> str:
        return f"sign-off {self.pk} of {self.manifest_id}"


class Override(models.Model):
    """Why a lead signed a manifest off though it fails a rule. It is kept for good."""

    sign_off = models.ForeignKey(SignOff, on_delete=models.PROTECT, related_name="overrides")
    rule = models.CharField(max_length=40)
    taxon = models.ForeignKey(Taxon, on_delete=models.PROTECT, null=True, related_name="+")
    reason = models.CharField(max_length=500)

    class Meta:
        ordering: ClassVar = ["id"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["sign_off", "rule", "taxon"],
                condition=Q(taxon__isnull=False),
                name="diversity_override_once",
            ),
            models.UniqueConstraint(
                fields=["sign_off", "rule"],
                condition=Q(taxon__isnull=True),
                name="diversity_override_once_of_all",
            ),
            models.CheckConstraint(condition=~Q(reason=""), name="diversity_override_reason"),
        ]

    def __str__(self) -> str:
        return f"{self.rule} of {self.sign_off_id}"
