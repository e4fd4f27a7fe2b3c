"""Deputies and absences as they are typed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from sqlalchemy import update

from fleet import records
from fleet.measures.times import show_day
from fleet.records.base import rows_of
from tests.commands.terminal import COLUMNS, on_a_terminal

if TYPE_CHECKING:
    from tests.commands.typed import Desk


@pytest.fixture
def office(desk: Desk) -> Desk:
    """Everybody at the desk has an address but the fitter."""
    rows = rows_of(records.PersonRow)
    with desk.room.act() as db:
        reached = rows.c.badge != "F1"
        db.execute(update(rows).where(reached).values(address=rows.c.badge + "@tool-room.example"))
    return desk


def test_a_standing_deputy_is_named_shown_and_taken_away(office: Desk) -> None:
    named = office.type("deputy", "set", "K1", "Sam Safety")
    assert (named.code, named.out) == (0, "Sam Safety is the standing deputy of Kim Keeper from now on.\n")
    (line,) = office.type("deputy", "list", "--json").json["standing"]
    assert (line["badge"], line["deputy_badge"], line["trouble"]) == ("K1", "S1", None)
    assert "Sam Safety (S1)" in office.type("deputy", "list").out
    gone = office.type("deputy", "set", "K1", "--nobody", "--json")
    assert gone.json == {"badge": "K1", "person": "Kim Keeper", "deputy_badge": None, "deputy": None}
    assert office.type("deputy", "list").out == "Absences: nobody is away.\nStanding deputies: none.\n"


def test_an_absence_is_set_shown_and_ended(office: Desk) -> None:
    first, last = office.day(2), office.day(9)
    words = ("deputy", "absent", "K1", "--from", str(first), "--through", str(last), "--deputy", "S1")
    said = office.type(*words).out
    assert said == (
        f"Kim Keeper is away from {show_day(first)} through {show_day(last)}; Sam Safety gets the letters "
        "instead.\n"
    )
    (line,) = office.type("deputy", "list", "--json").json["absences"]
    assert (line["badge"], line["from_day"], line["deputy_badge"]) == ("K1", str(first), "S1")
    assert "is ended; Kim Keeper gets the letters again." in office.type("deputy", "back", "K1").out
    assert office.type("deputy", "list", "--json").json["absences"] == []
    assert "by Kim Keeper" in office.type("deputy", "list", "--all").out


def test_what_cannot_be_is_one_sentence_and_changes_nothing(office: Desk) -> None:
    today, far = str(office.today), str(office.day(9))
    away = ("deputy", "absent", "K1", "--from", today, "--through", far)
    assert "no standing deputy; say who is told instead with --deputy" in office.refused(*away)
    assert "Fin Fitter has no e-mail address" in office.refused(*away, "--deputy", "F1")
    assert "Nobody with the badge or name 'Z9'" in office.refused(*away, "--deputy", "Z9")
    assert "Say who you are" in office.refused(*away, "--deputy", "S1", by=None)
    assert "one of these must say so" in office.refused(*away, "--deputy", "S1", by="P1")
    back_to_front = ("deputy", "absent", "K1", "--from", far, "--through", today, "--deputy", "S1")
    assert f"cannot end on {today}" in office.refused(*back_to_front)
    unclear = ("deputy", "absent", "K1", "--from", "5/6/27", "--through", far, "--deputy", "S1")
    assert "can be read in more than one way" in office.refused(*unclear)
    assert "not away" in office.refused("deputy", "back", "K1")
    assert "or write --nobody" in office.refused("deputy", "set", "K1")
    assert "or write --nobody" in office.refused("deputy", "set", "K1", "S1", "--nobody")
    assert office.type("deputy", "absent", "K1", "--from", today).code == 2


def test_the_list_fits_a_terminal_of_eighty_columns(office: Desk) -> None:
    office.type("deputy", "set", "K1", "S1")
    office.type("deputy", "absent", "K1", "--from", str(office.day(1)), "--through", str(office.day(20)))
    office.type("deputy", "back", "K1")
    code, text = on_a_terminal("deputy", "list", "--all", "--database", office.keyboard.database)
    assert code == 0
    assert "Kim Keeper" in text
    assert max(map(len, text.splitlines())) <= COLUMNS
