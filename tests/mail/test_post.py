"""The post, against real servers: what arrives, and what is said when nothing does."""

from __future__ import annotations

from datetime import timedelta
from functools import partial
from typing import TYPE_CHECKING

import pytest

from fleet.mail.messages import TakenLetter, message_of
from fleet.mail.post import SmtpPost
from fleet.refusals import SettingsWrong
from fleet.rules.letters import Delivery, Outcome
from tests.mail.facts import taken
from tests.mailserver import (
    PASSWORD,
    SENDER,
    USER,
    Authority,
    answers,
    drips,
    free_port,
    hangs_up,
    mail_server,
    mail_settings,
    rude_server,
    says_nothing,
    takes_letter,
)

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path
    from socket import socket


@pytest.fixture
def authority(tmp_path: Path) -> Authority:
    return Authority(tmp_path)


# What ends the content of a letter (RFC 5321, section 4.1.1.4).
END = b"\r\n.\r\n"


def send(port: int, letter: TakenLetter | None = None, **more: str) -> Delivery:
    return SmtpPost(mail_settings(port, **more)).send(letter or taken())


# --- A server that takes letters ----------------------------------------------------------------------------


def test_a_letter_arrives_to_the_last_byte() -> None:
    with mail_server() as server:
        delivery = send(server.port)

        assert delivery == Delivery(Outcome.SENT, "250 2.0.0 queued as 4711")
        assert server.box.arrived == [message_of(taken(), SENDER).as_bytes()]
        assert server.box.recipients == ["kim@tool-room.example"]


def test_a_line_that_begins_with_a_dot_arrives_with_it() -> None:
    """RFC 5321, section 4.5.2: transparency."""
    letter = taken(plain=".\n..\n.end\n")
    with mail_server() as server:
        send(server.port, letter)

        assert server.box.plain() == [letter.plain]


@pytest.mark.parametrize("security", ["starttls", "tls"])
def test_a_letter_travels_encrypted_after_a_login(security: str, authority: Authority) -> None:
    settings = partial(mail_settings, security=security, user=USER, password=PASSWORD)
    with mail_server(context=authority.server_context(), security=security, login=True) as server:
        post = SmtpPost(settings(server.port), context=authority.client_context())

        assert post.send(taken()).outcome is Outcome.SENT
        assert server.box.logged_in == [USER]
        assert server.box.encrypted == [True]
        assert len(server.box.arrived) == 1


@pytest.mark.parametrize("security", ["starttls", "tls"])
@pytest.mark.parametrize("fault", ["unknown authority", "other name", "run out"])
def test_a_certificate_that_does_not_hold_stops_everything(
    security: str, fault: str, authority: Authority
) -> None:
    shown = authority.server_context(
        "elsewhere.example" if fault == "other name" else "localhost", days=-1 if fault == "run out" else 1
    )
    # The default, which a room has unless it trusts an authority of its own, does not know this one.
    trusted = None if fault == "unknown authority" else authority.client_context()
    with mail_server(context=shown, security=security, login=True) as server:
        settings = mail_settings(server.port, security, user=USER, password=PASSWORD)
        delivery = SmtpPost(settings, context=trusted).send(taken())

        assert delivery.outcome is Outcome.OUR_CONFIGURATION
        assert "certificate verify failed" in delivery.answer
        assert server.box.untouched()


def test_without_encryption_on_offer_nothing_is_said_in_clear() -> None:
    with mail_server() as server:
        delivery = send(server.port, security="starttls", user=USER, password=PASSWORD)

        assert delivery.outcome is Outcome.OUR_CONFIGURATION
        assert "STARTTLS" in delivery.answer
        assert server.box.untouched()


def test_tls_to_a_server_that_speaks_none_is_our_fault() -> None:
    with mail_server() as server:
        assert send(server.port, security="tls").outcome is Outcome.OUR_CONFIGURATION
        assert server.box.arrived == []


def test_a_password_never_travels_in_clear() -> None:
    with pytest.raises(SettingsWrong, match="the password would travel in clear"):
        SmtpPost(mail_settings(25, user=USER, password=PASSWORD))


@pytest.mark.parametrize("password", ["wrong", "schlüssel"])
def test_a_wrong_password_is_our_fault_and_is_not_told(password: str, authority: Authority) -> None:
    with mail_server(context=authority.server_context(), security="starttls", login=True) as server:
        settings = mail_settings(server.port, "starttls", user=USER, password=password)
        delivery = SmtpPost(settings, context=authority.client_context()).send(taken())

        assert delivery.outcome is Outcome.OUR_CONFIGURATION
        assert password not in delivery.answer
        assert server.box.arrived == []


def test_a_server_that_demands_a_login_we_do_not_have_stops_the_run(authority: Authority) -> None:
    with mail_server(context=authority.server_context(), security="starttls", login=True) as server:
        post = SmtpPost(mail_settings(server.port, "starttls"), context=authority.client_context())

        assert post.send(taken()).outcome is Outcome.OUR_CONFIGURATION


# --- A server that says no ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("verb", "reply", "outcome"),
    [
        ("RCPT", "451 4.7.1 Greylisted, come back in a minute", Outcome.TRY_AGAIN),
        ("RCPT", "450 4.2.1 Mailbox busy", Outcome.TRY_AGAIN),
        ("RCPT", "452 4.2.2 Mailbox full", Outcome.TRY_AGAIN),
        ("RCPT", "552 5.2.2 Mailbox full", Outcome.TRY_AGAIN),
        ("RCPT", "550 5.1.1 No such user", Outcome.REFUSED),
        ("RCPT", "553 5.1.3 Bad address", Outcome.REFUSED),
        ("RCPT", "550 5.7.1 Relaying denied", Outcome.NOT_PERMITTED),
        ("RCPT", "421 4.3.2 Closing", Outcome.NOT_REACHED),
        ("MAIL", "451 4.3.0 Later", Outcome.TRY_AGAIN),
        ("MAIL", "550 5.1.8 Sender unknown", Outcome.OUR_CONFIGURATION),
        ("DATA", "451 4.3.0 Local error", Outcome.TRY_AGAIN),
        ("DATA", "554 5.6.0 Content not wanted", Outcome.REFUSED),
    ],
)
def test_a_no_is_understood_and_kept_word_for_word(verb: str, reply: str, outcome: Outcome) -> None:
    with mail_server() as server:
        server.box.answer(verb, reply)

        assert send(server.port) == Delivery(outcome, reply)
        assert server.box.arrived == []


