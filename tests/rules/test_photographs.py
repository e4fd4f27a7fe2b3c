"""Photographs: what is taken for one, and that nothing but the picture is kept. Every file is a real one."""

from __future__ import annotations

import hashlib
import io
import zipfile
import zlib
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, PngImagePlugin

from fleet.refusals import Unreadable
from fleet.rules.photographs import LONGEST_SIDE, MOST_BYTES, clean_photograph
from tests.inspecting import picture

if TYPE_CHECKING:
    from collections.abc import Callable

GPS, ORIENTATION, MODEL, COMMENT = 0x8825, 0x0112, 0x0110, 0x9286  # Tags of EXIF (CIPA DC-008), from memory.


def exif(orientation: int = 1) -> Image.Exif:
    """What a telephone writes: where, with what, and how it was held."""
    said = Image.Exif()
    said[ORIENTATION] = orientation
    said[MODEL] = "SECRET-MODEL"
    said.get_ifd(GPS).update({1: "N", 2: (57.0, 8.0, 38.0), 3: "W", 4: (2.0, 5.0, 39.0)})
    return said


def opened(content: bytes) -> Image.Image:
    found = Image.open(io.BytesIO(content))
    found.load()
    return found


def chunk(kind: bytes, body: bytes) -> bytes:
    return len(body).to_bytes(4) + kind + body + zlib.crc32(kind + body).to_bytes(4)


def png_of(width: int, height: int, rows: bytes) -> bytes:
    """A PNG that claims to be so large, of these packed rows."""
    header = width.to_bytes(4) + height.to_bytes(4) + bytes([8, 0, 0, 0, 0])
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


# --- What is kept -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("kind", "media"), [("JPEG", "image/jpeg"), ("PNG", "image/png")])
def test_a_photograph_is_kept_named_by_its_digest(kind: str, media: str) -> None:
    kept = clean_photograph(picture(kind=kind), "a.jpg")

    assert (kept.media_type, kept.width, kept.height) == (media, 64, 48)
    assert kept.sha256 == hashlib.sha256(kept.content).hexdigest()
    assert opened(kept.content).size == (64, 48)
    assert clean_photograph(picture(kind=kind), "b.jpg") == kept


def test_neither_the_place_nor_the_telephone_is_kept() -> None:
    content = picture(exif=exif(), comment=b"SECRET-COMMENT", icc_profile=b"SECRET-PROFILE")
    told = opened(content).getexif()
    assert told[MODEL] == "SECRET-MODEL"
    assert told.get_ifd(GPS)[1] == "N"

    kept = clean_photograph(content, "a.jpg").content

    assert dict(opened(kept).getexif()) == {}
    assert opened(kept).getexif().get_ifd(GPS) == {}
    assert b"SECRET" not in kept
    assert b"Exif" not in kept
    assert set(opened(kept).info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}


def test_nothing_that_was_written_into_a_png_is_kept() -> None:
    said = PngImagePlugin.PngInfo()
    said.add_text("Comment", "SECRET-TEXT")
    said.add_itxt("Place", "SECRET-PLACE")
    content = picture(kind="PNG", pnginfo=said, exif=exif(), icc_profile=b"SECRET-PROFILE")
    assert b"SECRET-TEXT" in content

    kept = clean_photograph(content, "a.png").content

    assert b"SECRET" not in kept
    assert opened(kept).info == {}


# Where the first corner lies when it is shown: EXIF, table of orientations (CIPA DC-008), from memory.
HELD = [
    (1, (64, 48), (0, 0)),
    (2, (64, 48), (63, 0)),
    (3, (64, 48), (63, 47)),
    (4, (64, 48), (0, 47)),
    (5, (48, 64), (0, 0)),
    (6, (48, 64), (47, 0)),
    (7, (48, 64), (47, 63)),
    (8, (48, 64), (0, 63)),
]


@pytest.mark.parametrize(("held", "size", "corner"), HELD, ids=[str(held) for held, _, _ in HELD])
def test_it_is_turned_upright_before_it_is_forgotten_how_it_was_held(
    held: int, size: tuple[int, int], corner: tuple[int, int]
) -> None:
    drawn = Image.new("RGB", (64, 48), "black")
    drawn.paste("white", (0, 0, 8, 8))
    written = io.BytesIO()
    drawn.save(written, "PNG", exif=exif(held))

    shown = opened(clean_photograph(written.getvalue(), "a.png").content).convert("L")

    assert shown.size == size
    assert shown.getpixel(corner) == 255
    others = {(0, 0), (size[0] - 1, 0), (0, size[1] - 1), (size[0] - 1, size[1] - 1)} - {corner}
    assert {shown.getpixel(other) for other in others} == {0}


@pytest.mark.parametrize(("width", "height"), [(4000, 1000), (1000, 4000), (LONGEST_SIDE, 10)])
def test_a_large_one_is_made_smaller_in_proportion(width: int, height: int) -> None:
    kept = clean_photograph(picture(width, height), "a.jpg")
    assert max(kept.width, kept.height) == LONGEST_SIDE
    assert kept.width * height == pytest.approx(kept.height * width, rel=0.002)


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGB", "RGBA", "I;16"])
def test_every_sort_of_png_can_be_kept(mode: str) -> None:
    drawn = (
        Image.new(mode, (8, 8), 65535 if mode == "I;16" else 1 if mode == "1" else None)
        if (mode in ("1", "I;16"))
        else opened(picture(8, 8, "PNG")).convert(mode)
    )
    written = io.BytesIO()
    drawn.save(written, "PNG")

    kept = opened(clean_photograph(written.getvalue(), "a.png").content)

    assert kept.size == (8, 8)
    if mode == "I;16":
        assert kept.getpixel((3, 3)) == 255


