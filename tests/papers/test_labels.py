"""Labels: read by a machine from the rendered paper, and measured on it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pypdfium2
import pytest
import zxingcpp

from fleet.lists.labels import LabelLine
from fleet.papers.labels import SIZES, find_size, label_paper
from fleet.refusals import NotPossible

if TYPE_CHECKING:
    from PIL.Image import Image

DPI = 300
MM = DPI / 25.4
WRENCH = LabelLine("201136", "wrench", "WSQ-76", ("MWP 700 bar / 10,000 psi",), "North Basin", 1)
LONG = LabelLine(
    "9999999994",
    "hose",
    '#panic("x") *bold* <a> ' + "A very long designation " * 12,
    ("MWP advance 700 bar", "MWP retract 250 bar"),
    "The tool room of the far side " * 3,
    1,
)
BARE = LabelLine("10009", "socket", "S", (), "N", 1)
EVERY = (WRENCH, LONG, BARE)
NAMES = list(SIZES)


def rendered(pdf: bytes) -> list[Image]:
    with pypdfium2.PdfDocument(pdf) as document:
        return [page.render(scale=DPI / 72).to_pil().convert("L") for page in document]


def words(pdf: bytes) -> str:
    with pypdfium2.PdfDocument(pdf) as document:
        return " ".join(page.get_textpage().get_text_range() for page in document)


@pytest.mark.parametrize("name", NAMES)
def test_every_code_is_read_back_and_holds_the_figures_only(name: str) -> None:
    size = SIZES[name]
    lines = [EVERY[at % 3] for at in range(size.on_a_page + 2)]
    found = [code for image in rendered(label_paper(lines, size)) for code in zxingcpp.read_barcodes(image)]
    assert sorted(code.text for code in found) == sorted(line.tag for line in lines)
    assert {code.ec_level for code in found} == {"Q"}


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("line", EVERY)
def test_the_code_is_large_enough_and_has_its_quiet_zone(name: str, line: LabelLine) -> None:
    (image,) = rendered(label_paper([line], SIZES[name]))
    (code,) = zxingcpp.read_barcodes(image)
    corners = (code.position.top_left, code.position.bottom_right)
    left, top, right, bottom = corners[0].x, corners[0].y, corners[1].x, corners[1].y
    assert (right - left) / MM >= 20
    assert (bottom - top) / MM >= 20
    module = (right - left) / 21
    quiet = int(4 * module) - 2
    around = image.crop((left - quiet, top - quiet, right + quiet, bottom + quiet))
    assert around.size == (right - left + 2 * quiet, bottom - top + 2 * quiet)
    inner = (quiet - 4, quiet - 4, around.width - quiet + 4, around.height - quiet + 4)
    around.paste(255, inner)
    assert min(around.tobytes()) > 200, "something stands in the quiet zone"


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("line", EVERY)
def test_the_tag_is_at_least_three_millimetres_high_and_on_the_label(name: str, line: LabelLine) -> None:
    size = SIZES[name]
    with pypdfium2.PdfDocument(label_paper([line], size)) as document:
        text = document[0].get_textpage()
        said = text.get_text_range()
        shown = f"{line.tag[:-1]}-{line.tag[-1]}"
        at = said.index(shown)
        height = document[0].get_height()
        for place in range(at, at + len(shown)):
            left, bottom, right, top = text.get_charbox(place)
            if said[place] != "-":
                assert (top - bottom) / 72 * 25.4 >= 3
            assert right / 72 * 25.4 <= size.first[0] + size.label[0]
            assert (height - bottom) / 72 * 25.4 <= size.first[1] + size.label[1]
            assert left > 0


def test_what_stands_on_it_does_not_age() -> None:
    size = SIZES[NAMES[0]]
    said = " ".join(words(label_paper([WRENCH], size)).split())
    assert said == "20113-6 wrench WSQ-76 MWP 700 bar / 10,000 psi North Basin"
    assert "Rating: see its plate" in " ".join(words(label_paper([BARE], size)).split())
    assert '#panic("x")' in words(label_paper([LONG], size))


def test_the_pages_are_those_of_the_sheets() -> None:
    for name, pages, page in ((NAMES[0], 2, (210, 297)), (NAMES[1], 3, (210, 297)), (NAMES[2], 22, (60, 40))):
        with pypdfium2.PdfDocument(label_paper([WRENCH] * 22, SIZES[name])) as document:
            assert len(document) == pages
            assert document[0].get_size() == pytest.approx([side / 25.4 * 72 for side in page], abs=0.1)


def test_a_sheet_that_was_begun_is_gone_on_with() -> None:
    (image,) = rendered(label_paper([WRENCH], SIZES[NAMES[0]], begin=5))
    (code,) = zxingcpp.read_barcodes(image)
    size = SIZES[NAMES[0]]
    left, top = size.first[0] + 66.0, size.first[1] + 38.1
    assert left < code.position.top_left.x / MM < left + size.label[0]
    assert top < code.position.top_left.y / MM < top + size.label[1]


@pytest.mark.parametrize("begin", [0, 22, -1])
def test_a_place_that_is_not_on_the_sheet_is_refused(begin: int) -> None:
    with pytest.raises(NotPossible, match="places 1 to 21"):
        label_paper([WRENCH], SIZES[NAMES[0]], begin=begin)


def test_sizes_are_found_by_their_beginning() -> None:
    assert find_size("63.5").on_a_page == 21
    assert find_size("60 × 40 mm").on_a_page == 1
    for unknown in ("", "12", "<b>"):
        with pytest.raises(NotPossible, match="There are:"):
            find_size(unknown)
    with pytest.raises(NotPossible, match="at least one"):
        label_paper([], SIZES[NAMES[0]])
