"""What an act or a check answers."""

from __future__ import annotations

from datetime import date, datetime  # noqa: TC003  Read when the shapes are made.

from pydantic import Field

from fleet.bolting.findings import Severity
from fleet.desk.acknowledging import Acknowledged
from fleet.desk.away import Back, Sent
from fleet.desk.holds import Granted
from fleet.desk.inspections import Inspected
from fleet.desk.upkeep import Done
from fleet.desk.usage import Booked
from fleet.ledgers.breakouts import Breakout
from fleet.pages.api.shapes import Shape, shape_of

BookedUse = shape_of("BookedUse", Booked, "entry tag cycles minutes total_cycles total_minutes again")
GrantedConcession = shape_of("GrantedConcession", Granted, "tag task job starts_at ends_at")
UpkeepDone = shape_of("UpkeepDone", Done, "tag task done_on due_on due_cycles due_minutes entry again")
Inspection = shape_of("Inspection", Inspected, "number tag occasion result fulfilled held again")
SentAway = shape_of(
    "SentAway", Sent, "tag errand sent_to decision_rule tolerance_percent paired_gauge wanted_on again"
)
BackAgain = shape_of("BackAgain", Back, "tag errand sent_to days_away certificate_missing")
ReadLetter = shape_of("ReadLetter", Acknowledged, "letter site week number subject by at again")
KeptBreakout = shape_of(
    "KeptBreakout", Breakout, "entry job joint tag measured_on torque_written torque_nm pressure_written"
)


class Found(Shape):
    """One thing that a check found; ``hard`` and ``soft`` are stops, a note is none."""

    severity: Severity
    code: str
    sentence: str
    about: str


class ItemVerdict(Shape):
    """Whether an item goes out, and all that was found."""

    tag: str
    goes_out: bool
    findings: list[Found]


class LookedOver(Shape):
    """Whether all of it would go out."""

    job: str
    goes_out: bool
    verdicts: list[ItemVerdict]


class IssuedLoan(Shape):
    """What went out; ``verdicts`` are empty when it had been issued before."""

    loan: int
    verdicts: list[ItemVerdict]
    again: bool


class ReturnReceipt(Shape):
    """What a return booked, and what follows from it."""

    tag: str
    cycles: int
    minutes: int
    total_cycles: int
    total_minutes: int
    due_by_use: list[str]
    held: bool
    breakouts: list[KeptBreakout]  # type: ignore[valid-type]  # Made when the program starts.
    again: bool


class OnHold(Shape):
    """An item that stays in from now on."""

    tag: str
    holder: str | None
    job: str | None


class Released(Shape):
    """The holds that ended, and those that still keep the item in."""

    tag: str
    released: list[int]
    still_open: list[int]


class Reserved(Shape):
    """What is kept, and what has to be seen to before."""

    job: str
    starts_at: datetime
    ends_at: datetime
    verdicts: list[ItemVerdict]
    again: bool


class SetFree(Shape):
    """An item that its job no longer keeps."""

    tag: str
    job: str


class KitCheck(Shape):
    """Whether the kit may be used at the joint, its figures, and what else would do."""

    usable: bool
    figures: dict[str, str | None]
    findings: list[Found]
    items: list[ItemVerdict]
    instead: str | None = Field(description="Tag of a wrench that would do with the rest of the kit.")
    hire: str | None
    assumptions: list[str]
    source: str
    cautions: list[str]


class KitPiece(Shape):
    """One piece of a kit that was found."""

    tag: str
    kind: str
    model: str
    shelf: str | None
    due_on: date | None
    kept: bool
    at_job: bool


class KitFound(Shape):
    """One kit that does, each piece passed by the gate."""

    pieces: list[KitPiece]
    oversize_percent: int
    moves: int
    figures: dict[str, str | None]
    findings: list[Found]


class KitAlternative(Shape):
    """As many kits as work on the joint at once, and what would have to be reserved."""

    kits: list[KitFound]
    to_reserve: list[str]


class KitAnswer(Shape):
    """The alternatives, best first; where there is none, why, and what to hire."""

    joint: str
    first_day: date
    last_day: date
    needed_nm: float
    margin_percent: float
    alternatives: list[KitAlternative]
    tallies: list[str]
    hire: list[str]
    unknown_sizes: list[str]
    cautions: list[str]


class _Figures(Shape):
    """Figures, with what they assume, where they come from and what to mind."""

    assumptions: list[str]
    source: str
    cautions: list[str]


class SetPressure(_Figures):
    """The pressure that gives a torque on a chart."""

    pressure: str
    pressure_mpa: float
    torque_nm: float
    chart: str
    approximate: bool


class PassFigures(Shape):
    """One time round the flange."""

    number: int
    percent: float
    torque_nm: float
    pressure_mpa: float | None
    order: list[int]
    circular: bool
    below_chart: bool
    note: str


class Passes(_Figures):
    """Every pass, then the round at full torque."""

    passes: list[PassFigures]


class LooseningCover(_Figures):
    """Whether what a kit can give covers tightening and loosening."""

    verdict: str
    state: str
    margin_percent: float
    tightening_nm: float
    loosening_nm: float
    needed_nm: float
    governs: str


class PreloadTorque(_Figures):
    """The torque of a bolt load by the short form."""

    thread: str
    torque_nm: float
    preload_n: float
    stress_mpa: float
    percent_of_yield: float | None
    loosening_clean_nm: float
