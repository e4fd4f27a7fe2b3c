"""Upkeep of a site planned ahead: what falls due in the weeks to come, and when each item can be spared."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, exists, select

from fleet.measures.times import local_day, show_day, zone
from fleet.records import (
    AwayRow,
    DueLineRow,
    ItemRow,
    JobRow,
    LoanLineRow,
    LoanRow,
    ModelRow,
    ReservationRow,
    TaskRow,
)
from fleet.refusals import NotPossible
from fleet.rules.upkeep import CountsFrom
from fleet.rules.upkeep_plan import Bench, Due, Engaged, UpkeepPlan, plan_upkeep

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.sites import SiteLine

MOST_WEEKS = 104


@dataclass(frozen=True, slots=True)
class UpkeepSheet:
    """The plan of a site's bench, what each item in it is, and what no work can put off.

    ``worn_out`` are items whose age ends inside a window: they must be swapped, not seen to.
    """

    site: str
    first_day: date
    weeks: int
    capacity: int
    plan: UpkeepPlan
    what: Mapping[str, str]
    worn_out: tuple[str, ...]


_DUES = (
    select(
        ItemRow.id,
        ItemRow.tag,
        ModelRow.kind,
        ModelRow.designation,
        TaskRow.name,
        TaskRow.counts_from,
        DueLineRow.first_on,
    )
    .join(ItemRow, ItemRow.id == DueLineRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(TaskRow, TaskRow.id == DueLineRow.task_id)
    .where(
        DueLineRow.site_id == bindparam("site"),
        DueLineRow.first_on <= bindparam("until", type_=DueLineRow.first_on.type),
        ItemRow.retired_on.is_(None),
        # What is away is being seen to, and comes back with what was done.
        ~exists().where(AwayRow.item_id == ItemRow.id, AwayRow.back_at.is_(None)),
    )
    .order_by(DueLineRow.first_on, ItemRow.tag, TaskRow.name)
)
_KEPT = (
    select(ReservationRow.item_id, ReservationRow.starts_at, ReservationRow.ends_at, JobRow.code)
    .join(ItemRow, ItemRow.id == ReservationRow.item_id)
    .join(JobRow, JobRow.id == ReservationRow.job_id)
    .where(
        ItemRow.site_id == bindparam("site"),
        ReservationRow.ended_at.is_(None),
        ReservationRow.ends_at > bindparam("since", type_=ReservationRow.ends_at.type),
    )
)
_OUT = (
    select(LoanLineRow.item_id, LoanRow.back_on, JobRow.code)
    .join(LoanRow, LoanRow.id == LoanLineRow.loan_id)
    .join(ItemRow, ItemRow.id == LoanLineRow.item_id)
    .join(JobRow, JobRow.id == LoanRow.job_id)
    .where(ItemRow.site_id == bindparam("site"), LoanLineRow.returned_at.is_(None))
)


def upkeep_plan(  # From when, for how long, and how much fits.
    db: Connection, site: SiteLine, first: date, weeks: int, capacity: int, *, now: datetime
) -> UpkeepSheet:
    """Plan the upkeep of ``weeks`` from a day on, at most ``capacity`` items a week.

    Due is the day of whichever clock comes first, a meter's likely day included. What is out is engaged
    until the day it is to be back. Raises NotPossible for a plan of no weeks, or one of the past.
    """
    today = site.today(now)
    if not 1 <= weeks <= MOST_WEEKS or capacity < 1:
        raise NotPossible(f"Plan 1 to {MOST_WEEKS} weeks, with room for one item a week at least.")
    if first < today:
        raise NotPossible(f"{show_day(first)} has passed; begin with today or later.")
    engaged = _engaged(db, site, today, now)
    last = first + timedelta(weeks=weeks)
    until = max((one.last_day for some in engaged.values() for one in some), default=last)
    dues: defaultdict[int, list[Due]] = defaultdict(list)
    what: dict[str, str] = {}
    tags: dict[int, str] = {}
    worn_out = []
    for row in db.execute(_DUES, {"site": site.id, "until": max(until, last)}):
        tags[row.id], what[row.tag] = row.tag, f"{row.kind} {row.designation}"
        if row.counts_from == CountsFrom.DONE:
            dues[row.id].append(Due(row.name, row.first_on))
        elif any(e.first_day <= last and row.first_on < e.last_day for e in engaged[row.id]):
            worn_out.append(row.tag)
    benches = [Bench(tags[item], tuple(some), tuple(engaged[item])) for item, some in dues.items()]
    made = plan_upkeep(benches, first, weeks, capacity)
    named = {one.visit.tag for one in made.placed} | {one.tag for one in made.unplaced}
    known = {tag: what[tag] for tag in sorted({*named, *(one.tag for one in made.blocked), *worn_out})}
    return UpkeepSheet(site.code, first, weeks, capacity, made, known, tuple(dict.fromkeys(worn_out)))


def _engaged(db: Connection, site: SiteLine, today: date, now: datetime) -> defaultdict[int, list[Engaged]]:
    there = zone(site.time_zone)
    found: defaultdict[int, list[Engaged]] = defaultdict(list)
    for row in db.execute(_KEPT, {"site": site.id, "since": now}):
        last = local_day(row.ends_at - timedelta(microseconds=1), there)
        found[row.item_id].append(Engaged(local_day(row.starts_at, there), last, row.code))
    for item, back_on, job in db.execute(_OUT, {"site": site.id}):
        found[item].append(Engaged(today, max(back_on, today), job))
    return found
