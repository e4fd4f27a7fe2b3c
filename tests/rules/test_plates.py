"""What a type plate must say, by kind."""

from __future__ import annotations

import pytest

from fleet.bolting.parts import Kind
from fleet.refusals import Unreadable
from fleet.rules.plates import judge_plate, read_burst_ratio
from fleet.rules.register import Head

SQUARE: dict[str, object] = {"kind": "wrench", "head": Head.SQUARE_DRIVE, "drive_written": "1 in"}
LINK: dict[str, object] = {"kind": "wrench", "head": Head.RATCHET_LINK, "across_flats_written": "60 mm"}
SOCKET: dict[str, object] = {"kind": "socket", "drive_written": "1 in", "across_flats_written": "36 mm"}
GAUGE: dict[str, object] = {
    "kind": "gauge",
    "range_written": "1000 bar",
    "range_mpa": 100.0,
    "accuracy_class": "1.6",
}
SOUND: list[dict[str, object]] = [
    SQUARE,
    LINK,
    SOCKET,
    GAUGE,
    {"kind": "pump"},
    {"kind": "hose"},
    {"kind": "coupler"},
]


def name_of(plate: dict[str, object]) -> str:
    return f"{plate.get('head', '')} {plate['kind']}".strip()


@pytest.mark.parametrize("plate", SOUND, ids=name_of)
def test_a_plate_with_what_its_kind_needs_is_sound(plate: dict[str, object]) -> None:
    assert judge_plate(plate) is None


@pytest.mark.parametrize("plate", [SQUARE, LINK, SOCKET, GAUGE], ids=name_of)
def test_without_any_one_of_them_it_is_not(plate: dict[str, object]) -> None:
    for field in set(plate) - {"kind", "range_mpa"}:
        fault = judge_plate({name: value for name, value in plate.items() if name != field})
        assert fault is not None
        assert fault.field == field


@pytest.mark.parametrize("kind", Kind)
def test_a_value_under_the_wrong_kind_is_a_slip_of_the_column(kind: Kind) -> None:
    belongs = {
        "relief_advance_written": {Kind.PUMP},
        "burst_ratio": {Kind.HOSE},
        "range_written": {Kind.GAUGE},
        "head": {Kind.WRENCH},
    }
    sound = next(plate for plate in SOUND if plate["kind"] == kind)
    for field, kinds in belongs.items():
        fault = judge_plate({**sound, field: sound.get(field) or "x"})
        assert (fault is None) == (kind in kinds), field


def test_a_square_drive_wrench_has_no_link_and_a_link_no_square_drive() -> None:
    for plate, extra in ((SQUARE, "across_flats_written"), (LINK, "drive_written")):
        fault = judge_plate({**plate, extra: "36 mm"})
        assert fault is not None
        assert "wrench does not have" in fault.sentence


def test_a_graduation_is_a_step_of_the_scale() -> None:
    assert judge_plate({**GAUGE, "graduation_written": "10 bar", "graduation_mpa": 1.0}) is None
    fault = judge_plate({**GAUGE, "graduation_written": "200 bar", "graduation_mpa": 20.0})
    assert fault is not None
    assert "200 bar is too coarse for a range of 1000 bar" in fault.sentence


@pytest.mark.parametrize(("written", "ratio"), [("4:1", 4), ("4 : 1", 4), ("4", 4), ("2.5:1", 2.5)])
def test_a_burst_ratio_as_it_is_printed(written: str, ratio: float) -> None:
    assert read_burst_ratio(written) == ratio


@pytest.mark.parametrize("written", ["1:4", "1", "0:1", "four", "4:2", "400", "4,0", "-4", "", "4:1:1", "٤"])
def test_a_burst_ratio_that_is_none(written: str) -> None:
    with pytest.raises(Unreadable, match="is no burst ratio; write it like 4:1"):
        read_burst_ratio(written)
