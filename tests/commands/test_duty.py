"""The duty as it is typed, the remark at the end of other commands; letters off, elsewhere, or on trial."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import text

from fleet.lists.duty import DutyLine, in_short
from fleet.rounds import tick
from tests.commands.terminal import COLUMNS, on_a_terminal
from tests.commands.test_letters import Typed, this_week
from tests.commands.typed import everything, start
from tests.letterdesk import LetterDesk, Outbox

if TYPE_CHECKING:
    from pathlib import Path

    from fleet.room import Room
    from tests.shop import Clock, Shop

OFF = "Letters are off until mail.host or mail.folder is set."
REMARK = re.compile(r"Duty: (.+?)\. See:\sfleet\sduty", re.DOTALL)


@pytest.fixture
def typed(room: Room, shop: Shop, clock: Clock, tmp_path: Path) -> Typed:
    """A site with a keeper and a planner, by the machine's own clock, which the program goes by."""
    clock.now = clock.now.now(clock.now.tzinfo)
    desk = LetterDesk(room, shop, clock)
    desk.hire("K1")
    desk.hire("P1")
    # The letter hour of every week has passed by then, whenever this test runs.
    with room.act() as db:
        db.execute(text("UPDATE site SET letter_weekday = 0, letter_hour = 0"))
    return Typed(desk, tmp_path / "letters", {})


def off(typed: Typed) -> Typed:
    typed.more = {"FLEET_MAIL_FOLDER": ""}
    return typed


# --- fleet duty ---------------------------------------------------------------------------------------------


def test_the_duty_is_in_order_once_the_rounds_have_sent_everything(typed: Typed) -> None:
    done = typed.run("duty")
    assert (done.code, done.err) == (3, "2 of these are not in order.\n")
    assert "NO        rounds" in done.out
    tick(typed.desk.room, Outbox())
    assert "yes       rounds" in typed.said("duty")
    assert {line["ok"] for line in typed.answered("duty")} == {True}


def test_another_scheduler_sees_it_by_the_exit_code(typed: Typed) -> None:
    asked = ("duty", "--json")
    assert start(*asked, **typed.env()).code == 3
    tick(typed.desk.room, Outbox())
    done = start(*asked, **typed.env())
    assert (done.code, done.err) == (0, "")
    assert [line["what"] for line in done.json] == [
        "letters",
        "rounds",
        "weekly letters",
        "waiting",
        "undeliverable",
    ]


@pytest.mark.parametrize("word", ["duty", "doctor"])
def test_limits_and_redirections_are_said_by_both(typed: Typed, word: str) -> None:
    tick(typed.desk.room, Outbox())
    typed.more = {"FLEET_MAIL_REDIRECT_TO": "me@a.example", "FLEET_MAIL_ALLOWED_DOMAINS": "a.example"}
    shown = typed.run(word).out
    assert re.search("(NO|UNSAFE) +redirected +Every letter goes to the address in mail.redirect_to", shown)
    assert re.search("(yes|FINE) +domains +Letters go only to addresses at a.example", shown)


# --- Letters that are off -----------------------------------------------------------------------------------


def test_nothing_is_sent_while_letters_are_off_and_it_is_said_what_to_set(typed: Typed) -> None:
    off(typed)
    written = typed.run("letters", "write")
    assert written.code == 0
    assert written.out.startswith("Letter 1 of NORTH")
    assert written.err == f"{OFF}\n"
    assert typed.refused("letters", "send") == OFF
    assert typed.refused("letters", "send", "--redirect-to", "me@a.example") == OFF
    assert typed.desk.states() == {"K1": "written", "P1": "written"}
    assert typed.run("letters", "list", "--json").err == f"{OFF}\n"


def test_rounds_go_without_letters_and_leave_their_sign_of_life(typed: Typed) -> None:
    done = off(typed).run("rounds", "--once")
    assert (done.code, done.out, done.err) == (0, "0 written, 0 sent, 0 waiting.\n", f"{OFF}\n")
    assert typed.desk.letters() == []
    amiss = [line["what"] for line in start("duty", "--json", **typed.env()).json if not line["ok"]]
    assert amiss == ["letters"]


def test_rounds_that_begin_say_that_letters_are_off(typed: Typed) -> None:
    with off(typed).started("rounds") as process:
        assert process.stderr is not None
        said = [process.stderr.readline() for _ in range(2)]
        process.terminate()
        process.communicate()
    assert process.returncode == 0
    assert said[1].endswith(f"{OFF}\n")


# --- One address for all ------------------------------------------------------------------------------------


def test_one_run_may_go_to_another_address(typed: Typed) -> None:
    typed.said("letters", "write")
    assert typed.said("letters", "send", "--redirect-to", "me@a.example") == (
        "2 sent, 0 undeliverable, 0 waiting.\nWhat was sent went to me@a.example, and not to its readers.\n"
    )
    answers = [line.last_answer or "" for line in typed.desk.letters()]
    assert [answer.partition(": ")[0] for answer in answers] == ["redirected to me@a.example"] * 2
    assert all("<me@a.example>" in file.read_text() for file in typed.folder.iterdir())


