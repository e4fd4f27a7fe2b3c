"""Letters are acknowledged as it is typed, on both engines."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from sqlalchemy import update

from fleet import records
from fleet.desk.sending import mark, take_letter
from fleet.measures.times import iso_week
from fleet.records.base import rows_of
from fleet.rules.letters import Delivery, Outcome
from tests.commands.terminal import COLUMNS, on_a_terminal

if TYPE_CHECKING:
    from tests.commands.typed import Desk


@pytest.fixture
def office(desk: Desk) -> Desk:
    """Everybody but the fitter has letter 1, and it was handed over."""
    people, sites = rows_of(records.PersonRow), rows_of(records.SiteRow)
    with desk.room.act() as db:
        reached = people.c.badge != "F1"
        db.execute(update(people).where(reached).values(address=people.c.badge + "@tool-room.example"))
        # The letter hour of every week has passed by then, whenever this test runs.
        db.execute(update(sites).values(letter_weekday=0, letter_hour=0))
    written = desk.type("letters", "write", "--week", iso_week(desk.today))
    assert written.code == 0, written.err
    hand_over(desk)
    return desk


def hand_over(desk: Desk) -> None:
    while True:
        with desk.room.act() as db:
            taken = take_letter(db, "test", desk.room.now(db))
            if taken is None:
                return
            mark(db, taken, Delivery(Outcome.SENT, "250 OK"), desk.room.now(db))


def test_a_letter_is_acknowledged_once_and_a_second_time_is_told_so(office: Desk) -> None:
    first = office.type("letters", "acknowledge", "1")
    assert first.code == 0
    assert first.out.startswith("Letter 1 of NORTH to K1@tool-room.example is acknowledged by Kim Keeper, ")
    again = office.type("letters", "acknowledge", "1", "--site", "NORTH")
    assert again.code == 0
    assert "was acknowledged already, by Kim Keeper on " in again.out
    (line,) = office.type("letters", "acknowledge", "1", "--json").json
    assert (line["number"], line["by"], line["again"]) == (1, "Kim Keeper", True)


def test_what_cannot_be_acknowledged_is_one_sentence_and_changes_nothing(office: Desk) -> None:
    said = ("letters", "acknowledge")
    assert "no weekly letter 9" in office.refused(*said, "9")
    assert "no at once letter 1" in office.refused(*said, "1", "--at-once")
    assert "was not sent to Fin Fitter" in office.refused(*said, "1", by="F1")
    assert "was not sent to Pat Planner" in office.refused(*said, "1", "--for", "K1", by="P1")
    assert "Nobody with the badge or name 'Z9'" in office.refused(*said, "1", "--for", "Z9")
    assert "There is no site 'SOUTH'" in office.refused(*said, "1", "--site", "SOUTH")
    assert "Say who you are" in office.refused(*said, "1", by=None)
    assert office.type(*said, "one").code == 2
    assert office.type(*said).code == 2


def test_the_list_says_what_was_read_and_what_is_unread_and_fits_eighty_columns(office: Desk) -> None:
    office.type("letters", "acknowledge", "1")
    listed = office.type("letters", "list").out
    assert listed.count("sent, read ") == 1
    assert listed.count(", unread") == 2
    unread = office.type("letters", "list", "--unread", "--site", "NORTH", "--json").json
    assert sorted(line["badge"] for line in unread) == ["P1", "S1"]
    code, text = on_a_terminal("letters", "list", "--database", office.keyboard.database)
    assert code == 0
    assert max(map(len, text.splitlines())) <= COLUMNS
