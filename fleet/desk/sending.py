"""Sending letters: each is taken by one sender for one turn, and marked with what came of it.

Just before its content is handed over the sender makes sure that the letter is still its own. Between these
acts no transaction is open. Nothing is lost: whoever dies with a letter in hand only holds it until the lease
is over. A letter is doubled only when its sender dies, or loses the line, between handing it over and marking
it, and then it bears the same Message-ID; it is never handed over a third time for that.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from sqlalchemy import and_, bindparam, func, or_, select, text, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import aliased

from fleet.lists.letters import UNANSWERED
from fleet.mail.messages import TakenLetter
from fleet.records import LetterAttemptRow, LetterContentRow, LetterRow, PersonRow, SiteRow
from fleet.records.base import rows_of
from fleet.records.prepared import Prepared
from fleet.rules.letters import (
    BEGINNINGS,
    GIVE_UP_AFTER,
    LEASE,
    LetterState,
    Outcome,
    Turn,
    fate,
    time_starts,
)
from fleet.rules.readers import SPARE

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.rules.letters import Delivery

_LETTERS = rows_of(LetterRow)
_NOW = bindparam("now", type_=LetterRow.not_before.type)
NEXT = Prepared(
    select(LetterRow.id, LetterRow.turn, LetterRow.give_up_at)
    .where(
        # Written out as in the index of waiting letters, or the database would not use it.
        text("state IN ('written', 'taken')"),
        LetterRow.not_before <= _NOW,
        or_(
            LetterRow.state == LetterState.WRITTEN,
            and_(LetterRow.state == LetterState.TAKEN, LetterRow.lease_until <= _NOW),
        ),
    )
    .order_by(LetterRow.not_before, LetterRow.turn, LetterRow.id)
    .limit(1)
    # On PostgreSQL two senders pass each other by; on SQLite the write lock lets one in at a time.
    .with_for_update(skip_locked=True)
)
_TAKE = Prepared(
    update(_LETTERS)
    .where(_LETTERS.c.id == bindparam("letter"))
    .values(
        state=LetterState.TAKEN,
        turn=bindparam("next_turn"),
        taken_by=bindparam("sender"),
        lease_until=bindparam("until"),
        give_up_at=bindparam("give_up"),
    )
)
_RENEW = Prepared(
    update(_LETTERS)
    .where(
        _LETTERS.c.id == bindparam("letter"),
        _LETTERS.c.turn == bindparam("of_turn"),
        _LETTERS.c.state == LetterState.TAKEN,
    )
    .values(lease_until=bindparam("until"))
)
_ENDED = [LetterAttemptRow.outcome != beginning for beginning in BEGINNINGS]
_LAST_OUTCOME = Prepared(
    select(LetterAttemptRow.outcome)
    .where(
        LetterAttemptRow.letter_id == bindparam("letter"),
        *(LetterAttemptRow.outcome != one for one in BEGINNINGS),
    )
    .order_by(LetterAttemptRow.id.desc())
    .limit(1)
)
_CONTENT = Prepared(
    select(
        LetterRow.id,
        LetterRow.turn,
        LetterRow.message_id,
        LetterRow.kind,
        SiteRow.code,
        SiteRow.name.label("site_name"),
        LetterRow.week,
        LetterRow.number,
        LetterRow.copy_no,
        func.coalesce(PersonRow.badge, SPARE).label("badge"),
        func.coalesce(PersonRow.name, SiteRow.name).label("reader"),
        LetterRow.address,
        LetterRow.subject,
        LetterContentRow.plain,
        LetterContentRow.html,
        LetterContentRow.calendar,
        LetterRow.sha256,
        LetterRow.written_at,
        UNANSWERED,
    )
    .join(SiteRow, SiteRow.id == LetterRow.site_id)
    .join(LetterContentRow, LetterContentRow.sha256 == LetterRow.sha256)
    .outerjoin(PersonRow, PersonRow.id == LetterRow.person_id)
    .where(LetterRow.id == bindparam("letter"))
)
_HELD = Prepared(
    select(LetterRow.turn, LetterRow.state, LetterRow.give_up_at, UNANSWERED.label("unanswered"))
    .where(LetterRow.id == bindparam("letter"))
    .with_for_update()
)
_BARRED = aliased(LetterAttemptRow)
# Since this letter was not permitted, another one went out by the same server and the same settings.
_OTHERS_WENT = Prepared(
    select(LetterAttemptRow.id)
    .where(
        LetterAttemptRow.outcome == Outcome.SENT,
        LetterAttemptRow.id
        > select(func.min(_BARRED.id))
        .where(_BARRED.letter_id == bindparam("letter"), _BARRED.outcome == Outcome.NOT_PERMITTED)
        .scalar_subquery(),
    )
    .limit(1)
)
_MARK = Prepared(
    update(_LETTERS)
    .where(_LETTERS.c.id == bindparam("letter"))
    .values(
        state=bindparam("becomes"),
        not_before=bindparam("later"),
        sent_at=bindparam("sent"),
        last_answer=bindparam("said"),
        taken_by=None,
        lease_until=None,
    )
)

# Marking is tried again when the database did not answer, though it may have carried it out.
_NOTE = {
    "sqlite": Prepared(sqlite.insert(rows_of(LetterAttemptRow)).on_conflict_do_nothing()),
    "postgresql": Prepared(postgresql.insert(rows_of(LetterAttemptRow)).on_conflict_do_nothing()),
}


def take_letter(db: Connection, sender_id: str, now: datetime) -> TakenLetter | None:
    """Take the letter that has waited longest, for one lease; none when nothing is to be sent now.

    A letter whose sender's lease ran out is taken again.
    """
    waiting = NEXT.rows(db, {"now": now})
    if not waiting:
        return None
    row = waiting[0]
    turn = row.turn + 1
    ended = _LAST_OUTCOME.rows(db, {"letter": row.id})
    last = ended[0].outcome if ended else None
    taking = {
        "letter": row.id,
        "next_turn": turn,
        "sender": sender_id,
        "until": now + LEASE,
        "give_up": now + GIVE_UP_AFTER if time_starts(last) else row.give_up_at,
    }
    _TAKE.run(db, taking)
    _note(db, row.id, turn, now, Outcome.TAKEN, sender_id)
    (taken,) = _CONTENT.rows(db, {"letter": row.id})
    return TakenLetter(*taken)


def renew(db: Connection, taken: TakenLetter, now: datetime) -> bool:
    """Begin to hand a letter over: a whole lease anew, and a note of it before it happens.

    No when the letter is no longer this sender's; then it must not be handed over.
    """
    asked = {"letter": taken.id, "of_turn": taken.turn, "until": now + LEASE}
    if _RENEW.run(db, asked) != 1:
        return False
    _note(db, taken.id, taken.turn, now, Outcome.HANDING_OVER, "")
    return True


def mark(db: Connection, taken: TakenLetter, delivery: Delivery, now: datetime) -> LetterState:
    """Note what came of a turn, settle the letter by it, and answer the state in which it then is.

    A sender that was overtaken changes nothing any more. One thing is a fact whenever it comes: a letter
    that was handed over is sent, and is not tried again.
    """
    (held,) = _HELD.rows(db, {"letter": taken.id})
    if delivery.outcome is Outcome.NOT_PERMITTED and _OTHERS_WENT.rows(db, {"letter": taken.id}):
        delivery = replace(delivery, outcome=Outcome.REFUSED)
    _note(db, taken.id, taken.turn, now, delivery.outcome, delivery.answer)
    in_hand = held.state == LetterState.TAKEN and held.turn == taken.turn
    late_news = delivery.outcome is Outcome.SENT and held.state != LetterState.SENT
    if not (in_hand or late_news):
        return LetterState(held.state)
    becomes = fate(delivery, Turn(taken.id, taken.turn, held.give_up_at, held.unanswered), now)
    settled = {
        "letter": taken.id,
        "becomes": becomes.state,
        "later": becomes.not_before,
        "sent": now if becomes.state is LetterState.SENT else None,
        "said": becomes.answer,
    }
    _MARK.run(db, settled)
    return becomes.state


def _note(db: Connection, letter_id: int, turn: int, now: datetime, outcome: Outcome, answer: str) -> None:
    """Append to the attempts; a beginning without an end is that of a sender that died."""
    noted = {"letter_id": letter_id, "turn": turn, "at": now, "outcome": outcome, "answer": answer}
    _NOTE[db.dialect.name].run(db, noted)
