"""Where corals come from: taxa, genets, permits, wild colonies, and what was taken of them."""

from __future__ import annotations

import uuid
from typing import ClassVar

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from nursery.core.actor import Role
from nursery.core.models import Event, Register, unique_code
from nursery.donors import position_model
from nursery.donors.photo_store import photo_storage, random_name
from nursery.places.models import Reef, Site

__all__ = [
    "Collection",
    "DonorColony",
    "DonorSet",
    "DonorSetMember",
    "EventPermit",
    "Genet",
    "GenetMerge",
    "Permit",
    "Photo",
    "Taxon",
]


class Taxon(Register):
    """A species, or a genus where the species is not known."""

    ACT = "change taxa"

    class Rank(models.TextChoices):
        SPECIES = "species", _("species")
        GENUS = "genus", _("genus")

    class Group(models.TextChoices):
        STONY = "stony", _("stony coral")
        SOFT = "soft", _("soft coral")
        ZOANTHID = "zoanthid", _("zoanthid")
        CORALLIMORPH = "corallimorph", _("corallimorph")

    name = models.CharField(max_length=120)
    rank = models.CharField(max_length=8, choices=Rank.choices, default=Rank.SPECIES)
    group = models.CharField(max_length=12, choices=Group.choices)
    aphia_id = models.PositiveIntegerField(
        null=True, blank=True, verbose_name="AphiaID", help_text=_("empty rather than guessed")
    )

    class Meta(Register.Meta):
        verbose_name_plural = "taxa"
        constraints: ClassVar = [unique_code("donors_taxon")]

    def __str__(self) -> str:
        return self.name


class Permit(Register):
    """What an authority allows. `code` is the permit's number."""

    ACT = "change permits"

    title = models.CharField(max_length=200)
    authority = models.CharField(max_length=200)
    valid_from = models.DateField(null=True, blank=True)
    valid_until = models.DateField(null=True, blank=True)
    pieces = models.PositiveIntegerField(
        null=True,
        blank=True,
        help_text=_("how many pieces it allows, empty where it sets no number"),
    )
    taxa = models.ManyToManyField(
        Taxon, blank=True, related_name="+", help_text=_("none: any taxon")
    )
    reefs = models.ManyToManyField(
        Reef, blank=True, related_name="+", help_text=_("none: any reef")
    )
    sites = models.ManyToManyField(
        Site, blank=True, related_name="+", help_text=_("none: any site")
    )

    class Meta(Register.Meta):
        constraints: ClassVar = [
            unique_code("donors_permit"),
            models.CheckConstraint(
                condition=Q(valid_from__isnull=True)
                | Q(valid_until__isnull=True)
                | Q(valid_from__lte=models.F("valid_until")),
                name="donors_permit_range_in_order",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.title}"


class EventPermit(models.Model):
    """A permit that an event was done under."""

    event = models.ForeignKey(Event, on_delete=models.CASCADE, related_name="permit_links")
    permit = models.ForeignKey(Permit, on_delete=models.PROTECT, related_name="event_links")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["event", "permit"], name="donors_eventpermit_once")
        ]

    def __str__(self) -> str:
        return f"{self.permit_id} for {self.event_id}"


