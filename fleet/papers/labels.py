"""Labels: the tag as a code and in plain figures, what the item is and what it may be put under.

Nothing on a label ages: no date, no state. The code holds the figures of the tag only (ISO/IEC 18004, error
correction Q, the quiet zone of four modules included).
"""

from __future__ import annotations

from dataclasses import dataclass
from io import BytesIO
from typing import TYPE_CHECKING

import segno

from fleet.measures.tags import show_tag
from fleet.papers.pressing import press
from fleet.refusals import NotPossible

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fleet.lists.labels import LabelLine

QUIET = 4
# The code itself, without its quiet zone.
CODE_MM = 20.5
_PT_MM = 25.4 / 72
# Of the typeface of the tag: how wide a figure is, and how high, in parts of its size.
_ADVANCE, _FIGURE = 0.602, 0.729


@dataclass(frozen=True, slots=True)
class LabelSize:
    """A page of labels, in mm: how many across and down, each so large, and where the first begins."""

    name: str
    page: tuple[float, float]
    across: int
    down: int
    label: tuple[float, float]
    first: tuple[float, float]
    gap: tuple[float, float]

    @property
    def on_a_page(self) -> int:
        """How many labels a page holds."""
        return self.across * self.down


A4 = (210.0, 297.0)
SIZES = {
    one.name: one
    for one in (
        LabelSize("63.5 x 38.1 mm, 21 on A4", A4, 3, 7, (63.5, 38.1), (7.25, 15.15), (2.5, 0.0)),
        LabelSize("99.1 x 67.7 mm, 8 on A4", A4, 2, 4, (99.1, 67.7), (4.65, 13.1), (2.5, 0.0)),
        LabelSize("60 x 40 mm, one by one", (60.0, 40.0), 1, 1, (60.0, 40.0), (0.0, 0.0), (0.0, 0.0)),
    )
}
USUAL = next(iter(SIZES))


def find_size(name: str) -> LabelSize:
    """One of the sizes, by its name or the beginning of it."""
    asked = name.strip().replace("×", "x")
    for one in SIZES.values():
        if asked and one.name.startswith(asked):
            return one
    raise NotPossible(f"There are no labels {name.strip()[:40]!r}. There are: {'; '.join(SIZES)}.")


def label_paper(lines: Sequence[LabelLine], size: LabelSize, *, begin: int = 1) -> bytes:
    """The labels as a PDF; ``begin`` is the place on the first sheet where the first one goes."""
    if not lines:
        raise NotPossible("Choose at least one item.")
    if not 1 <= begin <= size.on_a_page:
        raise NotPossible(f"A sheet has the places 1 to {size.on_a_page}, not {begin}.")
    empty = [None] * (begin - 1)
    places = [*empty, *(_label(line, size) for line in lines)]
    pages = [places[at : at + size.on_a_page] for at in range(0, len(places), size.on_a_page)]
    said = {
        "title": "Labels",
        "page": size.page,
        "label": size.label,
        "first": size.first,
        "step": [size.label[0] + size.gap[0], size.label[1] + size.gap[1]],
        "across": size.across,
        "code": _whole_code_mm(),
        "pages": pages,
    }
    return press("labels.typ", said)


def _label(line: LabelLine, size: LabelSize) -> dict[str, object]:
    room_mm = size.label[0] - _whole_code_mm() - 3.2
    return {
        "tag": show_tag(line.tag),
        "code": _code(line.tag),
        "what": f"{line.kind} {line.model}",
        "ratings": list(line.ratings) or ["Rating: see its plate"],
        "site": line.site,
        "pt": tag_points(show_tag(line.tag), room_mm),
    }


def tag_points(shown: str, room_mm: float) -> float:
    """The size of the tag's figures: as large as there is room, up to some 6 mm high."""
    return min(room_mm / (len(shown) * _ADVANCE) / _PT_MM, 6 / _FIGURE / _PT_MM)


def _modules(tag: str) -> int:
    return len(segno.make_qr(tag, error="q", boost_error=False).matrix)


def _whole_code_mm() -> float:
    """With its quiet zone; a tag of up to ten figures always fits the smallest code, of 21 modules."""
    modules = _modules("0" * 10)
    return CODE_MM / modules * (modules + 2 * QUIET)


def _code(tag: str) -> str:
    drawn = BytesIO()
    segno.make_qr(tag, error="q", boost_error=False).save(drawn, kind="svg", border=QUIET, xmldecl=False)
    return drawn.getvalue().decode()
