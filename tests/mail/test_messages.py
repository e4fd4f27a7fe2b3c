"""A letter as a mail message, read back by the standard library's parser (RFC 5322, RFC 2045 to 2047)."""

from __future__ import annotations

from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.mail.messages import TakenLetter, message_of
from tests.mail.facts import NOON, taken

SENDER = "fleet@tool-room.example"


def read_back(letter: TakenLetter, sender: str = SENDER) -> EmailMessage:
    message = message_from_bytes(message_of(letter, sender).as_bytes(), policy=default)
    assert isinstance(message, EmailMessage)
    return message


def test_the_headers_say_who_what_and_that_no_answer_is_wanted() -> None:
    message = read_back(taken())

    assert message["Message-ID"] == taken().message_id
    assert message["Date"].datetime == NOON
    assert message["From"] == "North tool room <fleet@tool-room.example>"
    assert message["To"] == "Kim Keeper <kim@tool-room.example>"
    assert message["Subject"] == taken().subject
    assert message["Auto-Submitted"] == "auto-generated"
    assert message["X-Auto-Response-Suppress"] == "All"
    assert message["List-Id"] == "<weekly.north.tool-room.example>"


def test_plain_text_comes_first_and_both_arrive_as_written() -> None:
    plain, html = read_back(taken()).iter_parts()

    assert isinstance(plain, EmailMessage)
    assert isinstance(html, EmailMessage)
    assert plain.get_content_type() == "text/plain"
    assert html.get_content_type() == "text/html"
    # Text in a message has its lines end with CR LF (RFC 2046, section 4.1.1).
    assert plain.get_content().replace("\r\n", "\n") == taken().plain
    assert html.get_content().replace("\r\n", "\n") == taken().html


def test_the_same_letter_is_the_same_to_the_last_byte() -> None:
    assert message_of(taken(), SENDER).as_bytes() == message_of(taken(), SENDER).as_bytes()


def test_seven_bits_and_short_lines_pass_every_server() -> None:
    """RFC 5321, section 4.5.3.1.6: at most 998 characters in a line, which ends with CR LF."""
    content = message_of(taken(plain="漢字\n" * 300, html="<p>" + "long " * 900), SENDER).as_bytes()

    assert content.isascii()
    assert b"\n" not in content.replace(b"\r\n", b"")
    assert max(len(line) for line in content.split(b"\r\n")) <= 998


@pytest.mark.parametrize(
    "hostile",
    [
        "Kim\r\nBcc: all@tool-room.example",
        "Kim\nX-Header: 1",
        "Kim\x00",
        '"Kim" <other@x>, ',
        "Ørsted 👩\u200d🔧",
    ],
)
def test_no_name_can_add_a_header_or_a_recipient(hostile: str) -> None:
    letter = taken(reader=hostile, site_name=hostile, subject=hostile, site=hostile, badge=hostile)
    message = read_back(letter)

    assert sorted(message.keys()) == sorted(read_back(taken()).keys())
    assert [address.addr_spec for address in message["To"].addresses] == ["kim@tool-room.example"]
    assert [address.addr_spec for address in message["From"].addresses] == [SENDER]


@given(st.text())
def test_any_name_gives_a_message_that_can_be_sent(name: str) -> None:
    message = read_back(taken(reader=name, site_name=name, subject=name, site=name))

    assert [address.addr_spec for address in message["To"].addresses] == ["kim@tool-room.example"]
    assert len(str(message["Subject"]).splitlines()) <= 1


@pytest.mark.parametrize("length", range(10, 80, 3))
def test_the_names_of_letter_and_list_stay_whole_on_their_line(length: int) -> None:
    domain = f"{'x' * length}.example"
    letter = taken(message_id=f"<weekly-2026-W20-{'0' * 32}@{domain}>")
    content = message_of(letter, f"fleet@{domain}").as_bytes()

    assert f"Message-ID: {letter.message_id}\r\n".encode() in content
    assert f"List-Id: <weekly.north.{domain}>\r\n".encode() in content


def test_a_sender_may_bear_a_name_of_its_own() -> None:
    assert (
        read_back(taken(), "Tool room <fleet@tool-room.example>")["From"].addresses[0].display_name
        == "Tool room"
    )
