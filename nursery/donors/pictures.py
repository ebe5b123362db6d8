"""Photos made safe to keep: read by their content, turned upright, made smaller and written anew.

Nothing of the file that came in is kept but what one sees: a phone writes into it where it was
taken, and that may be the exact position of a donor colony. Bytes in, bytes out; no database.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import IO

from PIL import Image, ImageCms, ImageOps, UnidentifiedImageError

from nursery.core.errors import Problem, Refused

MOST_BYTES = 15 * 1024 * 1024
"""The largest file that is read."""
MOST_PIXELS = 60_000_000
"""The most pixels that are unpacked: what phones and cameras make, and no more."""
LONG_SIDE = 2048
SMALL_SIDE = 480
"""The long side of the small copy that pages show."""
_FORMATS = ("JPEG", "PNG", "WEBP")
_QUALITY = 85
_SMALL_QUALITY = 72


@dataclass(frozen=True, slots=True)
class Picture:
    """A photo as it is kept: two JPEG files, and the size of the large one in pixels."""

    large: bytes
    small: bytes
    width: int
    height: int


def formats() -> list[str]:
    """The formats that are read. HEIC only where the imaging library reads it."""
    Image.init()
    return [*_FORMATS, *(("HEIF",) if "HEIF" in Image.OPEN else ())]


def clean(file: IO[bytes], size: int | None, name: str = "") -> Picture:
    """A photo without anything but its pixels, at most LONG_SIDE wide or high.

    Raises Refused (`photo_too_large`, `photo_unreadable`, `photo_too_many_pixels`); `name` is what
    the person's device calls the file.
    """
    called = name[:80] or "This photo"
    if size is None or size > MOST_BYTES:
        raise _refused(
            "photo_too_large",
            f"{called} is larger than {MOST_BYTES // 1024 // 1024} MB. Send a smaller copy.",
        )
    try:
        with Image.open(file, formats=formats()) as image:
            if image.width * image.height > MOST_PIXELS:
                raise _too_many(called)
            # A JPEG is unpacked no larger than it is needed.
            image.draft("RGB", (LONG_SIDE, LONG_SIDE))
            upright = ImageOps.exif_transpose(image)
            profile = image.info.get("icc_profile")
            seen = _plain(_in_srgb(upright, profile))
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise _too_many(called) from None
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError, EOFError):
        raise _refused(
            "photo_unreadable",
            f"{called} is no photo that can be read here: send a whole JPEG, PNG or WebP file.",
        ) from None
    seen.thumbnail((LONG_SIDE, LONG_SIDE), Image.Resampling.LANCZOS)
    small = seen.copy()
    small.thumbnail((SMALL_SIDE, SMALL_SIDE), Image.Resampling.LANCZOS)
    return Picture(_jpeg(seen, _QUALITY), _jpeg(small, _SMALL_QUALITY), seen.width, seen.height)


def _in_srgb(image: Image.Image, profile: bytes | None) -> Image.Image:
    """The colours as every screen reads them: a profile goes with the rest of the metadata, and a
    coral's colour tells how it fares."""
    if not profile or image.mode not in ("RGB", "CMYK"):
        return image
    try:
        found = ImageCms.profileToProfile(
            image,
            ImageCms.ImageCmsProfile(io.BytesIO(profile)),
            ImageCms.createProfile("sRGB"),
            outputMode="RGB",
        )
    except (ImageCms.PyCMSError, OSError, ValueError):
        return image
    return found or image


def _plain(image: Image.Image) -> Image.Image:
    """Red, green and blue alone: what was transparent is white, and no word goes along."""
    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        clear = image.convert("RGBA")
        image = Image.new("RGB", clear.size, "white")
        image.paste(clear, mask=clear.getchannel("A"))
    plain = image.convert("RGB")
    plain.info = {}
    return plain


def _jpeg(image: Image.Image, quality: int) -> bytes:
    written = io.BytesIO()
    image.save(written, "JPEG", quality=quality, optimize=True, progressive=True)
    return written.getvalue()


def _too_many(called: str) -> Refused:
    return _refused(
        "photo_too_many_pixels",
        f"{called} has more than {MOST_PIXELS // 1_000_000} million pixels. Send a smaller copy.",
    )


def _refused(code: str, message: str) -> Refused:
    return Refused(Problem(code, message, ("photos",)))
