"""Keeping photos of colonies and collections, and closing them. Nothing is deleted."""

from __future__ import annotations

import datetime
import uuid
from collections.abc import Iterable, Sequence

from django.core.files.base import ContentFile
from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone

from nursery.core.actor import Actor, Role, require, require_read
from nursery.core.dates import latest_today
from nursery.core.errors import NotAllowed, Problem, Refused, Unknown
from nursery.donors.models import Collection, DonorColony, Photo
from nursery.donors.pictures import Picture

ACT = "keep photos of colonies"
MOST_AT_ONCE = 12
"""The most photos that one form brings."""
_NOTE = Photo._meta.get_field("note").max_length or 200


@transaction.atomic
def keep(
    actor: Actor,
    pictures: Sequence[Picture],
    colony: DonorColony | None = None,
    collection: Collection | None = None,
    taken_on: datetime.date | None = None,
    note: str = "",
) -> list[Photo]:
    """Keep photos of a colony, of a collection (and the colony it was taken from), or of both.

    Raises NotAllowed; Refused (`too_many`, `too_long`, `control_character`, `date_in_future`,
    `of_nothing`).
    """
    require(actor, Role.FIELD, act=ACT)
    if colony is None and collection is not None:
        colony = collection.colony
    _refuse(pictures, colony, collection, taken_on, note)
    written: list[str] = []
    kept = []
    try:
        for picture in pictures:
            photo = Photo(
                colony=colony,
                collection=collection,
                width=picture.width,
                height=picture.height,
                taken_on=taken_on,
                note=note.strip(),
                recorded_by_id=actor.user_id,
            )
            for field, content in ((photo.file, picture.large), (photo.small, picture.small)):
                field.save("photo.jpg", ContentFile(content), save=False)
                written.append(str(field.name))
            photo.save(force_insert=True)
            kept.append(photo)
    except Exception:
        forget_files(written)
        raise
    return kept


def _refuse(
    pictures: Sequence[Picture],
    colony: DonorColony | None,
    collection: Collection | None,
    taken_on: datetime.date | None,
    note: str,
) -> None:
    if colony is None and collection is None:
        raise Refused(Problem("of_nothing", "A photo is of a colony or of a collection."))
    if len(pictures) > MOST_AT_ONCE:
        raise Refused(too_many())
    if len(note.strip()) > _NOTE:
        raise Refused(Problem("too_long", f"At most {_NOTE} characters.", ("note",)))
    if any(ord(letter) < 32 or ord(letter) == 127 for letter in note.strip()):
        message = "The text holds a control character (such as NUL)."
        raise Refused(Problem("control_character", message, ("note",)))
    if taken_on is not None and taken_on > latest_today():
        message = f"{taken_on} has not come yet anywhere."
        raise Refused(Problem("date_in_future", message, ("taken_on",)))


def too_many() -> Problem:
    """Why a form with more photos is refused."""
    return Problem(
        "too_many",
        f"At most {MOST_AT_ONCE} photos at once. Send the others afterwards.",
        ("photos",),
    )


def forget_files(names: Iterable[str]) -> None:
    """Take away files whose photos were not kept after all."""
    storage = Photo._meta.get_field("file").storage
    for name in names:
        storage.delete(name)


def files_of(photos: Iterable[Photo]) -> list[str]:
    """The names of all files of some photos."""
    return [str(field.name) for photo in photos for field in (photo.file, photo.small)]


@transaction.atomic
def close(actor: Actor, uid: uuid.UUID) -> Photo:
    """Close a photo: it is shown no more, and kept. Whoever brought it may, and every lead.

    Closing it again changes nothing. Raises Unknown (`unknown_photo`), NotAllowed.
    """
    require(actor, Role.FIELD, act=ACT)
    photo = Photo.objects.select_for_update().filter(uid=uid).first()
    if photo is None:
        raise Unknown(_unknown())
    if not actor.leads and photo.recorded_by_id != actor.user_id:
        raise NotAllowed(
            Problem(
                "not_allowed",
                f"{actor.name} did not bring this photo, so may not close it. Ask a programme "
                "lead.",
            )
        )
    if photo.closed_at is None:
        photo.closed_at = timezone.now()
        photo.closed_by_id = actor.user_id
        photo.save(update_fields=["closed_at", "closed_by"])
    return photo


def one(actor: Actor, uid: uuid.UUID) -> Photo:
    """The photo of this uid; a closed one for leads alone. Raises Unknown (`unknown_photo`)."""
    require_read(actor)
    found = Photo.objects.all() if actor.leads else Photo.objects.filter(closed_at=None)
    photo = found.filter(uid=uid).first()
    if photo is None:
        raise Unknown(_unknown())
    return photo


def shown(rows: QuerySet[Photo] | None = None) -> QuerySet[Photo]:
    """Photos that are shown: neither closed, nor only of a collection that did not happen."""
    found = Photo.objects.all() if rows is None else rows
    stands = Q(colony__isnull=False) | Q(collection__event__live=True)
    return found.filter(stands, closed_at=None).order_by("-taken_on", "-pk")


def _unknown() -> Problem:
    return Problem("unknown_photo", "There is no such photo.")
