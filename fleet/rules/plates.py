"""What a type plate must say and must not say, by kind."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.bolting.figures import FLOAT_NOISE
from fleet.bolting.parts import Kind
from fleet.refusals import Unreadable
from fleet.rules.register import Head

if TYPE_CHECKING:
    from collections.abc import Mapping

_RATIO = re.compile(r"([0-9]{1,2}(?:\.[0-9]+)?)(?: ?: ?1)?")
_HYDRAULIC = (Kind.WRENCH, Kind.PUMP, Kind.HOSE, Kind.COUPLER, Kind.GAUGE)
# Which kinds may have what on their plate; a value under the wrong kind is a slip of the column.
_BELONGS: Mapping[str, tuple[str, tuple[Kind, ...]]] = {
    "mwp_advance_written": ("a maximum working pressure", _HYDRAULIC),
    "mwp_retract_written": ("a maximum working pressure", _HYDRAULIC),
    "head": ("a head", (Kind.WRENCH,)),
    "drive_written": ("a square drive", (Kind.WRENCH, Kind.SOCKET)),
    "across_flats_written": ("a width across flats", (Kind.WRENCH, Kind.SOCKET)),
    "relief_advance_written": ("a relief setting", (Kind.PUMP,)),
    "relief_retract_written": ("a relief setting", (Kind.PUMP,)),
    "burst_ratio": ("a burst ratio", (Kind.HOSE,)),
    "length_written": ("a length", (Kind.HOSE,)),
    "range_written": ("a range", (Kind.GAUGE,)),
    "accuracy_class": ("an accuracy class", (Kind.GAUGE,)),
    "graduation_written": ("a graduation", (Kind.GAUGE,)),
    "stroke_degrees": ("a stroke", (Kind.WRENCH,)),
    "advance_volume_written": ("an advance stroke volume", (Kind.WRENCH,)),
    "return_volume_written": ("a return stroke volume", (Kind.WRENCH,)),
    "flow_written": ("a pump flow", (Kind.PUMP,)),
    "bulk_months": ("an age of its bulk hose", (Kind.HOSE,)),
    "storage_months": ("a time of storage", (Kind.HOSE,)),
    "width_written": ("a width", (Kind.WRENCH,)),
    "height_written": ("a height", (Kind.WRENCH,)),
    "arm_written": ("a reaction arm", (Kind.WRENCH,)),
}
_MUST = {
    Kind.WRENCH: ("head",),
    Kind.SOCKET: ("drive_written", "across_flats_written"),
    Kind.GAUGE: ("range_written", "accuracy_class"),
}
_HEADS = {
    Head.SQUARE_DRIVE: ("drive_written", "across_flats_written"),
    Head.RATCHET_LINK: ("across_flats_written", "drive_written"),
}


@dataclass(frozen=True, slots=True)
class PlateFault:
    """The field of the plate that is at fault, and the sentence."""

    field: str
    sentence: str


def judge_plate(plate: Mapping[str, object]) -> PlateFault | None:
    """Find the first fault of a type plate, given by the names of the model's record.

    A rating that is missing is no fault here: an item without one is stopped at the counter.
    """
    kind = Kind(str(plate["kind"]))
    for field, (what, kinds) in _BELONGS.items():
        if plate.get(field) is not None and kind not in kinds:
            return PlateFault(field, f"A {kind} does not have {what}; check the kind and the column.")
    for field in _MUST.get(kind, ()):
        if plate.get(field) is None:
            return PlateFault(field, f"A {kind} must have {_BELONGS[field][0]} on its plate.")
    return _judge_stroke(plate) or _judge_head(plate) if kind is Kind.WRENCH else _judge_gauge(plate)


def _judge_stroke(plate: Mapping[str, object]) -> PlateFault | None:
    """The piston is smaller on the side of its rod, so more oil comes out than goes back."""
    out, back = plate.get("advance_volume_cm3"), plate.get("return_volume_cm3")
    if isinstance(out, float) and isinstance(back, float) and back > out * (1 + FLOAT_NOISE):
        return PlateFault(
            "return_volume_written",
            f"A return stroke cannot take more oil than an advance stroke: {plate['return_volume_written']} "
            f"is more than {plate['advance_volume_written']}.",
        )
    return None


def _judge_head(plate: Mapping[str, object]) -> PlateFault | None:
    head = Head(str(plate["head"]))
    must, must_not = _HEADS[head]
    if plate.get(must) is None:
        return PlateFault(must, f"A {head} wrench must have {_BELONGS[must][0]} on its plate.")
    if plate.get(must_not) is not None:
        return PlateFault(must_not, f"A {head} wrench does not have {_BELONGS[must_not][0]}.")
    return None


def _judge_gauge(plate: Mapping[str, object]) -> PlateFault | None:
    step, most = plate.get("graduation_mpa"), plate.get("range_mpa")
    if isinstance(step, float) and isinstance(most, float) and step > most / 10:
        return PlateFault(
            "graduation_written",
            f"A graduation of {plate['graduation_written']} is too coarse for a range of "
            f"{plate['range_written']}; give the step between two lines of the scale.",
        )
    return None


def read_burst_ratio(text: str) -> float:
    """Read ``4:1``, ``4 : 1`` or ``4``. Raises Unreadable for a ratio that is not above 1."""
    found = _RATIO.fullmatch(text.strip())
    ratio = float(found[1]) if found else 0.0
    if not 1 < ratio <= 20:  # noqa: PLR2004  No hose bursts later than that; the rest is a slip of the pen.
        raise Unreadable(f'"{text[:20]}" is no burst ratio; write it like 4:1.')
    return ratio
