"""When a pressure test proves a hose assembly, and by which gauge.

ISO 6605 with ISO 1402: twice the maximum working pressure, held for 30 to 60 seconds, no leak. A twin hose
has two lines, each tested at twice its own rating, since the higher pressure would harm the weaker line. Of a
dual mark (700 bar / 10,000 psi) the mark in the unit of the test counts: it is one pressure class, and a
gauge in psi is brought to 20,000 psi. What other equipment is tested at, its maker's manual says.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.bolting.figures import Units, exceeds, known
from fleet.bolting.parts import Kind, Line
from fleet.measures.quantities import read_rating
from fleet.measures.times import show_day
from fleet.refusals import NotPossible
from fleet.rules.due import is_overdue

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date

PROOF_FACTOR = 2.0
SHORTEST_SECONDS = 30
# A test held for longer than an hour is a slip of the pen.
LONGEST_SECONDS = 3_600


@dataclass(frozen=True, slots=True)
class LineTest:
    """One line under test: the pressure it was held at and the one that is asked for, in MPa."""

    line: Line
    pressure_mpa: float
    required_mpa: float


@dataclass(frozen=True, slots=True)
class ProofVerdict:
    """Whether the test proves the item, and every reason why not."""

    passed: bool
    reasons: tuple[str, ...]
    governing: LineTest
    """The line that came least far above what is asked for, or furthest below."""


@dataclass(frozen=True, slots=True)
class CalibrationStand:
    """One calibration task of a gauge: when it was last done and is due."""

    task: str
    last_done_on: date | None
    due_on: date | None
    use_left: float | None


def mark_for(written: str | None, mpa: float | None, unit: str) -> float | None:
    """A rating in MPa: the mark on the plate in this unit if there is one, else what the plate stands for."""
    if written is None or mpa is None:
        return mpa
    return next((mark.base for mark in read_rating(written).marks if mark.unit == unit), mpa)


def required_pressures(
    tag: str, kind: str, ratings: Mapping[Line, float | None], asked_mpa: float | None
) -> dict[Line, float]:
    """What each line is to be tested at, in MPa: for a hose twice its rating, for others what is asked."""
    if kind == Kind.HOSE:
        if asked_mpa is not None:
            raise NotPossible("A hose is tested at twice its maximum working pressure; leave --required out.")
        required = {}
        for line in Line:
            rating = ratings.get(line)
            if not known(rating):
                raise NotPossible(
                    f"The maximum working pressure of the {line} line of {tag} is not on record, so nobody "
                    f"knows what to test it at."
                )
            required[line] = PROOF_FACTOR * rating
        return required
    if not known(asked_mpa):
        raise NotPossible(
            f"{tag} is a {kind}: say with --required what its maker's manual asks for, and name the manual "
            "with --note."
        )
    return dict.fromkeys(Line, asked_mpa)


def lines_tested(
    tag: str, required: Mapping[Line, float], pressure_mpa: float, retract_mpa: float | None, units: Units
) -> tuple[LineTest, ...]:
    """Both lines with their pressures; a retract line that is rated otherwise needs a pressure of its own."""
    advance, retract = required[Line.ADVANCE], required[Line.RETRACT]
    differ = exceeds(advance, retract) or exceeds(retract, advance)
    if differ and retract_mpa is None:
        raise NotPossible(
            f"The lines of {tag} are rated differently: its advance line is tested at "
            f"{units.setting(advance)}, its retract line at {units.setting(retract)}. Give the second with "
            "--retract-pressure."
        )
    return (
        LineTest(Line.ADVANCE, pressure_mpa, advance),
        LineTest(Line.RETRACT, pressure_mpa if retract_mpa is None else retract_mpa, retract),
    )


def judge_proof_test(
    tested: Sequence[LineTest], *, held_seconds: int, tight: bool, units: Units
) -> ProofVerdict:
    """Passed when every line reached its pressure, held it long enough, and stayed tight."""
    if not 0 <= held_seconds <= LONGEST_SECONDS:
        raise NotPossible(f"Give the time it was held in seconds, from 0 to {LONGEST_SECONDS:,}.")
    reasons = [
        f"The {one.line} line was held at {units.rating(one.pressure_mpa)}; it needs "
        f"{units.setting(one.required_mpa)}."
        for one in tested
        if exceeds(one.required_mpa, one.pressure_mpa)
    ]
    if held_seconds < SHORTEST_SECONDS:
        reasons.append(f"It was held for {held_seconds} seconds; it needs {SHORTEST_SECONDS} to 60.")
    if not tight:
        reasons.append("It leaked.")
    governing = min(tested, key=lambda one: one.pressure_mpa / one.required_mpa)
    return ProofVerdict(not reasons, tuple(reasons), governing)


def check_gauge(
    tag: str,
    kind: str,
    range_mpa: float | None,
    calibrations: Sequence[CalibrationStand],
    *,
    highest_mpa: float,
    on: date,
    units: Units,
) -> None:
    """Refuse a gauge that cannot show the pressure, or whose calibration is not on record and in date."""
    if kind != Kind.GAUGE:
        raise NotPossible(f"{tag} is a {kind}, not a gauge. Name the gauge that the pressure was read on.")
    if not known(range_mpa):
        raise NotPossible(f"The range of gauge {tag} is not on record, so nobody knows what it can show.")
    if exceeds(highest_mpa, range_mpa):
        raise NotPossible(
            f"Gauge {tag} ends at {units.rating(range_mpa)} and cannot have shown "
            f"{units.setting(highest_mpa)}. Name the gauge that did."
        )
    done = [one for one in calibrations if one.last_done_on is not None]
    if not done:
        raise NotPossible(f"Gauge {tag} has no calibration on record. Test again with one that has.")
    for one in calibrations:
        if is_overdue(one.due_on, one.use_left, on):
            when = f"was due {show_day(one.due_on)}" if one.due_on else "is due by use"
            raise NotPossible(f"The {one.task} of gauge {tag} {when}. Test again with one that is in date.")
