"""Weeks and items as a picture: a row per item, a column per week, and all of it in words too."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from itertools import groupby
from typing import TYPE_CHECKING

from fleet.measures.tags import show_tag
from fleet.measures.times import show_day
from fleet.rules.drawing import GRID, INK, line, opened, said, text
from fleet.rules.weeks import Sort, Stretch, Weeks, head, say_stretch

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

_LEFT, _RIGHT, _TOP, _ROW, _FOOT = 250, 16, 112, 22, 48
_LETTER = 6.6
"""How wide a letter of the small print is, on the safe side."""
_LEGEND = (Sort.RESERVED, Sort.OUT, Sort.AWAY, Sort.HOLD, Sort.SHORT, Sort.DUE)
# What a bar is filled with, and how it is edged: told apart without any colour.
_FILLS = {
    Sort.RESERVED: ("#ffffff", ""),
    Sort.OUT: ("#d0d0d0", ""),
    Sort.AWAY: ("url(#slant)", ""),
    Sort.HOLD: ("url(#cross)", ""),
    Sort.SHORT: ("#ffffff", " stroke-dasharray='5 3' stroke-width='2'"),
}
_PATTERNS = (
    "<defs><pattern id='slant' width='7' height='7' patternUnits='userSpaceOnUse'>"
    f"<path d='M-1,8 L8,-1' stroke='{INK}' stroke-width='1'/></pattern>"
    "<pattern id='cross' width='7' height='7' patternUnits='userSpaceOnUse'>"
    f"<path d='M-1,8 L8,-1 M-1,-1 L8,8' stroke='{INK}' stroke-width='0.9'/></pattern></defs>"
)


@dataclass(frozen=True, slots=True)
class _Place:
    """Where one stretch is drawn: its edges, and how far its words reach, which may be past its end."""

    stretch: Stretch
    left: float
    right: float
    reach_left: float
    reach_right: float


@dataclass(frozen=True, slots=True)
class _Sheet:
    """The picture's measures."""

    found: Weeks
    week: int

    @property
    def right(self) -> int:
        return _LEFT + self.week * self.found.period.weeks

    def across(self, day: date) -> float:
        """Where a day begins, or the edge where it lies outside."""
        days = (day - self.found.period.first_day).days
        return _LEFT + min(max(days, 0), 7 * self.found.period.weeks) * self.week / 7

    def place(self, stretch: Stretch) -> _Place:
        """The days of a stretch; what falls due is a mark on its day. Words stand in a bar or beside it."""
        left = self.across(stretch.first_on)
        last = stretch.last_on or self.found.period.last_day
        right = self.across(last + timedelta(days=1))
        if stretch.sort is Sort.DUE:
            middle = (self.across(last) + right) / 2
            left, right = middle - 6, middle + 6
        elif _wide(stretch.mark) + 10 <= right - left:
            return _Place(stretch, left, right, left, right)
        beside = _wide(stretch.mark) + 8
        if right + beside <= self.right or left - beside < _LEFT:
            return _Place(stretch, left, right, left, right + beside)
        return _Place(stretch, left, right, left - beside, right)


def _wide(words: str) -> float:
    return len(words) * _LETTER


def weeks_picture(found: Weeks) -> str:
    """Draw the weeks. Items of a model stand together; joints without a wrench stand above all."""
    sheet = _Sheet(found, max(96 - 2 * max(found.period.weeks - 8, 0), 56))
    y, rows = _TOP, []
    for title, lines in _groups(found):
        rows.append(_title(sheet, y, title))
        y += _ROW
        for label, whole, stretches in lines:
            drawn, tall = _row(sheet, y, label, whole, stretches)
            rows.append(drawn)
            y += tall
    if not found.items:
        rows.append(text(_LEFT, y + 15, "No item of this sort is on record at this site."))
        y += _ROW
    bottom = y + 4
    title = f"{found.site_name}: {_span(found)}"
    return "\n".join(
        (
            opened(sheet.right + _RIGHT, bottom + _FOOT, title, _told(found)),
            _PATTERNS,
            text(12, 24, title, size=16, weight="bold"),
            _legend(46),
            *_columns(sheet, bottom),
            *rows,
            "</svg>",
            "",
        )
    )


def _span(found: Weeks) -> str:
    return f"{show_day(found.period.first_day)} to {show_day(found.period.last_day)}"


_Line = tuple[str, str, "Sequence[Stretch]"]


def _groups(found: Weeks) -> Iterable[tuple[str, list[_Line]]]:
    """Every group with its rows: a label, its whole text, and what stands in the row."""
    if found.shortages:
        yield (
            "Joints short of a wrench",
            [
                (f"{one.job} {one.joint}", f"{one.job}, {one.joint}", (one.stretch,))
                for one in found.shortages
            ],
        )
    for (kind, model), items in groupby(found.items, key=lambda item: (item.kind, item.model)):
        yield (
            f"{kind.capitalize()} {model}",
            [
                (
                    show_tag(one.tag),
                    f"{kind} {show_tag(one.tag)}, {model}, serial {one.serial}",
                    one.stretches,
                )
                for one in items
            ],
        )


def _cut(words: str, room: float, letter: float = _LETTER) -> str:
    """As much of the words as there is room for."""
    most = int(room / letter)
    return words if len(words) <= most else f"{words[: max(most - 1, 0)].rstrip()}…" if most > 1 else ""


