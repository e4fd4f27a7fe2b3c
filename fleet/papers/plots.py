"""Lines through points as SVG: data in, one picture out, told apart without colour and told in words too.

A picture stands in a page as it is: it needs no style sheet and no script, and its text is text.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.rules.drawing import GRID, INK, line, opened, text

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

WIDTH, HEIGHT = 720, 360
_LEFT, _RIGHT, _TOP, _FOOT = 78, 24, 44, 62
_LINES = ("", "7 4", "2 3", "10 3 2 3")
_ABOUT_STEPS = 6


@dataclass(frozen=True, slots=True)
class Series:
    """One line: what it is called, and its points from left to right."""

    name: str
    points: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class _Axis:
    """From where to where an axis runs, its marks and what stands at them."""

    low: float
    high: float
    marks: tuple[tuple[float, str], ...]

    def share(self, value: float) -> float:
        return (value - self.low) / (self.high - self.low)


def line_plot(
    title: str,
    x_label: str,
    y_label: str,
    series: Sequence[Series],
    *,
    key: str = "plot",
    x_marks: Sequence[tuple[float, str]] = (),
    limits: Sequence[tuple[float, str]] = (),
    height: int = HEIGHT,
) -> str:
    """Draw every series with its points marked; labels name the unit.

    ``key`` begins the ids, and differs between pictures of one page. ``x_marks`` are places across with words
    of their own, such as weeks. ``limits`` are heights at which a dotted line with its words goes across.
    """
    points = [point for one in series for point in one.points]
    if not points:
        raise ValueError("A plot needs a point.")
    x_axis = _axis([x for x, _ in points], x_marks)
    y_axis = _axis([0.0, *(y for _, y in points), *(at for at, _ in limits)])
    bottom = height - _FOOT
    across: Callable[[float], float] = lambda x: _LEFT + x_axis.share(x) * (WIDTH - _LEFT - _RIGHT)  # noqa: E731  Two short ones.
    up: Callable[[float], float] = lambda y: bottom - y_axis.share(y) * (bottom - _TOP)  # noqa: E731  As above.
    parts = [
        opened(WIDTH, height, title, _told(x_label, y_label, series, dict(x_marks)), key),
        text(_LEFT, 20, title, size=15, weight="bold"),
        text(_LEFT, _TOP - 8, y_label),
        text(WIDTH - _RIGHT, bottom + 34, x_label, anchor="end"),
        *_grid(x_axis, y_axis, across, up, bottom),
    ]
    for at, words in limits:
        parts.append(line(_LEFT, up(at), WIDTH - _RIGHT, up(at), INK, dash="1 3"))
        parts.append(text(WIDTH - _RIGHT - 4, up(at) - 4, words, anchor="end"))
    for at, one in enumerate(series):
        places = [(across(x), up(y)) for x, y in one.points]
        parts += _drawn(places, at)
    if len(series) > 1:
        parts += _legend(series, height - 12)
    return "\n".join((*parts, "</svg>", ""))


def _axis(values: Sequence[float], named: Sequence[tuple[float, str]] = ()) -> _Axis:
    """An axis over all values that begins and ends at a plain figure, or at marks that were named."""
    low, high = (
        min(*values, *(at for at, _ in named), math.inf),
        max(*values, *(at for at, _ in named), -math.inf),
    )
    if low == high:
        low, high = (low - 1, high + 1) if low else (0.0, 1.0)
    if named:
        return _Axis(low, high, tuple(named))
    step = _plain_step((high - low) / _ABOUT_STEPS)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    marks = tuple((at * step, f"{at * step:,.6g}") for at in range(first, last + 1))
    return _Axis(first * step, last * step, marks)


def _plain_step(least: float) -> float:
    """The next 1, 2 or 5 times a power of ten."""
    power = 10.0 ** math.floor(math.log10(least))
    return next(step * power for step in (1, 2, 5, 10) if step * power >= least * (1 - 1e-9))


def _grid(
    x_axis: _Axis, y_axis: _Axis, across: Callable[[float], float], up: Callable[[float], float], bottom: int
) -> list[str]:
    parts = [line(_LEFT, _TOP, _LEFT, bottom, INK)]
    for at, words in y_axis.marks:
        parts.append(line(_LEFT, up(at), WIDTH - _RIGHT, up(at), GRID if at else INK))
        parts.append(text(_LEFT - 8, up(at) + 4, words, anchor="end"))
    free = 0.0
    for at, words in x_axis.marks:
        x, half = across(at), 3.6 * len(words)
        parts.append(line(x, bottom, x, bottom + 5, INK))
        # Words that would stand on each other are left out.
        if x - half >= free:
            parts.append(text(x, bottom + 18, words, anchor="middle"))
            free = x + half + 6
    return parts


def _drawn(places: Sequence[tuple[float, float]], at: int) -> list[str]:
    dash = _LINES[at % len(_LINES)]
    dashed = f" stroke-dasharray='{dash}'" if dash else ""
    way = " ".join(f"{x:.1f},{y:.1f}" for x, y in places)
    return [
        f"<polyline points='{way}' fill='none' stroke='{INK}' stroke-width='2'{dashed}/>",
        *(_mark(x, y, at) for x, y in places),
    ]


def _mark(x: float, y: float, at: int) -> str:
    """A dot, a ring, a square or a diamond."""
    fill = "#ffffff" if at % 2 else INK
    edge = f"fill='{fill}' stroke='{INK}' stroke-width='1.5'"
    if at % 4 < 2:  # noqa: PLR2004  Two are round, two have corners.
        return f"<circle cx='{x:.1f}' cy='{y:.1f}' r='4' {edge}/>"
    return f"<rect x='{x - 4:.1f}' y='{y - 4:.1f}' width='8' height='8' {edge}/>"


def _legend(series: Sequence[Series], y: int) -> list[str]:
    parts, x = [], float(_LEFT)
    for at, one in enumerate(series):
        parts += _drawn([(x, y - 4), (x + 28, y - 4)], at)
        parts.append(text(x + 38, y, one.name))
        x += 60 + 7 * len(one.name)
    return parts


def _told(x_label: str, y_label: str, series: Sequence[Series], named: dict[float, str]) -> str:
    """The whole picture in words."""
    told = [
        f"{one.name}: " + "; ".join(f"{named.get(x) or f'{x:,.6g}'}, {y:,.6g}" for x, y in one.points) + "."
        for one in series
    ]
    return f"{y_label} over {x_label}. " + " ".join(told)


_BAR, _NAMES = 28, 280


def bar_plot(title: str, rows: Sequence[tuple[str, float]], *, key: str = "bars") -> str:
    """Draw shares of a whole, in per cent, as bars one under the other; the share stands behind each."""
    if not rows:
        raise ValueError("A plot needs a bar.")
    height = _TOP + _BAR * len(rows) + 12
    told = "; ".join(f"{name}: {share:.0f} %" for name, share in rows)
    parts = [opened(WIDTH, height, title, f"{told}.", key), text(16, 20, title, size=15, weight="bold")]
    for at, (name, share) in enumerate(rows):
        top = _TOP + _BAR * at
        # Room is left for the words behind the longest.
        long = max(share, 0) / 100 * (WIDTH - _NAMES - 90)
        parts.append(text(_NAMES - 10, top + 15, name, anchor="end"))
        parts.append(f"<rect x='{_NAMES}' y='{top}' width='{long:.1f}' height='{_BAR - 8}' fill='{INK}'/>")
        parts.append(text(_NAMES + long + 8, top + 15, f"{share:.0f} %"))
    return "\n".join((*parts, "</svg>", ""))
