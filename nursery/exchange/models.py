"""Long work that was asked for on a page: what, by whom, and what came of it."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _


class Task(models.Model):
    """One piece of long work. While it runs, how far it is stands in its folder, not here: a load
    is one transaction, and what is written inside it nobody else would see.
    """

    class Kind(models.TextChoices):
        LOAD = "load", _("load files")
        TRY = "try", _("try files without storing them")
        VERIFY = "verify", _("check the whole record")
        PROPOSE = "propose", _("propose a planting")

    uid = models.UUIDField(default=uuid.uuid4, editable=False)
    kind = models.CharField(max_length=10, choices=Kind.choices)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField(auto_now_add=True)
    ended_at = models.DateTimeField(null=True)
    failed = models.BooleanField(default=False)
    outcome = models.JSONField(default=dict)
    """What came of it, as plain data: `says`, `heads` and `rows` of a table, `more` lines; of a
    proposal what was `asked` and the `proposal`."""

    class Meta:
        constraints = [models.UniqueConstraint(fields=["uid"], name="task_uid")]
        indexes = [models.Index(fields=["-asked_at"], name="task_asked_at")]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}, {self.asked_at:%Y-%m-%d %H:%M}"
