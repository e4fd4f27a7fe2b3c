"""Keeping items for a job, and letting them free again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, insert, select, update
from sqlalchemy.exc import IntegrityError

from fleet.bolting.findings import Severity
from fleet.ledgers import daybook
from fleet.lists.items import find_item, item_facts
from fleet.lists.jobs import JobLine, find_job, find_joint
from fleet.lists.sites import find_site
from fleet.measures.tags import show_tag
from fleet.measures.times import show_day, zone
from fleet.records import ReservationRow
from fleet.records.base import rows_of
from fleet.refusals import NotPossible
from fleet.rules.people import Actor, require
from fleet.rules.reasons import written_reason
from fleet.rules.register import Role
from fleet.rules.requests import used_otherwise
from fleet.rules.reservations import judge_window, make_window

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.rules.loans import Verdict

_ROWS = rows_of(ReservationRow)
_ADD = insert(_ROWS)
_SAME = select(
    ReservationRow.job_id, ReservationRow.starts_at, ReservationRow.ends_at, ReservationRow.ended_at
).where(ReservationRow.client_id == bindparam("client"))
_END = (
    update(_ROWS)
    .where(
        _ROWS.c.item_id == bindparam("item"),
        _ROWS.c.job_id == bindparam("job"),
        _ROWS.c.ended_at.is_(None),
    )
    .values(ended_at=bindparam("now"), ended_by_id=bindparam("by"), end_reason=bindparam("why"))
)


@dataclass(frozen=True, slots=True)
class ReserveSlip:
    """Items for a job, perhaps one joint of it, in a window [starts_at, ends_at); else the job's own."""

    client_id: str
    items: tuple[str, ...]
    job: str
    joint: str | None = None
    starts_at: datetime | None = None
    ends_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Reserved:
    """What is kept, from when to when, and what must be seen to before."""

    job: str
    starts_at: datetime
    ends_at: datetime
    verdicts: tuple[Verdict, ...]
    again: bool = False


def reserve(db: Connection, slip: ReserveSlip, *, by: Actor, now: datetime) -> Reserved:
    """Keep items for a job, all or none. What can still be mended is said, what cannot refuses."""
    job = find_job(db, slip.job)
    starts_at, ends_at = slip.starts_at or job.starts_at, slip.ends_at or job.ends_at
    ids = [find_item(db, asked).id for asked in slip.items]
    before = _reserved_before(db, slip, ids, job)
    if before:
        return before
    site = find_site(db, job.site)
    require(by, site.id, site.name, Role.PLANNER, Role.KEEPER)
    if ends_at <= starts_at:
        raise NotPossible("The window ends before it starts.")
    if ends_at <= now:
        raise NotPossible("The window has already passed.")
    joint_id = find_joint(db, job, slip.joint).id if slip.joint else None
    verdicts = _verdicts(db, ids, job, starts_at, ends_at, now)
    rows = [
        {
            "client_id": f"{slip.client_id}/{item_id}",
            "item_id": item_id,
            "job_id": job.id,
            "joint_id": joint_id,
            "starts_at": starts_at,
            "ends_at": ends_at,
            "reserved_at": now,
            "reserved_by_id": by.id,
        }
        for item_id in ids
    ]
    _keep_apart(db, rows)
    body = {
        "items": [verdict.tag for verdict in verdicts],
        "joint": slip.joint,
        "from": starts_at.isoformat(),
        "to": ends_at.isoformat(),
    }
    daybook.enter(db, site.id, by=by, now=now, act="reserved", about=job.code, body=body)
    return Reserved(job.code, starts_at, ends_at, verdicts)


def _reserved_before(db: Connection, slip: ReserveSlip, ids: list[int], job: JobLine) -> Reserved | None:
    """The answer to this very slip when it was carried out before."""
    rows = [db.execute(_SAME, {"client": f"{slip.client_id}/{item_id}"}).first() for item_id in ids]
    known = [row for row in rows if row is not None]
    if not known:
        return None
    if len(known) < len(rows) or known[0].job_id != job.id:
        raise used_otherwise(slip.client_id)
    if any(row.ended_at for row in known):
        raise NotPossible("This was reserved before and set free since. Reserve it anew, with another id.")
    return Reserved(job.code, known[0].starts_at, known[0].ends_at, (), again=True)


def _verdicts(  # What is asked, where, and for when.
    db: Connection, ids: list[int], job: JobLine, starts_at: datetime, ends_at: datetime, now: datetime
) -> tuple[Verdict, ...]:
    if len(set(ids)) < len(ids):
        raise NotPossible("The same item was named twice.")
    window = make_window(job.code, job.site, starts_at, ends_at, there=zone(job.time_zone), now=now)
    facts = item_facts(db, ids, now=now, lock=True)
    verdicts = tuple(judge_window(facts[item_id], window) for item_id in ids)
    hard = [
        f"{show_tag(verdict.tag)}: {finding.sentence}"
        for verdict in verdicts
        for finding in verdict.findings
        if finding.severity is Severity.HARD
    ]
    if hard:
        raise NotPossible("Nothing was reserved. " + " ".join(hard))
    return verdicts


def _keep_apart(db: Connection, rows: Sequence[Mapping[str, object]]) -> None:
    """Write the rows; two windows of one item that overlap are refused by the database itself."""
    try:
        db.execute(_ADD, rows)
    except IntegrityError as error:
        if "ex_reservation_no_overlap" in str(error.orig):
            raise NotPossible(
                "Nothing was reserved: one of these items was just reserved by somebody else for that time."
            ) from error
        raise


def set_free(db: Connection, asked: str, job_code: str, reason: str, *, by: Actor, now: datetime) -> str:
    """End the reservation of one item for one job; answers its tag."""
    item = find_item(db, asked)
    job = find_job(db, job_code)
    site = find_site(db, job.site)
    require(by, site.id, site.name, Role.PLANNER, Role.KEEPER)
    why = written_reason(reason, "why it is set free")
    ended = db.execute(_END, {"item": item.id, "job": job.id, "now": now, "by": by.id, "why": why}).rowcount
    if not ended:
        raise NotPossible(f"{show_tag(item.tag)} is not reserved for {job.code}.")
    body = {"item": item.tag, "reason": why, "until_now": show_day(site.today(now))}
    daybook.enter(db, site.id, by=by, now=now, act="set free", about=job.code, body=body)
    return item.tag
