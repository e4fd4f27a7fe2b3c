"""The post, against real servers: what arrives, and what is said when nothing does."""

from __future__ import annotations

from datetime import timedelta
from functools import partial
from typing import TYPE_CHECKING

import pytest

from fleet.mail.messages import TakenLetter, message_of
from fleet.mail.post import FolderPost, SmtpPost, post_of
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
    came: list[bytes] = []

    def one_only(line: socket) -> None:
        came.append(takes_letter(line, until=END, then=b"250 done\r\n"))

    with rude_server(one_only) as port:
        post = SmtpPost(mail_settings(port, timeout_seconds="5"))
        with post.together():
            assert [post.send(numbered(at)).outcome for at in range(3)] == [Outcome.SENT] * 3
    assert [numbered(at).message_id.encode() in content for at, content in enumerate(came)] == [True] * 3


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


# --- The folder ---------------------------------------------------------------------------------------------


@pytest.fixture
def folder(tmp_path: Path) -> FolderPost:
    return FolderPost(mail_settings(25, folder=str(tmp_path / "out" / "letters")))


def lying(tmp_path: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in (tmp_path / "out" / "letters").iterdir()}


def test_a_room_without_a_server_finds_its_letters_in_the_folder(folder: FolderPost, tmp_path: Path) -> None:
    delivery = folder.send(taken())

    assert delivery.outcome is Outcome.SENT
    assert lying(tmp_path) == {"NORTH-2026-W20-12-K1.eml": message_of(taken(), SENDER).as_bytes()}
    assert delivery.answer.endswith("NORTH-2026-W20-12-K1.eml")


def test_the_same_letter_twice_lies_there_once(folder: FolderPost, tmp_path: Path) -> None:
    assert folder.send(taken()) == folder.send(taken(turn=2))
    assert len(lying(tmp_path)) == 1


def test_a_further_copy_lies_beside_the_first(folder: FolderPost, tmp_path: Path) -> None:
    folder.send(taken())
    folder.send(taken(copy_no=2, message_id="<weekly-2@tool-room.example>"))

    assert sorted(lying(tmp_path)) == ["NORTH-2026-W20-12-K1-copy2.eml", "NORTH-2026-W20-12-K1.eml"]


@pytest.mark.parametrize(
    "badge", ["../../etc/passwd", "/abs", "..", "a\x00b", "K1\nK2", "K" * 500, "CON", ""]
)
def test_a_badge_cannot_lead_out_of_the_folder(badge: str, folder: FolderPost, tmp_path: Path) -> None:
    assert folder.send(taken(badge=badge, site=badge)).outcome is Outcome.SENT
    assert len(lying(tmp_path)) == 1


def test_two_badges_that_look_alike_as_files_both_get_theirs(folder: FolderPost, tmp_path: Path) -> None:
    one = taken(badge="K/1", message_id="<weekly-1@tool-room.example>")
    two = taken(badge="K?1", message_id="<weekly-2@tool-room.example>")

    for letter in (one, two, one, two):
        assert folder.send(letter).outcome is Outcome.SENT
    assert len(lying(tmp_path)) == 2


def test_no_half_written_letter_is_ever_seen(folder: FolderPost, tmp_path: Path) -> None:
    for number in range(20):
        folder.send(taken(number=number))

    assert all(name.endswith(".eml") and not name.startswith(".") for name in lying(tmp_path))


def test_a_folder_that_cannot_be_written_to_is_our_fault(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    post = FolderPost(mail_settings(25, folder=str(tmp_path / "file" / "letters")))

    assert post.send(taken()).outcome is Outcome.OUR_CONFIGURATION


def test_what_is_no_longer_ours_is_not_put_into_the_folder(folder: FolderPost, tmp_path: Path) -> None:
    assert folder.send(taken(), lambda _letter: False).outcome is Outcome.NOT_OURS
    assert not (tmp_path / "out").exists()


def test_the_settings_decide_which_post_goes(tmp_path: Path) -> None:
    assert isinstance(post_of(mail_settings(25)), SmtpPost)
    assert isinstance(post_of(mail_settings(25, host="", folder=str(tmp_path))), FolderPost)


def test_letters_without_a_sender_do_not_go() -> None:
    with pytest.raises(SettingsWrong, match=r"mail\.sender is 'nobody'; write an address like"):
        post_of(mail_settings(25, sender="nobody"))
