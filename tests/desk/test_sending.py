"""Taking letters and marking what came of them."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest
from sqlalchemy import event, text
from sqlalchemy.exc import DBAPIError

from fleet.desk.sending import NEXT
from fleet.rules.letters import BEGINNINGS, GIVE_UP_AFTER, LEASE, LetterState, Outcome
from tests.letterdesk import LetterDesk

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Clock, Shop


@pytest.fixture
def desk(room: Room, shop: Shop, clock: Clock) -> LetterDesk:
    made = LetterDesk(room, shop, clock)
    made.hire("K1")
    made.hire("P1")
    made.write()
    return made


@pytest.fixture
def one(room: Room, shop: Shop, clock: Clock) -> LetterDesk:
    """A site with one reader, whose letter is written."""
    made = LetterDesk(room, shop, clock)
    made.hire("K1")
    made.write()
    return made


def test_each_sender_takes_another_letter(desk: LetterDesk) -> None:
    first, second = desk.must_take("one"), desk.must_take("two")

    assert {first.badge, second.badge} == {"K1", "P1"}
    assert desk.take("three") is None
    assert desk.states() == {"K1": "taken", "P1": "taken"}


def test_what_is_taken_is_all_that_a_message_needs(one: LetterDesk) -> None:
    taken = one.must_take()
    text_kept = one.text("K1")

    assert (taken.site, taken.site_name, taken.week, taken.number) == (
        "NORTH",
        "North tool room",
        "2026-W20",
        1,
    )
    assert (taken.badge, taken.reader, taken.address) == ("K1", "Kim Keeper", "k1@tool-room.example")
    assert (taken.message_id, taken.plain, taken.html, taken.sha256) == (
        text_kept.message_id,
        text_kept.plain,
        text_kept.html,
        text_kept.sha256,
    )
    assert (taken.turn, taken.copy_no, taken.kind, taken.written_at) == (1, 1, "weekly", one.clock.now)


def test_a_sent_letter_is_not_taken_again(one: LetterDesk) -> None:
    assert one.mark(one.must_take(), Outcome.SENT, "250 queued as 4711") is LetterState.SENT
    one.clock.pass_by(days=30)

    assert one.take() is None
    (line,) = one.letters()
    assert (line.state, line.attempts, line.last_answer) == ("sent", 1, "250 queued as 4711")
    assert line.sent_at is not None


def test_a_letter_whose_sender_died_is_taken_again_after_its_lease(one: LetterDesk) -> None:
    first = one.must_take("one")
    one.clock.pass_by(seconds=LEASE.total_seconds() - 1)
    assert one.take("two") is None
    one.clock.pass_by(seconds=1)
    second = one.must_take("two")

    assert (second.id, second.turn) == (first.id, 2)
    assert one.outcomes(first.id) == [(1, "taken"), (2, "taken")]


@pytest.mark.parametrize("outcome", [o for o in Outcome if o not in (*BEGINNINGS, Outcome.SENT)])
def test_a_sender_that_was_overtaken_changes_nothing_any_more(one: LetterDesk, outcome: Outcome) -> None:
    slow = one.must_take("one")
    one.clock.pass_by(minutes=16)
    quick = one.must_take("two")
    before = one.letters()

    assert one.mark(slow, outcome) is LetterState.TAKEN
    assert one.letters() == before
    assert one.mark(quick, Outcome.SENT) is LetterState.SENT
    assert one.outcomes(slow.id) == [(1, "taken"), (2, "taken"), (1, outcome.value), (2, "sent")]


def test_that_a_letter_was_handed_over_is_a_fact_however_late_it_comes(one: LetterDesk) -> None:
    """Otherwise the next sender, finding the server busy, would hand it over a second time."""
    slow = one.must_take("one")
    one.clock.pass_by(minutes=16)
    quick = one.must_take("two")

    assert one.mark(slow, Outcome.SENT) is LetterState.SENT
    assert one.mark(quick, Outcome.TRY_AGAIN) is LetterState.SENT
    one.clock.pass_by(days=1)
    assert one.take() is None


def test_after_a_sent_mark_nothing_unsends_it(one: LetterDesk) -> None:
    taken = one.must_take()
    one.mark(taken, Outcome.SENT)

    assert one.mark(taken, Outcome.REFUSED) is LetterState.SENT
    assert one.states() == {"K1": "sent"}


def test_marking_again_because_nobody_answered_marks_once(one: LetterDesk) -> None:
    taken = one.must_take()
    one.mark(taken, Outcome.SENT)

    assert one.mark(taken, Outcome.SENT) is LetterState.SENT
    assert one.outcomes(taken.id) == [(1, "taken"), (1, "sent")]


def test_a_busy_server_is_asked_again_after_longer_and_longer_waits(one: LetterDesk) -> None:
    waits = []
    for _ in range(7):
        before = one.clock.now
        one.mark(one.must_take(), Outcome.TRY_AGAIN, "451 4.7.1 Greylisted")
        assert one.take() is None
        one.clock.now = one.letters()[0].not_before
        waits.append((one.clock.now - before) / timedelta(minutes=1))

    for wait, about in zip(waits, [1, 5, 15, 30, 60, 60, 60], strict=True):
        assert 0.8 * about <= wait <= 1.2 * about


def test_after_three_days_of_trying_a_letter_is_given_up(one: LetterDesk) -> None:
    tries = []
    while one.states() == {"K1": "written"}:
        one.mark(one.must_take(), Outcome.TRY_AGAIN, "451 4.7.1 Greylisted")
        tries.append(one.clock.now)
        one.clock.now = max(one.letters()[0].not_before, one.clock.now)

    assert one.states() == {"K1": "undeliverable"}
    assert timedelta(hours=72) <= tries[-1] - tries[0] < timedelta(hours=73.2)
    assert one.take() is None


def test_a_letter_that_waited_for_a_sender_has_its_three_days_from_the_first_try(one: LetterDesk) -> None:
    one.clock.pass_by(days=5)
    started = one.clock.now
    one.mark(one.must_take(), Outcome.TRY_AGAIN, "451 4.7.1 Greylisted")

    assert one.states() == {"K1": "written"}
    assert timedelta(seconds=48) <= one.letters()[0].not_before - started <= timedelta(seconds=72)


def test_a_refused_letter_is_given_up_at_once(one: LetterDesk) -> None:
    assert one.mark(one.must_take(), Outcome.REFUSED, "550 5.1.1 No such user") is LetterState.UNDELIVERABLE
    one.clock.pass_by(days=1)

    assert one.take() is None
    assert one.letters()[0].last_answer == "550 5.1.1 No such user"


def test_our_own_fault_never_gives_a_letter_up(one: LetterDesk) -> None:
    for _ in range(3):
        one.mark(one.must_take(), Outcome.OUR_CONFIGURATION, "535 5.7.8 Wrong password")
        one.clock.pass_by(seconds=GIVE_UP_AFTER.total_seconds())
    one.mark(one.must_take(), Outcome.TRY_AGAIN, "451 4.7.1 Greylisted")

    assert one.states() == {"K1": "written"}


def test_the_letter_that_waited_longest_goes_first(desk: LetterDesk) -> None:
    first = desk.must_take()
    desk.mark(first, Outcome.TRY_AGAIN)
    desk.clock.pass_by(minutes=2)

    assert desk.must_take().id != first.id
    assert desk.must_take().id == first.id


@pytest.mark.parametrize(
    "change", ["UPDATE letter_attempt SET outcome = 'sent'", "DELETE FROM letter_attempt"]
)
def test_attempts_cannot_be_rewritten(one: LetterDesk, change: str) -> None:
    one.mark(one.must_take(), Outcome.REFUSED)

    with pytest.raises(DBAPIError, match="append-only"), one.room.act() as db:
        db.execute(text(change))


def test_taking_reads_the_waiting_and_not_every_letter_there_ever_was(one: LetterDesk) -> None:
    said: list[tuple[str, object]] = []

    def listen(*heard: Any) -> None:  # noqa: ANN401  What the library hands over.
        said.append((heard[2], heard[3]))

    event.listen(one.room.engine, "before_cursor_execute", listen)
    with one.room.look() as db:
        db.execute(NEXT.statement, {"now": one.clock.now})
    event.remove(one.room.engine, "before_cursor_execute", listen)
    statement, values = said[-1]

    with one.room.look() as db:
        if db.dialect.name == "postgresql":
            # A table this small is otherwise read whole, whatever its indexes.
            db.execute(text("SET LOCAL enable_seqscan = off"))
        explain = "EXPLAIN " if db.dialect.name == "postgresql" else "EXPLAIN QUERY PLAN "
        plan = db.exec_driver_sql(explain + statement, values).all()  # type: ignore[arg-type]

    assert "ix_letter_waiting" in str(plan)
