"""A letter as a mail message, read back by the standard library's parser (RFC 5322, RFC 2045 to 2047)."""

from __future__ import annotations

import re
from email import message_from_bytes
from email.header import decode_header, make_header
from email.message import EmailMessage
from email.policy import default
from email.utils import getaddresses

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fleet.mail.messages import Messages, TakenLetter, message_of
from fleet.mail.wording import one_line
from fleet.rules.readers import usable_address
from tests.mail.facts import NOON, taken

SENDER = "fleet@tool-room.example"
CALENDAR = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nSUMMARY:F-6 prüfen\r\nFrom here\r\nEND:VCALENDAR\r\n"


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


def test_a_calendar_goes_along_as_a_file_beside_the_texts() -> None:
    """RFC 5545, section 8.1 for the media type, and RFC 6047, section 2.4 for the method."""
    message = read_back(taken(calendar=CALENDAR))
    texts, calendar = message.iter_parts()

    assert message.get_content_type() == "multipart/mixed"
    assert texts.get_content_type() == "multipart/alternative"
    assert isinstance(texts, EmailMessage)
    assert [part.get_content_type() for part in texts.iter_parts()] == ["text/plain", "text/html"]
    assert isinstance(calendar, EmailMessage)
    assert calendar["Content-Type"].params == {"charset": "utf-8", "method": "PUBLISH"}
    assert calendar["Content-Type"].content_type == "text/calendar"
    assert (calendar.get_content_disposition(), calendar.get_filename()) == ("attachment", "due.ics")
    assert calendar.get_content() == CALENDAR


@pytest.mark.parametrize("calendar", [None, CALENDAR])
def test_the_same_letter_is_the_same_to_the_last_byte(calendar: str | None) -> None:
    letter = taken(calendar=calendar)

    assert message_of(letter, SENDER).as_bytes() == message_of(letter, SENDER).as_bytes()


@pytest.mark.parametrize("calendar", [None, CALENDAR])
def test_letters_that_say_the_same_share_their_body_and_nothing_else(calendar: str | None) -> None:
    messages = Messages(SENDER)
    letters = [
        taken(calendar=calendar, reader=name, message_id=f"<{name}@x.example>") for name in ("Kim", "Pat")
    ]

    for letter in (*letters, *letters):
        assert messages.bytes_of(letter) == message_of(letter, SENDER).as_bytes()


def test_bodies_that_have_not_been_asked_for_lately_are_let_go_and_made_anew() -> None:
    messages = Messages(SENDER, most=2)
    letters = [taken(plain=f"{at}\n", sha256=str(at) * 64) for at in range(5)]

    for letter in (*letters, *letters):
        assert messages.bytes_of(letter) == message_of(letter, SENDER).as_bytes()


def test_seven_bits_and_short_lines_pass_every_server() -> None:
    """RFC 5321, section 4.5.3.1.6: at most 998 characters in a line, which ends with CR LF."""
    content = message_of(taken(plain="漢字\n" * 300, html="<p>" + "long " * 900), SENDER).as_bytes()

    assert content.isascii()
    assert b"\n" not in content.replace(b"\r\n", b"")
    assert max(len(line) for line in content.split(b"\r\n")) <= 998


# What ends a line or a word somewhere, says who else is meant, or hides what is said.
SEPARATORS = [
    "\r\n",
    "\n",
    "\r",
    "\n\r",
    "\x00",
    "\x0b",
    "\x0c",
    "\x1c",
    "\x1d",
    "\x1e",
    "\x85",
    "\u2028",
    "\u2029",
]
INVISIBLE = ["\u202e", "\u202d", "\u2066", "\u200f", "\u061c", "\u200b", "\ufeff", "\u00ad", "\ud800"]
HOSTILE = [
    *(f"Kim{mark}Bcc: all@tool-room.example" for mark in [*SEPARATORS, *INVISIBLE]),
    *(f"Kim{mark}{mark}--=_{'0' * 40}{mark}{mark}<p>x" for mark in SEPARATORS),
    "Kim\r\n Bcc: folded@tool-room.example",
    "Kim\r\n\tBcc: folded@tool-room.example",
    # Encoded words (RFC 2047) in which a line end hides: in Q and B, with a language (RFC 2231), in pieces.
    "=?utf-8?q?Kim=0D=0ABcc:_all=40tool-room.example?=",
    "=?utf-8?Q?=0ABcc:_x=40y.example?= Keeper",
    "=?utf-8?b?DQpCY2M6IGFsbEB0b29sLXJvb20uZXhhbXBsZQ==?=",
    "=?iso-8859-1*en?q?Kim=0D=0ABcc:_x=40y.example?=",
    "=?utf-8?q?Kim=0D?= =?utf-8?q?=0ABcc:_x=40y.example?=",
    "==??utf-8?q?=0ABcc:_x=40y.example?=",
    "=\x00?utf-8?q?=0ABcc:_x=40y.example?=",
    "=?=?utf-8?q?=0ABcc:_x=40y.example?=",
    '"=?utf-8?q?=0ABcc:_x=40y.example?="',
    "Kim, Pat <pat@other.example>, all@other.example",
    "Kim <kim@other.example>",
    '"Kim" <other@x>, ',
    "Kim>, <all@other.example",
    'Kim\\" <all@other.example>, "',
    "Kim: all@other.example; ",
    "(Kim) all@other.example (",
    "Kim\\",
    "a" * 10_000,
    "漢" * 10_000,
    '"' * 10_000,
    "<" * 10_000,
    "=?" * 5_000,
    "a, " * 3_000,
    f"{'long ' * 30}=?utf-8?q?=0ABcc:_x=40y.example?=",
    "Ørsted 👩\u200d🔧",
    "",
    " ",
]


