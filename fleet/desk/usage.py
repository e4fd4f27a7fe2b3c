"""Use that was noted late, and wrong entries taken back by a second entry."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, select

from fleet.ledgers.usage import Booked, Entry, book
from fleet.lists.items import find_item
from fleet.lists.jobs import find_job, find_joint
from fleet.lists.sites import find_site
from fleet.measures.tags import show_tag
from fleet.measures.times import show_day
from fleet.records import ItemRow, SiteRow, UsageRow
from fleet.refusals import NotFound, NotPossible
from fleet.rules.people import Actor, require
from fleet.rules.reasons import written_reason
from fleet.rules.register import Role
from fleet.rules.requests import used_otherwise
from fleet.rules.usage import check_use

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.rows import AnyRow

__all__ = ["Booked", "UseSlip", "note_use", "reverse_use"]

_SAME = select(UsageRow.id, UsageRow.item_id, UsageRow.reverses_id).where(
    UsageRow.client_id == bindparam("client")
)
_ENTRY = (
    select(
        UsageRow.id,
        UsageRow.item_id,
        UsageRow.loan_line_id,
        UsageRow.job_id,
        UsageRow.joint_id,
        UsageRow.cycles,
        UsageRow.minutes,
        UsageRow.used_on,
        UsageRow.reverses_id,
        ItemRow.tag,
        ItemRow.site_id,
        SiteRow.code.label("site"),
    )
    .join(ItemRow, ItemRow.id == UsageRow.item_id)
    .join(SiteRow, SiteRow.id == ItemRow.site_id)
    .where(UsageRow.id == bindparam("entry"))
)
_RECEIVED = select(ItemRow.received_on).where(ItemRow.id == bindparam("item"))
_REVERSAL = select(UsageRow.id).where(UsageRow.reverses_id == bindparam("entry"))


@dataclass(frozen=True, slots=True)
class UseSlip:
    """Use that no return reported: a test run, or a figure found later."""

    client_id: str
    item: str
    cycles: int
    minutes: int
    used_on: date
    note: str
    job: str | None = None
    joint: str | None = None


def note_use(db: Connection, slip: UseSlip, *, by: Actor, now: datetime) -> Booked:
    """Book use outside a return, with a note that says where the figure comes from."""
    item = find_item(db, slip.item)
    site = find_site(db, item.site)
    same = db.execute(_SAME, {"client": slip.client_id}).first()
    if same is not None:
        if same.item_id != item.id or same.reverses_id is not None:
            raise used_otherwise(slip.client_id)
        return Booked(same.id, item.tag, slip.cycles, slip.minutes, item.cycles, item.minutes, again=True)
    require(by, site.id, site.name, Role.KEEPER)
    check_use(slip.cycles, slip.minutes)
    note = written_reason(slip.note, "where this use comes from")
    if slip.used_on > site.today(now):
        raise NotPossible(f"{show_day(slip.used_on)} is still to come.")
    received = db.execute(_RECEIVED, {"item": item.id}).scalar_one()
    if slip.used_on < received:
        raise NotPossible(f"{show_tag(item.tag)} was only received on {show_day(received)}.")
    job_id, joint_id = _place(db, slip)
    entry = Entry(
        client_id=slip.client_id,
        item_id=item.id,
        loan_line_id=None,
        job_id=job_id,
        joint_id=joint_id,
        cycles=slip.cycles,
        minutes=slip.minutes,
        used_on=slip.used_on,
        reverses_id=None,
        reason=note,
        by_id=by.id,
        recorded_at=now,
    )
    return book(db, entry, item.tag, site, by=by)


def _place(db: Connection, slip: UseSlip) -> tuple[int | None, int | None]:
    """The job and the joint of a use, where it has them."""
    if slip.joint and not slip.job:
        raise NotPossible(f"Say with --job to which job the joint {slip.joint} belongs.")
    if not slip.job:
        return None, None
    job = find_job(db, slip.job)
    return job.id, find_joint(db, job, slip.joint).id if slip.joint else None


def reverse_use(
    db: Connection, entry_id: int, reason: str, *, client_id: str, by: Actor, now: datetime
) -> Booked:
    """Take one ledger entry back by a second one. The first stays as it was written."""
    found = db.execute(_ENTRY, {"entry": entry_id}).first()
    if found is None:
        raise NotFound(
            f"There is no usage entry {entry_id}. See the entries of an item with: fleet usage TAG"
        )
    same = db.execute(_SAME, {"client": client_id}).first()
    if same is not None:
        if same.reverses_id != found.id:
            raise used_otherwise(client_id)
        item = find_item(db, found.tag)
        return Booked(same.id, item.tag, -found.cycles, -found.minutes, item.cycles, item.minutes, again=True)
    site = find_site(db, found.site)
    require(by, site.id, site.name, Role.KEEPER)
    why = written_reason(reason, "why the entry is wrong")
    _check_reversible(db, found)
    entry = Entry(
        client_id=client_id,
        item_id=found.item_id,
        loan_line_id=found.loan_line_id,
        job_id=found.job_id,
        joint_id=found.joint_id,
        cycles=-found.cycles,
        minutes=-found.minutes,
        # On the day of the entry it takes back, so that the pace of use comes right as well.
        used_on=found.used_on,
        reverses_id=found.id,
        reason=why,
        by_id=by.id,
        recorded_at=now,
    )
    return book(db, entry, found.tag, site, by=by)


def _check_reversible(db: Connection, found: AnyRow) -> None:
    if found.reverses_id is not None:
        raise NotPossible(
            f"Entry {found.id} is itself a reversal. If that was the mistake, note the use again."
        )
    before = db.execute(_REVERSAL, {"entry": found.id}).scalar()
    if before is not None:
        raise NotPossible(f"Entry {found.id} was already reversed by entry {before}.")