def _titled(whole: str, drawn: str) -> str:
    return f"<g><title>{said(whole)}</title>{drawn}</g>"


def _title(sheet: _Sheet, y: float, title: str) -> str:
    shade = f"<rect x='0' y='{y}' width='{sheet.right + _RIGHT}' height='{_ROW}' fill='#eeeeee'/>"
    return shade + _titled(title, text(12, y + 15, _cut(title, sheet.right - 20, 7.2), weight="bold"))


def _row(sheet: _Sheet, y: float, label: str, whole: str, stretches: Sequence[Stretch]) -> tuple[str, int]:
    """One row and its height: what would stand on each other goes under each other."""
    period = sheet.found.period
    lanes: list[float] = []
    parts = []
    # Bars before marks, so that a due day stands under the work that it falls into.
    shown = [one for one in stretches if one.within(period.first_day, period.last_day)]
    for place in map(sheet.place, sorted(shown, key=lambda one: one.sort is Sort.DUE)):
        lane = next((at for at, end in enumerate(lanes) if end <= place.reach_left), len(lanes))
        if lane == len(lanes):
            lanes.append(0.0)
        lanes[lane] = place.reach_right
        parts.append(_titled(say_stretch(place.stretch), _drawn(place, y + lane * _ROW)))
    tall = _ROW * max(len(lanes), 1)
    name = _titled(whole, text(24, y + 15, _cut(label, _LEFT - 30)))
    return "\n".join((name, *parts, line(0, y + tall, sheet.right + _RIGHT, y + tall, GRID))), tall


def _drawn(place: _Place, y: float) -> str:
    stretch, wide = place.stretch, place.right - place.left
    if stretch.sort is Sort.DUE:
        drawn = _mark((place.left + place.right) / 2, y)
    else:
        drawn = _bar(stretch.sort, place.left + 1, y + 3, max(wide - 2, 3))
    if place.reach_left < place.left:
        return drawn + text(place.left - 3, y + 15, stretch.mark, size=11, anchor="end")
    if place.reach_right > place.right:
        return drawn + text(place.right + 3, y + 15, stretch.mark, size=11)
    if stretch.sort in (Sort.AWAY, Sort.HOLD):
        # On a pattern the words need ground of their own.
        ground = f"x='{place.left + 4:.1f}' y='{y + 5:.1f}' width='{_wide(stretch.mark) + 4:.1f}' height='12'"
        drawn += f"<rect {ground} fill='#ffffff'/>"
    return drawn + text(place.left + 6, y + 15, stretch.mark, size=11)


def _bar(sort: Sort, x: float, y: float, wide: float) -> str:
    fill, edge = _FILLS[sort]
    return (
        f"<rect x='{x:.1f}' y='{y:.1f}' width='{wide:.1f}' height='16' fill='{fill}' stroke='{INK}'{edge}/>"
    )


def _mark(x: float, y: float) -> str:
    return f"<path d='M{x - 5:.1f},{y + 5:.1f} h10 l-5,11 z' fill='{INK}'/>"


def _legend(y: float) -> str:
    parts, x = [], 12.0
    for sort in _LEGEND:
        parts.append(_mark(x + 12, y) if sort is Sort.DUE else _bar(sort, x, y + 3, 24))
        parts.append(text(x + 30, y + 15, sort))
        x += 44 + len(sort) * 7
    parts.append(f"<path d='M{x + 4:.1f},{y + 8} h8 l-4,6 z' fill='none' stroke='{INK}'/>")
    parts.append(text(x + 20, y + 15, "today"))
    return "\n".join(parts)


def _columns(sheet: _Sheet, bottom: float) -> Iterable[str]:
    """The weeks: a line where each begins, and its head, above and below; and today."""
    for monday in (*sheet.found.period.mondays, sheet.found.period.last_day + timedelta(days=1)):
        x = sheet.across(monday)
        yield line(x, _TOP - 38, x, bottom + 30, GRID)
        if monday <= sheet.found.period.last_day:
            week, _, day = head(monday).partition(" ")
            for y in (_TOP - 27, bottom + 14):
                yield text(x + 4, y, week, size=11, weight="bold")
                yield text(x + 4, y + 13, day, size=11)
    today = sheet.found.today
    if sheet.found.period.holds(today, today):
        x = sheet.across(today)
        yield _titled(f"today, {show_day(today)}", line(x, _TOP - 3, x, bottom, INK, dash="2 3"))
        yield f"<path d='M{x - 4:.1f},{_TOP - 9} h8 l-4,6 z' fill='none' stroke='{INK}'/>"


def _told(found: Weeks) -> str:
    """The whole picture in words; items against which nothing stands are counted."""
    told = [f"{_span(found)}."]
    told += [f"{say_stretch(one.stretch)}." for one in found.shortages]
    free = 0
    for item in found.items:
        said_of = [
            say_stretch(one)
            for one in item.stretches
            if one.within(found.period.first_day, found.period.last_day)
        ]
        free += not said_of
        if said_of:
            told.append(f"{item.kind.capitalize()} {show_tag(item.tag)}: {'; '.join(said_of)}.")
    told.append(f"{free} more {'item is' if free == 1 else 'items are'} free in these weeks.")
    return " ".join(told)
