"""Sending over a real line: races, deaths, and servers that say no. Nothing is lost."""

from __future__ import annotations

from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import pytest

from fleet.mail.post import SmtpPost, nobody_elses
from fleet.rounds import Sent
from fleet.rules.letters import Delivery, Outcome
from tests.letterdesk import LetterDesk, Outbox
from tests.mailserver import Authority, mail_server, mail_settings, rude_server, takes_letter

if TYPE_CHECKING:
    from pathlib import Path

    from fleet.mail.messages import TakenLetter
    from fleet.mail.post import StillOurs
    from fleet.room import Room
    from tests.shop import Clock, Shop

GREYLISTED = Delivery(Outcome.TRY_AGAIN, "451 4.7.1 Greylisted")
WRONG_PASSWORD = Delivery(Outcome.OUR_CONFIGURATION, "535 5.7.8 Wrong password")
NOBODY_THERE = Delivery(Outcome.NOT_REACHED, "ConnectionRefusedError: Connection refused")


@pytest.fixture
def desk(room: Room, shop: Shop, clock: Clock) -> LetterDesk:
    """A site whose three readers' letters are written."""
    made = LetterDesk(room, shop, clock)
    for badge in ("K1", "P1", "S1"):
        made.hire(badge)
    made.write()
    return made


# --- A server that answers ----------------------------------------------------------------------------------


def test_what_was_written_arrives_as_written(desk: LetterDesk) -> None:
    with mail_server() as server:
        assert desk.send(SmtpPost(mail_settings(server.port))) == Sent(3, 0, 0)

    assert sorted(server.box.recipients) == [f"{badge}@tool-room.example" for badge in ("k1", "p1", "s1")]
    assert sorted(server.box.plain()) == sorted(desk.text(badge).plain for badge in ("K1", "P1", "S1"))
    assert desk.states() == {"K1": "sent", "P1": "sent", "S1": "sent"}


def test_a_second_run_sends_nothing(desk: LetterDesk) -> None:
    outbox = Outbox()

    assert desk.send(outbox) == Sent(3, 0, 0)
    assert desk.send(outbox) == Sent(0, 0, 0)
    assert outbox.badges == ["K1", "P1", "S1"]


def test_greylisting_delays_and_loses_nothing(desk: LetterDesk) -> None:
    with mail_server() as server:
        post = SmtpPost(mail_settings(server.port))
        server.box.answer("RCPT", *["451 4.7.1 Greylisted"] * 3)
        assert desk.send(post) == Sent(0, 0, 3)
        assert desk.send(post) == Sent(0, 0, 3)
        desk.clock.pass_by(seconds=72)
        assert desk.send(post) == Sent(3, 0, 0)

    assert max(Counter(server.box.message_ids()).values()) == 1


def test_one_bad_address_does_not_hold_up_the_others(desk: LetterDesk) -> None:
    with mail_server() as server:
        server.box.answer("RCPT", "550 5.1.1 No such user")
        assert desk.send(SmtpPost(mail_settings(server.port))) == Sent(2, 1, 0)

    assert Counter(desk.states().values()) == {"sent": 2, "undeliverable": 1}


def test_a_line_that_breaks_in_mid_letter_is_tried_again_with_the_same_name(desk: LetterDesk) -> None:
    came: list[bytes] = []
    with rude_server(lambda line: came.append(takes_letter(line, until=b"Subject"))) as port:
        assert desk.send(SmtpPost(mail_settings(port))) == Sent(0, 0, 3)
    desk.clock.pass_by(minutes=18)
    with mail_server() as server:
        assert desk.send(SmtpPost(mail_settings(server.port))) == Sent(3, 0, 0)

    assert len(came) == 3
    for begun in came:
        (name,) = [line[12:].decode() for line in begun.splitlines() if line.startswith(b"Message-ID: ")]
        assert name in server.box.message_ids()


