"""Letters at the moment they are handed over: whose they are, and what is known when no answer comes."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import pytest

from fleet.desk.sending import renew
from fleet.rules.letters import LEASE, LetterState, Outcome, not_sent_again
from tests.letterdesk import LetterDesk, Outbox

if TYPE_CHECKING:
    from fleet.lists.letters import LetterLine
    from fleet.mail.messages import TakenLetter
    from fleet.room import Room
    from tests.shop import Clock, Shop

TWICE = "Handed over twice without an answer, it may have arrived twice: ask the reader."


@pytest.fixture
def desk(room: Room, shop: Shop, clock: Clock) -> LetterDesk:
    """A site with two readers, whose letters are written."""
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


def hand_over(desk: LetterDesk, taken: TakenLetter) -> bool:
    with desk.room.act() as db:
        return renew(db, taken, desk.room.now(db))


def only(desk: LetterDesk) -> LetterLine:
    (line,) = desk.letters()
    return line


def no_answer(desk: LetterDesk) -> LetterState:
    """Take it, hand it over, and get no answer."""
    taken = desk.must_take()
    assert hand_over(desk, taken)
    return desk.mark(taken, Outcome.NO_ANSWER, "timed out")


def die_handing_over(desk: LetterDesk) -> TakenLetter:
    """Take it, begin to hand it over, and never be heard of again; the lease runs out."""
    taken = desk.must_take()
    assert hand_over(desk, taken)
    desk.clock.pass_by(minutes=15)
    return taken


# --- Whose is it --------------------------------------------------------------------------------------------


def test_who_hands_a_letter_over_has_it_for_a_whole_lease_from_then(one: LetterDesk) -> None:
    taken = one.must_take("one")
    one.clock.pass_by(minutes=14)
    assert hand_over(one, taken)
    one.clock.pass_by(seconds=LEASE.total_seconds() - 1)
    assert one.take("two") is None
    one.clock.pass_by(seconds=1)
    assert one.must_take("two").id == taken.id


def test_that_it_is_handed_over_is_noted_before_it_happens(one: LetterDesk) -> None:
    taken = one.must_take()
    hand_over(one, taken)

    assert one.outcomes(taken.id) == [(1, "taken"), (1, "handing over")]


def test_who_was_overtaken_must_not_hand_the_letter_over(one: LetterDesk) -> None:
    slow = one.must_take("one")
    one.clock.pass_by(minutes=15)
    quick = one.must_take("two")

    assert not hand_over(one, slow)
    assert hand_over(one, quick)
    assert one.outcomes(slow.id) == [(1, "taken"), (2, "taken"), (2, "handing over")]
    assert one.mark(slow, Outcome.NOT_OURS) is LetterState.TAKEN
    assert one.mark(quick, Outcome.SENT) is LetterState.SENT


def test_a_late_sender_whom_nobody_overtook_may_still_hand_it_over(one: LetterDesk) -> None:
    taken = one.must_take()
    one.clock.pass_by(hours=1)

    assert hand_over(one, taken)


@pytest.mark.parametrize("outcome", [Outcome.SENT, Outcome.REFUSED, Outcome.TRY_AGAIN])
def test_a_letter_that_is_settled_is_nobodys_to_hand_over(one: LetterDesk, outcome: Outcome) -> None:
    taken = one.must_take()
    one.mark(taken, outcome)

    assert not hand_over(one, taken)


def test_a_letter_that_was_set_aside_is_not_handed_over(one: LetterDesk) -> None:
    slow = one.must_take()
    one.clock.pass_by(days=7)
    one.write()

    assert not hand_over(one, slow)


def test_to_renew_twice_because_nobody_answered_notes_it_once(one: LetterDesk) -> None:
    taken = one.must_take()

    assert hand_over(one, taken)
    assert hand_over(one, taken)
    assert one.outcomes(taken.id) == [(1, "taken"), (1, "handing over")]


# --- No answer ----------------------------------------------------------------------------------------------


def test_a_letter_without_an_answer_is_handed_over_once_more_after_a_pause(one: LetterDesk) -> None:
    assert no_answer(one) is LetterState.WRITTEN
    assert (only(one).unanswered, only(one).last_answer) == (1, "timed out")
    assert timedelta(minutes=12) <= only(one).not_before - one.clock.now <= timedelta(minutes=18)
    first = one.take()
    assert first is None
    one.clock.pass_by(minutes=18)
    again = one.must_take()
    assert hand_over(one, again)
    assert one.mark(again, Outcome.SENT, "250 OK") is LetterState.SENT
    assert (only(one).unanswered, only(one).last_answer) == (1, "250 OK")


def test_the_second_time_is_the_same_letter_to_the_last_byte(one: LetterDesk) -> None:
    first = one.must_take()
    hand_over(one, first)
    one.mark(first, Outcome.NO_ANSWER)
    one.clock.pass_by(minutes=18)
    second = one.must_take()

    assert (second.message_id, second.written_at) == (first.message_id, first.written_at)
    assert (second.plain, second.html, second.subject) == (first.plain, first.html, first.subject)


def test_after_the_second_time_a_person_decides(one: LetterDesk) -> None:
    no_answer(one)
    one.clock.pass_by(minutes=18)

    assert no_answer(one) is LetterState.UNDELIVERABLE
    assert (only(one).unanswered, only(one).last_answer) == (2, f"{TWICE} timed out")
    one.clock.pass_by(days=1)
    assert one.take() is None


def test_a_no_in_between_does_not_count_as_handed_over(one: LetterDesk) -> None:
    no_answer(one)
    for _ in range(3):
        one.clock.pass_by(hours=2)
        assert one.mark(one.must_take(), Outcome.TRY_AGAIN, "451") is LetterState.WRITTEN
    assert only(one).unanswered == 1
    one.clock.pass_by(hours=2)
    assert no_answer(one) is LetterState.UNDELIVERABLE


def test_a_no_after_the_content_is_an_answer(one: LetterDesk) -> None:
    taken = one.must_take()
    hand_over(one, taken)
    one.mark(taken, Outcome.TRY_AGAIN, "451 Local error")

    assert only(one).unanswered == 0


def test_what_is_just_being_handed_over_is_not_unanswered_yet(one: LetterDesk) -> None:
    hand_over(one, one.must_take())

    assert only(one).unanswered == 0


def test_a_sender_that_died_handing_over_left_no_answer(one: LetterDesk) -> None:
    die_handing_over(one)

    assert one.must_take("two").unanswered == 1
    assert only(one).unanswered == 1


def test_two_senders_that_died_handing_over_are_enough(one: LetterDesk) -> None:
    """Nobody hands it over a third time, and the run says that it was given up."""
    die_handing_over(one)
    die_handing_over(one)
    outbox = Outbox()

    assert one.send(outbox).undeliverable == 1
    assert outbox.taken == []
    assert only(one).state == "undeliverable"
    assert only(one).last_answer == f"{TWICE} {not_sent_again().answer}"
    assert only(one).unanswered == 2


def test_one_that_died_and_one_without_an_answer_are_two(one: LetterDesk) -> None:
    die_handing_over(one)

    assert no_answer(one) is LetterState.UNDELIVERABLE


def test_a_sender_that_died_before_handing_over_does_not_count(one: LetterDesk) -> None:
    for _ in range(5):
        one.must_take()
        one.clock.pass_by(minutes=15)

    assert one.send(Outbox()).sent == 1


def test_an_answer_that_comes_late_is_one_all_the_same(one: LetterDesk) -> None:
    slow = die_handing_over(one)
    quick = one.must_take("two")
    assert quick.unanswered == 1
    one.mark(slow, Outcome.SENT, "250 OK")

    assert (only(one).state, only(one).unanswered) == ("sent", 0)
    assert not hand_over(one, quick)


def test_letters_that_were_handed_over_and_then_set_aside_stay_unanswered(one: LetterDesk) -> None:
    die_handing_over(one)
    one.clock.pass_by(days=7)
    one.write()
    assert [line.unanswered for line in one.letters()] == [0, 1]


def test_each_letter_counts_its_own(desk: LetterDesk) -> None:
    no_answer(desk)
    desk.send(Outbox())

    assert sorted((line.state, line.unanswered) for line in desk.letters()) == [("sent", 0), ("written", 1)]


# --- Not permitted ------------------------------------------------------------------------------------------


def not_permitted(desk: LetterDesk) -> tuple[str, LetterState]:
    taken = desk.must_take()
    return taken.badge, desk.mark(taken, Outcome.NOT_PERMITTED, "550 5.7.1 Relaying denied")


def test_not_permitted_gives_nothing_up_while_nothing_else_went_out(desk: LetterDesk) -> None:
    """It may be our own fault: days of it, for both letters in turn, burn neither."""
    for _ in range(8):
        assert not_permitted(desk)[1] is LetterState.WRITTEN
        desk.clock.pass_by(days=1)


def test_not_permitted_again_after_another_letter_went_out_is_meant_for_this_recipient(
    desk: LetterDesk,
) -> None:
    first, state = not_permitted(desk)
    assert state is LetterState.WRITTEN
    desk.clock.pass_by(minutes=15)
    other = desk.must_take()
    assert other.badge != first
    desk.mark(other, Outcome.SENT)

    assert not_permitted(desk) == (first, LetterState.UNDELIVERABLE)
    assert desk.outcomes(desk.letters(state="undeliverable")[0].id)[-1] == (2, "refused")


def test_letters_that_went_out_before_say_nothing(desk: LetterDesk) -> None:
    """Our password may have been changed since."""
    desk.mark(desk.must_take(), Outcome.SENT)

    assert not_permitted(desk)[1] is LetterState.WRITTEN
    assert not_permitted(desk)[1] is LetterState.WRITTEN


def test_a_wrong_password_before_does_not_count_as_not_permitted(desk: LetterDesk) -> None:
    desk.mark(desk.must_take(), Outcome.OUR_CONFIGURATION, "535 5.7.8 Wrong password")
    desk.clock.pass_by(minutes=15)
    desk.mark(desk.must_take(), Outcome.SENT)

    assert not_permitted(desk)[1] is LetterState.WRITTEN
