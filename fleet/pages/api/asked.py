"""What is asked for: nothing is taken that is not described, and nothing is turned into something else.

Measures and days are written as people write them: ``3400 psi``, ``2026-05-04``, ``2026-05-04 07:00``.
"""

from __future__ import annotations

from typing import Annotated

from fastapi import Path, Query
from pydantic import BaseModel, ConfigDict, Field, Strict

from fleet.bolting.parts import Kind
from fleet.bolting.steels import Grade
from fleet.bolting.torque import Area
from fleet.rules.calibrations import DecisionRule
from fleet.rules.conditions import ConcessionReason, Condition, HoldCause
from fleet.rules.evidence import Answer, Errand, Occasion
from fleet.rules.holds import Shown

MOST_AT_ONCE = 40
LONGEST_LINE, LONGEST_NAME = 500, 80
MOST_LINES = 200
# The largest number that both engines keep in any of our columns.
LARGEST = 2**31 - 1

# No control characters: PostgreSQL keeps no zero byte, and a line is a line.
_PLAIN = r"^[^\x00-\x1f\x7f]+$"
_DAY = r"20[0-9]{2}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])"

Name = Annotated[str, Field(min_length=1, max_length=LONGEST_NAME, pattern=_PLAIN)]
Words = Annotated[str, Field(min_length=1, max_length=LONGEST_LINE, pattern=_PLAIN)]
Measure = Annotated[str, Field(max_length=40, pattern=_PLAIN, examples=["3400 psi", "1400 N·m", "55 mm"])]
Day = Annotated[str, Field(pattern=f"^{_DAY}$", examples=["2026-05-04"])]
Moment = Annotated[str, Field(pattern=f"^{_DAY}( [0-9]{{2}}:[0-9]{{2}})?$", examples=["2026-05-04 07:00"])]
Number = Annotated[int, Strict(), Field(ge=1, le=LARGEST)]
Amount = Annotated[int, Strict(), Field(ge=0, le=1_000_000)]
Figure = Annotated[float, Strict(), Field(ge=0, le=1e6, allow_inf_nan=False)]
Flag = Annotated[bool, Strict()]
Tags = Annotated[list[Name], Field(min_length=1, max_length=MOST_AT_ONCE)]

# The same in an address.
InPath = Annotated[str, Path(min_length=1, max_length=LONGEST_NAME, pattern=_PLAIN)]
NumberInPath = Annotated[int, Path(ge=1, le=LARGEST)]
SiteAsked = Annotated[
    str, Query(alias="site", max_length=LONGEST_NAME, pattern=_PLAIN, description="Code; else the first.")
]
TextAsked = Annotated[str | None, Query(min_length=1, max_length=LONGEST_NAME, pattern=_PLAIN)]
KindAsked = Annotated[Kind | None, Query()]
DayAsked = Annotated[str | None, Query(pattern=f"^{_DAY}$")]
Limit = Annotated[int, Query(ge=1, le=MOST_LINES)]


class Asked(BaseModel):
    """What is asked."""

    model_config = ConfigDict(extra="forbid")


class IssueRequest(Asked):
    """Items for somebody, for a job, until a day."""

    items: Tags
    borrower: Name
    job: Name
    back_on: Day


class Breakout(Asked):
    """At which joint of the job, and at what pressure or torque its nut broke loose."""

    joint: Name
    value: Measure


class ReturnRequest(Asked):
    """One item that is back; without cycles and minutes its use is taken to be as planned."""

    item: Name
    cycles: Amount | None = None
    minutes: Amount | None = None
    condition: Condition = Condition.FINE
    note: Words | None = None
    breakouts: Annotated[list[Breakout], Field(max_length=MOST_AT_ONCE)] = []
    joint: Name | None = None


class UseRequest(Asked):
    """Use that no return reported."""

    item: Name
    cycles: Amount = 0
    minutes: Amount = 0
    used_on: Day | None = None
    note: Words
    job: Name | None = None
    joint: Name | None = None


class ReasonRequest(Asked):
    """Why."""

    reason: Words


class HoldRequest(Asked):
    """An item that is to stay in."""

    item: Name
    cause: HoldCause = HoldCause.OTHER
    reason: Words


class ReleaseRequest(Asked):
    """Which hold of an item ends, and the number of what shows that it is sound."""

    item: Name
    by: Shown
    evidence: Number
    words: Words
    hold: Number | None = None
    every: Flag = False


