"""Letters, rounds and the day book as they are typed, on both engines."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from sqlalchemy import text

from fleet.commands import REFUSED
from fleet.measures.times import iso_week, local_day, next_week, previous_week, zone
from tests.commands.typed import Answer, here
from tests.letterdesk import LetterDesk
from tests.mail.facts import busy, letter_of
from tests.mailserver import mail_server
from tests.troubledesk import TroubleDesk

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Clock, Shop

FLEET = Path(sys.executable).with_name("fleet")


@dataclass
class Typed:
    """The commands as they are typed, on the room's database."""

    desk: LetterDesk
    folder: Path
    more: dict[str, str]

    def env(self) -> dict[str, str]:
        database = self.desk.room.engine.url.render_as_string(hide_password=False)
        said = {"FLEET_SETTINGS": "/nowhere", "FLEET_MAIL_FOLDER": str(self.folder), "FLEET_ACTING": "K1"}
        return {"FLEET_DATABASE": database.replace("postgresql+psycopg", "postgresql")} | said | self.more

    def run(self, *words: str) -> Answer:
        return here(*words, **self.env())

    def said(self, *words: str) -> str:
        done = self.run(*words)
        assert done.code == 0, done
        return done.out

    def answered(self, *words: str) -> Any:  # noqa: ANN401  Whatever stands in the JSON.
        return json.loads(self.said(*words, "--json"))

    def refused(self, *words: str) -> str:
        done = self.run(*words)
        assert done.code == REFUSED, done
        return done.err.removesuffix("\n")

    def started(self, *words: str) -> subprocess.Popen[str]:
        """The real program, in a process of its own."""
        env = {"PATH": os.environ["PATH"]} | self.env()
        pipe = subprocess.PIPE
        return subprocess.Popen([str(FLEET), *words], env=env, stdout=pipe, stderr=pipe, text=True)


@pytest.fixture
def typed(room: Room, shop: Shop, clock: Clock, tmp_path: Path) -> Typed:
    """A site with a keeper and a planner. The program goes by the machine's own clock."""
    desk = LetterDesk(room, shop, clock)
    desk.hire("K1")
    desk.hire("P1")
    # The letter hour of every week has passed by then, whenever this test runs.
    with room.act() as db:
        db.execute(text("UPDATE site SET letter_weekday = 0, letter_hour = 0"))
    return Typed(desk, tmp_path / "letters", {})


def this_week() -> str:
    return iso_week(local_day(datetime.now(UTC), zone("America/Chicago")))


def test_letters_are_written_sent_listed_and_shown(typed: Typed) -> None:
    week = this_week()
    written = typed.said("letters", "write")
    assert written.startswith(f"Letter 1 of NORTH for {week} is written, to K1, P1.")
    assert typed.said("letters", "write").startswith(f"Everybody at NORTH has letter 1 of {week} already.")
    assert typed.said("letters", "send") == "2 sent, 0 undeliverable, 0 waiting.\n"
    assert sorted(file.name for file in typed.folder.iterdir()) == [
        f"NORTH-{week}-1-K1.eml",
        f"NORTH-{week}-1-P1.eml",
    ]
    listed = typed.said("letters", "list")
    assert "k1@tool-room.example" in listed
    assert listed.count(" sent ") == 2
    shown = typed.said("letters", "show", "1", "--to", "K1")
    assert "=== To Kim Keeper <k1@tool-room.example>: sent" in shown
    assert "Letter 1 of NORTH." in shown
    assert "P1" not in shown


def test_every_command_answers_machines_too(typed: Typed) -> None:
    week = this_week()
    assert typed.answered("letters", "write", "--site", "north", "--week", week) == {
        "site": "NORTH",
        "week": week,
        "number": 1,
        "to": ["K1", "P1"],
    }
    assert typed.answered("letters", "send") == {
        "sent": 2,
        "undeliverable": 0,
        "waiting": 0,
        "stopped": None,
    }
    listed = typed.answered("letters", "list", "--state", "sent", "--week", week)
    assert {line["badge"]: line["state"] for line in listed} == {"K1": "sent", "P1": "sent"}
    (shown,) = typed.answered("letters", "show", "1", "--to", "K1")
    assert shown["text"]["plain"].startswith("Nothing is overdue")
    assert [attempt["outcome"] for attempt in shown["attempts"]] == ["taken", "handing over", "sent"]
    assert typed.answered("rounds", "--once")["sent"]["sent"] == 0
    for words in (["out"], ["holds"], ["concessions"]):
        assert typed.answered(*words) == []
    assert typed.answered("daybook", "show")[0]["act"] == "letters written"
    assert {book["altered"] for book in typed.answered("daybook", "verify")} == {False}


