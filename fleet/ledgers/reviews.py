"""Opening an impact review: everything that an item touched since it was last known to be good."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import bindparam, insert, select

from fleet.ledgers import daybook
from fleet.lists.traces import trace
from fleet.measures.times import local_day, zone
from fleet.records import ImpactLineRow, ImpactReviewRow, ItemRow, ModelRow, SiteRow
from fleet.records.base import rows_of
from fleet.rules.impact import judge_touched, review_due

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.rules.impact import ErrorAt, Judged
    from fleet.rules.people import Actor

_ADD, _ADD_LINES = insert(rows_of(ImpactReviewRow)), insert(rows_of(ImpactLineRow))
_ITEM = (
    select(ItemRow.tag, ItemRow.site_id, ModelRow.kind, SiteRow.time_zone)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(SiteRow, SiteRow.id == ItemRow.site_id)
    .where(ItemRow.id == bindparam("item"))
)


def open_review(  # noqa: PLR0913  One parameter for each thing that is kept.
    db: Connection,
    *,
    item_id: int,
    calibration_id: int | None,
    cause: str,
    error_at: ErrorAt,
    since_on: date | None,
    until_on: date,
    by: Actor,
    now: datetime,
) -> int:
    """Write a review with a line for each loan, job and joint, say so in the day book, answer its number.

    ``error_at`` answers, at a pressure in MPa (None: wherever it is worst), a wrench's torque error or a
    gauge's own error (shown less applied), in percent. ``since_on`` is the day of the last good result, that
    day included, or None when there is none. A review without a line is still written: it shows that
    nothing was touched.
    """
    item = db.execute(_ITEM, {"item": item_id}).one()
    found = judge_touched(item.kind, trace(db, item_id, since=since_on, until=until_on), error_at)
    row = {
        "item_id": item_id,
        "site_id": item.site_id,
        "calibration_id": calibration_id,
        "cause": cause,
        "since_on": since_on,
        "until_on": until_on,
        "opened_at": now,
        "opened_by_id": by.id,
        "due_on": review_due(local_day(now, zone(item.time_zone))),
    }
    (review,) = db.execute(_ADD, row).inserted_primary_key or (0,)
    if found:
        db.execute(_ADD_LINES, [_row(review, judged) for judged in found])
    body = {
        "review": review,
        "cause": cause,
        "since": str(since_on) if since_on else None,
        "until": str(until_on),
        "due": str(row["due_on"]),
        "calibration": calibration_id,
        "lines": [_said(judged) for judged in found],
    }
    daybook.enter(db, item.site_id, by=by, now=now, act="review opened", about=item.tag, body=body)
    return int(review)


def _row(review: int, judged: Judged) -> dict[str, object]:
    one = judged.touched
    return {
        "review_id": review,
        "loan_line_id": one.loan_line_id,
        "job_id": one.job_id,
        "joint_id": one.joint_id,
        "first_on": one.first_on,
        "last_on": one.last_on,
        "cycles": one.cycles,
        "pressure_mpa": judged.pressure_mpa,
        "error_percent": judged.error_percent,
    }


def _said(judged: Judged) -> dict[str, object]:
    one = judged.touched
    return {
        "loan": one.loan,
        "job": one.job,
        "joint": one.joint,
        "first": str(one.first_on),
        "last": str(one.last_on),
        "cycles": one.cycles,
        "pressure_mpa": _rounded(judged.pressure_mpa),
        "torque_error_percent": _rounded(judged.error_percent),
    }


def _rounded(figure: float | None) -> float | None:
    return None if figure is None else round(figure, 3)
