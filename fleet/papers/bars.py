"""Bars as SVG: data in, one picture out, legible in black and white and told in words too."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.rules.drawing import GRID, INK, line, opened, text

if TYPE_CHECKING:
    from collections.abc import Sequence

WIDTH = 720
_LEFT, _RIGHT, _TOP, _ROW, _FOOT = 230, 90, 44, 26, 14
_BAR = 16
_FILL = f"fill='{GRID}' stroke='{INK}'"
# What a name may take of the width before it is cut; the whole stands in the words of the picture.
_LONGEST = 32


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar: its name, how long it is, and what stands at its end."""

    name: str
    value: float
    words: str


def bar_plot(title: str, label: str, bars: Sequence[Bar], *, key: str = "bars") -> str:
    """Draw a bar for each row, from nought on; ``label`` names what is counted, and in what unit.

    ``key`` begins the ids, and differs between pictures of one page.
    """
    most = max((bar.value for bar in bars), default=0.0) or 1.0
    height = _TOP + len(bars) * _ROW + _FOOT
    wide = WIDTH - _LEFT - _RIGHT
    told = f"{label}. " + "; ".join(f"{bar.name}: {bar.words}" for bar in bars) + "."
    parts = [
        opened(WIDTH, height, title, told, key),
        text(12, 20, title, size=15, weight="bold"),
        text(_LEFT, _TOP - 8, label),
        line(_LEFT, _TOP, _LEFT, height - _FOOT, INK),
    ]
    for at, bar in enumerate(bars):
        y = _TOP + at * _ROW + (_ROW - _BAR) / 2
        length = bar.value / most * wide
        name = bar.name if len(bar.name) <= _LONGEST else f"{bar.name[: _LONGEST - 1]}…"
        parts += [
            text(_LEFT - 8, y + _BAR - 4, name, anchor="end"),
            f"<rect x='{_LEFT}' y='{y:.1f}' width='{length:.1f}' height='{_BAR}' {_FILL}/>",
            text(_LEFT + length + 6, y + _BAR - 4, bar.words),
        ]
    return "\n".join((*parts, "</svg>", ""))
