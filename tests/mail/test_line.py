"""One line for several letters, and the question whose they are, against real servers."""

from __future__ import annotations

from queue import Queue
from typing import TYPE_CHECKING

import pytest

from fleet.mail.post import SmtpPost
from fleet.rules.letters import Outcome
from tests.mail.facts import taken
from tests.mailserver import mail_server, mail_settings, rude_server, takes_letter

if TYPE_CHECKING:
    from socket import socket

    from fleet.mail.messages import TakenLetter

# What ends the content of a letter (RFC 5321, section 4.1.1.4).
END = b"\r\n.\r\n"


# --- One line for several letters ---------------------------------------------------------------------------


def test_twenty_letters_share_a_line_and_the_next_gets_a_new_one() -> None:
    with mail_server() as server:
        post = SmtpPost(mail_settings(server.port))
        with post.together():
            for number in range(25):
                assert post.send(numbered(number)).outcome is Outcome.SENT

        assert server.box.lines() == [20, 5]
        assert server.box.message_ids() == [numbered(at).message_id for at in range(25)]


def test_without_a_run_every_letter_has_its_own_line() -> None:
    with mail_server() as server:
        post = SmtpPost(mail_settings(server.port))
        post.send(numbered(1))
        post.send(numbered(2))

        assert server.box.lines() == [1, 1]


def test_a_no_to_one_letter_leaves_the_line_to_the_next() -> None:
    with mail_server() as server:
        post = SmtpPost(mail_settings(server.port))
        server.box.answer("RCPT", "550 5.1.1 No such user")
        with post.together():
            outcomes = [post.send(numbered(at)).outcome for at in range(3)]

        assert outcomes == [Outcome.REFUSED, Outcome.SENT, Outcome.SENT]
        assert server.box.lines() == [2]
        assert server.box.recipients == ["kim1@tool-room.example", "kim2@tool-room.example"]


def test_a_server_that_closed_the_idle_line_is_called_again() -> None:
    """It takes one letter, answers, and hangs up each time."""
    came: Queue[bytes] = Queue()

    def one_only(line: socket) -> None:
        came.put(takes_letter(line, until=END, then=b"250 done\r\n"))

    with rude_server(one_only) as port:
        post = SmtpPost(mail_settings(port, timeout_seconds="5"))
        with post.together():
            assert [post.send(numbered(at)).outcome for at in range(3)] == [Outcome.SENT] * 3
        # The server may still be on its way back from its last answer.
        contents = [came.get(timeout=30) for _ in range(3)]
    assert [numbered(at).message_id.encode() in content for at, content in enumerate(contents)] == [True] * 3


def numbered(at: int) -> TakenLetter:
    """One of several letters that say the same."""
    return taken(id=at, message_id=f"<weekly-{at}@tool-room.example>", address=f"kim{at}@tool-room.example")


# --- Is it still ours? --------------------------------------------------------------------------------------


def test_the_post_asks_when_the_server_is_ready_and_hands_nothing_over_after_a_no() -> None:
    with mail_server() as server:
        post = SmtpPost(mail_settings(server.port))
        with post.together():
            delivery = post.send(taken(), lambda _letter: False)
            assert (delivery.outcome, server.box.arrived) == (Outcome.NOT_OURS, [])
            assert len(server.box.encrypted) == 1
            assert post.send(numbered(1), lambda letter: letter.id == 1).outcome is Outcome.SENT

        assert server.box.message_ids() == [numbered(1).message_id]


def test_a_letter_the_server_does_not_want_is_not_asked_about() -> None:
    def must_not_be_asked(_letter: TakenLetter) -> bool:
        raise AssertionError

    with mail_server() as server:
        server.box.answer("RCPT", "550 5.1.1 No such user")
        post = SmtpPost(mail_settings(server.port))

        assert post.send(taken(), must_not_be_asked).outcome is Outcome.REFUSED


def test_a_question_that_cannot_be_answered_hands_nothing_over() -> None:
    def nobody_knows(_letter: TakenLetter) -> bool:
        raise LookupError

    with mail_server() as server:
        post = SmtpPost(mail_settings(server.port))
        with post.together():
            with pytest.raises(LookupError):
                post.send(taken(), nobody_knows)
            assert post.send(numbered(1)).outcome is Outcome.SENT

        assert server.box.lines() == [1]
        assert server.box.message_ids() == [numbered(1).message_id]
