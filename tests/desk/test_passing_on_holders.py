"""Whoever only holds an item is told, and not asked whether the letter was read."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.ledgers.letters import NewLetter, add_letter, keep_content
from fleet.rules.letters import Content
from fleet.rules.matters import AT_ONCE
from tests.passing import WEDNESDAY_NOON

if TYPE_CHECKING:
    from tests.passing import House


def test_whoever_only_holds_an_item_is_not_asked_and_nothing_is_passed_on(house: House) -> None:
    """A fitter has no log-in to say so with."""
    fitter = house.desk.shop.person("F1", house.desk.site, address="f1@tool-room.example")
    house.letters_out()
    house.read_all_but("F1")
    with house.desk.room.act() as db:
        letter = NewLetter(
            kind=AT_ONCE,
            site=house.desk.site,
            code="NORTH",
            week="2026-W21-1T1110",
            number=1,
            person_id=fitter,
            address="f1@tool-room.example",
            subject="Stop its use",
            sha256=keep_content(db, Content("Stop its use", "…", "<div>…</div>")),
            domain="tool-room.example",
            sites=(house.desk.site,),
        )
        add_letter(db, letter, house.desk.clock.now)
    house.send()
    house.at(WEDNESDAY_NOON)

    assert house.pass_on() == []
