"""Keeping items for a job, by name or any of a class, and letting them free again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import Integer, bindparam, or_, select, update

from fleet.bolting.findings import Severity
from fleet.ledgers import daybook
from fleet.ledgers.reservations import Keeping, keep
from fleet.lists.candidates import first_free, known_class, members
from fleet.lists.items import find_item, item_facts
from fleet.lists.jobs import JobLine, find_job, find_joint
from fleet.lists.sites import find_site
from fleet.measures.tags import show_tag
from fleet.measures.times import show_day, show_moment, zone
from fleet.records import ReservationRow
from fleet.records.base import rows_of
from fleet.refusals import NotPossible
from fleet.rules.people import Actor, require
from fleet.rules.reasons import written_reason
from fleet.rules.register import Role
from fleet.rules.requests import used_otherwise
from fleet.rules.reservations import check_expiry, check_window, judge_window, make_window

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.rules.item_classes import Wanted
    from fleet.rules.loans import Verdict
    from fleet.rules.reservations import Window

_ROWS = rows_of(ReservationRow)
_SAME = select(
    ReservationRow.job_id, ReservationRow.starts_at, ReservationRow.ends_at, ReservationRow.ended_at
).where(ReservationRow.client_id == bindparam("client"))
_END = (
    update(_ROWS)
    .where(
        _ROWS.c.item_id == bindparam("item"),
        _ROWS.c.job_id == bindparam("job"),
        or_(bindparam("number", type_=Integer()).is_(None), _ROWS.c.id == bindparam("number")),
        _ROWS.c.ended_at.is_(None),
    )
    .values(ended_at=bindparam("now"), ended_by_id=bindparam("by"), end_reason=bindparam("why"))
)


@dataclass(frozen=True, slots=True)
class ReserveSlip:
    """Items for a job, perhaps one joint of it, in a window [starts_at, ends_at); else the job's own.

    With ``any_of`` the room chooses ``count`` items of that class, beside those that are named.
    """

    client_id: str
    items: tuple[str, ...]
    job: str
    joint: str | None = None
    starts_at: datetime | None = None
    ends_at: datetime | None = None
    any_of: Wanted | None = None
    count: int = 1
    expires_at: datetime | None = None


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
    check_window(starts_at, ends_at, now)
    check_expiry(slip.expires_at, ends_at, now)
    joint_id = find_joint(db, job, slip.joint).id if slip.joint else None
    window = make_window(job.code, job.site, starts_at, ends_at, there=zone(job.time_zone), now=now)
    named = _verdicts(db, ids, window, now)
    chosen = _choose(db, slip, site.id, window, set(ids), now)
    wanted: list[tuple[str, int, str | None]] = [
        (f"{slip.client_id}/{item_id}", item_id, None) for item_id in ids
    ]
    wanted += [
        (f"{slip.client_id}/any/{number}", item_id, str(slip.any_of))
        for number, (item_id, _) in enumerate(chosen)
    ]
    rows = [
        Keeping(client, item_id, job.id, joint_id, starts_at, ends_at, any_of, slip.expires_at)
        for client, item_id, any_of in wanted
    ]
    keep(db, rows, by=by, now=now)
    verdicts = (*named, *(verdict for _, verdict in chosen))
    body = {
        "items": [verdict.tag for verdict in verdicts],
        "joint": slip.joint,
        "from": starts_at.isoformat(),
        "to": ends_at.isoformat(),
    }
    body |= {"any_of": str(slip.any_of)} if slip.any_of else {}
    body |= {"expires": slip.expires_at.isoformat()} if slip.expires_at else {}
    daybook.enter(db, site.id, by=by, now=now, act="reserved", about=job.code, body=body)
    return Reserved(job.code, starts_at, ends_at, verdicts)


def _reserved_before(db: Connection, slip: ReserveSlip, ids: list[int], job: JobLine) -> Reserved | None:
    """The answer to this very slip when it was carried out before."""
    clients = [f"{slip.client_id}/{item_id}" for item_id in ids]
    clients += [f"{slip.client_id}/any/{number}" for number in range(slip.count) if slip.any_of]
    rows = [db.execute(_SAME, {"client": client}).first() for client in clients]
    known = [row for row in rows if row is not None]
    if not known:
        return None
    if len(known) < len(rows) or known[0].job_id != job.id:
        raise used_otherwise(slip.client_id)
    if any(row.ended_at for row in known):
        raise NotPossible("This was reserved before and set free since. Reserve it anew, with another id.")
    return Reserved(job.code, known[0].starts_at, known[0].ends_at, (), again=True)


def _verdicts(db: Connection, ids: list[int], window: Window, now: datetime) -> tuple[Verdict, ...]:
    if len(set(ids)) < len(ids):
        raise NotPossible("The same item was named twice.")
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


def _choose(  # What is asked for, where, when, and what is taken already.
    db: Connection, slip: ReserveSlip, site_id: int, window: Window, taken: set[int], now: datetime
) -> list[tuple[int, Verdict]]:
    """Items of the class with the least oversize that pass the gate, as many as were asked for."""
    if slip.any_of is None:
        return []
    if slip.count < 1:
        raise NotPossible("Ask for one item at least.")
    wanted = known_class(db, slip.any_of)
    some = members(db, site_id, wanted)
    chosen: list[tuple[int, Verdict]] = []
    for _ in range(slip.count):
        without = taken | {item_id for item_id, _ in chosen}
        found = first_free(db, some, window, now=now, lock=True, without=without)
        if found is None:
            raise _none_free(db, slip, wanted, len(some), len(chosen))
        chosen.append((found[0].id, judge_window(found[1], window)))
    return chosen


def _none_free(
    db: Connection, slip: ReserveSlip, wanted: Wanted, members_known: int, found: int
) -> NotPossible:
    job = find_job(db, slip.job)
    if not members_known:
        return NotPossible(f"Nothing was reserved: {job.site} has nothing like this: {wanted}.")
    there = zone(job.time_zone)
    starts_at, ends_at = slip.starts_at or job.starts_at, slip.ends_at or job.ends_at
    when = f"from {show_moment(starts_at, there)} to {show_moment(ends_at, there)}"
    has = f"{job.site} has {members_known} like this ({wanted})"
    free = f"only {found} of them are" if found else "none of them is"
    return NotPossible(f"Nothing was reserved: {has}, and {free} free and in order {when}.")


def set_free(  # What is set free, why, by whom.
    db: Connection,
    asked: str,
    job_code: str,
    reason: str,
    *,
    number: int | None = None,
    by: Actor,
    now: datetime,
) -> str:
    """End what is reserved of an item for a job, or only the reservation of this number; answers its tag."""
    item = find_item(db, asked)
    job = find_job(db, job_code)
    site = find_site(db, job.site)
    require(by, site.id, site.name, Role.PLANNER, Role.KEEPER)
    why = written_reason(reason, "why it is set free")
    given = {"item": item.id, "job": job.id, "number": number, "now": now, "by": by.id, "why": why}
    ended = db.execute(_END, given).rowcount
    if not ended:
        raise NotPossible(f"{show_tag(item.tag)} is not reserved for {job.code}.")
    body = {"item": item.tag, "reason": why, "until_now": show_day(site.today(now))}
    daybook.enter(db, site.id, by=by, now=now, act="set free", about=job.code, body=body)
    return item.tag
