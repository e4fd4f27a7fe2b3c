"""Breakouts: recorded by themselves, and wrong ones withdrawn by a second entry."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import bindparam, insert, select

from fleet.ledgers import daybook
from fleet.ledgers.breakouts import Breakout, Told, write_breakout
from fleet.lists.breakouts import BreakoutLine, find_breakout
from fleet.lists.items import find_item
from fleet.lists.jobs import find_job
from fleet.lists.sites import find_site
from fleet.records import BreakoutRow
from fleet.records.base import rows_of
from fleet.refusals import NotPossible
from fleet.rules.people import Actor, require
from fleet.rules.reasons import written_reason
from fleet.rules.register import Role
from fleet.rules.requests import used_otherwise

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

_ADD = insert(rows_of(BreakoutRow))
_SAME = select(BreakoutRow.id).where(BreakoutRow.client_id == bindparam("client"))


def record_breakout(db: Connection, job: str, told: Told, *, by: Actor, now: datetime) -> Breakout:
    """Keep the torque at which a nut of a job's joint was measured to break loose."""
    found = find_job(db, job)
    if (before := _same(db, told.client_id)) is not None:
        item = find_item(db, told.item).id if told.item else None
        there = (found.code, told.joint.strip().casefold(), item)
        if (before.job, before.joint.casefold(), before.item_id) != there or before.withdraws is not None:
            raise used_otherwise(told.client_id)
        return _answer(before, again=True)
    site = find_site(db, found.site)
    require(by, site.id, site.name, Role.KEEPER)
    kept = write_breakout(db, found, told, by=by, now=now)
    body = kept.body | {"note": told.note}
    daybook.enter(db, site.id, by=by, now=now, act="breakout recorded", about=kept.joint, body=body)
    return kept


def withdraw_breakout(
    db: Connection, entry: int, reason: str, *, client_id: str, by: Actor, now: datetime
) -> Breakout:
    """Take a wrong breakout back by a second entry; the first stays readable and counts for nothing."""
    found = find_breakout(db, entry)
    if (before := _same(db, client_id)) is not None:
        if before.withdraws != entry:
            raise used_otherwise(client_id)
        return _answer(before, again=True)
    site = find_site(db, found.site)
    require(by, site.id, site.name, Role.KEEPER)
    why = written_reason(reason, "why the entry is wrong")
    if found.withdraws is not None:
        raise NotPossible(f"Breakout {entry} itself takes one back. If that was wrong, record it again.")
    if found.withdrawn_by is not None:
        raise NotPossible(f"Breakout {entry} was already withdrawn by entry {found.withdrawn_by}.")
    row = {
        "client_id": client_id,
        "joint_id": found.joint_id,
        "item_id": found.item_id,
        "pressure_written": found.pressure_written,
        "pressure_mpa": found.pressure_mpa,
        "torque_written": found.torque_written,
        "torque_nm": found.torque_nm,
        "measured_on": found.measured_on,
        "note": None,
        "by_id": by.id,
        "recorded_at": now,
        "withdraws_id": entry,
        "reason": why,
    }
    (number,) = db.execute(_ADD, row).inserted_primary_key or (0,)
    kept = _answer(find_breakout(db, number))
    body = kept.body | {"withdraws": entry, "reason": why}
    daybook.enter(db, site.id, by=by, now=now, act="breakout withdrawn", about=kept.joint, body=body)
    return kept


def _same(db: Connection, client_id: str) -> BreakoutLine | None:
    """What was kept under this id before."""
    entry = db.execute(_SAME, {"client": client_id}).scalar()
    return None if entry is None else find_breakout(db, entry)


def _answer(line: BreakoutLine, *, again: bool = False) -> Breakout:
    return Breakout(
        entry=line.entry,
        job=line.job,
        joint=line.joint,
        tag=line.tag,
        measured_on=line.measured_on,
        torque_written=line.torque_written,
        torque_nm=line.torque_nm,
        pressure_written=line.pressure_written,
        factor=line.torque_nm / line.target_nm,
        again=again,
    )
