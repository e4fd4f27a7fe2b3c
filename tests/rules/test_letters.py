"""What becomes of a letter, by pure rules."""

from __future__ import annotations

from collections import Counter
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.rules.letters import (
    GIVE_UP_AFTER,
    LEASE,
    LONGEST_SEND,
    OUR_FAULTS,
    Delivery,
    LetterState,
    Outcome,
    Stage,
    Turn,
    backoff,
    classify,
    domain_of,
    fate,
    message_id,
    scattered,
    time_starts,
)

MONDAY = datetime(2026, 5, 11, 11, 0, tzinfo=UTC)


def test_a_lease_outlasts_the_longest_send() -> None:
    assert LEASE > LONGEST_SEND


# Reply codes and their meaning: RFC 5321 section 4.2, RFC 4954 section 6, RFC 3463 section 3, and RFC 6647
# section 2 for 451 as greylisting; all from memory.
@pytest.mark.parametrize(
    ("stage", "code", "answer", "outcome"),
    [
        (Stage.GREETING, 421, "Too busy", Outcome.NOT_REACHED),
        (Stage.GREETING, 554, "No SMTP service here", Outcome.OUR_CONFIGURATION),
        (Stage.LOGIN, 454, "4.7.0 Temporary authentication failure", Outcome.NOT_REACHED),
        (Stage.LOGIN, 535, "5.7.8 Authentication credentials invalid", Outcome.OUR_CONFIGURATION),
        (Stage.SENDER, 451, "4.3.0 Try later", Outcome.TRY_AGAIN),
        (Stage.SENDER, 530, "5.7.0 Authentication required", Outcome.OUR_CONFIGURATION),
        (Stage.SENDER, 550, "5.1.8 Bad sender's system address", Outcome.OUR_CONFIGURATION),
        (Stage.SENDER, 552, "5.3.4 Message too big for system", Outcome.REFUSED),
        (Stage.RECIPIENT, 450, "4.2.1 Mailbox busy", Outcome.TRY_AGAIN),
        (Stage.RECIPIENT, 451, "4.7.1 Greylisted, come back later", Outcome.TRY_AGAIN),
        (Stage.RECIPIENT, 452, "4.2.2 Mailbox full", Outcome.TRY_AGAIN),
        (Stage.RECIPIENT, 552, "Mailbox full", Outcome.TRY_AGAIN),
        (Stage.RECIPIENT, 554, "5.2.2 Mailbox full", Outcome.TRY_AGAIN),
        (Stage.RECIPIENT, 550, "5.1.1 No such user", Outcome.REFUSED),
        (Stage.RECIPIENT, 551, "User not local", Outcome.REFUSED),
        (Stage.RECIPIENT, 553, "5.1.3 Bad address syntax", Outcome.REFUSED),
        (Stage.RECIPIENT, 550, "5.7.1 Relaying denied", Outcome.NOT_PERMITTED),
        (Stage.RECIPIENT, 550, "relay not permitted", Outcome.NOT_PERMITTED),
        (Stage.RECIPIENT, 530, "5.7.0 Authentication required", Outcome.OUR_CONFIGURATION),
        (Stage.RECIPIENT, 421, "4.3.2 Closing", Outcome.NOT_REACHED),
        (Stage.CONTENT, 451, "Local error in processing", Outcome.TRY_AGAIN),
        (Stage.CONTENT, 452, "Insufficient system storage", Outcome.TRY_AGAIN),
        (Stage.CONTENT, 554, "Transaction failed", Outcome.REFUSED),
        (Stage.CONTENT, 550, "5.7.26 Sender not authenticated", Outcome.OUR_CONFIGURATION),
        (Stage.CONTENT, -1, "?!", Outcome.TRY_AGAIN),
        (Stage.ANSWER, 451, "Local error in processing", Outcome.TRY_AGAIN),
        (Stage.ANSWER, 421, "4.3.2 Closing", Outcome.NOT_REACHED),
        (Stage.ANSWER, 554, "Transaction failed", Outcome.REFUSED),
        (Stage.ANSWER, 550, "5.7.26 Sender not authenticated", Outcome.OUR_CONFIGURATION),
        (Stage.ANSWER, -1, "?!", Outcome.NO_ANSWER),
        (Stage.ANSWER, 25, "cut off", Outcome.NO_ANSWER),
        (Stage.ANSWER, 354, "out of step", Outcome.NO_ANSWER),
        (Stage.GREETING, -1, "?!", Outcome.NOT_REACHED),
    ],
)
def test_an_answer_of_the_server_is_understood(
    stage: Stage, code: int, answer: str, outcome: Outcome
) -> None:
    assert classify(stage, code, answer) is outcome