# --- A preview ----------------------------------------------------------------------------------------------


def test_a_preview_lays_letters_as_they_would_be_sent_and_writes_nothing(
    typed: Typed, tmp_path: Path
) -> None:
    before = everything(typed.desk.room)
    shown = typed.said("letters", "write", "--preview", str(tmp_path / "trial"), "--week", this_week())
    assert everything(typed.desk.room) == before
    assert shown.startswith(f"Letters of NORTH for {this_week()}, as they would be sent; none was written\n")
    assert re.search("K1 +Kim Keeper +k1@tool-room.example +.+NORTH-.+-1-K1.eml", shown)

    typed.said("letters", "write")
    typed.said("letters", "send")
    trial = {file.name: head_of(file) for file in (tmp_path / "trial").iterdir()}
    sent = {file.name: head_of(file) for file in typed.folder.iterdir()}
    assert len(sent) == 2
    assert trial == sent


def head_of(file: Path) -> list[str]:
    """The headers, without the moment at which it was written."""
    return [line for line in file.read_text().partition("\n\n")[0].split("\n") if line[:5] != "Date:"]


def test_a_preview_needs_no_setting_and_respects_those_there_are(typed: Typed, tmp_path: Path) -> None:
    found = off(typed).answered("letters", "write", "--preview", str(tmp_path / "a"))
    assert [(one["badge"], one["refused"]) for one in found] == [("K1", None), ("P1", None)]
    typed.more |= {"FLEET_MAIL_ALLOWED_DOMAINS": "a.example"}
    found = typed.answered("letters", "write", "--preview", str(tmp_path / "b"))
    assert {one["file"] for one in found} == {None}
    assert found[0]["refused"].startswith("not sent: k1@tool-room.example is not at a.example")
    typed.more |= {"FLEET_MAIL_REDIRECT_TO": "me@a.example"}
    found = typed.answered("letters", "write", "--preview", str(tmp_path / "c"))
    assert found[0]["address"] == "me@a.example instead of k1@tool-room.example"
    assert [one["file"] for one in found] == sorted(map(str, (tmp_path / "c").iterdir()))


def test_a_preview_shows_only_what_would_be_written_more(typed: Typed, tmp_path: Path) -> None:
    typed.said("letters", "write")
    shown = typed.said("letters", "write", "--preview", str(tmp_path / "a"))
    assert shown == (
        f"Everybody at NORTH has letter 1 of {this_week()} already; none more would be written.\n"
    )
    typed.desk.hire("S1")
    found = typed.answered("letters", "write", "--preview", str(tmp_path / "b"))
    assert [one["badge"] for one in found] == ["S1"]


def test_a_preview_goes_into_no_folder_with_something_in_it(typed: Typed, tmp_path: Path) -> None:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "note.txt").write_text("mine")
    for taken in (tmp_path / "mine", tmp_path / "mine" / "note.txt"):
        said = typed.refused("letters", "write", "--preview", str(taken))
        assert said == f"{taken} is not an empty folder; name a new one for the preview."
    said = typed.refused("letters", "write", "--preview", "/proc/trial")
    assert said.startswith("/proc/trial cannot be written to: ")
    assert typed.desk.letters() == []


# --- The remark at the end ----------------------------------------------------------------------------------


def test_a_terminal_is_told_at_the_end_what_is_not_in_order(typed: Typed) -> None:
    off(typed)
    code, shown = on_a_terminal("people", env=typed.env())
    assert code == 0
    assert shown.index("Kim Keeper") < shown.index("Duty:")
    (said,) = REMARK.findall(shown)
    assert " ".join(said.split()) == ("letters are off until mail.host or mail.folder is set, and 1 more")
    assert max(map(len, shown.splitlines())) <= COLUMNS

    code, shown = on_a_terminal("item", "nothing", env=typed.env())
    assert code == 3
    assert len(REMARK.findall(shown)) == 1


def test_nothing_is_remarked_when_the_duty_is_done_or_nobody_looks(typed: Typed) -> None:
    typed.more = {}
    tick(typed.desk.room, Outbox())
    assert "Duty:" not in on_a_terminal("people", env=typed.env())[1]
    off(typed)
    assert "Duty:" not in start("people", "--json", **typed.env()).err
    for word in ("duty", "doctor"):
        assert "Duty:" not in on_a_terminal(word, env=typed.env())[1]


def test_the_remark_has_the_first_sentence_and_how_many_more() -> None:
    fine = DutyLine("rounds", ok=True, sentence="The rounds ran at 12:00 UTC.")
    lost = DutyLine("undeliverable", ok=False, sentence="One letter is lost. See: fleet letters list")
    assert in_short([fine]) is None
    assert in_short([fine, lost]) == "Duty: one letter is lost. See: fleet duty"
    assert in_short([lost, fine, lost, lost]) == "Duty: one letter is lost, and 2 more. See: fleet duty"