def test_a_letter_at_once_is_listed_with_its_week_and_shown_apart_from_the_weekly_one(typed: Typed) -> None:
    desk = TroubleDesk(typed.desk.room, typed.desk.shop, typed.desk.clock, typed.desk)
    item, _ = desk.item()
    desk.lend(item)
    desk.hold(item)
    typed.said("letters", "write")
    assert [one["to"] for one in typed.answered("rounds", "--once")["told"]] == ["F1", "K1", "spare"]

    week = typed.answered("letters", "list")[0]["week"]
    assert re.fullmatch(r"[0-9]{4}-W[0-9]{2}-[1-7]T[0-9]{4}", week)
    assert len(typed.answered("letters", "list", "--week", week[:8])) == 5
    assert typed.said("letters", "list", "--week", week[:8]).count(f"{week[:8]} at once") == 3
    assert "Letter at once 1 of NORTH." in typed.said("letters", "show", "1", "--to", "K1", "--at-once")
    assert "Letter at once" not in typed.said("letters", "show", "1", "--to", "K1")
    assert "Copy 2 of letter 1 to k1@tool-room.example waits." in typed.said(
        *("letters", "resend", "1", "--to", "K1", "--at-once", "--reason", "The mailbox was full.")
    )


def test_a_list_without_letters_says_so(typed: Typed) -> None:
    assert typed.said("letters", "list") == "Letters: Nothing.\n"
    assert typed.answered("letters", "list") == []


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["letters", "write", "--week", "20"], r'"20" is not a week; write it like 2026-W07\.'),
        (
            ["letters", "write", "--week", "2026-W54"],
            r'"2026-W54" does not exist; the weeks of 2026 are W01 to',
        ),
        (["letters", "write", "--site", "WEST"], r"There is no site 'WEST'\. Known: NORTH\."),
        (
            ["letters", "list", "--state", "lost"],
            r"'lost' is not a state of a letter\. Known: written, taken",
        ),
        (["letters", "list", "--site", "WEST"], r"There is no site 'WEST'\. Known: NORTH\."),
        (["letters", "show", "7"], r"NORTH has no weekly letter 7\. See: fleet letters list --site NORTH"),
        (["letters", "show", "7", "--at-once"], r"NORTH has no letter at once 7\. See: fleet letters list"),
        (["daybook", "show", "--since", "03/04/2026"], r'"03/04/2026" can be read in more than one way'),
        (["daybook", "verify", "--seal", "rubbish"], r'"rubbish" is not a seal; write it as printed'),
        (["out", "--site", "WEST"], r"There is no site 'WEST'\. Known: NORTH\."),
    ],
)
def test_a_slip_is_one_sentence(typed: Typed, words: list[str], sentence: str) -> None:
    assert re.match(sentence, typed.refused(*words))


@pytest.mark.parametrize("other", [next_week, previous_week])
def test_only_this_weeks_letter_is_written(typed: Typed, other: Any) -> None:  # noqa: ANN401  A function.
    asked = other(this_week())

    assert typed.refused("letters", "write", "--week", asked) == (
        f"No letter can be written for {asked}, because it would show how things stand now; "
        f"write that of {this_week()}."
    )


def test_a_letter_that_went_to_others_names_them(typed: Typed) -> None:
    typed.said("letters", "write")

    assert (
        typed.refused("letters", "show", "1", "--to", "S9")
        == "Letter 1 of NORTH went to K1, P1, not to 'S9'."
    )


def test_a_letter_is_sent_again_for_a_reason(typed: Typed) -> None:
    typed.said("letters", "write")
    typed.said("letters", "send")
    words = ("letters", "resend", "1", "--to", "k1", "--reason")
    assert typed.refused(*words, "lost").startswith("Write down why the letter is sent again")
    assert typed.said(*words, "It was deleted by mistake.").startswith(
        "Copy 2 of letter 1 to k1@tool-room.example"
    )
    assert typed.said("letters", "send") == "1 sent, 0 undeliverable, 0 waiting.\n"
    assert "K1, copy 2" in typed.said("letters", "list")


