"""Does the wrench meet the nut. Sizes of ISO 4032: M36 55 mm, M33 50 mm, M30 46 mm."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.rules.findings import Finding, Severity
from fleet.rules.sockets import FIT_TOLERANCE_MM, NutFacts, SocketFacts, fit_nut, in_both

INCH = 25.4
NUT = NutFacts("J-101/3", 55.0)
SQUARE = 1.5 * INCH
SOCKET = SocketFacts("S-1", SQUARE, 55.0)
Width = float | None


def found(
    drive_mm: Width = SQUARE,
    link_mm: tuple[float, float] | None = None,
    socket: SocketFacts | None = SOCKET,
    nut: NutFacts = NUT,
) -> list[Finding]:
    return list(fit_nut("W-1", drive_mm, link_mm, socket, nut))


def only(findings: list[Finding]) -> Finding:
    (finding,) = findings
    return finding


def test_a_socket_of_the_size_of_square_and_nut_fits() -> None:
    assert found() == []


UNKNOWN_NUT = NutFacts("J-101/3", None)
HARD, SOFT = Severity.HARD, Severity.SOFT
FAULTS: list[tuple[dict[str, Any], Finding]] = [
    (
        {"nut": UNKNOWN_NUT},
        Finding(
            SOFT,
            "across-flats-unknown",
            "The width across flats of joint J-101/3 is not on record: measure a nut.",
            "J-101/3",
        ),
    ),
    (
        {"drive_mm": None},
        Finding(HARD, "drive-unknown", "Neither a square drive nor a link is on record for W-1.", "W-1"),
    ),
    (
        {"socket": None},
        Finding(HARD, "no-socket", "W-1 has a square drive and the kit has no socket.", "W-1"),
    ),
    (
        {"socket": SocketFacts("S-1", None, 55.0)},
        Finding(HARD, "socket-unknown", "The drive of socket S-1 is not on record.", "S-1"),
    ),
    (
        {"socket": SocketFacts("S-1", SQUARE, None)},
        Finding(HARD, "socket-unknown", "The across flats of socket S-1 is not on record.", "S-1"),
    ),
    (
        {"socket": SocketFacts("S-1", INCH, 55.0)},
        Finding(
            HARD,
            "socket-does-not-fit",
            "Socket S-1: drive 25.4 mm (1 in), but 38.1 mm (1 1/2 in) is needed.",
            "S-1",
        ),
    ),
    (
        {"socket": SocketFacts("S-1", SQUARE, 50.0)},
        Finding(
            HARD,
            "socket-does-not-fit",
            "Socket S-1: across flats 50 mm (1 15/16 in), but 55 mm (2 3/16 in) is needed.",
            "S-1",
        ),
    ),
    (
        {"link_mm": (46.0, 50.0)},
        Finding(
            HARD,
            "link-does-not-fit",
            "W-1 takes 46 mm (1 13/16 in) to 50 mm (1 15/16 in) across flats, and the nut of joint J-101/3 "
            "has 55 mm (2 3/16 in).",
            "W-1",
        ),
    ),
    (
        {"link_mm": (46.0, 46.0)},
        Finding(
            HARD,
            "link-does-not-fit",
            "W-1 takes 46 mm (1 13/16 in) across flats, and the nut of joint J-101/3 has 55 mm (2 3/16 in).",
            "W-1",
        ),
    ),
]


@pytest.mark.parametrize(("kit", "fault"), FAULTS, ids=[fault.sentence for _, fault in FAULTS])
def test_what_keeps_a_wrench_off_a_nut_is_said_once(kit: dict[str, Any], fault: Finding) -> None:
    assert found(**kit) == [fault]


def test_a_link_needs_no_drive_and_no_socket() -> None:
    assert found(drive_mm=None, link_mm=(55.0, 55.0), socket=None) == []


def test_a_link_is_not_held_against_a_nut_nobody_measured() -> None:
    assert only(found(link_mm=(46.0, 50.0), nut=UNKNOWN_NUT)).code == "across-flats-unknown"


@given(st.floats(-5, 5))
def test_sizes_on_record_may_differ_by_three_tenths_of_a_millimetre(off: float) -> None:
    if abs(abs(off) - 0.3) < 1e-6:
        return  # Within float noise of the border it may fall either way.
    far = abs(off) > 0.3
    assert bool(found(socket=SocketFacts("S-1", SQUARE + off, NUT.across_flats_mm))) == far
    assert bool(found(socket=SocketFacts("S-1", SQUARE, 55.0 + off))) == far
    assert bool(found(link_mm=(55.0 + off, 55.0 + off))) == far


@given(st.floats(40, 80))
def test_a_link_takes_what_lies_between_its_least_and_its_greatest(nut_mm: float) -> None:
    takes = 45.7 <= nut_mm <= 60.3
    if min(abs(nut_mm - 45.7), abs(nut_mm - 60.3)) > 1e-6:
        assert bool(found(link_mm=(46.0, 60.0), nut=NutFacts("J", nut_mm))) != takes


def test_at_the_very_tolerance_it_still_fits() -> None:
    """Sizes of the program's own slack, so that no float noise blurs the border."""
    slack = FIT_TOLERANCE_MM
    least, most = 46.0, 60.0
    for nut_mm in (least - slack, most + slack):
        assert found(link_mm=(least, most), nut=NutFacts("J", nut_mm)) == []
    twice = SocketFacts("S-1", SQUARE, 2 * slack)
    assert found(socket=twice, nut=NutFacts("J", slack)) == []


def test_neighbouring_sockets_are_told_apart() -> None:
    """A millimetre and a sixteenth of an inch are both more than the slack."""
    for off in (1.0, INCH / 16):
        assert only(found(socket=SocketFacts("S-1", SQUARE, 55.0 + off))).code == "socket-does-not-fit"


def test_a_width_is_written_as_sockets_are_marked() -> None:
    assert in_both(38.1) == "38.1 mm (1 1/2 in)"
    assert in_both(36) == "36 mm (1 7/16 in)"
