"""Matters that stand now at a site, and who is still to be told of them at once."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from sqlalchemy import BindParameter, and_, bindparam, func, or_, select

from fleet.lists.deputies import instead_of
from fleet.lists.reserved_matters import reserved_matters
from fleet.lists.reviews import reviews
from fleet.measures.tags import show_tag
from fleet.measures.times import local_day, show_day, zone
from fleet.records import (
    HoldRow,
    ItemRow,
    JobRow,
    LoanLineRow,
    LoanRow,
    ModelRow,
    PersonRow,
    RecallRow,
    RoleRow,
    ToldRow,
)
from fleet.rules.conditions import HoldCause
from fleet.rules.matters import Matter, MatterKind, Staff, is_quiet, level_after, tellings
from fleet.rules.readers import SPARE, Reader

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Sequence
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.sites import SiteLine
    from fleet.rules.matters import Telling

# How many keys are asked for at a time: one statement's worth of parameters.
_CHUNK = 500

_SITE: BindParameter[int] = bindparam("site")
_OUT = and_(LoanLineRow.item_id == ItemRow.id, LoanLineRow.returned_at.is_(None))
_HELD_OUT = (
    select(
        HoldRow.id,
        ItemRow.tag,
        ModelRow.kind,
        ModelRow.designation,
        ItemRow.serial,
        HoldRow.cause,
        HoldRow.reason,
        HoldRow.opened_at,
        PersonRow.id.label("holder_id"),
        PersonRow.name.label("holder"),
        JobRow.code.label("job"),
        LoanRow.issued_at,
        LoanRow.back_on,
    )
    .join(ItemRow, ItemRow.id == HoldRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(LoanLineRow, _OUT)
    .join(LoanRow, LoanRow.id == LoanLineRow.loan_id)
    .join(PersonRow, PersonRow.id == LoanRow.borrower_id)
    .join(JobRow, JobRow.id == LoanRow.job_id)
    .where(HoldRow.released_at.is_(None), ItemRow.site_id == _SITE)
)
_RECALLED = (
    select(
        RecallRow.id,
        ModelRow.kind,
        ModelRow.designation,
        RecallRow.notice,
        RecallRow.reason,
        RecallRow.opened_at,
        func.count(HoldRow.id).label("items"),
        func.count(LoanLineRow.id).label("out"),
    )
    .join(ModelRow, ModelRow.id == RecallRow.model_id)
    .join(HoldRow, and_(HoldRow.recall_id == RecallRow.id, HoldRow.released_at.is_(None)))
    .join(ItemRow, ItemRow.id == HoldRow.item_id)
    .outerjoin(LoanLineRow, _OUT)
    .where(RecallRow.ended_at.is_(None), ItemRow.site_id == _SITE)
    .group_by(RecallRow.id, ModelRow.kind, ModelRow.designation)
)
_LATE = (
    select(
        LoanLineRow.id,
        ItemRow.tag,
        ModelRow.kind,
        ModelRow.designation,
        ItemRow.serial,
        PersonRow.id.label("holder_id"),
        PersonRow.name.label("holder"),
        JobRow.code.label("job"),
        LoanRow.back_on,
    )
    .join(ItemRow, ItemRow.id == LoanLineRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(LoanRow, LoanRow.id == LoanLineRow.loan_id)
    .join(PersonRow, PersonRow.id == LoanRow.borrower_id)
    .join(JobRow, JobRow.id == LoanRow.job_id)
    .where(
        LoanLineRow.returned_at.is_(None),
        ItemRow.site_id == _SITE,
        LoanRow.back_on < bindparam("today", type_=LoanRow.back_on.type),
    )
)
_PEOPLE = (
    select(PersonRow.id, PersonRow.badge, PersonRow.name, PersonRow.address, RoleRow.role)
    .outerjoin(RoleRow, and_(RoleRow.person_id == PersonRow.id, RoleRow.site_id == _SITE))
    .where(
        PersonRow.active == bindparam("active", value=True),
        or_(RoleRow.id.is_not(None), PersonRow.id.in_(bindparam("ids", expanding=True))),
    )
    .order_by(PersonRow.name, PersonRow.badge)
)
_TOLD = select(ToldRow.matter, ToldRow.reader).where(
    ToldRow.site_id == _SITE, ToldRow.matter.in_(bindparam("keys", expanding=True))
)


def matters(db: Connection, site: SiteLine, now: datetime) -> list[Matter]:
    """Everything that stands now at the site and is told at once: the urgent first, then the oldest."""
    found = [
        *_held(db, site, now),
        *_recalled(db, site),
        *_failed(db, site),
        *_late(db, site, now),
        *reserved_matters(db, site, now),
    ]
    order = {kind: at for at, kind in enumerate(MatterKind)}
    return sorted(found, key=lambda one: (order[one.kind], one.day, one.head, one.key))


def untold(db: Connection, site: SiteLine, now: datetime) -> list[Telling]:
    """Who is still to be told of what, and may be told at this hour."""
    standing = matters(db, site, now)
    if not standing:
        return []
    told = _told(db, site, standing)
    staff = _staff(db, site, standing, now)
    hours = site.quiet_from_hour, site.quiet_until_hour
    quiet = is_quiet(now, zone(site.time_zone), *hours)
    return [
        one
        for matter in standing
        for one in tellings(matter, staff, told[matter.key])
        if not (quiet and one.can_wait)
    ]


def _held(db: Connection, site: SiteLine, now: datetime) -> Iterator[Matter]:
    there, today = zone(site.time_zone), site.today(now)
    for row in db.execute(_HELD_OUT, {"site": site.id}):
        opened_on = local_day(row.opened_at, there)
        since = max(opened_on, local_day(row.issued_at, there))
        cause = "" if row.cause == HoldCause.OTHER else f" ({row.cause})"
        yield Matter(
            MatterKind.HOLD,
            row.id,
            site.id,
            show_tag(row.tag),
            f"{row.kind} {row.designation}, serial {row.serial}",
            f"On hold since {show_day(opened_on)}{cause}: {row.reason}",
            f"with {row.holder} for job {row.job}, due back {show_day(row.back_on)}",
            since,
            (row.holder_id,),
            row.holder,
            level_after((today - since).days),
        )


def _recalled(db: Connection, site: SiteLine) -> Iterator[Matter]:
    for row in db.execute(_RECALLED, {"site": site.id}):
        opened_on = local_day(row.opened_at, zone(site.time_zone))
        items = "1 item is" if row.items == 1 else f"{row.items:,} items are"
        yield Matter(
            MatterKind.RECALL,
            row.id,
            site.id,
            f"recall {row.id}",
            f"{row.kind} {row.designation}",
            f"Recalled on {show_day(opened_on)} ({row.notice}): {row.reason}",
            f"{items} on hold for it here, {row.out:,} of them out",
            opened_on,
        )


def _failed(db: Connection, site: SiteLine) -> Iterator[Matter]:
    for line in reviews(db, site):
        touched = "1 joint" if line.lines == 1 else f"{line.lines:,} joints"
        yield Matter(
            MatterKind.FAILED,
            line.id,
            site.id,
            show_tag(line.tag),
            f"{line.kind} {line.model}, serial {line.serial}",
            line.cause,
            f"{touched} may be affected, {line.undecided:,} to decide by {show_day(line.due_on)}",
            local_day(line.opened_at, zone(site.time_zone)),
        )


def _late(db: Connection, site: SiteLine, now: datetime) -> Iterator[Matter]:
    today = site.today(now)
    for row in db.execute(_LATE, {"site": site.id, "today": today}):
        days = (today - row.back_on).days
        yield Matter(
            MatterKind.LATE,
            row.id,
            site.id,
            show_tag(row.tag),
            f"{row.kind} {row.designation}, serial {row.serial}",
            f"Was to be back {show_day(row.back_on)}: {days:,} {'day' if days == 1 else 'days'} late",
            f"with {row.holder} for job {row.job}",
            row.back_on,
            owner=row.holder,
            level=level_after(days),
        )


def _told(db: Connection, site: SiteLine, standing: Sequence[Matter]) -> defaultdict[str, set[str]]:
    """By matter: whom it was told."""
    found: defaultdict[str, set[str]] = defaultdict(set)
    keys = [matter.key for matter in standing]
    for start in range(0, len(keys), _CHUNK):
        for row in db.execute(_TOLD, {"site": site.id, "keys": keys[start : start + _CHUNK]}):
            found[row.matter].add(row.reader)
    return found


def _staff(db: Connection, site: SiteLine, standing: Collection[Matter], now: datetime) -> Staff:
    instead = instead_of(db, site.today(now))
    ids = {owner for matter in standing for owner in matter.owners} | set(instead.values())
    people: dict[int, Reader] = {}
    for row in db.execute(_PEOPLE, {"site": site.id, "ids": list(ids)}):
        roles = people[row.id].roles if row.id in people else frozenset()
        own = frozenset({row.role}) if row.role else frozenset()
        people[row.id] = Reader(row.id, row.badge, row.name, row.address, roles | own)
    return Staff(people, Reader(0, SPARE, site.name, site.spare_address, frozenset()), instead)