class Genet(Register):
    """One genetic individual: presumed until genotyped, then confirmed by a panel on a date.

    `canonical` is the genet it turned out to be the same as; null while it stands for itself.
    """

    CACHES = frozenset({"canonical"})
    ACT = "change genets"

    class Status(models.TextChoices):
        PRESUMED = "presumed", _("presumed")
        CONFIRMED = "confirmed", _("confirmed")

    name = models.CharField(
        max_length=120, blank=True, help_text=_("what staff call it (also: genotype)")
    )
    taxon = models.ForeignKey(Taxon, on_delete=models.PROTECT, related_name="genets")
    status = models.CharField(max_length=9, choices=Status.choices, default=Status.PRESUMED)
    panel = models.CharField(max_length=120, blank=True)
    confirmed_on = models.DateField(null=True, blank=True)
    canonical = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, editable=False, related_name="synonyms"
    )

    class Meta(Register.Meta):
        constraints: ClassVar = [
            unique_code("donors_genet"),
            models.CheckConstraint(
                condition=Q(status="presumed")
                | (~Q(panel="") & Q(status="confirmed", confirmed_on__isnull=False)),
                name="donors_genet_confirmed_by_a_panel",
                violation_error_message="A confirmed genet names its panel and date.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.name}".strip()

    def clean(self) -> None:
        stored = Genet.objects.filter(pk=self.pk).first() if self.pk else None
        if stored is not None and stored.taxon_id != self.taxon_id:
            raise ValidationError(
                {
                    "taxon": ValidationError(
                        "Ramets carry this genet's taxon, so it stays. Close this genet and enter "
                        "another.",
                        code="fixed",
                    )
                }
            )


class DonorColony(Register):
    """A wild colony that pieces were taken from.

    The row holds only the generalised position, on a fixed grid, and its uncertainty in metres;
    the exact one is kept apart and read by one function.
    """

    WRITERS = frozenset({Role.FIELD})
    CACHES = frozenset({"rounded_latitude", "rounded_longitude", "uncertainty_m", "generalisation"})
    ACT = "register donor colonies"

    name = models.CharField(max_length=120, blank=True)
    taxon = models.ForeignKey(Taxon, on_delete=models.PROTECT, related_name="colonies")
    genet = models.ForeignKey(Genet, on_delete=models.PROTECT, related_name="colonies")
    reef = models.ForeignKey(Reef, on_delete=models.PROTECT, related_name="colonies")
    depth_m = models.DecimalField(
        max_digits=6,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(0)],
        help_text=_("metres below the surface"),
    )
    size_cm = models.DecimalField(
        max_digits=6,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(0)],
        help_text=_("largest diameter in centimetres"),
    )
    found_on = models.DateField(null=True, blank=True)
    rounded_latitude = models.DecimalField(
        max_digits=5, decimal_places=3, null=True, editable=False
    )
    rounded_longitude = models.DecimalField(
        max_digits=6, decimal_places=3, null=True, editable=False
    )
    uncertainty_m = models.PositiveIntegerField(null=True, editable=False)
    generalisation = models.CharField(max_length=200, blank=True, editable=False)

    class Meta(Register.Meta):
        verbose_name = "donor colony"
        verbose_name_plural = "donor colonies"
        constraints: ClassVar = [unique_code("donors_colony")]

    def __str__(self) -> str:
        return f"{self.code} {self.name}".strip()

    def clean(self) -> None:
        """A colony is of its genet's taxon; what was collected is not changed behind its back."""
        if self.genet_id and self.taxon_id and self.genet.taxon_id != self.taxon_id:
            raise ValidationError(
                {
                    "genet": ValidationError(
                        f"{self.genet.code} is not of {self.taxon}.", code="genet_other_taxon"
                    )
                }
            )
        stored = DonorColony.objects.filter(pk=self.pk).first() if self.pk else None
        if stored is None or not stored.referred_to(position_model.Position, Photo):
            return
        faults = {
            name: ValidationError(
                "Pieces of this colony are on record as it stands, or it was visited, and carry "
                "this with them. Enter another colony.",
                code="fixed",
            )
            for name in ("taxon", "genet", "reef")
            if getattr(stored, f"{name}_id") != getattr(self, f"{name}_id")
        }
        if faults:
            raise ValidationError(faults)


class DonorSet(models.Model):
    """A set of donor colonies, kept once: what all ramets of one descent point at.

    `key` is the colonies' ids in ascending order, so that equal sets are the same row. A single
    column on a ramet so holds any number of donors without a row for each.
    """

    key = models.TextField()
    colonies = models.ManyToManyField(
        DonorColony, through="DonorSetMember", related_name="donor_sets"
    )

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["key"], name="donors_donorset_key")
        ]

    def __str__(self) -> str:
        return self.key


class DonorSetMember(models.Model):
    donor_set = models.ForeignKey(DonorSet, on_delete=models.CASCADE, related_name="members")
    colony = models.ForeignKey(DonorColony, on_delete=models.PROTECT, related_name="memberships")

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["colony", "donor_set"], name="donors_donorsetmember_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.colony_id} in {self.donor_set_id}"


