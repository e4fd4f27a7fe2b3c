"""Keeping items in, letting them go again with evidence, and the short exceptions in between."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, insert, update

from fleet.ledgers import daybook, holds
from fleet.lists.items import ItemLine, find_item, item_facts
from fleet.lists.jobs import find_job
from fleet.lists.people import find_person
from fleet.lists.sites import find_site
from fleet.measures.tags import show_tag
from fleet.records import ConcessionRow, HoldRow
from fleet.records.base import rows_of
from fleet.refusals import NotPossible
from fleet.rules.concessions import LONGEST_HOURS, judge_concession
from fleet.rules.people import Actor, require
from fleet.rules.reasons import written_reason
from fleet.rules.register import Role

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.rules.conditions import HoldCause

_HOLDS = rows_of(HoldRow)
_RELEASE = (
    update(_HOLDS)
    .where(_HOLDS.c.item_id == bindparam("item"), _HOLDS.c.released_at.is_(None))
    .values(
        released_at=bindparam("now"),
        released_by_id=bindparam("by"),
        evidence=bindparam("shown"),
    )
)
_GRANT = insert(rows_of(ConcessionRow))


def open_hold(
    db: Connection, asked: str, cause: HoldCause, reason: str, *, by: Actor, now: datetime
) -> ItemLine:
    """Keep one item in from now on, wherever it is."""
    item = find_item(db, asked)
    site = find_site(db, item.site)
    require(by, site.id, site.name, Role.KEEPER, Role.SAFETY)
    why = written_reason(reason, "why it is kept in")
    holds.open_hold(db, item_id=item.id, cause=cause, reason=why, by=by, now=now)
    return find_item(db, item.tag)


def release_hold(db: Connection, asked: str, evidence: str, *, by: Actor, now: datetime) -> ItemLine:
    """Let an item go out again: somebody names what shows that it is sound."""
    item = find_item(db, asked)
    site = find_site(db, item.site)
    require(by, site.id, site.name, Role.KEEPER, Role.SAFETY)
    shown = written_reason(evidence, "the evidence (which inspection, repair or calibration)")
    released = db.execute(_RELEASE, {"item": item.id, "now": now, "by": by.id, "shown": shown}).rowcount
    if not released:
        raise NotPossible(f"{show_tag(item.tag)} is not on hold.")
    body = {"evidence": shown, "holds": released}
    daybook.enter(db, site.id, by=by, now=now, act="hold released", about=item.tag, body=body)
    return find_item(db, item.tag)


@dataclass(frozen=True, slots=True)
class ConcessionSlip:
    """An exception for one overdue task of one item, for one job, asked for by one person."""

    item: str
    task: str
    job: str
    asked_by: str
    reason_code: str
    reason: str
    hours: int = LONGEST_HOURS


@dataclass(frozen=True, slots=True)
class Granted:
    """A concession in force."""

    tag: str
    task: str
    job: str
    starts_at: datetime
    ends_at: datetime


def grant_concession(db: Connection, slip: ConcessionSlip, *, by: Actor, now: datetime) -> Granted:
    """Let one overdue item out for one job for at most a day, if a safety officer who did not ask agrees."""
    item = find_item(db, slip.item)
    site = find_site(db, item.site)
    require(by, site.id, site.name, Role.SAFETY)
    job = find_job(db, slip.job)
    asker = find_person(db, slip.asked_by)
    reason = written_reason(slip.reason, "why this cannot wait", least=15)
    facts = item_facts(db, [item.id], now=now, lock=True)[item.id]
    due = judge_concession(
        facts,
        slip.task,
        today=site.today(now),
        asker=(asker.id, asker.name),
        granter=(by.id, by.name),
        hours=slip.hours,
    )
    ends_at = now + timedelta(hours=slip.hours)
    row = {
        "item_id": item.id,
        "task_id": due.task_id,
        "job_id": job.id,
        "asked_by_id": asker.id,
        "granted_by_id": by.id,
        "reason_code": slip.reason_code,
        "reason": reason,
        "starts_at": now,
        "ends_at": ends_at,
    }
    db.execute(_GRANT, row)
    body = {
        "task": due.task,
        "job": job.code,
        "asked_by": asker.name,
        "reason_code": slip.reason_code,
        "reason": reason,
        "until": ends_at.isoformat(),
    }
    daybook.enter(db, site.id, by=by, now=now, act="concession granted", about=item.tag, body=body)
    return Granted(item.tag, due.task, job.code, now, ends_at)
