"""Who may do what: memberships give roles, tokens let programs in."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.db.models import Q

from nursery.core.actor import Role
from nursery.places.models import Nursery


class Membership(models.Model):
    """One role of one person; the nursery role is given at one nursery."""

    ROLES: ClassVar = [(role.value, role.value) for role in Role]

    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="memberships"
    )
    role = models.CharField(max_length=8, choices=ROLES)
    nursery = models.ForeignKey(
        Nursery, on_delete=models.PROTECT, null=True, blank=True, related_name="staff"
    )

    class Meta:
        ordering: ClassVar = ["user", "role"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(role="nursery", nursery__isnull=False)
                | (~Q(role="nursery") & Q(nursery__isnull=True)),
                name="access_membership_nursery_named",
                violation_error_message="The nursery role names its nursery; no other role does.",
            ),
            models.UniqueConstraint(
                fields=["user", "role"],
                condition=Q(nursery__isnull=True),
                name="access_membership_once",
            ),
            models.UniqueConstraint(
                fields=["user", "role", "nursery"],
                condition=Q(nursery__isnull=False),
                name="access_membership_once_a_nursery",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.user} {self.role}"


class Token(models.Model):
    """A key for a program. Only its SHA-256 is kept; the key itself is shown once."""

    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="tokens"
    )
    name = models.CharField(max_length=100)
    digest = models.CharField(max_length=64, editable=False)
    read_only = models.BooleanField(default=False)
    created_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField()
    last_used_on = models.DateField(null=True, editable=False)
    withdrawn_at = models.DateTimeField(null=True, editable=False)

    class Meta:
        ordering: ClassVar = ["-created_at"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["digest"], name="access_token_digest")
        ]

    def __str__(self) -> str:
        return f"{self.name} of {self.user}"


class KeptList(models.Model):
    """A list as somebody narrowed it, under a name: the address of it, for oneself or for all."""

    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="kept_lists"
    )
    name = models.CharField(max_length=60)
    path = models.CharField(max_length=200)
    query = models.CharField(max_length=2000, blank=True)
    shared = models.BooleanField(default=False)
    kept_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering: ClassVar = ["name", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["user", "path", "name"], name="access_kept_list_one_of_a_name"
            )
        ]
        indexes: ClassVar = [models.Index(fields=["path"], name="access_kept_list_path")]

    def __str__(self) -> str:
        return self.name

    @property
    def href(self) -> str:
        return f"{self.path}?{self.query}" if self.query else self.path
