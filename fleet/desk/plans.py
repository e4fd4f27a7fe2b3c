"""Proposing a plan, accepting it as reservations, and dropping it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, insert, select, update

from fleet.bolting.findings import Severity
from fleet.ledgers import daybook
from fleet.ledgers.reservations import Keeping, keep
from fleet.lists.breakouts import measured_before
from fleet.lists.items import find_item, item_facts
from fleet.lists.jobs import find_job, find_joint
from fleet.lists.kits import check_kit, window_of
from fleet.lists.plan_facts import joint_facts
from fleet.lists.plans import PlanSheet, find_plan
from fleet.lists.sites import find_site
from fleet.measures.tags import show_tag
from fleet.measures.times import zone
from fleet.records import PlanRow
from fleet.records.base import rows_of
from fleet.refusals import NotPossible, Refusal
from fleet.rules.people import Actor, require
from fleet.rules.plans import Draft, write_body
from fleet.rules.reasons import written_reason
from fleet.rules.register import Role
from fleet.rules.reservations import judge_window, make_window

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.jobs import JobLine, JointLine
    from fleet.lists.sites import SiteLine
    from fleet.rules.loans import ItemFacts
    from fleet.rules.plans import PlannedKit, PlannedPart

_ROWS = rows_of(PlanRow)
_ADD = insert(_ROWS)
_SAME = select(PlanRow.id).where(PlanRow.client_id == bindparam("client"))
_OPEN = _ROWS.c.id == bindparam("number"), _ROWS.c.accepted_at.is_(None), _ROWS.c.dropped_at.is_(None)
_ACCEPT = update(_ROWS).where(*_OPEN).values(accepted_at=bindparam("now"), accepted_by_id=bindparam("by"))
_DROP = update(_ROWS).where(*_OPEN).values(dropped_at=bindparam("now"), drop_reason=bindparam("why"))
# So many reasons why a plan cannot be accepted are said; the rest is counted.
MOST_SAID = 5


def propose(db: Connection, client_id: str, draft: Draft, *, by: Actor, now: datetime) -> int:
    """Keep a plan as it was made; answers its number. Nothing is reserved by it."""
    known = db.execute(_SAME, {"client": client_id}).scalar()
    if known is not None:
        return int(known)
    sites = [find_site(db, one.site) for one in draft.sites]
    for site in sites:
        require(by, site.id, site.name, Role.PLANNER, Role.KEEPER)
    row = {
        "client_id": client_id,
        "sites": draft.codes,
        "starts_at": draft.starts_at,
        "ends_at": draft.ends_at,
        "made_at": now,
        "made_by_id": by.id,
        "body": write_body(draft.sites, draft.grid_hours),
    }
    (number,) = db.execute(_ADD, row).inserted_primary_key or (0,)
    for site, one in zip(sites, draft.sites, strict=True):
        body = {"parts": len(one.parts), "unserved": len(one.unserved)}
        daybook.enter(db, site.id, by=by, now=now, act="plan proposed", about=f"plan {number}", body=body)
    return int(number)


@dataclass(frozen=True, slots=True)
class Accepted:
    """How many joints and items are reserved by the plan now."""

    number: int
    joints: int
    items: int


def accept(db: Connection, number: int, *, by: Actor, now: datetime) -> Accepted:
    """Reserve all kits of a plan, or none: each is judged anew by the same gate as a kit check.

    What was taken, stopped or changed meanwhile refuses it, by name.
    """
    sheet = find_plan(db, number)
    _check_open(sheet)
    items: set[str] = set()
    rows: list[Keeping] = []
    against: list[str] = []
    desks = [_AcceptDesk(db, find_site(db, one.site), sheet, now) for one in sheet.draft.sites]
    for desk, one in zip(desks, sheet.draft.sites, strict=True):
        require(by, desk.site.id, desk.site.name, Role.PLANNER, Role.KEEPER)
        for at, part in enumerate(one.parts):
            against += desk.judge(part)
            rows += desk.rows(part, f"plan/{number}/{one.site}/{at}")
            items |= {tag for kit in part.kits for tag in kit.tags}
    if against:
        told = " ".join(against[:MOST_SAID])
        rest = f" And {len(against) - MOST_SAID} more." if len(against) > MOST_SAID else ""
        raise NotPossible(f"Nothing was reserved: make the plan anew. {told}{rest}")
    if not rows:
        raise NotPossible(f"Plan {number} serves no joint, so there is nothing to reserve.")
    keep(db, rows, by=by, now=now)
    if not db.execute(_ACCEPT, {"number": number, "now": now, "by": by.id}).rowcount:
        raise NotPossible(f"Plan {number} was accepted or dropped at another desk just now.")
    for desk, one in zip(desks, sheet.draft.sites, strict=True):
        body = {"joints": [f"{part.job} {part.joint}" for part in one.parts]}
        enter = {"act": "plan accepted", "about": f"plan {number}", "body": body}
        daybook.enter(db, desk.site.id, by=by, now=now, **enter)  # type: ignore[arg-type]
    return Accepted(number, sum(len(one.parts) for one in sheet.draft.sites), len(items))


def drop(db: Connection, number: int, reason: str, *, by: Actor, now: datetime) -> None:
    """Put a proposed plan aside; it stays on record."""
    sheet = find_plan(db, number)
    _check_open(sheet)
    why = written_reason(reason, "why the plan is dropped")
    for one in sheet.draft.sites:
        site = find_site(db, one.site)
        require(by, site.id, site.name, Role.PLANNER, Role.KEEPER)
        enter = {"act": "plan dropped", "about": f"plan {number}", "body": {"reason": why}}
        daybook.enter(db, site.id, by=by, now=now, **enter)  # type: ignore[arg-type]
    if not db.execute(_DROP, {"number": number, "now": now, "why": why}).rowcount:
        raise NotPossible(f"Plan {number} was accepted or dropped at another desk just now.")


def _check_open(sheet: PlanSheet) -> None:
    if sheet.line.state != "proposed":
        raise NotPossible(f"Plan {sheet.line.number} was {sheet.line.state} already.")


class _AcceptDesk:
    """The parts of one site, with its items locked until the end of the act."""

    def __init__(self, db: Connection, site: SiteLine, sheet: PlanSheet, now: datetime) -> None:
        self.db, self.site, self.now, self.number = db, site, now, sheet.line.number
        parts = next(one.parts for one in sheet.draft.sites if one.site == site.code)
        tags = sorted({tag for part in parts for kit in part.kits for tag in kit.tags})
        self.ids = {tag: find_item(db, tag).id for tag in tags}
        self.facts: dict[int, ItemFacts] = item_facts(db, self.ids.values(), now=now, lock=True)
        self.jobs: dict[str, JobLine] = {code: find_job(db, code) for code in {part.job for part in parts}}
        self.joints: dict[tuple[str, str], JointLine] = {
            (part.job, part.joint): find_joint(db, self.jobs[part.job], part.joint) for part in parts
        }

    def judge(self, part: PlannedPart) -> list[str]:
        """Everything that speaks against a part now, as sentences."""
        if part.ends_at <= self.now:
            return [f"{part.job} {part.joint}: its time has passed."]
        return list(dict.fromkeys(said for kit in part.kits for said in self._against(part, kit)))

    def _against(self, part: PlannedPart, kit: PlannedKit) -> Iterator[str]:
        there = zone(self.site.time_zone)
        times = part.starts_at, part.ends_at
        window = make_window(part.job, self.site.code, *times, there=there, now=self.now)
        found = False
        for tag in kit.tags:
            for finding in judge_window(self.facts[self.ids[tag]], window).findings:
                if finding.severity is not Severity.NOTE:
                    found = True
                    yield f"{show_tag(tag)} for {part.job} {part.joint}: {finding.sentence}"
        if not found:
            yield from self._kit(part, kit)

    def _kit(self, part: PlannedPart, kit: PlannedKit) -> Iterator[str]:
        joint = self.joints[part.job, part.joint]
        facts = joint_facts(joint, measured_before(self.db, self.site.code, joint.mark))
        if facts is None:
            yield f"{part.job} {part.joint}: no loosening factor is planned any more."
            return
        window = window_of(self.jobs[part.job], self.site, (part.starts_at, part.ends_at))
        try:
            check = check_kit(self.db, [self.ids[tag] for tag in kit.tags], facts, window, now=self.now)
        except Refusal as refusal:
            yield f"{part.job} {part.joint}: {refusal}"
            return
        if not check.usable:
            findings = (*check.kit.findings, *(found for one in check.items for found in one.findings))
            stops = (found.sentence for found in findings if found.severity is not Severity.NOTE)
            yield f"{part.job} {part.joint}: {next(stops, 'its kit does not cover it.')}"

    def rows(self, part: PlannedPart, client_id: str) -> list[Keeping]:
        """The reservations of a part."""
        job, joint = self.jobs[part.job], self.joints[part.job, part.joint]
        return [
            Keeping(
                f"{client_id}/{self.ids[tag]}",
                self.ids[tag],
                job.id,
                joint.id,
                part.starts_at,
                part.ends_at,
                plan_id=self.number,
            )
            for kit in part.kits
            for tag in kit.tags
        ]
