"""Every fault a mail server is known to have, with two senders at once: what is lost, doubled, said.

A fault lasts for one run of both senders; afterwards the server is polite. Reply codes as in RFC 5321,
section 4.2, RFC 3463, RFC 4954 and, for greylisting, RFC 6647; from memory.
"""

from __future__ import annotations

from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import timedelta
from functools import partial
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select

from fleet import records
from fleet.lists.duty import duty
from fleet.lists.letters import waiting
from fleet.mail.post import SmtpPost
from fleet.rules.letters import BEGINNINGS, Outcome
from tests.letterdesk import LetterDesk
from tests.mailserver import PASSWORD, USER, Authority, mail_settings
from tests.scripted import (
    Act,
    Script,
    Scripted,
    Talk,
    accepts,
    hangs_up,
    hangs_up_in_the_middle,
    in_two_pieces,
    says,
    scripted_server,
    slowly,
    stalls,
)

if TYPE_CHECKING:
    import ssl
    from collections.abc import Iterator
    from pathlib import Path

    from fleet.room import Room
    from fleet.rounds import Sent
    from tests.shop import Clock, Shop

LETTERS = 3


@dataclass(frozen=True)
class Fault:
    """What the server does, and what must become of letters that were tried meanwhile.

    ``copies``: how often each of them arrives in the end. ``stops``: whether the run ends at once and says
    why. ``impatient``: the senders wait for half a second only, and the test not for ten minutes.
    """

    name: str
    script: Script
    outcome: Outcome
    final: str = "sent"
    copies: int = 1
    stops: bool = False
    impatient: bool = False
    shut: bool = False
    security: str = "none"
    certificate_of: str = "localhost"
    unencrypted: bool = False


def at(step: str, act: Act) -> Script:
    return {step: act}


OFFER = "250-mail.tool-room.example\r\n250-SIZE 20000000\r\n250 8BITMIME"
FAULTS = [
    Fault("refuses to connect", {}, Outcome.NOT_REACHED, shut=True, stops=True),
    Fault("accepts and hangs up", at("greeting", hangs_up), Outcome.NOT_REACHED, stops=True),
    Fault("no greeting", at("greeting", stalls), Outcome.NOT_REACHED, stops=True, impatient=True),
    Fault("421 as greeting", at("greeting", says("421 4.3.2 Busy")), Outcome.NOT_REACHED, stops=True),
    Fault("no encryption", {}, Outcome.OUR_CONFIGURATION, stops=True, security="starttls", unencrypted=True),
    Fault(
        "certificate of another",
        {},
        Outcome.OUR_CONFIGURATION,
        stops=True,
        security="starttls",
        certificate_of="elsewhere.example",
    ),
    Fault(
        "wrong password",
        at("AUTH", says("535 5.7.8 Wrong password")),
        Outcome.OUR_CONFIGURATION,
        stops=True,
        security="starttls",
    ),
    Fault("450 to the sender", at("MAIL", says("450 4.3.0 Later")), Outcome.TRY_AGAIN),
    Fault("451 to the sender", at("MAIL", says("451 4.3.0 Later")), Outcome.TRY_AGAIN),
    Fault("greylisted", at("RCPT", says("451 4.7.1 Greylisted")), Outcome.TRY_AGAIN),
    Fault("452 to the recipient", at("RCPT", says("452 4.3.1 No room")), Outcome.TRY_AGAIN),
    Fault("no such user", at("RCPT", says("550 5.1.1 No such user")), Outcome.REFUSED, "undeliverable", 0),
    Fault("5.7.1 to all", at("RCPT", says("550 5.7.1 Relaying denied")), Outcome.NOT_PERMITTED, stops=True),
    Fault("mailbox full", at("RCPT", says("552 5.2.2 Mailbox full")), Outcome.TRY_AGAIN),
    Fault("hangs up before the content", at("content", hangs_up), Outcome.NO_ANSWER),
    Fault("hangs up in the content", at("content", hangs_up_in_the_middle), Outcome.NO_ANSWER),
    Fault("takes it and hangs up", at("answer", accepts(hangs_up)), Outcome.NO_ANSWER, copies=2),
    Fault("takes it and stalls", at("answer", accepts(stalls)), Outcome.NO_ANSWER, copies=2, impatient=True),
    Fault("451 to the content", at("answer", says("451 4.3.0 Later")), Outcome.TRY_AGAIN),
    Fault("554 to the content", at("answer", says("554 5.6.0 No")), Outcome.REFUSED, "undeliverable", 0),
    Fault("garbage instead of a reply", at("RCPT", says("?!")), Outcome.TRY_AGAIN),
    Fault("garbage after the content", at("answer", says("?!")), Outcome.NO_ANSWER),
    Fault("its reply in two pieces", at("answer", accepts(in_two_pieces)), Outcome.SENT),
    Fault(
        "replies of several lines",
        {
            "EHLO": says(OFFER),
            "RCPT": says("250-Well\r\n250 OK"),
            "answer": accepts(says("250-Well\r\n250-done\r\n250 OK")),
        },
        Outcome.SENT,
    ),
    Fault("slow", {"EHLO": slowly(OFFER, 0.002), "MAIL": slowly("250 OK", 0.01)}, Outcome.SENT),
    Fault(
        "slower than we wait",
        at("greeting", slowly("220 " + "x" * 1000, 0.01)),
        Outcome.NOT_REACHED,
        stops=True,
        impatient=True,
    ),
]


