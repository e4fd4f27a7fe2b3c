"""Columns and rows for the solver, and chains of rows that follow pieces through time."""

from __future__ import annotations

import math
from bisect import bisect_left
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from fleet.planning.loading import load

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from fleet.planning.classes import Slot

ENDLESS = math.inf


class Chain(NamedTuple):
    """At each of its points: the column of what is at work, those of what began, and what has ended."""

    points: list[int]
    at_work: list[int]
    begin: list[list[int]]
    ended: list[list[int]]


@dataclass(slots=True)
class Matrix:
    """Columns and rows as they come."""

    lower: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    whole: list[bool] = field(default_factory=list)
    row_lower: list[float] = field(default_factory=list)
    row_upper: list[float] = field(default_factory=list)
    starts: list[int] = field(default_factory=lambda: [0])
    index: list[int] = field(default_factory=list)
    value: list[float] = field(default_factory=list)

    def column(self, upper: float, *, whole: bool) -> int:
        """Add a column from nothing to ``upper``."""
        self.lower.append(0.0)
        self.upper.append(upper)
        self.whole.append(whole)
        return len(self.upper) - 1

    def row(
        self, lower: float, upper: float, plus: Iterable[int], minus: Iterable[int] = (), by: float = 1.0
    ) -> None:
        """Add a row: columns once, minus columns ``by`` times."""
        self.row_lower.append(lower)
        self.row_upper.append(upper)
        before = len(self.index)
        self.index.extend(plus)
        self.value.extend([1.0] * (len(self.index) - before))
        before = len(self.index)
        self.index.extend(minus)
        self.value.extend([-by] * (len(self.index) - before))
        self.starts.append(len(self.index))

    def limit(self, columns: Mapping[int, int], upper: float) -> None:
        """Add a row: columns with their factors are ``upper`` at most."""
        self.row(-ENDLESS, upper, columns)
        self.value[self.starts[-2] :] = [float(factor) for factor in columns.values()]

    def size(self) -> tuple[int, int, int]:
        """How many columns, rows and entries there are."""
        return len(self.upper), len(self.row_upper), len(self.index)

    def cut_back(self, size: tuple[int, int, int]) -> None:
        """Take off again what was added since."""
        columns, rows, entries = size
        del self.lower[columns:], self.upper[columns:], self.whole[columns:]
        del self.row_lower[rows:], self.row_upper[rows:], self.starts[rows + 1 :]
        del self.index[entries:], self.value[entries:]

    def chain(self, moves: list[tuple[Slot, int]], free: Sequence[int]) -> Chain:
        """Add what is at work at each time works begin, and where fewer pieces may be used than before."""
        begin, end = min(slot.first for slot, _ in moves), max(slot.last for slot, _ in moves)
        drops = (point for point in range(begin + 1, end) if free[point] < free[point - 1])
        points = sorted({*drops, *(slot.first for slot, _ in moves)})
        begins: list[list[int]] = [[] for _ in points]
        ended: list[list[int]] = [[] for _ in [*points, None]]
        for slot, column in moves:
            begins[bisect_left(points, slot.first)].append(column)
            ended[bisect_left(points, slot.last)].append(column)
        chain = Chain([], [], [], [])
        more: list[int] = []
        less: list[int] = []
        for place, point in enumerate(points):
            more, less = more + begins[place], less + ended[place]
            after = points[place + 1] if place + 1 < len(points) else None
            if after is not None and not ended[place + 1] and free[after] <= free[point]:
                continue  # Nothing ends before more begin, so it is then that most are at work.
            now = self.column(free[point], whole=False)
            self.row(0.0, 0.0, [*chain.at_work[-1:], *more], [now, *less])
            chain.points.append(point)
            chain.at_work.append(now)
            chain.begin.append(more)
            chain.ended.append(less)
            more, less = [], []
        return chain

    def lp(self, cost: Mapping[int, int]) -> Any:  # noqa: ANN401  the solver is optional and names no types here
        """Answer the model for the solver, to be made as small as can be at these costs."""
        highspy = load()
        lp = highspy.HighsLp()
        lp.num_col_, lp.num_row_ = len(self.upper), len(self.row_upper)
        costs = np.zeros(lp.num_col_)
        costs[list(cost.keys())] = list(cost.values())
        lp.col_cost_ = costs
        lp.col_lower_, lp.col_upper_ = np.array(self.lower), np.array(self.upper)
        lp.row_lower_, lp.row_upper_ = np.array(self.row_lower), np.array(self.row_upper)
        lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        lp.a_matrix_.start_ = np.array(self.starts, dtype=np.int32)
        lp.a_matrix_.index_ = np.array(self.index, dtype=np.int32)
        lp.a_matrix_.value_ = np.array(self.value)
        kinds = (highspy.HighsVarType.kContinuous, highspy.HighsVarType.kInteger)
        lp.integrality_ = [kinds[whole] for whole in self.whole]
        return lp
