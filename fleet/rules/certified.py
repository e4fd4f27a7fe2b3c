"""What must be on a certificate, and what follows from it: a wrench's own chart, and its acceptance."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise
from statistics import fmean

from fleet.bolting.charts import ChartPoint, make_chart
from fleet.bolting.parts import Kind
from fleet.measures.tags import show_tag
from fleet.measures.times import show_day
from fleet.refusals import NotFound, NotPossible, Unreadable
from fleet.rules.calibrations import Result
from fleet.rules.certificates import FAILED, Certificate, JudgedPoint, Reading
from fleet.rules.evidence import Proof, Stage, Standing
from fleet.rules.inspections import TaskFacts
from fleet.rules.reasons import written_reason
from fleet.rules.upkeep import CountsFrom

LEAST_CHARTED = 2
"""A wrench's own chart needs two points at the least: one alone is a straight line through zero."""

_CALIBRATION = "calibration"


def calibration_task(tag: str, tasks: Sequence[TaskFacts], asked: str | None) -> TaskFacts:
    """The upkeep task that a certificate proves: by name, or the only one that is proved by a calibration.

    Where no task asks for a calibration as its proof, it is the task that is called so.
    """
    renewed = [task for task in tasks if task.counts_from != CountsFrom.ASSEMBLY]
    names = ", ".join(task.name for task in renewed) or "none"
    if asked is not None:
        wanted = " ".join(asked.split()).casefold()
        found = [task for task in renewed if task.name.casefold() == wanted]
        if not found:
            raise NotFound(f"{show_tag(tag)} has no upkeep task {asked!r}. Its tasks: {names}.")
        if found[0].proved_by not in (Proof.CALIBRATION, Proof.NOTE):
            raise NotPossible(
                f"{asked!r} of {show_tag(tag)} is proved by a {found[0].proved_by}, not by a certificate."
            )
        return found[0]
    proved = [task for task in renewed if task.proved_by == Proof.CALIBRATION]
    proved = proved or [task for task in renewed if task.name.casefold() == _CALIBRATION]
    if len(proved) > 1:
        several = ", ".join(task.name for task in proved)
        raise NotPossible(
            f"{show_tag(tag)} has several tasks that a calibration proves. Name one with --task: {several}."
        )
    if not proved:
        raise NotPossible(
            f"{show_tag(tag)} has no upkeep task that a calibration proves. Import one, or name the task "
            f"with --task. Its tasks: {names}."
        )
    return proved[0]


@dataclass(frozen=True, slots=True)
class Whole:
    """A certificate with all that it must say."""

    number: str
    laboratory: str
    accreditation: str | None
    calibrated_on: date
    serial: str | None
    coverage_factor: float
    readings: tuple[Reading, ...]


def whole(said: Certificate, read: Certificate | None) -> Whole:
    """What was typed and what a digital certificate says, together.

    Raises ``NotPossible`` where the two differ, and ``Unreadable`` for what neither says.
    """
    if read:
        for what in ("number", "laboratory", "calibrated_on", "coverage_factor"):
            typed, written = getattr(said, what), getattr(read, what)
            if typed is not None and written is not None and _plain(typed) != _plain(written):
                name = {"calibrated_on": "day", "coverage_factor": "coverage factor"}.get(what, what)
                raise NotPossible(
                    f"The {name} typed ({_shown(typed)}) is not that of the certificate ({_shown(written)})."
                )
        if said.readings:
            raise NotPossible("The points stand in the certificate: leave --point out.")
        said = replace(
            read,
            accreditation=said.accreditation or read.accreditation,
            coverage_factor=read.coverage_factor or said.coverage_factor,
        )
    missing = [
        option
        for option, value in (
            ("--number", said.number),
            ("--laboratory", said.laboratory),
            ("--on", said.calibrated_on),
        )
        if not value
    ]
    if missing or not said.number or not said.laboratory or said.calibrated_on is None:
        raise Unreadable(f"What the certificate says must be typed too: {', '.join(missing)}.")
    if not said.readings:
        raise Unreadable("The certificate has no points: give them with --file or --point.")
    return Whole(
        said.number,
        said.laboratory,
        said.accreditation,
        said.calibrated_on,
        said.serial,
        said.coverage_factor or 2.0,
        said.readings,
    )


def _plain(value: object) -> object:
    return " ".join(value.split()).casefold() if isinstance(value, str) else value


def _shown(value: object) -> str:
    return show_day(value) if isinstance(value, date) else str(value)


def check_serial(tag: str, on_record: str, on_certificate: str | None) -> None:
    """Refuse the certificate of another item; spaces and case do not count."""
    if on_certificate is None:
        return
    ours, theirs = ("".join(text.split()).casefold() for text in (on_record, on_certificate))
    if ours != theirs:
        raise NotPossible(
            f"The certificate is of the serial number {on_certificate!r}, and {show_tag(tag)} has "
            f"{on_record!r}: it is another item's."
        )