@dataclass
class TwoSenders:
    """A desk, a scripted server, and two senders, each with a post of its own."""

    desk: LetterDesk
    server: Scripted
    security: str
    trusted: ssl.SSLContext | None
    pool: ThreadPoolExecutor = field(default_factory=lambda: ThreadPoolExecutor(2))

    def both_send(self, *, longest: float = 30) -> list[Sent]:
        """Both senders at once, each in a run of its own."""
        login = {"user": USER, "password": PASSWORD} if self.security != "none" else {}
        settings = mail_settings(self.server.port, self.security, **login)
        posts = [
            SmtpPost(settings, context=self.trusted, longest=timedelta(seconds=longest)) for _ in range(2)
        ]
        return list(self.pool.map(self.desk.send, posts))

    def send_until_nothing_waits(self) -> None:
        """Every twenty minutes, which is longer than any pause of a letter that was tried once."""
        for _ in range(4):
            self.desk.clock.pass_by(minutes=20)
            self.both_send()
            with self.desk.room.look() as db:
                if not waiting(db):
                    return
        raise AssertionError("letters wait for ever")

    def ends(self, names: list[str]) -> dict[str, list[str]]:
        """How the attempts at each letter ended, in order."""
        attempt, letter = records.LetterAttemptRow, records.LetterRow
        asked = (
            select(letter.message_id, attempt.outcome)
            .join(attempt, attempt.letter_id == letter.id)
            .where(letter.message_id.in_(names), attempt.outcome.not_in(BEGINNINGS))
            .order_by(attempt.id)
        )
        found: dict[str, list[str]] = {}
        with self.desk.room.look() as db:
            for name, outcome in db.execute(asked):
                found.setdefault(name, []).append(outcome)
        return found

    def states(self, names: list[str]) -> dict[str, str]:
        letter = records.LetterRow
        with self.desk.room.look() as db:
            asked = select(letter.message_id, letter.state).where(letter.message_id.in_(names))
            return {row.message_id: row.state for row in db.execute(asked)}

    def alarms(self) -> list[str]:
        """What people are told about letters that wait or were given up."""
        with self.desk.room.look() as db:
            lines = duty(db, mail_settings(25), clock=self.desk.clock.now)
        about_letters = ("waiting", "undeliverable", "unanswered")
        return [line.what for line in lines if not line.ok and line.what in about_letters]


@pytest.fixture
def desk(room: Room, shop: Shop, clock: Clock) -> LetterDesk:
    return LetterDesk(room, shop, clock)


