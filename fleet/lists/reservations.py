"""What is kept for which job, and what will keep it from being used then."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

from sqlalchemy import Text, and_, bindparam, exists, or_, select

from fleet.bolting.findings import Severity
from fleet.bolting.parts import Kind
from fleet.lists.candidates import first_free, members
from fleet.lists.items import item_facts
from fleet.lists.rows import lines
from fleet.measures.times import show_moment, zone
from fleet.records import (
    ItemRow,
    JobRow,
    JointRow,
    LoanLineRow,
    LoanRow,
    ModelRow,
    PersonRow,
    ReservationRow,
    SiteRow,
)
from fleet.refusals import NotPossible
from fleet.rules.item_classes import Wanted, read_class
from fleet.rules.reservations import EXPIRES_SOON, NOT_FETCHED, judge_window, make_window
from fleet.rules.undoing import BY_MISTAKE

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.items import ItemLine
    from fleet.lists.jobs import JobLine
    from fleet.lists.sites import SiteLine
    from fleet.rules.loans import ItemFacts
    from fleet.rules.reservations import Window


@dataclass(frozen=True, slots=True)
class ReservationLine:
    """One live reservation in its window [starts_at, ends_at).

    ``any_of`` names the class where any item of it will do; ``expires_at`` is when it ends by itself unless
    the item was ``fetched`` for the job.
    """

    tag: str
    kind: str
    model: str
    site: str
    time_zone: str
    job: str
    joint: str | None
    starts_at: datetime
    ends_at: datetime
    reserved_by: str
    number: int
    item_id: int
    job_id: int
    joint_id: int | None
    any_of: str | None
    expires_at: datetime | None
    plan: int | None
    fetched: bool


# It is out for the job now, or went out for it since it was reserved, and not by mistake.
FETCHED = exists().where(
    LoanLineRow.item_id == ReservationRow.item_id,
    LoanRow.id == LoanLineRow.loan_id,
    LoanRow.job_id == ReservationRow.job_id,
    LoanLineRow.note.is_distinct_from(BY_MISTAKE),
    or_(LoanLineRow.returned_at.is_(None), LoanRow.issued_at >= ReservationRow.reserved_at),
)
EVERY = (
    select(
        ItemRow.tag,
        ModelRow.kind,
        ModelRow.designation,
        SiteRow.code,
        SiteRow.time_zone,
        JobRow.code,
        JointRow.mark,
        ReservationRow.starts_at,
        ReservationRow.ends_at,
        PersonRow.name,
        ReservationRow.id,
        ReservationRow.item_id,
        ReservationRow.job_id,
        ReservationRow.joint_id,
        ReservationRow.any_of,
        ReservationRow.expires_at,
        ReservationRow.plan_id,
        FETCHED.label("fetched"),
    )
    .join(ItemRow, ItemRow.id == ReservationRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(SiteRow, SiteRow.id == ItemRow.site_id)
    .join(JobRow, JobRow.id == ReservationRow.job_id)
    .outerjoin(JointRow, JointRow.id == ReservationRow.joint_id)
    .join(PersonRow, PersonRow.id == ReservationRow.reserved_by_id)
    .order_by(ReservationRow.starts_at, JobRow.code, JointRow.mark, ModelRow.kind, ItemRow.tag)
)
_LIVE = EVERY.where(ReservationRow.ended_at.is_(None))
_AHEAD = _LIVE.where(
    ReservationRow.ends_at > bindparam("since", type_=ReservationRow.ends_at.type),
    or_(bindparam("site", type_=Text()).is_(None), SiteRow.code == bindparam("site")),
    or_(bindparam("job", type_=Text()).is_(None), JobRow.code == bindparam("job")),
)
_OF_ITEM = _LIVE.where(
    ReservationRow.item_id == bindparam("item"), ReservationRow.job_id == bindparam("of_job")
)
_FOR_JOINT = select(ReservationRow.item_id, ReservationRow.starts_at, ReservationRow.ends_at).where(
    ReservationRow.item_id.in_(bindparam("items", expanding=True)),
    ReservationRow.joint_id == bindparam("joint"),
    ReservationRow.ended_at.is_(None),
    ReservationRow.ends_at > bindparam("since", type_=ReservationRow.ends_at.type),
)
# On record whether it is live or not: a request is carried out once.
_BY_CLIENT = select(
    ReservationRow.item_id, ReservationRow.job_id, ReservationRow.starts_at, ReservationRow.ends_at
).where(ReservationRow.client_id == bindparam("client"))
_NOW = bindparam("now", type_=ReservationRow.expires_at.type)
_EXPIRED = _LIVE.where(and_(ReservationRow.expires_at <= _NOW, ReservationRow.ends_at > _NOW, ~FETCHED))
_GIVEN_UP = (
    select(
        ItemRow.tag,
        ModelRow.kind,
        ModelRow.designation,
        JobRow.code,
        JointRow.mark,
        ReservationRow.starts_at,
        ReservationRow.ends_at,
        ReservationRow.ended_at,
    )
    .join(ItemRow, ItemRow.id == ReservationRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(JobRow, JobRow.id == ReservationRow.job_id)
    .outerjoin(JointRow, JointRow.id == ReservationRow.joint_id)
    .where(
        ItemRow.site_id == bindparam("site"),
        ReservationRow.end_reason.startswith(NOT_FETCHED),
        ReservationRow.ended_at > bindparam("since", type_=ReservationRow.ended_at.type),
    )
    .order_by(ReservationRow.ended_at, ItemRow.tag)
)


def reservations(
    db: Connection, *, since: datetime, site: str | None = None, job: str | None = None
) -> list[ReservationLine]:
    """Live reservations whose window has not ended, by start."""
    return lines(ReservationLine, db.execute(_AHEAD, {"since": since, "site": site, "job": job}))


def reserved_for(
    db: Connection, items: Sequence[int], joint_id: int, now: datetime
) -> tuple[datetime, datetime] | None:
    """The time in which all these items are reserved for the joint, when it is one and the same for all."""
    rows = db.execute(_FOR_JOINT, {"items": list(items), "joint": joint_id, "since": now}).all()
    times = {(row.starts_at, row.ends_at) for row in rows}
    return times.pop() if len(times) == 1 and {row.item_id for row in rows} == {*items} else None


def expired(db: Connection, now: datetime) -> list[ReservationLine]:
    """Live reservations that were to be fetched by now and were not."""
    return lines(ReservationLine, db.execute(_EXPIRED, {"now": now}))


def carried_out(db: Connection, client_id: str) -> tuple[int, int, datetime, datetime] | None:
    """Item, job and window that this very request once reserved."""
    row = db.execute(_BY_CLIENT, {"client": client_id}).first()
    return tuple(row) if row else None  # type: ignore[return-value]  # Its four columns.


def find_reservation(
    db: Connection, item: ItemLine, job: JobLine, tag: str, number: int | None = None
) -> ReservationLine:
    """The live reservation of an item for a job; by its number where there are several."""
    found = lines(ReservationLine, db.execute(_OF_ITEM, {"item": item.id, "of_job": job.id}))
    chosen = [one for one in found if number is None or one.number == number]
    if len(chosen) == 1:
        return chosen[0]
    if not found:
        raise NotPossible(f"{tag} is not reserved for {job.code}.")
    there = zone(job.time_zone)
    known = ", ".join(f"{one.number} from {show_moment(one.starts_at, there)}" for one in found)
    raise NotPossible(f"Say with --number which reservation of {tag} for {job.code} is meant: {known}.")


@dataclass(frozen=True, slots=True)
class WarningLine:
    """What stands against something reserved, and what could be taken instead.

    ``number`` is empty where the reservation has ended by itself; ``instead`` where nothing else is free.
    """

    tag: str
    kind: str
    model: str
    job: str
    joint: str | None
    starts_at: datetime
    ends_at: datetime
    number: int | None
    matter: str
    sentence: str
    instead: str | None = None
    instead_model: str | None = None


# How long the list tells of reservations that ended by themselves.
_TOLD_FOR = timedelta(days=7)


def warnings(
    db: Connection, site: SiteLine, now: datetime, *, job: str | None = None, swaps: bool = True
) -> list[WarningLine]:
    """What is reserved at the site, or for one job, and will be missing or stopped, with a swap for each.

    What ended by itself in the last week comes first. Without ``swaps`` nothing is looked for instead.
    """
    there = zone(site.time_zone)
    told = [
        WarningLine(*row[:7], None, "ended", f"Not fetched: given up {show_moment(row.ended_at, there)}.")
        for row in db.execute(_GIVEN_UP, {"site": site.id, "since": now - _TOLD_FOR})
        if job in (None, row.code)
    ]
    found = reservations(db, since=now, site=site.code, job=job)
    facts = item_facts(db, {line.item_id for line in found}, now=now)
    offered: list[tuple[int, Window]] = []
    for line in found:
        window = make_window(line.job, site.code, line.starts_at, line.ends_at, there=there, now=now)
        said = _against(line, facts[line.item_id], window, now)
        if said:
            swap = _instead(db, site, line, window, now, _taken(offered, window)) if swaps else None
            if swap:
                offered.append((swap[0], window))
            told += [
                WarningLine(
                    line.tag,
                    line.kind,
                    line.model,
                    line.job,
                    line.joint,
                    line.starts_at,
                    line.ends_at,
                    line.number,
                    matter,
                    sentence,
                    *(swap[1:] if swap and matter != "expires" else ()),
                )
                for matter, sentence in said
            ]
    return told


def _against(line: ReservationLine, item: ItemFacts, window: Window, now: datetime) -> list[tuple[str, str]]:
    # What it is kept for itself does not stand against it, and nobody else can have it then.
    findings = judge_window(replace(item, kept=()), window).findings
    said = [
        (finding.code, finding.sentence)
        for finding in findings
        if finding.severity is not Severity.NOTE or finding.code == "due by use"
    ]
    if line.expires_at and not line.fetched and line.expires_at <= now + EXPIRES_SOON:
        until = show_moment(line.expires_at, zone(line.time_zone))
        said.append(("expires", f"It is given up unless fetched by {until}."))
    return said


def _taken(offered: list[tuple[int, Window]], window: Window) -> set[int]:
    """What was offered already for an overlapping time: one item mends one reservation."""
    return {
        item
        for item, other in offered
        if other.starts_at < window.ends_at and window.starts_at < other.ends_at
    }


def _instead(  # What is to be replaced, when, and by nothing of these.
    db: Connection,
    site: SiteLine,
    line: ReservationLine,
    window: Window,
    now: datetime,
    without: Collection[int],
) -> tuple[int, str, str] | None:
    some = members(db, site.id, class_of(line))
    found = first_free(db, some, window, now=now, without={*without, line.item_id})
    return (found[0].id, found[0].tag, found[0].model) if found else None


def class_of(line: ReservationLine) -> Wanted:
    """The class that may take the item's place: the one reserved, else its own model."""
    return read_class(line.any_of) if line.any_of else Wanted(Kind(line.kind), model=line.model)