def test_after_greylisting_the_same_letter_is_taken() -> None:
    with mail_server() as server:
        server.box.answer("RCPT", "451 4.7.1 Greylisted")

        assert send(server.port).outcome is Outcome.TRY_AGAIN
        assert send(server.port).outcome is Outcome.SENT
        assert server.box.message_ids() == [taken().message_id]


@pytest.mark.parametrize(
    "address",
    [
        "kim",
        "kim@tool-room.example\r\nRCPT TO:<all@x>",
        "kim@tool-room.example>",
        "kim@tool-room.example\r\n",
        " kim@tool-room.example",
        "=?utf-8?b?DQpCY2M6IHhAeQ==?=@tool-room.example",
        "kim..keeper@tool-room.example",
        "",
        "kïm@tool-room.example",
    ],
)
def test_an_address_that_could_mean_something_else_is_not_even_tried(address: str) -> None:
    with mail_server() as server:
        assert send(server.port, taken(address=address)).outcome is Outcome.REFUSED
        assert server.box.encrypted == []


# --- A server that breaks off -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("talk", "outcome"),
    [
        (hangs_up, Outcome.NOT_REACHED),
        (says_nothing, Outcome.NOT_REACHED),
        (drips, Outcome.NOT_REACHED),
        (partial(answers, banner=b"421 too busy\r\n"), Outcome.NOT_REACHED),
        (partial(answers, banner=b"garbage\r\n"), Outcome.NOT_REACHED),
        (partial(answers, banner=b"554 not for you\r\n"), Outcome.OUR_CONFIGURATION),
        # A letter as short as this one is with the machine whole before the line breaks.
        (partial(takes_letter, until=b"Subject"), Outcome.NO_ANSWER),
        (partial(takes_letter, until=END), Outcome.NO_ANSWER),
        (partial(takes_letter, until=END, then=b"?!\r\n"), Outcome.NO_ANSWER),
        (partial(takes_letter, until=END, then=b"2" * 9000), Outcome.NO_ANSWER),
        (partial(takes_letter, until=END, then=b"250-well\r\n"), Outcome.NO_ANSWER),
        (partial(takes_letter, until=END, then=b"451 later\r\n"), Outcome.TRY_AGAIN),
        (partial(takes_letter, until=END, then=b"554 no\r\n"), Outcome.REFUSED),
        (partial(takes_letter, until=END, then=b"421 closing\r\n"), Outcome.NOT_REACHED),
        (partial(takes_letter, until=END, then=b"250-well\r\n250 done\r\n"), Outcome.SENT),
    ],
)
def test_a_line_that_breaks_loses_no_letter(talk: Callable[[socket], None], outcome: Outcome) -> None:
    with rude_server(talk) as port:
        post = SmtpPost(mail_settings(port, timeout_seconds="1"), longest=timedelta(seconds=2))

        assert post.send(taken()).outcome is outcome


def test_a_long_letter_of_which_the_machine_kept_the_end_is_known_not_to_have_arrived() -> None:
    """Longer than what machine and server keep for each other: the line breaks while it is handed over."""
    long = taken(plain="Torque wrench\n" * 1_000_000, sha256="1" * 64)

    def breaks_off(line: socket) -> None:
        takes_letter(line, until=b"Subject")

    with rude_server(breaks_off) as port:
        post = SmtpPost(mail_settings(port, timeout_seconds="5"), longest=timedelta(seconds=20))

        assert post.send(long).outcome is Outcome.TRY_AGAIN


@pytest.mark.parametrize(
    ("security", "talk"),
    [("none", says_nothing), ("none", drips), ("starttls", drips), ("tls", says_nothing)],
)
def test_no_server_keeps_a_sender_longer_than_the_longest_send(
    security: str, talk: Callable[[socket], None]
) -> None:
    """Each single wait may last an hour here; the whole send may not, or the test would."""
    with rude_server(talk) as port:
        post = SmtpPost(mail_settings(port, security, timeout_seconds="3600"), longest=timedelta(seconds=0.5))

        assert post.send(taken()).outcome is Outcome.NOT_REACHED


@pytest.mark.parametrize("security", ["starttls", "tls"])
@pytest.mark.parametrize("talk", [hangs_up, says_nothing])
def test_a_line_that_breaks_before_encryption_is_no_fault_of_ours(
    security: str, talk: Callable[[socket], None]
) -> None:
    with rude_server(talk) as port:
        post = SmtpPost(mail_settings(port, security, timeout_seconds="1"))

        assert post.send(taken()).outcome is Outcome.NOT_REACHED


def test_nobody_listening_is_not_reached() -> None:
    assert send(free_port()).outcome is Outcome.NOT_REACHED


def test_a_host_that_is_not_there_is_not_reached() -> None:
    """The domain invalid never exists (RFC 6761)."""
    assert send(25, host="mail.invalid").outcome is Outcome.NOT_REACHED


def test_a_host_that_is_no_name_is_our_fault() -> None:
    assert send(25, host="mail..tool-room").outcome is Outcome.OUR_CONFIGURATION
