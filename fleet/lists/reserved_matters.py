"""Matters for planners: kits that are ready, what stands against a reservation, and what is given up."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, select

from fleet.bolting.findings import Severity
from fleet.lists.items import item_facts
from fleet.lists.reservations import FETCHED
from fleet.lists.rows import lines
from fleet.measures.tags import show_tag
from fleet.measures.times import local_day, show_moment, zone
from fleet.records import ItemRow, JobRow, JointRow, ModelRow, PersonRow, ReservationRow
from fleet.rules.matters import (
    CONFLICTS_AHEAD,
    READY_AROUND,
    TOLD_FOR,
    Matter,
    MatterKind,
    conflict_name,
    next_working_day,
)
from fleet.rules.reservations import NOT_FETCHED, judge_window, make_window

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.bolting.findings import Finding
    from fleet.lists.sites import SiteLine
    from fleet.rules.loans import ItemFacts

# How many items are judged at a time: one statement's worth of parameters.
_CHUNK = 500


@dataclass(frozen=True, slots=True)
class _Kept:
    """One reservation, live or given up."""

    number: int
    item_id: int
    tag: str
    kind: str
    model: str
    serial: str
    job_id: int
    job: str
    joint: str | None
    starts_at: datetime
    ends_at: datetime
    expires_at: datetime | None
    ended_at: datetime | None
    reserved_by_id: int
    reserved_by: str
    fetched: bool


_KEPT = (
    select(
        ReservationRow.id,
        ReservationRow.item_id,
        ItemRow.tag,
        ModelRow.kind,
        ModelRow.designation,
        ItemRow.serial,
        ReservationRow.job_id,
        JobRow.code,
        JointRow.mark,
        ReservationRow.starts_at,
        ReservationRow.ends_at,
        ReservationRow.expires_at,
        ReservationRow.ended_at,
        ReservationRow.reserved_by_id,
        PersonRow.name,
        FETCHED,
    )
    .join(ItemRow, ItemRow.id == ReservationRow.item_id)
    .join(ModelRow, ModelRow.id == ItemRow.model_id)
    .join(JobRow, JobRow.id == ReservationRow.job_id)
    .outerjoin(JointRow, JointRow.id == ReservationRow.joint_id)
    .join(PersonRow, PersonRow.id == ReservationRow.reserved_by_id)
    .where(ItemRow.site_id == bindparam("site"))
    .order_by(ReservationRow.starts_at, ItemRow.tag, ReservationRow.id)
)
_LIVE = _KEPT.where(
    ReservationRow.ended_at.is_(None),
    ReservationRow.ends_at > bindparam("now", type_=ReservationRow.ends_at.type),
    ReservationRow.starts_at <= bindparam("until", type_=ReservationRow.starts_at.type),
)
_GIVEN_UP = _KEPT.where(
    ReservationRow.ended_at > bindparam("since", type_=ReservationRow.ended_at.type),
    ReservationRow.end_reason.startswith(NOT_FETCHED),
)


def reserved_matters(db: Connection, site: SiteLine, now: datetime) -> Iterator[Matter]:
    """What those who reserved something at the site are told at once."""
    kept = lines(_Kept, db.execute(_LIVE, {"site": site.id, "now": now, "until": now + CONFLICTS_AHEAD}))
    facts = _facts(db, kept, now)
    against = {line.number: _against(line, facts[line.item_id], site, now) for line in kept}
    for line in kept:
        for finding in against[line.number]:
            name = conflict_name(finding.code, finding.sentence)
            yield _matter(MatterKind.AGAINST, line, site, finding.sentence, name)
        if _is_given_up_soon(line, site, now) and line.expires_at:
            until = show_moment(line.expires_at, zone(site.time_zone))
            yield _matter(MatterKind.EXPIRES, line, site, f"It is given up unless fetched by {until}.")
    kits: defaultdict[tuple[int, datetime], list[_Kept]] = defaultdict(list)
    for line in kept:
        kits[line.job_id, line.starts_at].append(line)
    for kit in kits.values():
        if all(_is_in(one, facts[one.item_id]) and not against[one.number] for one in kit):
            yield from _ready(kit, site, now)
    for line in lines(_Kept, db.execute(_GIVEN_UP, {"site": site.id, "since": now - TOLD_FOR})):
        gone = show_moment(line.ended_at, zone(site.time_zone)) if line.ended_at else ""
        yield _matter(MatterKind.ENDED, line, site, f"Not fetched: given up {gone}.")


def _facts(db: Connection, kept: Sequence[_Kept], now: datetime) -> dict[int, ItemFacts]:
    ids = sorted({line.item_id for line in kept})
    found: dict[int, ItemFacts] = {}
    for start in range(0, len(ids), _CHUNK):
        found |= item_facts(db, ids[start : start + _CHUNK], now=now)
    return found


def _against(line: _Kept, item: ItemFacts, site: SiteLine, now: datetime) -> list[Finding]:
    there = zone(site.time_zone)
    window = make_window(line.job, site.code, line.starts_at, line.ends_at, there=there, now=now)
    # What it is kept for itself does not stand against it, and nobody else can have it then. What is only
    # likely, as when a meter will run out, can wait for the weekly letter.
    findings = judge_window(replace(item, kept=()), window).findings
    return [one for one in findings if one.severity is not Severity.NOTE]


def _is_in(line: _Kept, item: ItemFacts) -> bool:
    return not line.fetched and item.out is None and item.away is None


def _is_given_up_soon(line: _Kept, site: SiteLine, now: datetime) -> bool:
    """Whether it is given up by the end of the next working day."""
    if line.expires_at is None or line.fetched:
        return False
    last = next_working_day(site.today(now), site.working_days)
    return local_day(line.expires_at, zone(site.time_zone)) <= last


def _ready(kit: Sequence[_Kept], site: SiteLine, now: datetime) -> Iterator[Matter]:
    """Everything a job has reserved from one moment on is in the room and in order."""
    first = kit[0]
    if abs(first.starts_at - now) > READY_AROUND:
        return
    starts = show_moment(first.starts_at, zone(site.time_zone))
    all_of = "the 1 item reserved for it is" if len(kit) == 1 else f"all {len(kit)} items reserved for it are"
    whose = {one.reserved_by_id: one.reserved_by for one in kit}
    yield Matter(
        MatterKind.READY,
        first.job_id,
        site.id,
        f"job {first.job}",
        f"from {starts}",
        f"Ready to fetch: {all_of} in the room, in order and not on hold.",
        ", ".join(show_tag(one.tag) for one in kit),
        local_day(first.starts_at, zone(site.time_zone)),
        tuple(whose),
        " and ".join(whose.values()),
        detail=f"{first.starts_at:%Y-%m-%dT%H%MZ}",
    )


def _matter(kind: MatterKind, line: _Kept, site: SiteLine, sentence: str, detail: str = "") -> Matter:
    there = zone(site.time_zone)
    joint = f", {line.joint}" if line.joint else ""
    return Matter(
        kind,
        line.number,
        site.id,
        show_tag(line.tag),
        f"{line.kind} {line.model}, serial {line.serial}",
        sentence,
        f"reserved for job {line.job}{joint}, from {show_moment(line.starts_at, there)}",
        local_day(line.starts_at, there),
        (line.reserved_by_id,),
        line.reserved_by,
        detail=detail,
    )
