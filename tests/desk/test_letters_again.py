"""Letters that are sent again, and letters written twice at once or by a clock that was moved."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta

import pytest

from fleet.desk.letters import resend
from fleet.refusals import NotAllowed, NotFound, NotPossible
from fleet.rules.letters import Outcome
from tests.letterdesk import SENDER, LetterDesk

# The shop's noon: Wednesday 13 May 2026 in week 20, whose letters were due on Monday at six.
WEEK = "2026-W20"


def send_again(desk: LetterDesk, letter: int, reason: str = "The address was wrong.", by: str = "K1") -> str:
    with desk.room.act() as db:
        actor = desk.shop.actor(by)
        address, copy = resend(db, letter, reason, sender=SENDER, by=actor, now=desk.room.now(db))
        return f"{address} copy {copy}"


def test_a_lost_letter_is_sent_again_to_the_corrected_address(desk: LetterDesk) -> None:
    kim = desk.hire("K1", address="kim@tool-rom.example")
    desk.write()
    lost = desk.must_take()
    desk.mark(lost, Outcome.REFUSED, "550 5.1.1 No such user")
    desk.change(kim, address="kim@tool-room.example")

    assert send_again(desk, lost.id) == "kim@tool-room.example copy 2"
    copy = desk.must_take()
    assert (copy.address, copy.copy_no, copy.plain) == ("kim@tool-room.example", 2, lost.plain)
    assert copy.message_id != lost.message_id
    assert ("letter sent again", WEEK) in desk.book()
    desk.mark(copy, Outcome.SENT)
    assert send_again(desk, lost.id) == "kim@tool-room.example copy 3"


def test_a_lost_letter_is_named_once_and_not_again_when_a_copy_arrived(staffed: LetterDesk) -> None:
    staffed.write()
    lost = staffed.must_take()
    staffed.mark(lost, Outcome.REFUSED, "550 5.1.1 No such user")
    send_again(staffed, lost.id)
    while taken := staffed.take():
        staffed.mark(taken, Outcome.SENT)
    staffed.clock.pass_by(days=7)
    staffed.write()

    assert "NOT TOLD (0)" in staffed.said("K1", week="2026-W21")


def test_a_letter_that_still_waits_is_not_copied(staffed: LetterDesk) -> None:
    staffed.write()
    with pytest.raises(NotPossible, match="is still waiting to be sent"):
        send_again(staffed, staffed.letters()[0].id)


def test_sending_again_needs_a_reason_a_role_and_a_letter(staffed: LetterDesk) -> None:
    staffed.write()
    letter = staffed.must_take()
    staffed.mark(letter, Outcome.SENT)
    with pytest.raises(NotPossible, match="why the letter is sent again"):
        send_again(staffed, letter.id, reason="why")
    with pytest.raises(NotAllowed, match="Pat Planner is not a keeper or safety officer"):
        send_again(staffed, letter.id, by="P1")
    with pytest.raises(NotFound, match="There is no letter with the id 4711"):
        send_again(staffed, 4711)


# --- Two at once --------------------------------------------------------------------------------------------


def test_two_who_write_at_once_write_each_letter_once(staffed: LetterDesk, *, deep: bool) -> None:
    weeks = 100 if deep else 5
    with ThreadPoolExecutor(4) as pool:
        for _ in range(weeks):
            runs = [run.result() for run in [pool.submit(staffed.write) for _ in range(4)]]
            assert sorted(len(run.to) for run in runs) == [0, 0, 0, 3]
            assert len({run.number for run in runs}) == 1
            staffed.clock.pass_by(days=7)

    numbers = [line.number for line in staffed.letters(most=10_000)]
    assert sorted(numbers) == sorted([*range(1, weeks + 1)] * 3)


def test_an_hour_that_comes_twice_brings_no_second_letter(staffed: LetterDesk) -> None:
    """1 November 2026, a Sunday: 01:30 comes twice in Chicago (IANA time zone database)."""
    staffed.clock.now = datetime(2026, 11, 1, 6, 30, tzinfo=UTC)
    first = staffed.write()
    staffed.clock.pass_by(hours=1)

    assert first.week == "2026-W44"
    assert staffed.write().to == ()


def test_a_clock_that_was_set_back_writes_no_older_week(staffed: LetterDesk) -> None:
    staffed.write()
    staffed.clock.pass_by(days=-8)

    with staffed.room.act() as db:
        assert staffed.room.now(db) == staffed.clock.now + timedelta(days=8)
    assert staffed.write(WEEK).to == ()
