"""What the forms of the bench are made of, and the fields that several of them have.

A field bears the name that its calculation knows it by. Its label stands in sentences too, so it is short.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from fleet.papers.bench.answers import Answer
    from fleet.papers.bench.asked import Asked


@dataclass(frozen=True, slots=True)
class Field:
    """One field: its name, its label, what stands under it, and what may be chosen or put into it."""

    name: str
    label: str
    hint: str = ""
    need: bool = False
    options: Sequence[tuple[str, str]] = ()
    many: bool = False
    """Several may be given, one in a line."""
    points: bool = False
    """A table of points."""
    scan: bool = False


@dataclass(frozen=True, slots=True)
class Group:
    """Fields that belong together."""

    title: str
    fields: Sequence[Field]


@dataclass(frozen=True, slots=True)
class Calculation:
    """One page of the bench."""

    way: str
    title: str
    lead: str
    answer: Callable[[Asked], Answer]
    groups: Sequence[Group]
    example: Mapping[str, str] = field(default_factory=dict)

    @property
    def fields(self) -> list[Field]:
        """All its fields."""
        return [one for group in self.groups for one in group.fields]


POINTS = "Pressure (bar), Torque (N·m)\n100, 1350\n200, 2700\n400, 5500\n700, 9400"
TORQUE_FIELD = Field("torque", "Torque", "Like 1400 N·m or 1033 lbf·ft.", need=True)
CHART_GROUP = Group(
    "Chart: one of these",
    (
        Field(
            "item", "Wrench", "Tag of a wrench of yours; its own chart counts before its model's.", scan=True
        ),
        Field("model", "Model", "Designation of a model in the register."),
        Field(
            "points",
            "Chart points",
            "A line of headings, then a pressure and a torque in each line, lowest first.",
            points=True,
        ),
    ),
)
GAUGE_GROUP = Group(
    "Gauge, if it is to be rounded to what one shows",
    (
        Field("gauge", "Gauge", "Tag of a gauge of yours.", scan=True),
        Field(
            "graduation", "Graduation", "What the gauge can show: 20 bar, 200 psi. Goes before the register."
        ),
    ),
)
