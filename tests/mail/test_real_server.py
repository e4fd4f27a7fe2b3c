"""The post against Debian's own mail server: a letter comes through a real queue into a real mailbox."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any

import pytest

from fleet.mail.post import SmtpPost
from fleet.rules.letters import Delivery, Outcome
from tests.machine import mail_server_program, may_install
from tests.mail.facts import taken
from tests.mailhouse import DOMAIN, FILE_USER, FOLDER_USER, LONGEST_MESSAGE, MailHouse, mail_house
from tests.mailserver import Authority, mail_settings

if TYPE_CHECKING:
    from collections.abc import Iterator
    from email.message import EmailMessage
    from pathlib import Path

    from fleet.mail.messages import TakenLetter

USERS = (FOLDER_USER, FILE_USER)
# RFC 5322, section 2.1.1: characters in a line, without its end.
LONGEST_LINE = 998
TEXTS = {
    "dots": ".\n..\n.end\n\n.\nafter the dot\n",
    "a line that begins like an envelope": "From now on it stays in.\n\nFrom Kim\n>From Pat\n",
    "long lines": f"{'hose ' * 500}\n{'x' * 5000}\n",
    "letters beyond ASCII": "Ø 10⅜″ – 41 N·m, Jørgen Ærø\nFrom Łódź: 液压扳手\n",
    "ends with blanks and tabs": "calibration \t\nF-6\t\n\n",
}


@pytest.fixture(autouse=True)
def server_fetched() -> None:
    """Without Debian's mail server these are skipped loudly; where it may be fetched, the gate wants them."""
    if mail_server_program():
        return
    message = "needs Debian's mail server, which python3 -m tests fetches as root"
    if "CI" in os.environ and may_install():
        pytest.fail(message)
    pytest.skip(message)


@pytest.fixture
def house(server_fetched: None) -> Iterator[MailHouse]:  # noqa: ARG001  It says first whether there is one.
    with mail_house() as server:
        yield server


def to(user: str, **said: Any) -> TakenLetter:  # noqa: ANN401  Any field of the letter.
    return taken(address=f"{user}@{DOMAIN}", **said)


def send(house: MailHouse, letter: TakenLetter) -> Delivery:
    """Send it, and wait until the server has put it where it belongs."""
    delivery = SmtpPost(mail_settings(house.port)).send(letter)
    if delivery.outcome is Outcome.SENT:
        house.settle(delivery.answer)
    return delivery


def texts(message: EmailMessage) -> list[str]:
    """The plain text and the HTML, with the line ends they were written with."""
    bodies = [message.get_body((kind,)) for kind in ("plain", "html")]
    return [body.get_content().replace("\r\n", "\n") for body in bodies if body]


@pytest.mark.parametrize("user", USERS)
def test_a_letter_comes_through_to_the_mailbox_once(house: MailHouse, user: str) -> None:
    letter = to(
        user, reader="Jørgen Ærø-Łukasz", site_name="Ålesund tool room", subject="Due: 3 – 10⅜″ hoses"
    )

    assert send(house, letter).outcome is Outcome.SENT

    [message] = house.lying(user)
    assert message["Message-ID"] == letter.message_id
    assert message["Subject"] == letter.subject
    assert message["From"].addresses[0].display_name == letter.site_name
    assert message["To"].addresses[0].display_name == letter.reader
    assert message["To"].addresses[0].addr_spec == letter.address
    assert message["Date"].datetime == letter.written_at
    assert texts(message) == [letter.plain, letter.html]
    assert house.waiting() == []


@pytest.mark.parametrize("user", USERS)
@pytest.mark.parametrize("text", TEXTS.values(), ids=TEXTS.keys())
def test_what_a_letter_says_comes_through_unchanged(house: MailHouse, user: str, text: str) -> None:
    page = f"<html><body><pre>{text}</pre></body></html>\n"

    send(house, to(user, plain=text, html=page))

    [message] = house.lying(user)
    assert texts(message) == [text, page]
    assert max(map(len, message.as_bytes().splitlines())) <= LONGEST_LINE


@pytest.mark.parametrize("user", USERS)
def test_a_letter_sent_twice_is_known_for_the_same(house: MailHouse, user: str) -> None:
    """A mail program may then show it once; both say the same."""
    for turn in (1, 2):
        assert send(house, to(user, turn=turn)).outcome is Outcome.SENT

    one, other = house.lying(user)
    assert one["Message-ID"] == other["Message-ID"] == taken().message_id
    assert one["Date"] == other["Date"]
    assert texts(one) == texts(other)


def test_a_letter_travels_encrypted(tmp_path: Path) -> None:
    authority = Authority(tmp_path)
    with mail_house(authority.server_file()) as house:
        post = SmtpPost(mail_settings(house.port, "starttls"), context=authority.client_context())
        delivery = post.send(to(FOLDER_USER))

        assert delivery.outcome is Outcome.SENT
        house.settle(delivery.answer)
        [message] = house.lying(FOLDER_USER)
        # RFC 3848: the server writes ESMTPS where the line was encrypted.
        assert " with esmtps " in " ".join(str(message["Received"]).split()).lower()


def test_a_server_that_nobody_trusts_gets_nothing(tmp_path: Path) -> None:
    with mail_house(Authority(tmp_path).server_file()) as house:
        post = SmtpPost(mail_settings(house.port, "starttls"))

        assert post.send(to(FOLDER_USER)).outcome is Outcome.OUR_CONFIGURATION
        assert not house.lying(FOLDER_USER)
        assert not house.waiting()


def test_a_reader_who_is_not_there_is_refused_at_once(house: MailHouse) -> None:
    delivery = send(house, to("nobody-here"))

    assert delivery.outcome is Outcome.REFUSED
    assert delivery.answer.startswith("550 ")
    assert house.waiting() == []


def test_a_letter_longer_than_the_server_takes_is_refused(house: MailHouse) -> None:
    """RFC 1870: the server says so before the letter is on its way."""
    delivery = send(house, to(FOLDER_USER, plain="x" * LONGEST_MESSAGE))

    assert delivery.outcome is Outcome.REFUSED
    assert delivery.answer.startswith("552 ")
    assert not house.lying(FOLDER_USER)
    assert not house.waiting()
