"""Why no kit was found: which condition stops how many of each kind, and what to hire."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

from fleet.bolting.figures import FLOAT_NOISE
from fleet.bolting.parts import Kind, Line
from fleet.lists import kit_stock as stock
from fleet.rules.kit_search import Hire, Tally, alike, kept_out, say_due, say_hire, say_tally

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from fleet.lists.kit_room import Group, Model
    from fleet.lists.kit_search import Search

# The pressure class of the trade, where no pump is free to say otherwise.
CLASS_MPA = 70.0
_GATE = {"recalled": "recalled", "proof failed": "failed their proof test"}


def shortage(search: Search) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The tallies of every kind in words, and what to hire in words."""
    given = {**search.room.given, "least": search.least_nm * (1 - FLOAT_NOISE)}
    standing = search.db.execute(stock.STANDING, given).all()
    tallies = [_of_wrenches(search, standing), *_of_sockets(search, standing)]
    for kind in (Kind.PUMP, Kind.HOSE, Kind.COUPLER, Kind.GAUGE):
        models = {model.id for model in search.room.of_kind(kind)}
        tallies.append(_tally(search, kind, "", (row for row in standing if row.model_id in models)))
    said = tuple(say_tally(tally) for tally in tallies)
    units = search.asked.window.units
    return said, tuple(say_hire(one, units) for one in _hires(search, tallies))


def _of_wrenches(search: Search, standing: Iterable[Any]) -> Tally:
    right = {model.id: model for model in search.right_wrenches()}

    def first(row: Any) -> str | None:  # noqa: ANN401  A row of the stock.
        model = right[row.model_id]
        if row.weak:
            return "too weak"
        if out := kept_out(model.size, search.asked.limits):
            return out
        if not search.has_socket(model):
            return "with no socket for this nut"
        return None

    rows = (row for row in standing if row.model_id in right)
    return _tally(search, Kind.WRENCH, "of the right head and drive", rows, first)


def _of_sockets(search: Search, standing: Iterable[Any]) -> Iterable[Tally]:
    """Sockets for the nut, on any drive that a wrench of the right one has; none where only links fit."""
    flats = search.flats_mm()
    drives = [m.size.drive_mm for m in search.right_wrenches() if m.size.drive_mm]
    if not drives:
        return
    fit = {
        m.id
        for m in search.room.of_kind(Kind.SOCKET)
        if alike(m.flats_mm, flats) and any(alike(m.size.drive_mm, drive) for drive in drives)
    }
    rows = (row for row in standing if row.model_id in fit)
    yield _tally(search, Kind.SOCKET, "for this nut and drive", rows)


def _tally(
    search: Search,
    kind: Kind,
    which: str,
    rows: Iterable[Any],
    first: Callable[[Any], str | None] = lambda _row: None,
) -> Tally:
    failing: Counter[str] = Counter()
    days: Counter[Any] = Counter()
    total = 0
    for row in rows:
        count = row[-1]
        total += count
        why = first(row)
        if why is None and row.why == "due":
            days[row.due_on] += count
        else:
            failing[why or row.why] += count
    for (of_kind, code), count in search.stopped.items():
        if of_kind == kind:
            failing["free"] -= count
            failing[_GATE.get(code, f"stopped at the gate ({code})")] += count
    free = failing.pop("free", 0)
    known = [(why, count) for why, count in sorted(failing.items()) if count]
    told = say_due(days, search.asked.today)
    return Tally(kind, which, total, (*known, *told, *([("free", free)] if free > 0 else [])))


def _free(tallies: Iterable[Tally], kind: Kind) -> int:
    return sum(
        count for tally in tallies if tally.kind == kind for why, count in tally.failing if why == "free"
    )


def _hires(search: Search, tallies: list[Tally]) -> list[Hire]:
    """What is short by itself; where nothing is, a pump, hose and gauge that suit the wrenches there are."""
    asked, at_once = search.asked, search.asked.limits.at_once
    pumps = [group.part.relief_mpa.get(Line.ADVANCE) for group in search.room.pumps]
    at_mpa = max((mpa for mpa in pumps if mpa), default=CLASS_MPA)
    kinds = [Kind.WRENCH, Kind.PUMP, Kind.HOSE, Kind.GAUGE]
    if any(tally.kind == Kind.SOCKET for tally in tallies):
        kinds.append(Kind.SOCKET)
    short = {kind: at_once - _free(tallies, kind) for kind in kinds}
    if all(count <= 0 for count in short.values()):
        short = dict.fromkeys((Kind.PUMP, Kind.HOSE, Kind.GAUGE), at_once)
    drive, link = _drive(search)
    return [
        Hire(
            kind,
            count,
            asked.first_day,
            asked.window.last_day,
            needed_nm=search.least_nm,
            at_mpa=at_mpa,
            drive_mm=drive,
            flats_mm=search.flats_mm() if link or kind is Kind.SOCKET else None,
            coupling=_coupling(search, kind),
        )
        for kind, count in short.items()
        if count > 0
    ]


def _drive(search: Search) -> tuple[float | None, bool]:
    """The drive to ask for: the joint's, else the largest for which a socket is free; or a link."""
    limits = search.asked.limits
    if limits.head == "ratchet link":
        return None, True
    if limits.drive_mm:
        return limits.drive_mm, False
    flats = search.flats_mm()
    sockets = [
        m
        for m in search.room.of_kind(Kind.SOCKET)
        if alike(m.flats_mm, flats) and search.room.rows(m.fit, Kind.SOCKET)
    ]
    return max((m.size.drive_mm for m in sockets if m.size.drive_mm), default=None), False


def _coupling(search: Search, kind: Kind) -> str | None:
    """What a hired pump or hose must join: the couplings of the wrenches that would do."""
    if kind not in (Kind.PUMP, Kind.HOSE):
        return None
    models: list[Model] = [m for m in search.right_wrenches() if not kept_out(m.size, search.asked.limits)]
    groups: list[Group] = (
        [g for g in search.room.between if g.part.kind is Kind.HOSE] if kind is Kind.PUMP else []
    )
    parts = [group.part for group in groups] or [model.part for model in models]
    names = sorted({f"{port.series} {port.size}" for part in parts for port in part.ports})
    return " or ".join(names) or None
