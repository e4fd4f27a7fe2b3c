"""Handing out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import BindParameter, bindparam, insert, select, update

from fleet.bolting.findings import Severity
from fleet.ledgers import daybook
from fleet.lists.items import find_item, item_facts
from fleet.lists.jobs import JobLine, find_job
from fleet.lists.people import find_person
from fleet.lists.planned import planned_use
from fleet.lists.sites import find_site
from fleet.measures.tags import show_tag
from fleet.measures.times import local_day, show_day, zone
from fleet.records import ItemRow, LoanLineRow, LoanRow
from fleet.records.base import rows_of
from fleet.refusals import NotPossible
from fleet.rules.loans import Verdict, Wish, judge
from fleet.rules.people import SETTING_UP, Actor, require
from fleet.rules.register import Role
from fleet.rules.requests import used_otherwise
from fleet.rules.strokes import PlannedUse

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

_ADD_LOAN = insert(rows_of(LoanRow))
_ADD_LINE = insert(rows_of(LoanLineRow))
_ITEMS = rows_of(ItemRow)
_IDS: BindParameter[int] = bindparam("ids", expanding=True)
_FIRST_OUT = (
    update(_ITEMS)
    .where(_ITEMS.c.id.in_(_IDS), _ITEMS.c.first_out_on.is_(None))
    .values(first_out_on=bindparam("today"))
)
_SAME_LOAN = (
    select(LoanRow.id, LoanRow.job_id, LoanLineRow.item_id)
    .join(LoanLineRow, LoanLineRow.loan_id == LoanRow.id)
    .where(LoanRow.client_id == bindparam("client"))
)


@dataclass(frozen=True, slots=True)
class IssueSlip:
    """What is to go out, to whom, for which job, until when. A ``client_id`` is carried out only once."""

    client_id: str
    items: tuple[str, ...]
    borrower: str
    job: str
    back_on: date


@dataclass(frozen=True, slots=True)
class Issued:
    """What went out. ``again`` when this very request had been carried out before."""

    loan: int
    verdicts: tuple[Verdict, ...]
    again: bool


def issued_before(db: Connection, slip: IssueSlip) -> Issued | None:
    """The answer to this very slip when it was carried out before."""
    rows = db.execute(_SAME_LOAN, {"client": slip.client_id}).all()
    if not rows:
        return None
    asked = {find_item(db, item).id for item in slip.items}
    if {row.item_id for row in rows} != asked or rows[0].job_id != find_job(db, slip.job).id:
        raise used_otherwise(slip.client_id)
    return Issued(rows[0].id, (), again=True)


def look_over(
    db: Connection, slip: IssueSlip, *, now: datetime, by: Actor | None = None
) -> tuple[JobLine, dict[int, Verdict]]:
    """The verdict on each item, before anything is written; for good when ``by`` is about to hand it out."""
    job = find_job(db, slip.job)
    today = local_day(now, zone(job.time_zone))
    if slip.back_on < today:
        raise NotPossible(f"The day to be back, {show_day(slip.back_on)}, has already passed.")
    keeper = None if by is None else by is SETTING_UP or (find_site(db, job.site).id, Role.KEEPER) in by.roles
    wish = Wish(job=job.code, site=job.site, today=today, back_on=slip.back_on, keeper=keeper)
    ids = [find_item(db, asked).id for asked in slip.items]
    if len(set(ids)) < len(ids):
        raise NotPossible("The same item was named twice.")
    facts = item_facts(db, ids, now=now, lock=by is not None)
    return job, {item_id: judge(facts[item_id], wish) for item_id in ids}


def issue(db: Connection, slip: IssueSlip, *, by: Actor, now: datetime) -> Issued:
    """Hand items out, all or none: one that must stay in refuses the whole slip."""
    before = issued_before(db, slip)
    if before:
        return before
    job, verdicts = look_over(db, slip, now=now, by=by)
    site = find_site(db, job.site)
    require(by, site.id, site.name, Role.KEEPER)
    borrower = find_person(db, slip.borrower)
    staying = [verdict for verdict in verdicts.values() if not verdict.goes_out]
    if not borrower.active:
        raise NotPossible(f"{borrower.name} is no longer active and cannot borrow.")
    if staying:
        raise NotPossible("Nothing was issued. " + " ".join(_why(verdict) for verdict in staying))
    loan = {
        "client_id": slip.client_id,
        "site_id": site.id,
        "job_id": job.id,
        "borrower_id": borrower.id,
        "issued_at": now,
        "issued_by_id": by.id,
        "back_on": slip.back_on,
    }
    (loan_id,) = db.execute(_ADD_LOAN, loan).inserted_primary_key or (0,)
    _write_lines(db, loan_id, job.id, list(verdicts))
    db.execute(_FIRST_OUT, {"ids": list(verdicts), "today": site.today(now)})
    body = {
        "job": job.code,
        "to": borrower.name,
        "back_on": str(slip.back_on),
        "items": [verdict.tag for verdict in verdicts.values()],
        "noted": [finding.sentence for v in verdicts.values() for finding in v.findings],
    }
    daybook.enter(db, site.id, by=by, now=now, act="issued", about=job.code, body=body)
    return Issued(loan_id, tuple(verdicts.values()), again=False)


def _why(verdict: Verdict) -> str:
    reasons = " ".join(f.sentence for f in verdict.findings if f.severity is not Severity.NOTE)
    return f"{show_tag(verdict.tag)} stays in: {reasons}"


def _write_lines(db: Connection, loan_id: int, job_id: int, ids: list[int]) -> None:
    planned = planned_use(db, [job_id])
    uses = {item_id: planned.get((item_id, job_id), PlannedUse(None, None)) for item_id in ids}
    lines = [
        {
            "loan_id": loan_id,
            "item_id": item_id,
            "planned_cycles": uses[item_id].cycles,
            "planned_minutes": uses[item_id].minutes,
        }
        for item_id in ids
    ]
    db.execute(_ADD_LINE, lines)
