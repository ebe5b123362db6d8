"""Invented photos as tests bring them, and what is inside a file."""

from __future__ import annotations

import io
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from nursery.donors.pictures import Picture, clean

SECRET = b"secret reef"
"""A word that a device wrote into a file's metadata."""


def photo(
    size: tuple[int, int] = (64, 48),
    kind: str = "JPEG",
    orientation: int | None = None,
    mode: str = "RGB",
    **options: Any,
) -> bytes:
    """A photo with a red upper left quarter, the rest blue; its metadata hold a position."""
    image = Image.new("RGB", size, (0, 0, 255))
    image.paste((255, 0, 0), (0, 0, size[0] // 2, size[1] // 2))
    exif = Image.Exif()
    exif[0x010E] = SECRET.decode()
    exif.get_ifd(0x8825).update({1: "S", 2: (17.0, 30.0, 0.0), 3: "W", 4: (149.0, 50.0, 0.0)})
    if orientation is not None:
        exif[0x0112] = orientation
    written = io.BytesIO()
    if kind == "JPEG":
        options.setdefault("comment", SECRET)
    image.convert(mode).save(written, kind, exif=exif, **options)
    return written.getvalue()


def read_in(content: bytes, name: str = "reef.jpg") -> Picture:
    """What is kept of a file."""
    return clean(io.BytesIO(content), len(content), name)


def picture() -> Picture:
    return read_in(photo())


def file(content: bytes | None = None, name: str = "reef.jpg") -> SimpleUploadedFile:
    """A file as a browser sends it."""
    return SimpleUploadedFile(name, content or photo(), "image/jpeg")


def opened(content: bytes) -> Image.Image:
    image = Image.open(io.BytesIO(content))
    image.load()
    return image