def check_nothing_added(name: str) -> None:
    """One header of each kind, one recipient, one sender, two texts and a calendar: whatever names say."""
    letter = taken(calendar=CALENDAR, reader=name, site_name=name, subject=name, site=name, badge=name)
    content = message_of(letter, SENDER).as_bytes()
    message = message_from_bytes(content, policy=default)
    polite = read_back(taken(calendar=CALENDAR))

    assert message.keys() == polite.keys()
    assert [part.get_content_type() for part in message.walk()] == [
        part.get_content_type() for part in polite.walk()
    ]
    assert [part.keys() for part in message.walk()] == [part.keys() for part in polite.walk()]
    assert [part.defects for part in message.walk()] == [[]] * 5
    assert [address.addr_spec for address in message["To"].addresses] == ["kim@tool-room.example"]
    assert [address.addr_spec for address in message["From"].addresses] == [SENDER]
    # The simple parser of old programs must not see more either.
    old = message_from_bytes(content)
    assert old.keys() == message.keys()
    assert [address for _, address in getaddresses([old["To"]])] == ["kim@tool-room.example"]
    for header in ("From", "To", "Subject"):
        hidden = set("".join((*SEPARATORS, *INVISIBLE))) & set(shown(old[header]))
        assert not hidden, "nothing hides in an encoded word"
    heading = content.partition(b"\r\n\r\n")[0]
    assert all(re.match(rb"[A-Za-z-]+:( |$)|[ \t]+\S", line) for line in heading.split(b"\r\n"))
    assert b"\n" not in content.replace(b"\r\n", b"")


@pytest.mark.parametrize("hostile", HOSTILE, ids=lambda name: ascii(name)[:60])
def test_no_name_can_add_a_header_a_recipient_or_a_part(hostile: str) -> None:
    check_nothing_added(hostile)


@given(st.lists(st.one_of(st.sampled_from(HOSTILE[:50]), st.sampled_from(SEPARATORS), st.text()), max_size=4))
def test_no_mixture_of_names_can_either(pieces: list[str]) -> None:
    check_nothing_added("".join(pieces))


@given(st.from_regex(r"[!-~]{1,12}@[a-z0-9.-]{1,12}", fullmatch=True))
def test_every_address_that_is_tried_can_be_written_to(address: str) -> None:
    """And is read back as that one address."""
    assume(usable_address(address))
    message = read_back(taken(address=address))

    assert [to.addr_spec for to in message["To"].addresses] == [address]


@pytest.mark.parametrize("hostile", HOSTILE, ids=lambda name: ascii(name)[:60])
def test_no_address_with_something_hidden_in_it_is_tried(hostile: str) -> None:
    if hostile.strip():
        assert not usable_address(f"{hostile}@tool-room.example")
        assert not usable_address(f"kim@tool-room.example{hostile}")


@given(st.text())
def test_any_name_gives_a_message_that_can_be_sent(name: str) -> None:
    message = read_back(taken(reader=name, site_name=name, subject=name, site=name))

    assert [address.addr_spec for address in message["To"].addresses] == ["kim@tool-room.example"]
    assert len(str(message["Subject"]).splitlines()) <= 1


@pytest.mark.parametrize("length", range(10, 80, 3))
def test_the_names_of_letter_and_list_stay_whole_on_their_line(length: int) -> None:
    domain = f"{'x' * (length // 2)}.{'y' * (length // 2)}.example"
    letter = taken(message_id=f"<weekly-2026-W20-{'0' * 32}@{domain}>")
    content = message_of(letter, f"fleet@{domain}").as_bytes()

    assert f"Message-ID: {letter.message_id}\r\n".encode() in content
    assert f"List-Id: <weekly.north.{domain}>\r\n".encode() in content


@pytest.mark.parametrize("name", HOSTILE, ids=lambda name: ascii(name)[:60])
def test_names_are_read_as_they_were_written_on_one_line(name: str) -> None:
    """Between encoded words blanks do not count (RFC 2047, section 6.2); the newer parser shows them."""
    message = message_from_bytes(
        message_of(taken(reader=name, site_name=name, subject=name), SENDER).as_bytes()
    )

    for header, address in (("To", "kim@tool-room.example"), ("From", SENDER)):
        said = f"{one_line(name)} <{address}>" if one_line(name) else address
        assert shown(message[header]) == said
    assert shown(message["Subject"]) == one_line(name, longest=300)


def shown(header: str) -> str:
    """A header as a mail program shows it: unfolded, and its encoded words decoded."""
    return str(make_header(decode_header(re.sub(r"\r\n(?=[ \t])", "", header))))


def test_a_sender_may_bear_a_name_of_its_own() -> None:
    assert (
        read_back(taken(), "Tool room <fleet@tool-room.example>")["From"].addresses[0].display_name
        == "Tool room"
    )
