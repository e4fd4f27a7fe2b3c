"""Points of a certificate as a keeper writes them down."""

from __future__ import annotations

import codecs

import pytest

from fleet.refusals import Unreadable
from fleet.rules.certificate_points import read_point, read_points
from fleet.rules.received import MOST_SCANNED, check_scan, read_file

WHOLE = (
    "Stage,Pressure (bar),Torque (N·m),Expanded uncertainty\n"
    "as found,200,606,6 N·m\n"
    'As Left,400,"1,210",0.8 %\n'
    "\n"
    "before adjustment,700,2110,\n"
)


def refused(text: str | bytes, kind: str = "wrench") -> str:
    with pytest.raises(Unreadable) as refusal:
        read_points(text.encode() if isinstance(text, str) else text, kind)
    assert "\n" not in str(refusal.value)
    return str(refusal.value)


def test_a_file_of_points() -> None:
    found = read_points(WHOLE.encode(), "wrench")
    assert [(one.stage.value, one.at_mpa, one.found_si) for one in found] == [
        ("as found", 20, 606),
        ("as left", 40, 1210),
        ("as found", 70, 2110),
    ]
    assert [one.expanded_si for one in found] == [6, pytest.approx(9.68), None]
    assert (found[0].at_written, found[0].found_written) == ("200 bar", "606 N·m")


@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_other_delimiters(delimiter: str) -> None:
    text = "stage|pressure|torque|U (%)\nas found|200 bar|606 N·m|1\n".replace("|", delimiter)
    (one,) = read_points(text.encode(), "wrench")
    assert one.expanded_si == pytest.approx(6.06)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_encodings_that_say_so_themselves(encoding: str) -> None:
    assert len(read_points(WHOLE.encode(encoding), "wrench")) == 3


def test_a_gauge_has_readings() -> None:
    (one,) = read_points(b"stage,applied pressure,reading,U\nas found,200 bar,203 bar,2 bar\n", "gauge")
    assert one.at_mpa == 20
    assert one.found_si == pytest.approx(20.3)
    assert one.expanded_si == pytest.approx(0.2)


def test_points_typed_one_by_one() -> None:
    one = read_point("as left; 3000 psi; 450 lbf·ft; 4 lbf·ft", "wrench")
    assert one.at_mpa == pytest.approx(20.684, abs=1e-3)  # 3000 psi, NIST SP 811 B.8.
    assert one.found_si == pytest.approx(610.118, abs=1e-3)  # 450 lbf·ft, as above.
    assert read_point("as found; 200 bar; 600 N·m", "wrench").expanded_si is None


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "empty"),
        ("  \n ", "empty"),
        ("stage,pressure\nas found,200 bar", "lacks a column"),
        ("stage,pressure,torque,colour\n", "'colour' is not known"),
        ("stage,pressure,torque,torque\n", "same column"),
        ("stage,pressure,torque\nin between,200 bar,600 N·m", "Row 2: 'in between' is no stage"),
        ("stage,pressure,torque\nas found,200,600 N·m", 'Row 2: "200" has no unit'),
        ("stage,pressure,torque\nas found,200 bar,many", 'Row 2: "many"'),
        ("stage,pressure,torque\nas found,600 N·m,200 bar", "is a torque; a pressure was expected"),
        ("stage,pressure,torque\nas found,200 bar,600 bar", "is a pressure; a torque was expected"),
        ("stage,pressure,torque\nas found,200 bar,-600 N·m", "Row 2"),
        ("stage,pressure,torque\nas found,200 bar,6e2 N·m", "exponent"),
        ("stage,pressure,torque\nas found,200 bar,600 N·m,6,7", "more cells"),
        ('stage,pressure,torque\nas found,"200 bar,600 N·m', "cannot be read as CSV"),
        ("stage,pressure,torque\n" + "as found,200 bar,600 N·m\n" * 501, "501 points"),
    ],
)
def test_what_cannot_be_read_is_refused_with_its_row(text: str, said: str) -> None:
    assert said in refused(text)


def test_other_code_pages_and_zero_bytes_are_refused() -> None:
    assert "UTF-8" in refused("stage,pressure,torque\nas found,200 bar,600 N·m".encode("cp1252"))
    assert "zero bytes" in refused(b"stage\0,pressure\n")
    assert "5,000,000" in refused(b"x" * 5_000_001)


def test_a_file_is_told_by_what_stands_in_it() -> None:
    assert read_file(codecs.BOM_UTF8 + WHOLE.encode(), "wrench")[0] == "text/csv"
    with pytest.raises(Unreadable, match="--scan"):
        read_file(b"%PDF-1.7", "wrench")
    with pytest.raises(Unreadable, match="digital calibration certificate"):
        read_file(b"\xef\xbb\xbf \n<x/>", "wrench")
    assert check_scan(b"%PDF-1.7") == "application/pdf"
    for content in (b"", b"MZ\x90", b"<svg/>"):
        with pytest.raises(Unreadable, match="no PDF"):
            check_scan(content)
    with pytest.raises(Unreadable, match="at most"):
        check_scan(b"%PDF-" + bytes(MOST_SCANNED))


@pytest.mark.parametrize("text", ["", "as found", "as found; 200 bar", "a; b; c; d; e"])
def test_a_point_has_three_or_four_parts(text: str) -> None:
    with pytest.raises(Unreadable, match="is not a point"):
        read_point(text, "wrench")