@given(st.sampled_from(Stage), st.integers(-1, 599), st.text())
def test_no_transient_answer_ever_gives_a_letter_up(stage: Stage, code: int, answer: str) -> None:
    if not 500 <= code <= 599:
        assert classify(stage, code, answer) in (Outcome.TRY_AGAIN, Outcome.NOT_REACHED, Outcome.NO_ANSWER)


def turn(number: int = 1, *, letter: int = 1, began: datetime = MONDAY, unanswered: int = 0) -> Turn:
    return Turn(letter, number, began + GIVE_UP_AFTER, unanswered)


@pytest.mark.parametrize(
    ("since_first_try", "wait"),
    [
        (0, 1),
        (0.79, 1),
        (0.8, 5),
        (1.2, 5),
        (4.7, 5),
        (4.8, 15),
        (7.2, 15),
        (16.7, 15),
        (16.8, 30),
        (25.2, 30),
        (40.7, 30),
        (40.8, 60),
        (61.2, 60),
        (1000, 60),
    ],
)
def test_a_server_is_asked_again_after_longer_and_longer_waits(since_first_try: float, wait: int) -> None:
    now = MONDAY + timedelta(minutes=since_first_try)
    waits = [backoff(turn(number), now) / timedelta(minutes=1) for number in range(1, 200)]

    assert 0.8 * wait <= min(waits) < 0.85 * wait
    assert 1.15 * wait < max(waits) <= 1.2 * wait


def test_waits_are_scattered_evenly_and_are_no_matter_of_luck() -> None:
    """Of 2,000 letters a tenth of the span holds a tenth, give or take three standard deviations."""
    hour = timedelta(hours=1)
    waits = [scattered(hour, turn(letter=letter)) / hour for letter in range(2000)]
    tenths = Counter(int((wait - 0.8) * 25) for wait in waits)

    assert waits == [scattered(hour, turn(letter=letter)) / hour for letter in range(2000)]
    assert all(160 <= tenths[tenth] <= 240 for tenth in range(10))


@given(st.integers(1, 10**9))
def test_seventy_two_hours_of_no_are_tried_through_and_then_given_up(letter: int) -> None:
    """Played out: the tries in three days, and the last of them on the third."""
    now, give_up, tries = MONDAY, MONDAY + GIVE_UP_AFTER, []
    while True:
        tries.append(now - MONDAY)
        becomes = fate(Delivery(Outcome.TRY_AGAIN, "451"), Turn(letter, len(tries), give_up), now)
        if becomes.state is LetterState.UNDELIVERABLE:
            break
        assert becomes.not_before > now
        now = becomes.not_before

    waits = [(later - earlier) / timedelta(minutes=1) for earlier, later in pairwise(tries)]
    expected = [1, 5, 15, 30] + [60] * (len(waits) - 4)
    for wait, about in zip(waits, expected, strict=True):
        assert 0.8 * about <= wait <= 1.2 * about
    assert timedelta(hours=72) <= tries[-1] < timedelta(hours=73.2)