@pytest.fixture
def two(desk: LetterDesk) -> Iterator[TwoSenders]:
    with scripted_server() as server:
        made = TwoSenders(desk, server, "none", None)
        yield made
        made.pool.shutdown()


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)
def test_a_fault_of_the_server_loses_nothing(
    fault: Fault, desk: LetterDesk, tmp_path: Path, *, deep: bool
) -> None:
    encrypted = fault.security != "none"
    authority = Authority(tmp_path)
    right = authority.server_context() if encrypted else None
    shown = authority.server_context(fault.certificate_of) if encrypted and not fault.unencrypted else None
    with scripted_server() as server, ThreadPoolExecutor(2) as pool:
        two = TwoSenders(
            desk, server, fault.security, authority.client_context() if encrypted else None, pool
        )
        for number in range(50 if deep else 2):
            server.script, server.certificate = fault.script, shown
            play(two, fault, desk.put(str(number), LETTERS), partial(polite, server, right))


def polite(server: Scripted, certificate: ssl.SSLContext | None) -> None:
    server.script, server.certificate = {}, certificate
    server.arrived.clear()


def play(two: TwoSenders, fault: Fault, names: list[str], make_polite: partial[None]) -> None:
    """The fault, then what must be true at once; the end of the fault, then what must be true for good."""
    two.server.arrived.clear()
    if fault.shut:
        two.server.shut()
    runs = two.both_send(longest=0.5 if fault.impatient else 30)
    if fault.shut:
        two.server.open()
    tried = two.ends(names)

    assert tried
    assert {outcome for ends in tried.values() for outcome in ends} == {fault.outcome}
    assert [bool(run.stopped) for run in runs] == [fault.stops] * 2
    if not fault.stops:
        assert len(tried) == LETTERS
        assert all(len(ends) == 1 for ends in tried.values())
    arrived = Counter(two.server.names())

    make_polite()
    two.send_until_nothing_waits()
    arrived.update(two.server.names())

    assert arrived.keys() <= set(names), "none from nowhere"
    for name in names:
        assert arrived[name] == (fault.copies if name in tried else 1)
    assert set(two.states(names).values()) == {fault.final}
    assert two.alarms() == ([] if fault.final == "sent" else ["undeliverable"])


def test_a_server_that_is_back_after_six_hours_gets_everything(two: TwoSenders, *, deep: bool) -> None:
    """It is said after four hours that letters wait, and no longer once they have gone."""
    for number in range(50 if deep else 2):
        names = two.desk.put(str(number), LETTERS)
        two.server.shut()
        for half_hour in range(12):
            assert [run.sent for run in two.both_send()] == [0, 0]
            assert two.alarms() == (["waiting"] if half_hour > 8 else [])
            two.desk.clock.pass_by(minutes=30)
        two.server.open()
        two.server.arrived.clear()
        two.send_until_nothing_waits()

        assert Counter(two.server.names()) == Counter(names)
        assert two.alarms() == []


def test_a_server_that_never_answers_gets_each_letter_twice_and_no_more(two: TwoSenders) -> None:
    names = two.desk.put("0", LETTERS)
    two.server.script = at("answer", accepts(hangs_up))
    two.both_send()
    two.send_until_nothing_waits()

    assert Counter(two.server.names()) == Counter(names * 2)
    assert len(set(two.server.arrived)) == LETTERS, "the same to the last byte"
    for line in two.desk.letters():
        assert (line.state, line.unanswered) == ("undeliverable", 2)
        assert line.last_answer is not None
        assert "it may have arrived twice: ask the reader" in line.last_answer
    assert two.alarms() == ["unanswered"]


def test_one_recipient_who_is_not_permitted_does_not_keep_the_others_waiting(two: TwoSenders) -> None:
    """At first it may be our own fault; once others went out it is meant for this one alone."""

    def all_but_the_first(talk: Talk) -> None:
        talk.say(b"550 5.7.1 Not for you" if b"reader-0-0@" in talk.said else b"250 OK")

    first, *others = two.desk.put("0", LETTERS)
    two.server.script = at("RCPT", all_but_the_first)
    two.desk.send(SmtpPost(mail_settings(two.server.port)))
    assert two.states([first]) == {first: "written"}
    two.send_until_nothing_waits()

    assert Counter(two.server.names()) == Counter(others)
    assert two.states([first]) == {first: "undeliverable"}
    assert two.ends([first])[first][-1] == "refused"
