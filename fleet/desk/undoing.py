"""Undoing at the counter what was done a moment ago: every entry stays, and a second one takes it back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy import BindParameter, bindparam, exists, insert, select, update
from sqlalchemy.orm import aliased

from fleet.ledgers import daybook
from fleet.ledgers.breakouts import write_withdrawal
from fleet.ledgers.usage import Entry, book
from fleet.lists.breakouts import find_breakout
from fleet.lists.loan_lines import find_line, lines_of_loan
from fleet.lists.sites import find_site
from fleet.measures.tags import show_tag
from fleet.measures.times import local_day, zone
from fleet.records import BreakoutRow, HoldRow, ItemRow, LoanLineRow, UsageRow
from fleet.records.base import rows_of
from fleet.refusals import NotPossible
from fleet.rules.conditions import Condition, HoldCause
from fleet.rules.people import Actor, require
from fleet.rules.register import Role
from fleet.rules.undoing import BY_MISTAKE, UNDONE, Deed, check_undo

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.loan_lines import LoanLine
    from fleet.lists.rows import AnyRow
    from fleet.lists.sites import SiteLine

_LINES, _ITEMS, _HOLDS = rows_of(LoanLineRow), rows_of(ItemRow), rows_of(HoldRow)
_IDS: BindParameter[int] = bindparam("ids", expanding=True)
_REVERSAL, _LATER = aliased(UsageRow), aliased(BreakoutRow)
# A line that came back, was undone and came back again has one entry that stands.
_USE = select(UsageRow.__table__).where(
    UsageRow.loan_line_id == bindparam("line"),
    UsageRow.reverses_id.is_(None),
    ~exists().where(_REVERSAL.reverses_id == UsageRow.id),
)
_SAME = select(UsageRow.id).where(
    UsageRow.client_id == bindparam("client"), UsageRow.loan_line_id == bindparam("line")
)
_BREAKOUTS = select(BreakoutRow.id, BreakoutRow.client_id).where(
    BreakoutRow.item_id == bindparam("item"),
    BreakoutRow.withdraws_id.is_(None),
    ~exists().where(_LATER.withdraws_id == BreakoutRow.id),
)
_HELD = select(HoldRow.id).where(
    HoldRow.item_id == bindparam("item"),
    HoldRow.cause == HoldCause.DAMAGED,
    HoldRow.opened_at == bindparam("at", type_=HoldRow.opened_at.type),
    HoldRow.released_at.is_(None),
)
_RELEASE = (
    update(_HOLDS)
    .where(_HOLDS.c.id == bindparam("hold"))
    .values(released_at=bindparam("now"), released_by_id=bindparam("by"), evidence=bindparam("words"))
)
_OUT_AGAIN = (
    update(_LINES)
    .where(_LINES.c.id == bindparam("line"))
    .values(returned_at=None, returned_by_id=None, condition=None, note=None)
)
_CLOSE = (
    update(_LINES)
    .where(_LINES.c.loan_id == bindparam("loan"), _LINES.c.returned_at.is_(None))
    .values(
        returned_at=bindparam("now"),
        returned_by_id=bindparam("by"),
        condition=Condition.FINE,
        note=BY_MISTAKE,
    )
)
_ADD_USE = insert(rows_of(UsageRow))
_OTHER = aliased(LoanLineRow)
# A hose that never was out is judged by its time in store; a mistake must not make it one that was.
_NEVER_OUT = (
    update(_ITEMS)
    .where(
        _ITEMS.c.id.in_(_IDS),
        _ITEMS.c.first_out_on == bindparam("day"),
        ~exists().where(_OTHER.item_id == _ITEMS.c.id, _OTHER.loan_id != bindparam("of_loan")),
    )
    .values(first_out_on=None)
)


@dataclass(frozen=True, slots=True)
class Undone:
    """What was undone, by tags; ``holds`` are those that a return had opened and that ended with it."""

    tags: tuple[str, ...]
    job: str
    holder: str
    holds: tuple[int, ...] = ()
    again: bool = False


def issue_of(line: LoanLine) -> Deed:
    """The issue that a line belongs to, as what may be undone."""
    what = f"The issue for {line.job}"
    return Deed(what, line.issued_at, line.issued_by_id, line.issued_by, "Take the items back instead.")


def return_of(line: LoanLine) -> Deed | None:
    """The return of a line, as what may be undone; empty while it is out."""
    if line.returned_at is None:
        return None
    later = "If its use is wrong, reverse the entry and say why; if it is out again, issue it again."
    what = f"The return of {show_tag(line.tag)}"
    return Deed(what, line.returned_at, line.returned_by_id, line.returned_by or "somebody else", later)


def undo_issue(db: Connection, loan: int, *, client_id: str, by: Actor, now: datetime) -> Undone:
    """Take back what was issued by mistake: nothing of it was used, and the loan says so."""
    found = lines_of_loan(db, loan, lock=True)
    first, site = found[0], find_site(db, found[0].site)
    undone = Undone(tuple(line.tag for line in found), first.job, first.holder)
    require(by, site.id, site.name, Role.KEEPER)
    if all(line.note == BY_MISTAKE for line in found):
        return Undone(undone.tags, first.job, first.holder, again=True)
    back = [f"{show_tag(line.tag)} came back already" for line in found if line.returned_at]
    check_undo(issue_of(first), by.id, now, back)
    db.execute(_CLOSE, {"loan": loan, "now": now, "by": by.id})
    ids = [line.item_id for line in found]
    first_day = local_day(first.issued_at, zone(site.time_zone))
    db.execute(_NEVER_OUT, {"ids": ids, "day": first_day, "of_loan": loan})
    db.execute(_ADD_USE, [_unused(line, f"{client_id}/{line.line}", site, by=by, now=now) for line in found])
    body = {"loan": loan, "job": first.job, "to": first.holder, "items": undone.tags, "reason": BY_MISTAKE}
    daybook.enter(db, site.id, by=by, now=now, act="issue undone", about=first.job, body=body)
    return undone


def _unused(line: LoanLine, client_id: str, site: SiteLine, *, by: Actor, now: datetime) -> dict[str, object]:
    return {
        "client_id": client_id,
        "item_id": line.item_id,
        "loan_line_id": line.line,
        "job_id": line.job_id,
        "joint_id": None,
        "cycles": 0,
        "minutes": 0,
        "used_on": site.today(now),
        "reverses_id": None,
        "reason": BY_MISTAKE,
        "by_id": by.id,
        "recorded_at": now,
    }


def undo_return(db: Connection, number: int, *, client_id: str, by: Actor, now: datetime) -> Undone:
    """Let an item that was taken back be out again, on the loan it was on.

    Its use and its breakouts are taken back by second entries, and the hold that its damage opened ends.
    """
    line = find_line(db, number, lock=True)
    site = find_site(db, line.site)
    require(by, site.id, site.name, Role.KEEPER)
    if db.execute(_SAME, {"client": client_id, "line": number}).first():
        return Undone((line.tag,), line.job, line.holder, again=True)
    deed = return_of(line)
    if deed is None:
        raise NotPossible(f"{show_tag(line.tag)} is out with {line.holder}; there is no return to undo.")
    use = db.execute(_USE, {"line": number}).first()
    check_undo(deed, by.id, now, _followed(line, use))
    if use is not None:
        book(db, _reversal(use, client_id, by=by, now=now), line.tag, site, by=by)
        for entry, named in db.execute(_BREAKOUTS, {"item": line.item_id}).all():
            if named.startswith(f"{use.client_id}/breakout-"):
                _withdraw(db, entry, client_id, by=by, now=now)
    holds = _end_holds(db, line, site, by=by, now=now)
    db.execute(_OUT_AGAIN, {"line": number})
    body = {
        "loan": line.loan,
        "job": line.job,
        "to": line.holder,
        "returned_at": deed.at.isoformat(),
        "condition": line.condition,
        "note": line.note,
        "usage": use.client_id if use is not None else None,
        "holds": holds,
    }
    daybook.enter(db, site.id, by=by, now=now, act="return undone", about=line.tag, body=body)
    return Undone((line.tag,), line.job, line.holder, holds)


def _followed(line: LoanLine, use: AnyRow | None) -> list[str]:
    """What happened since to the item itself, and would be left hanging."""
    happened = {
        "the loan was undone": line.note == BY_MISTAKE,
        "it went out again since": line.later,
        "it was sent away since": line.away,
        "it was retired since": line.retired_on is not None,
        "its use was corrected since": use is None,
    }
    return [sentence for sentence, so in happened.items() if so]


def _reversal(use: AnyRow, client_id: str, *, by: Actor, now: datetime) -> Entry:
    return Entry(
        client_id=client_id,
        item_id=use.item_id,
        loan_line_id=use.loan_line_id,
        job_id=use.job_id,
        joint_id=use.joint_id,
        cycles=-use.cycles,
        minutes=-use.minutes,
        used_on=use.used_on,
        reverses_id=use.id,
        reason=UNDONE,
        by_id=by.id,
        recorded_at=now,
    )


def _withdraw(db: Connection, entry: int, client_id: str, *, by: Actor, now: datetime) -> None:
    found = find_breakout(db, entry)
    write_withdrawal(db, found, UNDONE, client_id=f"{client_id}/breakout-{entry}", by=by, now=now)


def _end_holds(
    db: Connection, line: LoanLine, site: SiteLine, *, by: Actor, now: datetime
) -> tuple[int, ...]:
    """End what this very return opened: it is out, and whoever has it would be told that it is on hold."""
    if line.condition != Condition.DAMAGED:
        return ()
    found: Sequence[int] = db.scalars(_HELD, {"item": line.item_id, "at": line.returned_at}).all()
    for hold in found:
        db.execute(_RELEASE, {"hold": hold, "now": now, "by": by.id, "words": UNDONE})
    if found:
        body = {"holds": found, "evidence": UNDONE}
        daybook.enter(db, site.id, by=by, now=now, act="hold released", about=line.tag, body=body)
    return tuple(found)