@dataclass(frozen=True, slots=True)
class Days:
    """The days that bound when an item can have been calibrated; None where there is none."""

    today: date
    received_on: date
    sent_on: date | None
    accepted_on: date | None


def check_day(tag: str, calibrated_on: date, days: Days) -> None:
    """Refuse a day that cannot be that of the item's newest calibration."""
    said = f"{show_tag(tag)} cannot have been calibrated on {show_day(calibrated_on)}"
    if calibrated_on > days.today:
        raise NotPossible(f"{said}: that day is still to come.")
    if calibrated_on < days.received_on:
        raise NotPossible(f"{said}: it was only received on {show_day(days.received_on)}.")
    if days.sent_on and calibrated_on < days.sent_on:
        raise NotPossible(f"{said}: it was only sent away on {show_day(days.sent_on)}.")
    if days.accepted_on and calibrated_on < days.accepted_on:
        raise NotPossible(
            f"A certificate of {show_day(days.accepted_on)} is accepted already, and this one is of "
            f"{show_day(calibrated_on)}: an older one changes nothing."
        )


def check_acceptable(number: int, standing: str, result: str | None, note: str | None) -> str | None:
    """The note of an acceptance; refuses a certificate that is decided, or that the item did not pass."""
    if standing != Standing.RECEIVED:
        raise NotPossible(f"Certificate {number} is {standing} already; that is decided once.")
    if result is None or result in FAILED:
        raise NotPossible(
            f"Certificate {number} came to a {result}: it cannot be accepted. It stays on record; have the "
            "item adjusted or repaired, and calibrated again."
        )
    if result == Result.CONDITIONAL_PASS and not note:
        raise NotPossible(
            f"Certificate {number} came to a conditional pass: say with --note why the item may be used."
        )
    return written_reason(note, "why the item may be used") if note else None


@dataclass(frozen=True, slots=True)
class ChartedPair:
    """One point of a wrench's own chart, as written and in MPa and N·m."""

    pressure_written: str
    pressure_mpa: float
    torque_written: str
    torque_nm: float


def chart_of(readings: Iterable[Reading], source: str) -> tuple[ChartedPair, ...]:
    """The chart that a wrench's points make, lowest first; repeated pressures count with their mean torque.

    Raises ``Unreadable`` for fewer than two pressures, or a torque that does not rise with the pressure.
    """
    by_pressure: dict[float, list[Reading]] = {}
    for reading in sorted(readings, key=lambda one: one.at_mpa):
        by_pressure.setdefault(round(reading.at_mpa, 9), []).append(reading)
    pairs = tuple(_pair(repeated) for repeated in by_pressure.values())
    if len(pairs) < LEAST_CHARTED:
        raise Unreadable(
            f"A wrench's chart needs points at {LEAST_CHARTED} pressures or more, and {source} has "
            f"{len(pairs) or 'none'}: ask the laboratory for the others."
        )
    make_chart((ChartPoint(pair.pressure_mpa, pair.torque_nm) for pair in pairs), source)
    return pairs


def _pair(readings: Sequence[Reading]) -> ChartedPair:
    first = readings[0]
    if len(readings) == 1:
        return ChartedPair(first.at_written, first.at_mpa, first.found_written, first.found_si)
    mean = fmean(reading.found_si for reading in readings)
    written = f"{mean:,.6g} N·m (mean of {len(readings)})"
    return ChartedPair(first.at_written, first.at_mpa, written, mean)


def error_at(kind: str, points: Iterable[JudgedPoint]) -> Callable[[float | None], float | None]:
    """Answer a function: set pressure in MPa in, error as found in percent out.

    A wrench's error is that of its torque, a gauge's that of what it showed. Between points it is a straight
    line, beyond the first and the last it is theirs, and for a pressure that is not known the worst of all.
    """
    errors: dict[float, list[float]] = {}
    for point in points:
        at, found = point.reading.at_mpa, point.reading.found_si
        reference = point.verdict.facts.reference
        if point.reading.stage is Stage.AS_FOUND and reference > 0:
            where = at if kind == Kind.WRENCH else found
            errors.setdefault(where, []).append(100 * (found / reference - 1))
    line = [(where, fmean(of)) for where, of in sorted(errors.items())]

    def between(pressure_mpa: float | None) -> float | None:
        if not line:
            return None
        if pressure_mpa is None:
            return max((error for _, error in line), key=abs)
        if pressure_mpa <= line[0][0]:
            return line[0][1]
        for (low, start), (high, end) in pairwise(line):
            if pressure_mpa <= high:
                return start + (pressure_mpa - low) / (high - low) * (end - start)
        return line[-1][1]

    return between
