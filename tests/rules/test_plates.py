"""What a type plate must say, by kind."""

from __future__ import annotations

import pytest

from fleet.bolting.figures import FLOAT_NOISE
from fleet.bolting.parts import Kind
from fleet.refusals import Unreadable
from fleet.rules.plates import PlateFault, judge_plate, read_burst_ratio
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


PLATES = {Kind(str(plate["kind"])): plate for plate in reversed(SOUND)}  # Of the two wrenches the first.


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


# Which kinds may have what on their plate, and how the sentence calls it.
RATED = {Kind.WRENCH, Kind.PUMP, Kind.HOSE, Kind.COUPLER, Kind.GAUGE}
BELONGS: dict[str, tuple[str, set[Kind]]] = {
    "mwp_advance_written": ("a maximum working pressure", RATED),
    "mwp_retract_written": ("a maximum working pressure", RATED),
    "head": ("a head", {Kind.WRENCH}),
    "drive_written": ("a square drive", {Kind.WRENCH, Kind.SOCKET}),
    "across_flats_written": ("a width across flats", {Kind.WRENCH, Kind.SOCKET}),
    "relief_advance_written": ("a relief setting", {Kind.PUMP}),
    "relief_retract_written": ("a relief setting", {Kind.PUMP}),
    "burst_ratio": ("a burst ratio", {Kind.HOSE}),
    "length_written": ("a length", {Kind.HOSE}),
    "range_written": ("a range", {Kind.GAUGE}),
    "accuracy_class": ("an accuracy class", {Kind.GAUGE}),
    "graduation_written": ("a graduation", {Kind.GAUGE}),
    "stroke_degrees": ("a stroke", {Kind.WRENCH}),
    "advance_volume_written": ("an advance stroke volume", {Kind.WRENCH}),
    "return_volume_written": ("a return stroke volume", {Kind.WRENCH}),
    "flow_written": ("a pump flow", {Kind.PUMP}),
    "bulk_months": ("an age of its bulk hose", {Kind.HOSE}),
    "storage_months": ("a time of storage", {Kind.HOSE}),
}


@pytest.mark.parametrize("kind", Kind)
@pytest.mark.parametrize("field", BELONGS)
def test_a_value_under_the_wrong_kind_is_a_slip_of_the_column(kind: Kind, field: str) -> None:
    what, kinds = BELONGS[field]
    # A link wrench has its width across flats where a square-drive wrench has its drive.
    sound = LINK if (kind, field) == (Kind.WRENCH, "across_flats_written") else PLATES[kind]
    fault = judge_plate({**sound, field: sound.get(field) or "x"})
    expected = PlateFault(field, f"A {kind} does not have {what}; check the kind and the column.")
    assert fault == (None if kind in kinds else expected)


def test_a_square_drive_wrench_has_no_link_and_a_link_no_square_drive() -> None:
    extra = judge_plate({**SQUARE, "across_flats_written": "36 mm"})
    assert extra == PlateFault(
        "across_flats_written", "A square drive wrench does not have a width across flats."
    )
    extra = judge_plate({**LINK, "drive_written": "1 in"})
    assert extra == PlateFault("drive_written", "A ratchet link wrench does not have a square drive.")


@pytest.mark.parametrize(
    ("plate", "field", "sentence"),
    [
        (SQUARE, "head", "A wrench must have a head on its plate."),
        (SQUARE, "drive_written", "A square drive wrench must have a square drive on its plate."),
        (LINK, "across_flats_written", "A ratchet link wrench must have a width across flats on its plate."),
        (SOCKET, "drive_written", "A socket must have a square drive on its plate."),
        (GAUGE, "accuracy_class", "A gauge must have an accuracy class on its plate."),
    ],
)
def test_what_is_missing_is_called_by_its_name(plate: dict[str, object], field: str, sentence: str) -> None:
    without = {name: value for name, value in plate.items() if name != field}
    assert judge_plate(without) == PlateFault(field, sentence)


STROKE: dict[str, object] = {
    **SQUARE,
    "advance_volume_written": "70 cm³",
    "advance_volume_cm3": 70.0,
    "return_volume_written": "70 cm³",
    "return_volume_cm3": 70.0,
}


def test_no_more_oil_goes_back_than_came_out() -> None:
    """The rod takes its room on the return side, so at most the two are alike."""
    assert judge_plate(STROKE) is None
    assert judge_plate({**STROKE, "return_volume_cm3": 35.0}) is None
    assert judge_plate({**STROKE, "return_volume_cm3": 70.0 * (1 + FLOAT_NOISE)}) is None
    assert judge_plate({**STROKE, "return_volume_cm3": None}) is None
    assert judge_plate({**STROKE, "advance_volume_cm3": None}) is None
    more = judge_plate({**STROKE, "return_volume_written": "71 cm³", "return_volume_cm3": 71.0})
    assert more == PlateFault(
        "return_volume_written",
        "A return stroke cannot take more oil than an advance stroke: 71 cm³ is more than 70 cm³.",
    )


def test_a_graduation_is_a_step_of_the_scale() -> None:
    assert judge_plate({**GAUGE, "graduation_written": "10 bar", "graduation_mpa": 1.0}) is None
    coarsest = {**GAUGE, "graduation_written": "100 bar", "graduation_mpa": 10.0}
    assert judge_plate(coarsest) is None
    assert judge_plate({**coarsest, "graduation_mpa": 10.1}) is not None
    assert judge_plate({**coarsest, "graduation_mpa": 9.5}) is None
    fault = judge_plate({**GAUGE, "graduation_written": "200 bar", "graduation_mpa": 20.0})
    assert fault is not None
    assert fault.field == "graduation_written"
    assert "200 bar is too coarse for a range of 1000 bar" in fault.sentence


@pytest.mark.parametrize(
    ("written", "ratio"), [("4:1", 4), ("4 : 1", 4), ("4", 4), ("2.5:1", 2.5), ("1.5", 1.5), ("20:1", 20)]
)
def test_a_burst_ratio_as_it_is_printed(written: str, ratio: float) -> None:
    assert read_burst_ratio(written) == ratio


@pytest.mark.parametrize(
    "written", ["1:4", "1", "20.5", "21:1", "0:1", "four", "4:2", "400", "4,0", "-4", "", "4:1:1", "٤"]
)
def test_a_burst_ratio_that_is_none(written: str) -> None:
    with pytest.raises(Unreadable) as refusal:
        read_burst_ratio(written)
    assert str(refusal.value) == f'"{written}" is no burst ratio; write it like 4:1.'


def test_of_a_whole_paragraph_only_the_beginning_is_quoted() -> None:
    with pytest.raises(Unreadable, match=r'^"abcdefghijklmnopqrst" is no burst ratio'):
        read_burst_ratio("abcdefghijklmnopqrstuvwxyz")