class Collection(models.Model):
    """Particulars of a collection: pieces taken from one colony, or loose at a position."""

    event = models.OneToOneField(
        Event, on_delete=models.PROTECT, primary_key=True, related_name="collection"
    )
    colony = models.ForeignKey(
        DonorColony, on_delete=models.PROTECT, null=True, related_name="collections"
    )
    reef = models.ForeignKey(Reef, on_delete=models.PROTECT, related_name="collections")
    taxon = models.ForeignKey(Taxon, on_delete=models.PROTECT, related_name="collections")
    genet = models.ForeignKey(Genet, on_delete=models.PROTECT, null=True, related_name="+")
    pieces = models.PositiveSmallIntegerField()
    depth_m = models.DecimalField(max_digits=6, decimal_places=1, null=True)
    piece_size_cm = models.DecimalField(max_digits=5, decimal_places=1, null=True)
    share_taken = models.DecimalField(
        max_digits=4, decimal_places=1, null=True, help_text=_("per cent of the colony")
    )
    rounded_latitude = models.DecimalField(max_digits=5, decimal_places=3, null=True)
    rounded_longitude = models.DecimalField(max_digits=6, decimal_places=3, null=True)
    uncertainty_m = models.PositiveIntegerField(null=True)
    perhaps_same = models.CharField(
        max_length=200,
        blank=True,
        help_text=_(
            "codes of other colonies of the taxon that stood so near when the colony was "
            "registered that it may be a clone of theirs"
        ),
    )

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(pieces__gte=1), name="donors_collection_takes_something"
            ),
            models.CheckConstraint(
                condition=Q(share_taken__isnull=True) | Q(share_taken__range=(0, 100)),
                name="donors_collection_share",
            ),
        ]

    def __str__(self) -> str:
        return f"collection {self.event_id}"


class GenetMerge(models.Model):
    """Particulars of a merge: two genets turned out to be one individual, known as `kept`."""

    event = models.OneToOneField(
        Event, on_delete=models.PROTECT, primary_key=True, related_name="genet_merge"
    )
    kept = models.ForeignKey(Genet, on_delete=models.PROTECT, related_name="merges")
    merged = models.ForeignKey(Genet, on_delete=models.PROTECT, related_name="merged_by")

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=~Q(kept=models.F("merged")), name="donors_genetmerge_two_genets"
            )
        ]

    def __str__(self) -> str:
        return f"{self.merged_id} is {self.kept_id}"


class Photo(models.Model):
    """A photo of a donor colony, of a collection, or of both. It is closed, never deleted.

    `file` and the smaller `small` hold pixels alone: where and by what it was taken was left out
    when it came in (nursery.donors.pictures). `uid` is its address.
    """

    uid = models.UUIDField(default=uuid.uuid4, editable=False)
    colony = models.ForeignKey(
        DonorColony, on_delete=models.PROTECT, null=True, related_name="photos"
    )
    collection = models.ForeignKey(
        Collection, on_delete=models.PROTECT, null=True, related_name="photos"
    )
    file = models.FileField(storage=photo_storage, upload_to=random_name, editable=False)
    small = models.FileField(storage=photo_storage, upload_to=random_name, editable=False)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    taken_on = models.DateField(null=True)
    note = models.CharField(max_length=200, blank=True, help_text=_("what is to be seen on it"))
    recorded_at = models.DateTimeField(auto_now_add=True)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    closed_at = models.DateTimeField(null=True)
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )

    class Meta:
        ordering: ClassVar = ["id"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["uid"], name="donors_photo_uid"),
            models.CheckConstraint(
                condition=Q(colony__isnull=False) | Q(collection__isnull=False),
                name="donors_photo_of_something",
            ),
            models.CheckConstraint(
                condition=Q(closed_at__isnull=True, closed_by__isnull=True)
                | Q(closed_at__isnull=False, closed_by__isnull=False),
                name="donors_photo_closed_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return f"photo {self.uid}"
