"""The drift of one item as a picture."""

import math
from collections.abc import Callable, Iterable, Sequence
from datetime import date
from html import escape

from fleet.bolting.figures import Units
from fleet.measures.tags import show_tag
from fleet.measures.times import show_day
from fleet.rules.drawing import GRID, INK, line, opened, text
from fleet.rules.drift import Drift, DriftPoint, Nominal
from fleet.rules.evidence import Stage

WIDTH = 720
_LEFT, _RIGHT, _TOP, _PANEL, _GAP = 70, 24, 80, 150, 50

_Across = Callable[[date], float]
_Up = Callable[[float], float]


def drift_picture(drift: Drift, pressure_unit: str) -> str:
    """One panel per nominal pressure: the errors over time with their uncertainty, and the tolerance.

    Filled dots are as found, rings as left. All panels have the same scale, so that they can be compared.
    """
    days = sorted({point.calibrated_on for point in drift.points})
    first, last = _span(days)
    most = _round_up(max(map(_reach, drift.points), default=1.0))
    height = _TOP + len(drift.nominals) * (_PANEL + _GAP) + 34
    say = Units(pressure=pressure_unit)
    panels = [
        _panel(nominal, _TOP + at * (_PANEL + _GAP), (first, last), most, say)
        for at, nominal in enumerate(drift.nominals)
    ]
    title = f"Drift of {drift.kind} {show_tag(drift.tag)}"
    told = _told(drift, say)
    return "\n".join(
        (
            opened(WIDTH, height, title, told),
            text(_LEFT, 22, title, size=16, weight="bold"),
            text(_LEFT, 42, f"Error in percent of {drift.of}; bars: expanded uncertainty; dashed: tolerance"),
            *panels,
            _legend(height - 14),
            "</svg>",
            "",
        )
    )


def _reach(point: DriftPoint) -> float:
    return max(abs(point.error_percent) + (point.expanded_percent or 0.0), point.tolerance_percent) * 1.08


def _span(days: Sequence[date]) -> tuple[int, int]:
    """The days on the left and right edge, never the same."""
    first, last = days[0].toordinal(), days[-1].toordinal()
    margin = max((last - first) // 20, 15)
    return first - margin, last + margin


def _round_up(value: float) -> float:
    """The next figure that halves plainly."""
    power = 10.0 ** math.floor(math.log10(value))
    return next(step * power for step in (1, 1.5, 2, 3, 4, 6, 8, 10) if step * power >= value)


def _panel(nominal: Nominal, top: int, days: tuple[int, int], most: float, say: Units) -> str:
    def across(on: date) -> float:
        return _LEFT + (on.toordinal() - days[0]) / (days[1] - days[0]) * (WIDTH - _LEFT - _RIGHT)

    def up(percent: float) -> float:
        return top + _PANEL / 2 - percent / most * _PANEL / 2

    right, bottom = WIDTH - _RIGHT, top + _PANEL
    parts = [
        text(_LEFT, top - 7, f"at {say.reading(nominal.at_mpa)}", weight="bold"),
        line(_LEFT, top, _LEFT, bottom, INK),
    ]
    for percent in (-most, -most / 2, 0.0, most / 2, most):
        y = up(percent)
        parts.append(line(_LEFT, y, right, y, GRID if percent else INK))
        parts.append(text(_LEFT - 8, y + 4, f"{percent:+g} %" if percent else "0 %", anchor="end"))
    for tolerance in sorted({point.tolerance_percent for point in nominal.points}):
        limits = (up(-tolerance), up(tolerance))
        parts.extend(line(_LEFT, y, right, y, INK, dash="7 4") for y in limits)
    parts.extend(_days(nominal.points, across, bottom))
    parts.append(_path(nominal.points, across, up))
    parts.extend(_mark(point, across(point.calibrated_on), up) for point in nominal.points)
    return "\n".join(parts)


def _days(points: Iterable[DriftPoint], across: _Across, bottom: int) -> list[str]:
    """The days under a panel; those that would stand on each other are left out."""
    parts, free = [], 0.0
    for on in sorted({point.calibrated_on for point in points}):
        x = across(on)
        parts.append(line(x, bottom, x, bottom + 5, INK))
        if x - 40 >= free:
            parts.append(text(min(x, WIDTH - _RIGHT - 34), bottom + 18, show_day(on), anchor="middle"))
            free = x + 40
    return parts


def _path(points: Sequence[DriftPoint], across: _Across, up: _Up) -> str:
    """A thin line from one reading to the next, as they followed each other."""
    places = " ".join(f"{across(one.calibrated_on):.1f},{up(one.error_percent):.1f}" for one in points)
    return f"<polyline points='{places}' fill='none' stroke='{INK}' stroke-width='1'/>"


def _mark(point: DriftPoint, x: float, up: _Up) -> str:
    # What was left stands a little to the right of what was found on the same day.
    x += 8 if point.stage is Stage.AS_LEFT else 0
    parts = []
    if point.expanded_percent:
        low, high = (up(point.error_percent + sign * point.expanded_percent) for sign in (-1, 1))
        parts.append(line(x, low, x, high, INK))
        parts.extend(line(x - 6, y, x + 6, y, INK) for y in (low, high))
    fill = "#ffffff" if point.stage is Stage.AS_LEFT else INK
    parts.append(_dot(x, up(point.error_percent), fill, _said(point)))
    return "\n".join(parts)


def _legend(y: int) -> str:
    found, left = _dot(_LEFT + 5, y - 4, INK), _dot(_LEFT + 95, y - 4, "#ffffff")
    return "\n".join((found, text(_LEFT + 16, y, "as found"), left, text(_LEFT + 106, y, "as left")))


def _dot(x: float, y: float, fill: str, told: str = "") -> str:
    title = f"<title>{escape(told)}</title>" if told else ""
    return (
        f"<circle cx='{x:.1f}' cy='{y:.1f}' r='3.5' fill='{fill}' stroke='{INK}' stroke-width='1.5'>"
        f"{title}</circle>"
    )


def _said(point: DriftPoint) -> str:
    sure = f" ± {point.expanded_percent:.2f} %" if point.expanded_percent else ""
    return (
        f"{show_day(point.calibrated_on)}, certificate {point.certificate}, {point.stage}: "
        f"{point.error_percent:+.2f} %{sure}, allowed ±{point.tolerance_percent:g} %"
    )


def _told(drift: Drift, say: Units) -> str:
    """The whole picture in words."""
    told = [
        f"At {say.reading(nominal.at_mpa)}: " + "; ".join(_said(point) for point in nominal.points) + "."
        for nominal in drift.nominals
    ]
    return f"Errors in percent of {drift.of}. " + " ".join(told)