def test_a_certificate_that_does_not_hold_burns_no_letter(desk: LetterDesk, tmp_path: Path) -> None:
    authority = Authority(tmp_path)
    with mail_server(context=authority.server_context(), security="starttls") as server:
        settings = mail_settings(server.port, "starttls")
        stopped = desk.send(SmtpPost(settings))
        assert (stopped.sent, stopped.waiting) == (0, 3)
        assert "certificate verify failed" in str(stopped.stopped)
        assert server.box.untouched()
        desk.clock.pass_by(minutes=15)
        assert desk.send(SmtpPost(settings, context=authority.client_context())) == Sent(3, 0, 0)


# --- What ends a run ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("fault", [WRONG_PASSWORD, NOBODY_THERE])
def test_a_fault_that_concerns_all_letters_ends_the_run_after_the_first(
    desk: LetterDesk, fault: Delivery
) -> None:
    outbox = Outbox([fault])

    assert desk.send(outbox) == Sent(0, 0, 3, fault.answer)
    assert outbox.taken == []
    assert sum(line.attempts for line in desk.letters()) == 1


def test_the_next_run_begins_with_letters_that_were_not_tried(desk: LetterDesk) -> None:
    outbox = Outbox([NOBODY_THERE])
    desk.send(outbox)

    assert desk.send(outbox) == Sent(2, 0, 1)


def test_after_a_fault_of_ours_a_patient_run_waits_and_an_impatient_one_does_not(desk: LetterDesk) -> None:
    outbox = Outbox([WRONG_PASSWORD, WRONG_PASSWORD])
    desk.send(outbox)
    desk.clock.pass_by(minutes=14)
    assert desk.send(outbox, patient=True) == Sent(0, 0, 3, WRONG_PASSWORD.answer)
    assert len(outbox.answers) == 1
    desk.clock.pass_by(minutes=1)
    assert desk.send(outbox, patient=True) == Sent(0, 0, 3, WRONG_PASSWORD.answer)
    assert outbox.answers == []
    assert desk.send(outbox).sent == 3


def test_one_letter_that_always_breaks_our_rules_does_not_hold_up_the_others_for_ever(
    desk: LetterDesk,
) -> None:
    """A server that relays to one recipient only never: the other two get theirs after one pause."""
    outbox = Outbox([WRONG_PASSWORD])
    first = desk.letters()[0].badge
    desk.send(outbox, patient=True)
    desk.clock.pass_by(minutes=15)
    outbox.answers = []
    assert desk.send(outbox, patient=True).sent == 3
    assert outbox.taken[-1].badge == first


def test_every_letter_gets_one_try_in_a_run(desk: LetterDesk) -> None:
    """Time goes on while a run lasts, and a letter that failed must not be taken up again and again."""

    class Slow(Outbox):
        def send(self, letter: TakenLetter, _still_ours: StillOurs = nobody_elses) -> Delivery:
            desk.clock.pass_by(minutes=2)
            tried.append(letter.badge)
            return GREYLISTED

    tried: list[str] = []
    assert desk.send(Slow()) == Sent(0, 0, 3)
    assert sorted(tried) == ["K1", "P1", "S1"]


# --- Two at once --------------------------------------------------------------------------------------------


def test_two_senders_at_once_deliver_each_letter_once(desk: LetterDesk, *, deep: bool) -> None:
    """Rounds of three letters and two senders, over a real server: none lost, none doubled."""
    rounds = 1000 if deep else 10
    wanted: list[str] = []
    with mail_server() as server, ThreadPoolExecutor(2) as pool:
        posts = [SmtpPost(mail_settings(server.port)) for _ in range(2)]
        desk.send(posts[0])
        wanted += server.box.message_ids()
        for at in range(rounds):
            wanted += desk.put(str(at), 3)
            runs = [pool.submit(desk.send, post) for post in posts]
            assert sum(run.result().sent for run in runs) == 3

    assert Counter(server.box.message_ids()) == Counter(wanted)
