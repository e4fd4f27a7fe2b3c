"""Certificates of items: what was found and left, how they stand, and what an item is judged by."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, func, select
from sqlalchemy.orm import aliased

from fleet.bolting.charts import Chart, ChartPoint, make_chart
from fleet.bolting.figures import SI, Units
from fleet.bolting.parts import Kind, Line
from fleet.lists.models import chart_points, find_model
from fleet.lists.parts import pieces
from fleet.lists.rows import lines
from fleet.measures.tags import show_tag
from fleet.records import (
    CalibrationPointRow,
    CalibrationRow,
    FileOfRow,
    ItemRow,
    KeptFileRow,
    ModelRow,
    PersonRow,
    SiteRow,
    TaskRow,
    UpkeepRow,
)
from fleet.refusals import NotFound
from fleet.rules.calibrations import DecisionRule
from fleet.rules.certificates import Agreed, Reading, Subject
from fleet.rules.evidence import Stage, Standing

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.items import ItemLine


@dataclass(frozen=True, slots=True)
class CertificateLine:
    """One certificate as it was read in, and what a named person decided about it."""

    id: int
    tag: str
    kind: str
    model: str
    serial: str
    site: str
    task: str
    number: str
    laboratory: str
    accreditation: str | None
    calibrated_on: date
    reference: str
    traceability: str
    paired_gauge: str | None
    decision_rule: str
    tolerance_percent: float
    coverage_factor: float
    as_found: str | None
    as_left: str | None
    cycles_at: int
    minutes_at: int
    note: str | None
    received_at: datetime
    received_by: str | None
    standing: str
    decided_at: datetime | None
    decided_by: str | None
    decision_note: str | None

    @property
    def deciding(self) -> Stage:
        """The points by which the item goes on: as left, or as found when it was not adjusted."""
        return Stage.AS_LEFT if self.as_left else Stage.AS_FOUND

    @property
    def result(self) -> str | None:
        """What the deciding points came to."""
        return self.as_left or self.as_found


@dataclass(frozen=True, slots=True)
class PointLine:
    """One point: set pressure and torque of a wrench, pressure applied and shown of a gauge."""

    stage: str
    position: int
    at_written: str
    at_mpa: float
    reference_si: float
    found_written: str
    found_si: float
    tolerance: float
    expanded: float | None
    result: str

    @property
    def error(self) -> float:
        """What was found less the reference, in N·m or MPa."""
        return self.found_si - self.reference_si


@dataclass(frozen=True, slots=True)
class FileLine:
    """One kept file of a certificate."""

    sha256: str
    media_type: str
    caption: str | None
    size_bytes: int


_GAUGE = aliased(ItemRow)
_RECEIVER = aliased(PersonRow)
_CERTIFICATES = (
    select(
        CalibrationRow.id,
        ItemRow.tag,
        ModelRow.kind,
        ModelRow.designation,
        ItemRow.serial,
        SiteRow.code,
        TaskRow.name,
        CalibrationRow.certificate_no,
        CalibrationRow.laboratory,
        CalibrationRow.accreditation,
        CalibrationRow.calibrated_on,
        CalibrationRow.reference,
        CalibrationRow.traceability,
        _GAUGE.tag.label("paired_gauge"),
        CalibrationRow.decision_rule,
        CalibrationRow.tolerance_percent,
        CalibrationRow.coverage_factor,
        CalibrationRow.as_found,
        CalibrationRow.as_left,
        CalibrationRow.cycles_at,
        CalibrationRow.minutes_at,
        CalibrationRow.note,
        CalibrationRow.received_at,
        _RECEIVER.name.label("received_by"),
        CalibrationRow.standing,
        CalibrationRow.decided_at,
        CalibrationRow.decided_by_name,
        CalibrationRow.decision_note,
    )
    .join(ItemRow, ItemRow.id == CalibrationRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(SiteRow, SiteRow.id == ItemRow.site_id)
    .join(TaskRow, TaskRow.id == CalibrationRow.task_id)
    .outerjoin(_GAUGE, _GAUGE.id == CalibrationRow.paired_gauge_id)
    .outerjoin(_RECEIVER, _RECEIVER.id == CalibrationRow.received_by_id)
)
_OF_ITEM = _CERTIFICATES.where(CalibrationRow.item_id == bindparam("item")).order_by(
    CalibrationRow.calibrated_on.desc(), CalibrationRow.id.desc()
)
_UNDECIDED = _CERTIFICATES.where(
    SiteRow.code == bindparam("site"), CalibrationRow.standing == Standing.RECEIVED
).order_by(CalibrationRow.received_at, CalibrationRow.id)
_BY_NUMBER = _CERTIFICATES.where(CalibrationRow.id == bindparam("number"))
_POINTS = (
    select(
        CalibrationPointRow.stage,
        CalibrationPointRow.position,
        CalibrationPointRow.at_written,
        CalibrationPointRow.at_mpa,
        CalibrationPointRow.reference_si,
        CalibrationPointRow.found_written,
        CalibrationPointRow.found_si,
        CalibrationPointRow.tolerance,
        CalibrationPointRow.expanded,
        CalibrationPointRow.result,
    )
    .where(CalibrationPointRow.calibration_id == bindparam("number"))
    .order_by(CalibrationPointRow.stage, CalibrationPointRow.position)
)
_FILES = (
    select(KeptFileRow.sha256, KeptFileRow.media_type, FileOfRow.caption, func.length(KeptFileRow.content))
    .join(FileOfRow, FileOfRow.file_id == KeptFileRow.id)
    .where(FileOfRow.calibration_id == bindparam("number"))
    .order_by(FileOfRow.id)
)
_WITH_FILE = (
    select(CalibrationRow.id, ItemRow.tag, CalibrationRow.certificate_no)
    .join(ItemRow, ItemRow.id == CalibrationRow.item_id)
    .join(FileOfRow, FileOfRow.calibration_id == CalibrationRow.id)
    .join(KeptFileRow, KeptFileRow.id == FileOfRow.file_id)
    .where(KeptFileRow.sha256 == bindparam("digest"))
    .limit(1)
)
_GOOD = select(func.max(CalibrationRow.calibrated_on)).where(
    CalibrationRow.item_id == bindparam("item"), CalibrationRow.standing == Standing.ACCEPTED
)
_WITHDRAWN = select(UpkeepRow.withdraws_id).where(UpkeepRow.withdraws_id.is_not(None))
_DONE = (
    select(func.max(UpkeepRow.done_on))
    .join(TaskRow, TaskRow.id == UpkeepRow.task_id)
    .where(
        UpkeepRow.item_id == bindparam("item"),
        TaskRow.name == bindparam("task"),
        UpkeepRow.withdraws_id.is_(None),
        UpkeepRow.id.not_in(_WITHDRAWN),
    )
)


def certificates(db: Connection, item: ItemLine) -> list[CertificateLine]:
    """Every certificate of an item, the newest first."""
    return lines(CertificateLine, db.execute(_OF_ITEM, {"item": item.id}))


def undecided(db: Connection, site: str) -> list[CertificateLine]:
    """The certificates of a site that nobody has accepted or refused yet, the longest waiting first."""
    return lines(CertificateLine, db.execute(_UNDECIDED, {"site": site}))


def find_certificate(db: Connection, number: int) -> CertificateLine:
    """One certificate by the number it got when it was read in."""
    found = lines(CertificateLine, db.execute(_BY_NUMBER, {"number": number}))
    if not found:
        raise NotFound(f"There is no certificate {number} on record. See: fleet certificates TAG")
    return found[0]


def points(db: Connection, number: int) -> list[PointLine]:
    """The points of a certificate, as found first."""
    return lines(PointLine, db.execute(_POINTS, {"number": number}))


def readings(db: Connection, line: CertificateLine) -> list[Reading]:
    """The points by which the item goes on, as they were read."""
    return [
        Reading(line.deciding, one.at_written, one.at_mpa, one.found_written, one.found_si, one.expanded)
        for one in points(db, line.id)
        if one.stage == line.deciding
    ]


def files(db: Connection, number: int) -> list[FileLine]:
    """The kept files of a certificate."""
    return lines(FileLine, db.execute(_FILES, {"number": number}))


def with_file(db: Connection, digest: str) -> str | None:
    """Which certificate a file belongs to already, in words."""
    row = db.execute(_WITH_FILE, {"digest": digest}).first()
    return f"certificate {row.certificate_no} of {show_tag(row.tag)}" if row else None


def subject_of(db: Connection, item: ItemLine, units: Units = SI) -> Subject:
    """An item as a certificate is judged against it: its charts now, its rating, its range and class."""
    piece = pieces(db, [item.id])[0]
    return Subject(
        label=f"{item.kind} {show_tag(item.tag)}",
        kind=item.kind,
        chart=piece.chart,
        wider=_model_chart(db, item) if item.kind == Kind.WRENCH else None,
        mwp_mpa=piece.part.mwp_mpa.get(Line.ADVANCE),
        range_mpa=piece.part.gauge_range_mpa,
        accuracy=piece.accuracy,
        units=units,
    )


def _model_chart(db: Connection, item: ItemLine) -> Chart | None:
    charted = [point for point in chart_points(db, find_model(db, item.model)) if point.tag is None]
    pairs = [ChartPoint(point.pressure_mpa, point.torque_nm) for point in charted]
    return make_chart(pairs, charted[0].source) if charted else None


def agreed_before(db: Connection, item: ItemLine) -> Agreed | None:
    """The decision rule and tolerance of the item's last certificate."""
    last = next(iter(certificates(db, item)), None)
    return Agreed(DecisionRule(last.decision_rule), last.tolerance_percent) if last else None


def last_good_on(db: Connection, item_id: int, task: str) -> date | None:
    """The day of the last good result: an accepted certificate, or the task noted as done."""
    asked = {"item": item_id, "task": task}
    days = [db.execute(_GOOD, {"item": item_id}).scalar(), db.execute(_DONE, asked).scalar()]
    return max((day for day in days if day), default=None)
