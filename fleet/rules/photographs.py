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

_MARKS = {b"\xff\xd8\xff": "JPEG", b"\x89PNG\r\n\x1a\n": "PNG"}
_MEDIA_TYPES = {"JPEG": "image/jpeg", "PNG": "image/png"}
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

    Raises ``Unreadable`` for what is no JPEG or PNG, too big, cut off or animated. What stands behind the
    picture (telephones put films there, others worse things) is not kept: the picture is drawn afresh.
    """
    if len(content) > MOST_BYTES:
        megabytes = f"{len(content) / 1e6:,.1f} MB"
        raise Unreadable(
            f"{name} has {megabytes}; a photograph has at most {MOST_BYTES // 10**6} MB. Send it smaller."
        )
    kind = next((kind for mark, kind in _MARKS.items() if content.startswith(mark)), None)
    if kind is None:
        raise Unreadable(f"{name} is no JPEG or PNG picture, whatever its name says.")
    return _redrawn(content, kind, name)


def _redrawn(content: bytes, kind: str, name: str) -> Photograph:
    from PIL import Image, ImageOps  # noqa: PLC0415  A tenth of a second that only a photograph needs.

    try:
        with warnings.catch_warnings():
            # Odd notes in a picture are no reason to refuse it; a bomb is.
            warnings.simplefilter("ignore")
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(content), formats=(kind,)) as picture:
                picture.verify()  # The check sums of a PNG, which are not looked at when it is drawn.
            with Image.open(io.BytesIO(content), formats=(kind,)) as picture:
                _check(picture, kind, name)
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


def _check(picture: Picture, kind: str, name: str) -> None:
    """Before anything is unpacked: a small file may claim to be a picture that fills the memory."""
    if kind == "PNG" and getattr(picture, "is_animated", False):
        raise Unreadable(f"{name} is an animated picture. Send a single photograph.")
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
