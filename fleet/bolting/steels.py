"""Least yield strength of bolting steel by grade and diameter.

ASTM A193/A193M and A320/A320M, ISO 898-1. The inch and the metric values of the ASTM tables stand apart and
are not conversions of one another. Metric ASTM values, and ISO 898-1, are from memory.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from fleet.bolting.figures import MM_PER_INCH, exceeds
from fleet.bolting.threads import Thread
from fleet.refusals import OffTheChart

MPA_PER_KSI = 6.894757293168


class Grade(StrEnum):
    """A grade or property class of bolting."""

    B7 = "A193 B7"
    B7M = "A193 B7M"
    B16 = "A193 B16"
    B8_1 = "A193 B8 class 1"
    B8M_1 = "A193 B8M class 1"
    B8_2 = "A193 B8 class 2"
    B8M_2 = "A193 B8M class 2"
    L7 = "A320 L7"
    ISO_8_8 = "8.8"
    ISO_10_9 = "10.9"
    ISO_12_9 = "12.9"


@dataclass(frozen=True, slots=True)
class _Step:
    """Up to and with this diameter, this yield strength."""

    diameter: float
    strength: float


def _steps(text: str) -> tuple[_Step, ...]:
    pairs = (pair.split(":") for pair in text.split())
    return tuple(_Step(float(diameter), float(strength)) for diameter, strength in pairs)


# Inches and ksi.
_INCH: Mapping[Grade, tuple[_Step, ...]] = MappingProxyType(
    {
        Grade.B7: _steps("2.5:105 4:95 7:75"),
        Grade.B7M: _steps("4:80 7:75"),
        Grade.B16: _steps("2.5:105 4:95 7:85"),
        Grade.B8_1: _steps("inf:30"),
        Grade.B8M_1: _steps("inf:30"),
        Grade.B8_2: _steps("0.75:100 1:80 1.25:65 1.5:50"),
        Grade.B8M_2: _steps("0.75:95 1:80 1.25:65 1.5:50"),
        Grade.L7: _steps("2.5:105"),
    }
)

# Millimetres and MPa.
_METRIC: Mapping[Grade, tuple[_Step, ...]] = MappingProxyType(
    {
        Grade.B7: _steps("64:720 100:655 180:515"),
        Grade.B7M: _steps("100:550 180:515"),
        Grade.B16: _steps("64:725 100:655 180:585"),
        Grade.B8_1: _steps("inf:205"),
        Grade.B8M_1: _steps("inf:205"),
        Grade.B8_2: _steps("20:690 24:550 30:450 36:345"),
        Grade.B8M_2: _steps("20:655 24:550 30:450 36:345"),
        Grade.L7: _steps("64:725"),
        Grade.ISO_8_8: _steps("16:640 39:660"),
        Grade.ISO_10_9: _steps("39:940"),
        Grade.ISO_12_9: _steps("39:1100"),
    }
)


def yield_strength_mpa(grade: Grade, thread: Thread) -> float:
    """Give the least yield strength; raises ``OffTheChart`` for what the standard does not list."""
    metric = thread.series.metric
    steps = (_METRIC if metric else _INCH).get(grade, ())
    diameter = thread.diameter_mm if metric else thread.diameter_mm / MM_PER_INCH
    for step in steps:
        if not exceeds(diameter, step.diameter):
            return step.strength * (1 if metric else MPA_PER_KSI)
    reach = max((step.diameter for step in steps), default=math.nan)
    where = f"ends at {reach:g} {'mm' if metric else 'in'}" if steps else "is for metric threads only"
    raise OffTheChart(
        f"{grade} {where}, so it gives no yield for {thread.designation}: take the bolts' certificate."
    )
