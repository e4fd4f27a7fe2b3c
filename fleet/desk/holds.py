"""Keeping items in, letting them go again with evidence, and the short exceptions in between."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, insert, select, update

from fleet.ledgers import daybook, holds
from fleet.lists.items import ItemLine, find_item, item_facts
from fleet.lists.jobs import find_job
from fleet.lists.people import find_person
from fleet.lists.sites import find_site
from fleet.lists.soundness import find_evidence, soundness
from fleet.measures.tags import show_tag
from fleet.measures.times import local_day, zone
from fleet.records import ConcessionRow, HoldRow
from fleet.records.base import rows_of
from fleet.refusals import NotPossible
from fleet.rules.concessions import LONGEST_HOURS, judge_concession
from fleet.rules.holds import HeldFacts, Shown, judge_release
from fleet.rules.people import SETTING_UP, Actor, require
from fleet.rules.reasons import written_reason
from fleet.rules.register import Role

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.rows import AnyRow
    from fleet.rules.conditions import HoldCause

_HOLDS = rows_of(HoldRow)
_OPENED = (
    select(HoldRow.id, HoldRow.cause, HoldRow.opened_at)
    .where(HoldRow.item_id == bindparam("item"), HoldRow.released_at.is_(None))
    .order_by(HoldRow.id)
)
_NAMES = [shown.name for shown in Shown]
_RELEASE = (
    update(_HOLDS)
    .where(_HOLDS.c.id == bindparam("hold"), _HOLDS.c.released_at.is_(None))
    .values(
        released_at=bindparam("at"),
        released_by_id=bindparam("by"),
        evidence=bindparam("words"),
        inspection_id=bindparam(Shown.INSPECTION.name),
        repair_id=bindparam(Shown.REPAIR.name),
        proof_test_id=bindparam(Shown.PROOF_TEST.name),
        calibration_id=bindparam(Shown.CERTIFICATE.name),
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


@dataclass(frozen=True, slots=True)
class ReleaseSlip:
    """Which hold is released, by what was done after it was opened, and what that shows.

    ``evidence`` is the number of the inspection, repair, proof test or certificate. Without ``hold`` it is
    the only open one; ``every`` releases all of them, if the evidence serves each.
    """

    item: str
    what: Shown
    evidence: int
    words: str
    hold: int | None = None
    every: bool = False


@dataclass(frozen=True, slots=True)
class Released:
    """The item, the holds that ended, and those that still keep it in."""

    item: ItemLine
    released: tuple[int, ...]
    still_open: tuple[int, ...]


def release_hold(db: Connection, slip: ReleaseSlip, *, by: Actor, now: datetime) -> Released:
    """Let an item go again, when something done since shows that it is sound."""
    item = find_item(db, slip.item)
    site = find_site(db, item.site)
    require(by, site.id, site.name, Role.KEEPER, Role.SAFETY)
    words = written_reason(slip.words, "what the evidence shows")
    opened = db.execute(_OPENED, {"item": item.id}).all()
    chosen = _chosen(item, slip, opened)
    shown = find_evidence(db, item, slip.what, slip.evidence)
    state = soundness(db, item.id)
    safety = by is SETTING_UP or (site.id, Role.SAFETY) in by.roles
    for hold in chosen:
        opened_on = local_day(hold.opened_at, zone(site.time_zone))
        facts = HeldFacts(hold.id, hold.cause, opened_on, hold.opened_at, *state)
        judge_release(facts, shown, show_tag(item.tag), safety=safety)
    numbers = tuple(hold.id for hold in chosen)
    for number in numbers:
        _end(db, number, slip, words, by=by, now=now)
    body = {"holds": numbers, "by": str(shown), "done_on": str(shown.done_on), "evidence": words}
    daybook.enter(db, site.id, by=by, now=now, act="hold released", about=item.tag, body=body)
    still = tuple(hold.id for hold in opened if hold.id not in numbers)
    return Released(find_item(db, item.tag), numbers, still)


def _chosen(item: ItemLine, slip: ReleaseSlip, opened: Sequence[AnyRow]) -> Sequence[AnyRow]:
    """The holds that are meant: none is released because it was overlooked."""
    tag = show_tag(item.tag)
    if not opened:
        raise NotPossible(f"{tag} is not on hold.")
    numbers = ", ".join(f"{hold.id} ({hold.cause})" for hold in opened)
    if slip.hold is not None:
        found = [hold for hold in opened if hold.id == slip.hold]
        if not found:
            raise NotPossible(f"{tag} has no open hold {slip.hold}. Its open holds: {numbers}.")
        return found
    if len(opened) > 1 and not slip.every:
        raise NotPossible(
            f"{tag} is held {len(opened)} times: {numbers}. Say which with --hold, or --all when the same "
            f"evidence serves each."
        )
    return opened


def _end(db: Connection, number: int, slip: ReleaseSlip, words: str, *, by: Actor, now: datetime) -> None:
    row: dict[str, object] = {"hold": number, "at": now, "by": by.id, "words": words}
    row |= dict.fromkeys(_NAMES) | {slip.what.name: slip.evidence}
    if not db.execute(_RELEASE, row).rowcount:
        raise NotPossible(f"Hold {number} was released at another desk just now.")


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
