"""Taking certificates in: judged at once by the rule that was chosen before, and acted on when one failed."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, insert, select

from fleet.desk.calibrations.judging import judge
from fleet.desk.calibrations.slips import TakenIn
from fleet.ledgers import daybook
from fleet.ledgers.files import attach, keep
from fleet.ledgers.holds import open_hold
from fleet.ledgers.reviews import open_review
from fleet.ledgers.upkeep import meter_then
from fleet.lists.calibrations import last_good_on
from fleet.lists.items import find_item
from fleet.measures.tags import show_tag
from fleet.records import CalibrationPointRow, CalibrationRow
from fleet.records.base import rows_of
from fleet.rules.certificates import FAILED
from fleet.rules.certified import error_at, whole
from fleet.rules.conditions import HoldCause
from fleet.rules.evidence import Stage, Standing
from fleet.rules.requests import used_otherwise

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.desk.calibrations.judging import Case
    from fleet.desk.calibrations.slips import CertificateSlip
    from fleet.rules.certificates import JudgedPoint
    from fleet.rules.people import Actor

_ADD, _ADD_POINTS = insert(rows_of(CalibrationRow)), insert(rows_of(CalibrationPointRow))
_SAME = select(
    CalibrationRow.id,
    CalibrationRow.item_id,
    CalibrationRow.certificate_no,
    CalibrationRow.as_found,
    CalibrationRow.as_left,
    CalibrationRow.decision_rule,
    CalibrationRow.tolerance_percent,
).where(CalibrationRow.client_id == bindparam("client"))


def take_in(db: Connection, slip: CertificateSlip, *, by: Actor, now: datetime) -> TakenIn:
    """Take one certificate in. A failure as found puts the item on hold and opens a review, all at once."""
    item = find_item(db, slip.item)
    certificate = whole(slip.typed, slip.digital)
    same = db.execute(_SAME, {"client": slip.client_id}).first()
    if same is not None:
        if (same.item_id, same.certificate_no) != (item.id, certificate.number):
            raise used_otherwise(slip.client_id)
        told = (same.decision_rule, same.tolerance_percent, same.as_found, same.as_left)
        return TakenIn(same.id, item.tag, same.certificate_no, *told, again=True)
    case = judge(db, slip, item, certificate, by=by, now=now)
    number = _write(db, slip, case, by=by, now=now)
    judged = case.judged
    answer = TakenIn(
        number,
        item.tag,
        certificate.number,
        case.agreed.rule,
        case.agreed.tolerance_percent,
        judged.as_found,
        judged.as_left,
        judged.sentences,
        judged.points,
    )
    return _follow(db, case, answer, by=by, now=now) if judged.failed_as_found else answer


def _write(db: Connection, slip: CertificateSlip, case: Case, *, by: Actor, now: datetime) -> int:
    said, judged = case.certificate, case.judged
    cycles, minutes = meter_then(db, case.item.id, said.calibrated_on)
    told = {
        "certificate_no": said.number,
        "laboratory": said.laboratory,
        "accreditation": said.accreditation,
        "reference": slip.reference.strip(),
        "traceability": slip.traceability.strip(),
        "decision_rule": case.agreed.rule,
        "tolerance_percent": case.agreed.tolerance_percent,
        "coverage_factor": said.coverage_factor,
        "as_found": judged.as_found,
        "as_left": judged.as_left,
        "cycles_at": cycles,
        "minutes_at": minutes,
        "note": slip.note,
    }
    row = told | {
        "client_id": slip.client_id,
        "item_id": case.item.id,
        "task_id": case.task.id,
        "away_id": case.trip.id if case.trip else None,
        "calibrated_on": said.calibrated_on,
        "paired_gauge_id": case.gauge_id,
        "received_at": now,
        "received_by_id": by.id,
        "standing": Standing.RECEIVED,
    }
    (number,) = db.execute(_ADD, row).inserted_primary_key or (0,)
    db.execute(_ADD_POINTS, [_point(number, n, point) for n, point in enumerate(judged.points, start=1)])
    body = told | {
        "number": number,
        "task": case.task.name,
        "calibrated": str(said.calibrated_on),
        "paired_gauge": case.gauge,
        "sentences": list(judged.sentences),
        "points": [_said(point) for point in judged.points],
        "files": _keep(db, slip, number, by=by, now=now),
    }
    daybook.enter(
        db, case.site.id, by=by, now=now, act="certificate taken in", about=case.item.tag, body=body
    )
    return int(number)


def _point(number: int, position: int, point: JudgedPoint) -> dict[str, object]:
    reading, verdict = point.reading, point.verdict
    return {
        "calibration_id": number,
        "stage": reading.stage,
        "position": position,
        "at_written": reading.at_written,
        "at_mpa": reading.at_mpa,
        "reference_si": verdict.facts.reference,
        "found_written": reading.found_written,
        "found_si": reading.found_si,
        "tolerance": verdict.facts.tolerance,
        "expanded": reading.expanded_si,
        "result": verdict.result,
    }


def _said(point: JudgedPoint) -> str:
    reading = point.reading
    return (
        f"{reading.stage} at {reading.at_written}: {reading.found_written}, "
        f"{point.error_percent:+.3f} % (allowed {point.allowed_percent:g} %), {point.verdict.result}"
    )


def _keep(db: Connection, slip: CertificateSlip, number: int, *, by: Actor, now: datetime) -> list[str]:
    """Keep the files as they were received; answers their digests."""
    for file in slip.files:
        kept = keep(db, file.content, file.media_type, by=by, now=now)
        attach(db, kept, caption=file.caption, calibration_id=number)
    return [hashlib.sha256(file.content).hexdigest() for file in slip.files]


def _follow(db: Connection, case: Case, answer: TakenIn, *, by: Actor, now: datetime) -> TakenIn:
    """Keep a failed item in, and open the review of everything it touched since its last good result."""
    item, said = case.item, case.certificate
    sentence = case.judged.sentences[0]
    reason = f"Certificate {said.number} of {said.laboratory}. {sentence}"
    hold = open_hold(db, item_id=item.id, cause=HoldCause.CALIBRATION, reason=reason, by=by, now=now)
    since_on = last_good_on(db, item.id, case.task.name)
    # Once it was adjusted and passed, its later use is not in question.
    mended = case.judged.as_left is not None and case.judged.as_left not in FAILED
    until_on = said.calibrated_on if mended else case.site.today(now)
    review = open_review(
        db,
        item_id=item.id,
        calibration_id=answer.number,
        cause=f"{show_tag(item.tag)} failed as found. {reason}",
        error_at=error_at(item.kind, case.judged.at(Stage.AS_FOUND)),
        since_on=since_on if since_on is None else min(since_on, until_on),
        until_on=until_on,
        by=by,
        now=now,
    )
    return replace(answer, hold=hold, review=review)