def test_a_letter_that_first_went_out_late_has_its_three_days_all_the_same() -> None:
    late = MONDAY + timedelta(days=5)
    becomes = fate(Delivery(Outcome.TRY_AGAIN, "451 greylisted"), turn(began=late), late)

    assert becomes.state is LetterState.WRITTEN
    assert timedelta(seconds=48) <= becomes.not_before - late <= timedelta(seconds=72)


@pytest.mark.parametrize("fault", sorted(OUR_FAULTS))
def test_our_own_fault_does_not_use_a_letters_time_up(fault: Outcome) -> None:
    overripe = fate(Delivery(fault, "535"), turn(began=MONDAY - GIVE_UP_AFTER), MONDAY + timedelta(days=9))

    assert overripe.state is LetterState.WRITTEN
    assert overripe.not_before == MONDAY + timedelta(days=9)
    assert time_starts(fault)
    assert time_starts(None)
    assert not time_starts(Outcome.TRY_AGAIN)
    assert not time_starts(Outcome.NOT_REACHED)
    assert not time_starts(Outcome.NO_ANSWER)


def test_a_letter_without_an_answer_is_handed_over_once_more_after_a_pause() -> None:
    becomes = fate(Delivery(Outcome.NO_ANSWER, "timed out"), turn(), MONDAY)

    assert becomes.state is LetterState.WRITTEN
    assert timedelta(minutes=12) <= becomes.not_before - MONDAY <= timedelta(minutes=18)


def test_a_letter_without_an_answer_for_the_second_time_is_left_to_a_person() -> None:
    becomes = fate(Delivery(Outcome.NO_ANSWER, "timed out"), turn(3, unanswered=1), MONDAY)

    assert becomes.state is LetterState.UNDELIVERABLE
    assert becomes.answer == (
        "Handed over twice without an answer, it may have arrived twice: ask the reader. timed out"
    )


def test_a_letter_without_an_answer_at_the_end_of_its_time_may_have_arrived() -> None:
    becomes = fate(Delivery(Outcome.NO_ANSWER, "timed out"), turn(), MONDAY + GIVE_UP_AFTER)

    assert becomes.state is LetterState.UNDELIVERABLE
    assert becomes.answer.startswith("Handed over without an answer, it may have arrived:")


def test_sent_and_refused_are_final() -> None:
    late = MONDAY + timedelta(days=9)
    assert fate(Delivery(Outcome.SENT, "250"), turn(9, unanswered=5), late).state is LetterState.SENT
    refused = fate(Delivery(Outcome.REFUSED, "550"), turn(), MONDAY)
    assert refused.state is LetterState.UNDELIVERABLE


def test_a_letter_keeps_its_name_and_no_two_share_one() -> None:
    one = message_id("weekly", "NORTH", "2026-W20", "kim@tool-room.example", 1, domain="tool-room.example")

    assert one == message_id(
        "weekly", "NORTH", "2026-W20", "Kim@Tool-Room.example", 1, domain="tool-room.example"
    )
    assert one.startswith("<weekly-2026-W20-")
    assert one.endswith("@tool-room.example>")
    others = {
        message_id("weekly", "SOUTH", "2026-W20", "kim@tool-room.example", 1, domain="tool-room.example"),
        message_id("weekly", "NORTH", "2026-W21", "kim@tool-room.example", 1, domain="tool-room.example"),
        message_id("weekly", "NORTH", "2026-W20", "pat@tool-room.example", 1, domain="tool-room.example"),
        message_id("weekly", "NORTH", "2026-W20", "kim@tool-room.example", 2, domain="tool-room.example"),
    }
    assert len(others | {one}) == 5


@pytest.mark.parametrize(
    ("sender", "domain"),
    [
        ("fleet@tool-room.example", "tool-room.example"),
        ("Tool room <fleet@tool-room.example>", "tool-room.example"),
        ("nonsense", "localhost.localdomain"),
    ],
)
def test_letters_are_named_after_the_senders_domain(sender: str, domain: str) -> None:
    assert domain_of(sender) == domain