def test_a_fault_of_ours_is_said_and_no_letter_is_lost(typed: Typed) -> None:
    typed.said("letters", "write")
    with mail_server() as server:
        typed.more = {
            "FLEET_MAIL_HOST": "localhost",
            "FLEET_MAIL_PORT": str(server.port),
            "FLEET_MAIL_SECURITY": "starttls",
        }
        said = typed.refused("letters", "send")
        assert said.startswith(
            "Sending stopped, and no letter is lost. The answer was: SMTPNotSupportedError"
        )
        typed.more["FLEET_MAIL_SECURITY"] = "none"
        assert typed.said("letters", "send") == "2 sent, 0 undeliverable, 0 waiting.\n"

    assert sorted(server.box.recipients) == ["k1@tool-room.example", "p1@tool-room.example"]


def test_the_rounds_go_until_they_are_stopped(typed: Typed) -> None:
    with typed.started("rounds") as process:
        while typed.desk.states() != {"K1": "sent", "P1": "sent"}:
            assert process.poll() is None, process.communicate()[1]
            time.sleep(0.05)
        process.send_signal(signal.SIGTERM)
        said = process.communicate()[1]

    assert process.returncode == 0
    assert "The rounds begin." in said
    assert "The rounds end." in said
    assert "apscheduler" not in said


def test_one_round_does_what_is_due(typed: Typed) -> None:
    assert typed.said("rounds", "--once") == "2 written, 2 sent, 0 waiting.\n"
    assert typed.said("rounds", "--once") == "0 written, 0 sent, 0 waiting.\n"


def test_the_day_book_proves_itself_and_names_what_was_changed(typed: Typed) -> None:
    typed.said("letters", "write")
    seal = re.search(r"NORTH: 1 entries as they were sealed, seal (\S+)", typed.said("daybook", "verify"))
    assert seal
    assert "letters written" in typed.said("daybook", "show")
    for written in (seal[1], seal[1].replace("·", " "), seal[1].replace("·", ".").upper()):
        assert "NORTH: 1 entries" in typed.said("daybook", "verify", "--seal", written)
    other = f"1·{'0' * 16}"
    assert typed.refused("daybook", "verify", "--seal", other) == (
        f"The day book of NORTH was changed: entry 1 bears a hash that does not begin with {'0' * 16}."
    )
    tamper(typed.desk.room, "UPDATE daybook SET person_name = 'Nobody'")
    assert typed.refused("daybook", "verify") == (
        "The day book of NORTH was changed: entry 1 no longer gives its hash."
    )
    with typed.started("daybook", "verify", "--json") as process:
        answer, sentence = process.communicate()
    assert process.returncode == REFUSED
    assert {book["book"]: book["altered"] for book in json.loads(answer)} == {
        "the room": False,
        "NORTH": True,
    }
    assert sentence.startswith("The day book of NORTH was changed: entry 1")
    assert sentence.count("\n") == 1


def tamper(room: Room, statement: str) -> None:
    with room.act() as db:
        if db.dialect.name == "postgresql":
            db.execute(text("ALTER TABLE daybook DISABLE TRIGGER USER"))
        else:
            db.execute(text("DROP TRIGGER tr_daybook_no_update"))
        db.execute(text(statement))


def test_the_printed_seal_of_a_letter_is_what_the_day_book_is_checked_by(typed: Typed) -> None:
    typed.said("letters", "write")
    typed.desk.hire("S1")
    typed.said("letters", "write")
    letter = typed.said("letters", "show", "1", "--to", "S1")
    printed = re.search(r"Day-book seal (\S+)\. Keep", " ".join(letter.split()))
    assert printed

    assert "NORTH: 2 entries" in typed.said("daybook", "verify", "--seal", printed[1])


def test_every_command_that_a_letter_names_exists(typed: Typed) -> None:
    letter = letter_of(busy(many=30))
    named = set(
        re.findall(r"fleet ((?:[a-z]+ ?)+)(--within 4w )?--site NORTH", " ".join(letter.plain.split()))
    )
    assert {words.strip() for words, _ in named} == {
        "due",
        "holds",
        "concessions",
        "out",
        "letters list",
        "review list",
    }
    for words, option in named:
        typed.said(*words.split(), *option.split(), "--site", "NORTH")


def test_what_is_out_on_hold_or_conceded_is_shown(typed: Typed) -> None:
    for words in ("out", "holds", "concessions"):
        assert typed.said(words).startswith("North tool room: ")
