"""Breakouts: recorded by themselves, and wrong ones withdrawn by a second entry."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import bindparam, select

from fleet.ledgers import daybook
from fleet.ledgers.breakouts import Breakout, Told, answer_of, write_breakout, write_withdrawal
from fleet.lists.breakouts import BreakoutLine, find_breakout
from fleet.lists.items import find_item
from fleet.lists.jobs import find_job
from fleet.lists.sites import find_site
from fleet.records import BreakoutRow
from fleet.refusals import NotPossible
from fleet.rules.people import Actor, require
from fleet.rules.reasons import written_reason
from fleet.rules.register import Role
from fleet.rules.requests import used_otherwise

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

_SAME = select(BreakoutRow.id).where(BreakoutRow.client_id == bindparam("client"))


def record_breakout(db: Connection, job: str, told: Told, *, by: Actor, now: datetime) -> Breakout:
    """Keep the torque at which a nut of a job's joint was measured to break loose."""
    found = find_job(db, job)
    if (before := _same(db, told.client_id)) is not None:
        item = find_item(db, told.item).id if told.item else None
        there = (found.code, told.joint.strip().casefold(), item)
        if (before.job, before.joint.casefold(), before.item_id) != there or before.withdraws is not None:
            raise used_otherwise(told.client_id)
        return answer_of(before, again=True)
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
        return answer_of(before, again=True)
    site = find_site(db, found.site)
    require(by, site.id, site.name, Role.KEEPER)
    why = written_reason(reason, "why the entry is wrong")
    if found.withdraws is not None:
        raise NotPossible(f"Breakout {entry} itself takes one back. If that was wrong, record it again.")
    if found.withdrawn_by is not None:
        raise NotPossible(f"Breakout {entry} was already withdrawn by entry {found.withdrawn_by}.")
    number = write_withdrawal(db, found, why, client_id=client_id, by=by, now=now)
    return answer_of(find_breakout(db, number))


def _same(db: Connection, client_id: str) -> BreakoutLine | None:
    """What was kept under this id before."""
    entry = db.execute(_SAME, {"client": client_id}).scalar()
    return None if entry is None else find_breakout(db, entry)
