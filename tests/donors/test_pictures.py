"""What is kept of a photo: its pixels, upright and small, and nothing else."""

import io
import struct
import zlib

import pytest
from PIL import Image, ImageCms, PngImagePlugin

from nursery.core.errors import Refused
from nursery.donors import pictures
from tests.donors.photographed import SECRET, opened, photo, read_in


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_position_and_every_other_word_is_left_out(kind: str) -> None:
    given = photo(kind=kind)
    assert SECRET in given
    kept = read_in(given)
    for content in (kept.large, kept.small):
        assert SECRET not in content
        image = opened(content)
        assert image.format == "JPEG"
        assert len(image.getexif()) == 0
        assert {name for name in image.info if not name.startswith(("jfif", "progress"))} == set()


def test_words_beside_the_pixels_of_a_png_are_left_out() -> None:
    words = Image.new("RGB", (8, 8))
    written = io.BytesIO()
    about = PngImagePlugin.PngInfo()
    about.add_text("Comment", SECRET.decode())
    words.save(written, "PNG", pnginfo=about)
    assert SECRET in written.getvalue()
    assert SECRET not in read_in(written.getvalue()).large


@pytest.mark.parametrize(
    ("orientation", "corner"), [(1, (0, 0)), (3, (1, 1)), (6, (1, 0)), (8, (0, 1))]
)
def test_a_photo_stands_upright(orientation: int, corner: tuple[int, int]) -> None:
    kept = opened(read_in(photo((64, 48), orientation=orientation)).large)
    assert kept.size == ((64, 48) if orientation in (1, 3) else (48, 64))
    x, y = (kept.width // 4 + corner[0] * kept.width // 2, 0)
    y = kept.height // 4 + corner[1] * kept.height // 2
    red, _, blue = kept.getpixel((x, y))
    assert red > 200 > 60 > blue


def test_a_large_photo_is_made_smaller_and_a_small_one_is_not_made_larger() -> None:
    kept = read_in(photo((4000, 1000)))
    assert (kept.width, kept.height) == (2048, 512)
    assert opened(kept.large).size == (2048, 512)
    assert opened(kept.small).size == (480, 120)
    assert opened(read_in(photo((64, 48))).small).size == (64, 48)


@pytest.mark.parametrize("mode", ["L", "RGBA", "P", "LA"])
def test_a_photo_of_other_colours_is_kept_too(mode: str) -> None:
    assert opened(read_in(photo(kind="PNG", mode=mode)).large).mode == "RGB"


def test_what_was_transparent_is_white() -> None:
    clear = Image.new("RGBA", (8, 8), (255, 0, 0, 0))
    written = io.BytesIO()
    clear.save(written, "PNG")
    assert opened(read_in(written.getvalue()).large).getpixel((4, 4)) == (255, 255, 255)


def test_a_colour_profile_goes_and_its_colours_stay() -> None:
    # In this profile red and blue have changed places.
    from_profile = _swapped()
    written = io.BytesIO()
    Image.new("RGB", (32, 32), (250, 10, 10)).save(written, "JPEG", icc_profile=from_profile)
    kept = opened(read_in(written.getvalue()).large)
    assert "icc_profile" not in kept.info
    red, _, blue = kept.getpixel((16, 16))
    assert blue > 200 > 60 > red


def _swapped() -> bytes:
    profile = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    count = struct.unpack(">I", profile[128:132])[0]
    at = {bytes(profile[start : start + 4]): start for start in range(132, 132 + 12 * count, 12)}
    red, blue = at[b"rXYZ"] + 4, at[b"bXYZ"] + 4
    of_red, of_blue = profile[red : red + 8], profile[blue : blue + 8]
    profile[red : red + 8], profile[blue : blue + 8] = of_blue, of_red
    return bytes(profile)


@pytest.mark.parametrize(
    "content",
    [b"", b"not a photo", b"<svg xmlns='http://www.w3.org/2000/svg'/>", photo()[:600], b"\xff\xd8"],
)
def test_what_is_no_photo_is_refused(content: bytes) -> None:
    assert _code(content) == "photo_unreadable"


@pytest.mark.parametrize("kind", ["GIF", "TIFF", "BMP"])
def test_other_formats_are_refused_by_what_they_are_not_by_their_name(kind: str) -> None:
    written = io.BytesIO()
    Image.new("RGB", (8, 8)).save(written, kind)
    assert _code(written.getvalue()) == "photo_unreadable"


def test_a_file_that_is_too_large_is_not_even_read() -> None:
    unread = io.BytesIO(photo())
    with pytest.raises(Refused) as caught:
        pictures.clean(unread, pictures.MOST_BYTES + 1, "reef.jpg")
    assert caught.value.code == "photo_too_large"
    assert "reef.jpg is larger than 15 MB" in str(caught.value)
    assert unread.tell() == 0


@pytest.mark.parametrize("side", [8_000, 60_000])
def test_a_small_file_of_endless_pixels_is_refused(side: int) -> None:
    """A picture that says to be so large, and holds no more than a few bytes."""
    assert _code(_endless(side)) == "photo_too_many_pixels"


def _endless(side: int) -> bytes:
    def chunk(kind: bytes, data: bytes) -> bytes:
        body = kind + data
        return struct.pack(">I", len(data)) + body + struct.pack(">I", zlib.crc32(body))

    head = struct.pack(">IIBBBBB", side, side, 1, 0, 0, 0, 0)
    data = zlib.compress(b"\0" * 1000)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", data) + chunk(b"IEND", b"")


def _code(content: bytes) -> str:
    with pytest.raises(Refused) as caught:
        read_in(content)
    return caught.value.code
