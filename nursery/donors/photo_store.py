"""Where photos lie: in a folder of the installation, under names that tell nothing.

No address leads there. `nursery.donors.views.photos` hands them out, to people with a role.
"""

from __future__ import annotations

import uuid
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.files.storage import FileSystemStorage


class PhotoStorage(FileSystemStorage):
    """The folder `photos` in MEDIA_ROOT."""

    def __init__(self) -> None:
        super().__init__(file_permissions_mode=0o640, directory_permissions_mode=0o750)

    @property
    def base_location(self) -> str:
        return str(Path(settings.MEDIA_ROOT) / "photos")

    @property
    def location(self) -> str:
        return str(Path(self.base_location).resolve())

    def url(self, name: str | None) -> str:
        raise ValueError("A photo has no address of its own: a page hands it out.")


def photo_storage() -> PhotoStorage:
    return PhotoStorage()


def random_name(photo: Any, name: str) -> str:
    """A name by chance, in one of 256 folders; what the device called the file is forgotten."""
    chance = uuid.uuid4().hex
    return f"{chance[:2]}/{chance}.jpg"