class ConcessionRequest(Asked):
    """One overdue task of one item, for one job, asked for by somebody else."""

    item: Name
    task: Name
    job: Name
    asked_by: Name
    reason_code: ConcessionReason
    reason: Words
    hours: Annotated[int, Strict(), Field(ge=1, le=24)] = 24


class AnyOf(Asked):
    """Any item of a class."""

    kind: Kind
    model: Name | None = None
    at_least: Measure | None = None
    drive: Measure | None = None
    across_flats: Measure | None = None
    coupling: Name | None = None


class ReserveRequest(Asked):
    """Items, any of a class or both, for a job; its own window where none is given."""

    items: Annotated[list[Name], Field(max_length=MOST_AT_ONCE)] = []
    job: Name
    joint: Name | None = None
    starts_at: Moment | None = None
    ends_at: Moment | None = None
    any_of: AnyOf | None = None
    count: Annotated[int, Strict(), Field(ge=1, le=MOST_AT_ONCE)] = 1
    expires_at: Moment | None = None


class SetFreeRequest(Asked):
    """An item that a job no longer needs."""

    item: Name
    job: Name
    reason: Words


class DoneRequest(Asked):
    """An upkeep task that was done on an item; today where no day is given."""

    item: Name
    task: Name
    done_on: Day | None = None
    note: Words | None = None


class CheckpointAnswer(Asked):
    """What was seen at one checkpoint; a note and a reject need a remark."""

    position: Annotated[int, Strict(), Field(ge=1, le=200)]
    answer: Answer
    remark: Words | None = None


class InspectionRequest(Asked):
    """An inspection by the item's checklist."""

    item: Name
    occasion: Occasion
    answers: Annotated[list[CheckpointAnswer], Field(max_length=200)] = []
    all_fine: Flag = False
    task: Name | None = None
    inspected_on: Day | None = None
    note: Words | None = None


class SendRequest(Asked):
    """An item for a laboratory or workshop; how its certificate is judged is chosen before."""

    item: Name
    sent_to: Name
    errand: Errand
    rule: DecisionRule | None = None
    tolerance_percent: Figure | None = None
    gauge: Name | None = None
    wanted_on: Day | None = None
    note: Words | None = None


class ItemRequest(Asked):
    """One item."""

    item: Name


class Nothing(Asked):
    """Nothing more is asked."""


class KitCheckRequest(Asked):
    """Named items as a kit for a joint on plan."""

    items: Tags
    job: Name
    joint: Name


class KitSearchRequest(Asked):
    """A joint on plan; its job's own window where none is given."""

    job: Name
    joint: Name
    margin_percent: Annotated[float, Strict(), Field(ge=0, lt=100, allow_inf_nan=False)] = 10.0
    starts_at: Moment | None = None
    ends_at: Moment | None = None
    alternatives: Annotated[int, Strict(), Field(ge=1, le=20)] = 5


class ChartPointGiven(Asked):
    """One point of a chart."""

    pressure: Measure
    torque: Measure


class OnAChart(Asked):
    """Either an item with its own or its model's chart, or a model, or the points of a chart."""

    item: Name | None = None
    model: Name | None = None
    points: Annotated[list[ChartPointGiven], Field(min_length=1, max_length=MOST_AT_ONCE)] | None = None


class SetPressureRequest(OnAChart):
    """A torque that is to be given."""

    torque: Measure


class PassesRequest(OnAChart):
    """A flange; without a chart there are no set pressures."""

    torque: Measure
    bolts: Annotated[int, Strict(), Field(ge=3, le=200)]
    percents: Annotated[
        list[Annotated[float, Strict(), Field(gt=0, le=100, allow_inf_nan=False)]],
        Field(min_length=1, max_length=20),
    ] = [30.0, 60.0, 100.0]


class CoverRequest(Asked):
    """What a kit can give, and the torque of a joint with its loosening factor and the reason for it."""

    available: Measure
    torque: Measure
    factor: Annotated[float, Strict(), Field(gt=0, le=100, allow_inf_nan=False)]
    reason: Words


class PreloadRequest(Asked):
    """A bolt load, and the nut factor of the lubricant."""

    thread: Name
    preload: Measure
    nut_factor: Annotated[float, Strict(), Field(gt=0, lt=1, allow_inf_nan=False)]
    grade: Grade | None = None
    area: Area = Area.TENSILE
