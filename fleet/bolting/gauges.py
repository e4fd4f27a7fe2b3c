"""How far a pressure gauge may be off, by its class or grade, and what it can show.

EN 837-1: the class is a percentage of the span. ASME B40.100 (from memory): grades 4A to 1A are a percentage
of the span too; grades A to D allow more in the outer quarters of the range than in the middle half.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from fleet.bolting.charts import Chart, Reading, torque_at
from fleet.bolting.figures import FLOAT_NOISE, SI, Units, exceeds, known
from fleet.refusals import OffTheChart, Unreadable

HIGHEST_CLASS = 5.0


@dataclass(frozen=True, slots=True)
class Accuracy:
    """Allowed error in percent of the span: lower quarter, middle half, upper quarter of the range."""

    name: str
    lower_percent: float
    middle_percent: float
    upper_percent: float


@dataclass(frozen=True, slots=True)
class GaugeError:
    """How far a reading may be off, either way."""

    error_mpa: float
    percent_of_reading: float


_GRADES: Mapping[str, tuple[float, float, float]] = MappingProxyType(
    {
        "4A": (0.1, 0.1, 0.1),
        "3A": (0.25, 0.25, 0.25),
        "2A": (0.5, 0.5, 0.5),
        "1A": (1, 1, 1),
        "A": (2, 1, 2),
        "B": (3, 2, 3),
        "C": (4, 3, 4),
        "D": (5, 5, 5),
    }
)
_WRITTEN = re.compile(
    r"(?:EN\s?837-1|ASME\s?B40\.100|B40\.100)?[\s,:]*(?:class|cl\.?|grade)?\s*"
    r"(?:(?P<grade>[1-4]?A|[BCD])|(?P<number>\d(?:[.,]\d{1,2})?)\s?%?)",
    re.IGNORECASE,
)


def read_accuracy(text: str) -> Accuracy:
    """Read ``1.6``, ``class 1.6``, ``2A`` or ``grade B``; raises ``Unreadable`` for anything else."""
    if written := _WRITTEN.fullmatch(text.strip()):
        if grade := written["grade"]:
            return Accuracy(f"grade {grade.upper()}", *_GRADES[grade.upper()])
        percent = float(written["number"].replace(",", "."))
        if 0 < percent <= HIGHEST_CLASS:
            return Accuracy(f"class {percent:g}", percent, percent, percent)
    raise Unreadable(
        f"{text!r} is no accuracy of a gauge: write a class of EN 837-1, as in 1.6, or a grade of "
        "ASME B40.100, as in 2A or B."
    )


def gauge_error(accuracy: Accuracy, range_mpa: float, reading_mpa: float, units: Units = SI) -> GaugeError:
    """Give the allowed error at a reading on a gauge from zero to ``range_mpa``.

    On the border of two parts of the range the larger error counts. Raises ``OffTheChart`` off the scale.
    """
    if not known(range_mpa) or not known(reading_mpa) or exceeds(reading_mpa, range_mpa):
        raise OffTheChart(
            f"{units.setting(reading_mpa)} cannot be read on a gauge that ends at {units.rating(range_mpa)}."
        )
    share = min(reading_mpa / range_mpa, 1.0)
    parts = (
        (0.0, 0.25, accuracy.lower_percent),
        (0.25, 0.75, accuracy.middle_percent),
        (0.75, 1.0, accuracy.upper_percent),
    )
    allowed_percent = max(percent for low, high, percent in parts if low <= share <= high)
    error_mpa = allowed_percent / 100 * range_mpa
    return GaugeError(error_mpa, 100 * error_mpa / reading_mpa)


def round_to_gauge(pressure_mpa: float, step_mpa: float, highest_mpa: float) -> float:
    """Give the graduation nearest to a pressure, or the one below when that would pass ``highest_mpa``."""
    steps = math.floor(pressure_mpa / step_mpa + 0.5)
    if exceeds(steps * step_mpa, highest_mpa):
        steps = math.floor(highest_mpa / step_mpa + FLOAT_NOISE)
    return steps * step_mpa


def set_by_gauge(chart: Chart, pressure_mpa: float, step_mpa: float, highest_mpa: float) -> Reading:
    """Give the pressure that can be set by a gauge in place of the one asked for, and the torque it gives.

    Raises ``OffTheChart`` when the gauge shows no pressure of the chart near it.
    """
    return torque_at(chart, round_to_gauge(pressure_mpa, step_mpa, highest_mpa))
