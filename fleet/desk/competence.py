"""Granting, renewing and ending competences: only a safety officer, and never for themself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, func, insert, select, update

from fleet.ledgers import daybook
from fleet.lists.competence import first_today, task_names
from fleet.lists.people import PersonLine, find_person
from fleet.records import CompetenceRow, PersonRow
from fleet.records.base import rows_of
from fleet.refusals import NotAllowed, NotFound, NotPossible
from fleet.rules.competence import check_until, known_task
from fleet.rules.people import Actor, require_anywhere
from fleet.rules.reasons import written_reason
from fleet.rules.register import Role

if TYPE_CHECKING:
    from datetime import date, datetime

    from sqlalchemy.engine import Connection

# The day-book chain of what belongs to no site.
_SHARED = 0

_ROWS = rows_of(CompetenceRow)
_ADD = insert(_ROWS)
# Two officers who renew it at once: the second waits here and then finds the first one's.
_LOCK = select(PersonRow.id).where(PersonRow.id == bindparam("person")).with_for_update()
_CURRENT = select(_ROWS.c.id, _ROWS.c.task, _ROWS.c.expires_on, _ROWS.c.evidence).where(
    _ROWS.c.person_id == bindparam("person"),
    _ROWS.c.kind == bindparam("kind"),
    func.lower(_ROWS.c.task) == func.lower(bindparam("task")),
    _ROWS.c.ended_at.is_(None),
)
_END = (
    update(_ROWS)
    .where(_ROWS.c.id == bindparam("number"))
    .values(ended_at=bindparam("now"), end_reason=bindparam("why"))
)


@dataclass(frozen=True, slots=True)
class GrantSlip:
    """Who may do which task on which kind, through which day, and what shows that they can."""

    person: str
    kind: str
    task: str
    expires_on: date
    evidence: str


@dataclass(frozen=True, slots=True)
class Competence:
    """A competence as it now stands. ``renewed``: it takes the place of an earlier one, which is ended."""

    number: int
    person: str
    kind: str
    task: str
    expires_on: date
    renewed: bool
    again: bool = False


def grant_competence(db: Connection, slip: GrantSlip, *, by: Actor, now: datetime) -> Competence:
    """Let one person do one task on one kind through a day; an earlier competence for it ends."""
    require_anywhere(by, Role.SAFETY)
    person = find_person(db, slip.person)
    _check_person(person, by)
    task = known_task(slip.task, slip.kind, task_names(db, slip.kind))
    check_until(slip.expires_on, first_today(db, now))
    evidence = written_reason(slip.evidence, "the evidence (which certificate or instruction)")
    db.execute(_LOCK, {"person": person.id})
    before = db.execute(_CURRENT, {"person": person.id, "kind": slip.kind, "task": task}).first()
    if before is not None:
        if (before.task, before.expires_on, before.evidence) == (task, slip.expires_on, evidence):
            return Competence(
                before.id, person.name, slip.kind, task, slip.expires_on, renewed=False, again=True
            )
        db.execute(_END, {"number": before.id, "now": now, "why": "Renewed."})
    row = {
        "person_id": person.id,
        "kind": slip.kind,
        "task": task,
        "expires_on": slip.expires_on,
        "evidence": evidence,
        "granted_at": now,
        "granted_by_id": by.id,
    }
    (number,) = db.execute(_ADD, row).inserted_primary_key or (0,)
    body = {
        "competence": number,
        "kind": slip.kind,
        "task": task,
        "until": str(slip.expires_on),
        "evidence": evidence,
        "ends": before.id if before else None,
    }
    daybook.enter(db, _SHARED, by=by, now=now, act="competence granted", about=person.badge, body=body)
    return Competence(number, person.name, slip.kind, task, slip.expires_on, renewed=before is not None)


def _check_person(person: PersonLine, by: Actor) -> None:
    if person.id == by.id:
        raise NotAllowed(f"{by.name} cannot grant a competence to {by.name}. Another safety officer must.")
    if not person.active:
        raise NotPossible(f"{person.name} is no longer active.")


def end_competence(
    db: Connection, asked: str, kind: str, task: str, reason: str, *, by: Actor, now: datetime
) -> Competence:
    """End one person's competence for a task on a kind; it stays on record, with what was done by it."""
    require_anywhere(by, Role.SAFETY)
    person = find_person(db, asked)
    why = written_reason(reason, "why it ends")
    db.execute(_LOCK, {"person": person.id})
    wanted = {"person": person.id, "kind": kind, "task": " ".join(task.split())}
    found = db.execute(_CURRENT, wanted).first()
    if found is None:
        raise NotFound(
            f"{person.name} has no competence for {task!r} on a {kind}. See what there is with: "
            "fleet competence list"
        )
    db.execute(_END, {"number": found.id, "now": now, "why": why})
    body = {"competence": found.id, "kind": kind, "task": found.task, "reason": why}
    daybook.enter(db, _SHARED, by=by, now=now, act="competence ended", about=person.badge, body=body)
    return Competence(found.id, person.name, kind, found.task, found.expires_on, renewed=False)
