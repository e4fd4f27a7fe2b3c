"""Photographs: what is taken for one, and the clean picture that is kept of it.

A photograph comes from anybody's telephone and is shown to auditors for years, so it is judged by what is
inside and not by its name, and never kept as it came: the picture is drawn afresh, upright, without the place
where it was taken or anything else that was written into the file. A function of bytes alone: no file, clock
or database; the picture library is imported when the first photograph comes.
"""

from __future__ import annotations

import hashlib
import io
import warnings
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.refusals import Unreadable

if TYPE_CHECKING:
    from PIL.Image import Image as Picture

MOST_BYTES = 10_000_000
MOST_PIXELS = 50_000_000
LONGEST_SIDE = 2_560
"""What is kept, in pixels: enough to see a cut in a hose's cover."""
QUALITY = 85

_JPEG, _PNG = b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n"
_MEDIA_TYPES = {"JPEG": "image/jpeg", "PNG": "image/png"}
# Markers of JPEG (ITU-T T.81, table B.1), read from memory and tried on real files.
_END, _SCAN, _STUFFED = 0xD9, 0xDA, (0x00, *range(0xD0, 0xD8))
_CHUNK_FRAME = 12
_TOO_LARGE = (
    f"{{}} has {{}} pixels; a photograph has at most {MOST_PIXELS // 10**6} million. Send it smaller."
)


@dataclass(frozen=True, slots=True)
class Photograph:
    """A clean picture, ready to be kept: its bytes, what they are, their digest, its size in pixels."""

    content: bytes
    media_type: str
    sha256: str
    width: int
    height: int


def clean_photograph(content: bytes, name: str) -> Photograph:
    """The picture that is kept of a file; ``name`` is what the file is called in sentences.

    Raises ``Unreadable`` for what is no JPEG or PNG, too big, cut off, animated, or something else besides.
    """
    if len(content) > MOST_BYTES:
        megabytes = f"{len(content) / 1e6:,.1f} MB"
        raise Unreadable(
            f"{name} has {megabytes}; a photograph has at most {MOST_BYTES // 10**6} MB. Send it smaller."
        )
    if content.startswith(_JPEG):
        kind, end = "JPEG", _jpegs_end(content)
    elif content.startswith(_PNG):
        kind, end = "PNG", _png_end(content, name)
    else:
        raise Unreadable(f"{name} is no JPEG or PNG picture, whatever its name says.")
    if end is None:
        raise Unreadable(f"{name} is cut off or damaged: the picture does not end. Send it again.")
    if content[end:].strip(b"\0"):
        raise Unreadable(
            f"{name} holds something else behind its picture. Save the picture by itself, and send that."
        )
    return _redrawn(content, kind, name)


def _jpegs_end(content: bytes) -> int | None:
    """Where the last of one or more JPEG pictures in a row ends; telephones put smaller ones behind."""
    end = _jpeg_end(content, 0)
    while end is not None and content.startswith(_JPEG, end):
        end = _jpeg_end(content, end)
    return end


def _jpeg_end(content: bytes, start: int) -> int | None:
    """Where the picture that begins at ``start`` ends, by its markers; nothing when it is cut off."""
    at = start + 2
    while 0 <= at < len(content) - 1:
        if content[at] != 0xFF:  # noqa: PLR2004  Every marker begins with this byte.
            return None
        marker = content[at + 1]
        if marker == _END:
            return at + 2
        if marker == 0xFF:  # noqa: PLR2004  A fill byte before a marker.
            at += 1
            continue
        at += 2 + int.from_bytes(content[at + 2 : at + 4])
        if marker == _SCAN:
            at = _after_scan(content, at)
    return None


def _after_scan(content: bytes, at: int) -> int:
    """The first marker after the picture data from ``at`` on; -1 when there is none."""
    at = content.find(b"\xff", at)
    while 0 <= at < len(content) - 1 and content[at + 1] in _STUFFED:
        at = content.find(b"\xff", at + 2)
    return at


def _png_end(content: bytes, name: str) -> int | None:
    """Where a PNG ends, by its chunks (ISO/IEC 15948); nothing when it is cut off or damaged."""
    at = len(_PNG)
    while at + _CHUNK_FRAME <= len(content):
        length, kind = int.from_bytes(content[at : at + 4]), content[at + 4 : at + 8]
        end = at + _CHUNK_FRAME + length
        if zlib.crc32(content[at + 4 : end - 4]) != int.from_bytes(content[end - 4 : end]):
            return None
        if kind == b"acTL":
            raise Unreadable(f"{name} is an animated picture. Send a single photograph.")
        at = end
        if kind == b"IEND":
            return at
    return None


def _redrawn(content: bytes, kind: str, name: str) -> Photograph:
    from PIL import Image, ImageOps  # noqa: PLC0415  A tenth of a second that only a photograph needs.

    try:
        with warnings.catch_warnings():
            # Odd notes in a picture are no reason to refuse it; a bomb is.
            warnings.simplefilter("ignore")
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(content), formats=(kind,)) as picture:
                _check_size(picture, name)
                # Smaller first: the box is square, and a JPEG is then not even unpacked in full.
                picture.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
                upright = _plain(ImageOps.exif_transpose(picture), kind)
    except Unreadable:
        raise
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise Unreadable(_TOO_LARGE.format(name, "far too many")) from error
    except Exception as error:
        # Whatever a damaged picture makes its reader raise, it is damaged.
        raise Unreadable(f"{name} is cut off or damaged, and cannot be read as a picture.") from error
    kept = _written(upright, kind)
    return Photograph(kept, _MEDIA_TYPES[kind], hashlib.sha256(kept).hexdigest(), *upright.size)


def _check_size(picture: Picture, name: str) -> None:
    """Before anything is unpacked: a small file may claim to be a picture that fills the memory."""
    width, height = picture.size
    if width * height > MOST_PIXELS:
        raise Unreadable(_TOO_LARGE.format(name, f"{width:,} × {height:,}"))


def _plain(picture: Picture, kind: str) -> Picture:
    """The picture alone, in a form that its kind of file has; nothing that was written beside it."""
    from PIL import Image  # noqa: PLC0415  As above.

    if picture.mode.startswith("I"):
        # 16 bits of grey, of which nobody sees the lower half.
        picture = picture.convert("I").point(lambda value: value * (1 / 256)).convert("L")
    see_through = kind == "PNG" and picture.has_transparency_data
    mode = "RGBA" if see_through else "L" if picture.mode in ("1", "L") else "RGB"
    drawn = picture.convert(mode)
    return Image.frombytes(mode, drawn.size, drawn.tobytes())


def _written(picture: Picture, kind: str) -> bytes:
    written = io.BytesIO()
    options = {"quality": QUALITY, "optimize": True} if kind == "JPEG" else {"optimize": True}
    picture.save(written, kind, **options)
    return written.getvalue()