@pytest.mark.parametrize("mode", ["L", "RGB", "CMYK"])
def test_every_sort_of_jpeg_can_be_kept(mode: str) -> None:
    assert clean_photograph(picture(mode=mode), "a.jpg").width == 64


def test_one_that_is_built_up_in_steps_is_a_photograph_too() -> None:
    assert clean_photograph(picture(200, 200, progressive=True), "a.jpg").width == 200


def test_of_several_pictures_in_a_row_the_first_is_kept() -> None:
    """Telephones put a smaller one, or one of the light, behind the picture."""
    kept = clean_photograph(picture(64, 48) + picture(16, 12) + b"\0" * 40, "a.jpg")
    assert (kept.width, kept.height) == (64, 48)
    assert len(kept.content) < len(picture(64, 48)) * 2


# --- What is refused ----------------------------------------------------------------------------------------


def gif() -> bytes:
    return picture(kind="GIF")


def svg() -> bytes:
    return b'<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg"><script>1</script></svg>'


def zipped() -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("run.py", "print('hello')")
    return packed.getvalue()


def animated() -> bytes:
    frames = [Image.new("RGB", (8, 8), colour) for colour in ("red", "blue")]
    written = io.BytesIO()
    frames[0].save(written, "PNG", save_all=True, append_images=frames[1:], duration=100)
    return written.getvalue()


def half(kind: str) -> bytes:
    content = picture(kind=kind)
    return content[: len(content) // 2]


def without_its_end() -> bytes:
    return picture()[:-2]


def spoilt() -> bytes:
    """One bit of the packed rows is another: the check sum says so."""
    content = bytearray(picture(kind="PNG"))
    content[len(content) // 2] ^= 1
    return bytes(content)


def bomb() -> bytes:
    """A tenth of a megabyte that unpacks to 400 million pixels."""
    return png_of(20_000, 20_000, zlib.compress(b"\0" * 100_000_000, 9))


REFUSED: list[tuple[str, Callable[[], bytes], str]] = [
    ("gif", gif, "is no JPEG or PNG"),
    ("svg", svg, "is no JPEG or PNG"),
    ("webp", lambda: picture(kind="WEBP"), "is no JPEG or PNG"),
    ("tiff", lambda: picture(kind="TIFF"), "is no JPEG or PNG"),
    ("pdf", lambda: b"%PDF-1.7 " + picture(), "is no JPEG or PNG"),
    ("nothing", lambda: b"", "is no JPEG or PNG"),
    ("text", lambda: b"hello", "is no JPEG or PNG"),
    ("only a beginning", lambda: b"\xff\xd8\xff", "is cut off"),
    ("half a jpeg", lambda: half("JPEG"), "is cut off"),
    ("half a png", lambda: half("PNG"), "is cut off"),
    ("no end", without_its_end, "is cut off"),
    ("a spoilt png", spoilt, "is cut off or damaged"),
    ("empty jpeg", lambda: b"\xff\xd8\xff\xd9", "is cut off or damaged"),
    ("no rows", lambda: png_of(8, 8, b""), "is cut off or damaged"),
    ("no size", lambda: png_of(0, 0, zlib.compress(b"")), "is cut off or damaged"),
    ("bomb", bomb, "has far too many pixels"),
    ("large jpeg", lambda: picture(8_000, 7_000, "JPEG", "L"), "8,000 × 7,000 pixels"),
    ("heavy", lambda: picture() + b"\0" * MOST_BYTES, "10.0 MB; a photograph has at most 10 MB"),
    ("animated", animated, "is an animated picture"),
]


@pytest.mark.parametrize(("make", "said"), [(m, s) for _, m, s in REFUSED], ids=[n for n, _, _ in REFUSED])
def test_what_is_no_sound_photograph_is_refused_in_one_sentence(make: Callable[[], bytes], said: str) -> None:
    with pytest.raises(Unreadable) as refusal:
        clean_photograph(make(), "hose.jpg")
    sentence = str(refusal.value)
    assert said in sentence
    assert sentence.startswith("hose.jpg ")
    assert "\n" not in sentence


def test_what_hides_in_the_notes_of_a_picture_is_not_kept() -> None:
    """A picture that is an archive as well, packed into its comment: the picture stays, the archive goes."""
    content = picture(comment=zipped())
    assert zipfile.is_zipfile(io.BytesIO(content))
    assert not zipfile.is_zipfile(io.BytesIO(clean_photograph(content, "a.jpg").content))


@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
@pytest.mark.parametrize(
    "behind",
    [zipped(), b"<script>alert(1)</script>", b"\0\0\0\x18ftypmp42", half("JPEG")],
    ids=["zip", "page", "film", "cut"],
)
def test_what_stands_behind_a_picture_is_not_kept(kind: str, behind: bytes) -> None:
    """Telephones put short films there; others put programs there."""
    alone, followed = (
        clean_photograph(picture(kind=kind), "a.jpg"),
        clean_photograph(picture(kind=kind) + behind, "a.jpg"),
    )
    assert followed == alone


@given(at=st.integers(0, 5_000), with_=st.binary(max_size=12), kind=st.sampled_from(["JPEG", "PNG"]))
def test_a_damaged_file_is_a_photograph_or_refused_and_nothing_else(at: int, with_: bytes, kind: str) -> None:
    content = picture(40, 40, kind)
    at %= len(content)
    try:
        kept = clean_photograph(content[:at] + with_ + content[at + len(with_) :], "a.jpg")
    except Unreadable:
        return
    assert opened(kept.content).size == (kept.width, kept.height)
