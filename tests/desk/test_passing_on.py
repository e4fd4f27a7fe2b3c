"""Letters that nobody said they had read go to a deputy, then to the spare address: each once."""

from __future__ import annotations

import json
import threading
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select, update

from fleet import records
from fleet.desk.passing_on import PassedOn, pass_on
from fleet.ledgers.letters import NewLetter, add_letter, keep_content
from fleet.records.base import rows_of
from fleet.rounds import tick
from fleet.rules.letters import Content
from fleet.rules.matters import AT_ONCE
from tests.letterdesk import SENDER
from tests.passing import REFUSED, SENT, TUESDAY_NOON, WEDNESDAY_NOON

if TYPE_CHECKING:
    from tests.passing import House

# --- Unread -------------------------------------------------------------------------------------------------


def test_an_unread_letter_goes_to_the_standing_deputy_at_the_next_working_noon(house: House) -> None:
    house.deputy("K1", "S1")
    house.letters_out()
    house.read_all_but("K1")
    house.at(TUESDAY_NOON.replace(hour=16, minute=59))
    assert house.pass_on() == []
    house.at(TUESDAY_NOON)
    assert house.pass_on() == [("Kim Keeper", "S1")]
    line = house.letter("S1", whose="K1")
    assert (line.state, line.week, line.number, line.copy_no) == ("written", "2026-W21", 1, 2)
    assert line.subject == f"For Kim Keeper: {house.letter('K1').subject}"


def test_the_letter_says_on_top_why_it_comes_and_then_what_the_first_one_said(house: House) -> None:
    house.deputy("K1", "S1")
    house.letters_out()
    house.read_all_but("K1")
    house.at(TUESDAY_NOON)
    house.pass_on()
    house.send()
    first = next(letter for letter in house.post.taken if letter.badge == "K1")
    passed = house.post.taken[-1]
    assert passed.address == "s1@tool-room.example"
    top = " ".join(passed.plain.removesuffix(first.plain).split())
    assert top == (
        "This letter went to Kim Keeper on 18 May 2026 06:05, and nobody has said yet that it was read. You "
        "get it as the deputy of Kim Keeper. Whoever has read it says so: log in and press its button, or "
        "type it: fleet letters acknowledge 1 --for K1 --site NORTH"
    )
    assert passed.plain.endswith(first.plain)
    assert "nobody has said yet that it was read" in passed.html
    assert passed.calendar == first.calendar


def test_a_deputy_who_does_not_read_it_either_leaves_it_to_the_spare_address_and_then_it_ends(
    house: House,
) -> None:
    house.deputy("K1", "S1")
    house.letters_out()
    house.read_all_but("K1")
    house.at(TUESDAY_NOON)
    house.pass_on()
    house.send()
    assert house.open() == ["K1", "S1"]
    house.at(WEDNESDAY_NOON.replace(hour=16))
    assert house.pass_on() == []
    house.at(WEDNESDAY_NOON)
    assert house.pass_on() == [("Kim Keeper", "spare")]
    house.send()
    said = " ".join(house.post.taken[-1].plain.split())
    assert "went to Kim Keeper on 18 May 2026 06:05 and to Sam Safety on 19 May 2026 12:00, and nob" in said
    assert "this is the spare address of North tool room" in said
    assert house.letter("spare", whose="K1").subject.count("For ") == 1
    house.desk.clock.pass_by(days=3)
    assert house.pass_on() == []


def test_after_the_first_deputy_it_goes_to_the_spare_address_also_when_there_is_a_new_deputy(
    house: House,
) -> None:
    house.deputy("K1", "S1")
    house.letters_out()
    house.read_all_but("K1")
    house.at(TUESDAY_NOON)
    house.pass_on()
    house.send()
    house.deputy("K1", "P1")
    house.at(WEDNESDAY_NOON)
    assert house.pass_on() == [("Kim Keeper", "spare")]


def test_a_deputy_says_of_each_letter_of_a_number_by_itself_that_it_was_read(house: House) -> None:
    house.deputy("K1", "S1")
    house.letters_out()
    house.at(TUESDAY_NOON)
    house.pass_on()
    house.send()
    assert house.read_number("S1") == [house.letter("S1").id]
    assert house.read_number("S1", whose="K1") == [house.letter("S1", whose="K1").id]
    # The keeper has one of their own, and may read what came to the spare address for the planner.
    assert house.read_number("K1") == [house.letter("K1").id]
    assert house.read_number("K1", whose="P1") == [house.letter("spare", whose="P1").id]
    assert house.open() == []


def test_without_a_deputy_it_goes_to_the_spare_address_once(house: House) -> None:
    house.letters_out()
    house.at(TUESDAY_NOON)
    assert house.pass_on() == [("Kim Keeper", "spare"), ("Pat Planner", "spare"), ("Sam Safety", "spare")]
    assert house.pass_on() == []
    house.send()
    house.desk.clock.pass_by(days=2)
    assert house.pass_on() == []
    assert [line.copy_no for line in house.desk.letters() if line.badge == "spare"] == [1, 2, 3]


@pytest.mark.parametrize(("reader", "badge"), [("K1", "K1"), ("S1", "S1"), ("P1", "spare")])
def test_whoever_reads_any_letter_of_the_chain_closes_it(house: House, reader: str, badge: str) -> None:
    house.desk.shop.put(
        records.RoleRow, person_id=house.desk.shop.actor("P1").id, site_id=house.desk.site, role="keeper"
    )
    house.deputy("K1", "S1")
    house.letters_out()
    house.read_all_but("K1")
    house.at(TUESDAY_NOON)
    house.pass_on()
    house.send()
    if badge == "spare":
        house.at(WEDNESDAY_NOON)
        house.pass_on()
        house.send()
    house.read(reader, house.letter(badge, whose=None if badge == "K1" else "K1"))
    assert house.open() == []
    house.desk.clock.pass_by(days=4)
    assert house.pass_on() == []


def test_who_is_away_is_stood_in_for_by_the_deputy_of_that_day_before_the_standing_one(house: House) -> None:
    house.letters_out()
    house.read_all_but("K1")
    house.deputy("K1", "S1")
    house.away("K1", "P1", date(2026, 5, 19))
    house.at(TUESDAY_NOON)
    assert house.pass_on() == [("Kim Keeper", "P1")]


def test_a_standing_deputy_who_is_away_is_stood_in_for_too(house: House) -> None:
    house.letters_out()
    house.read_all_but("K1")
    house.deputy("K1", "S1")
    house.away("S1", "P1", date(2026, 5, 19))
    house.at(TUESDAY_NOON)
    assert house.pass_on() == [("Kim Keeper", "P1")]


@pytest.mark.parametrize(
    "change", [{"active": False}, {"address": None}, {"address": "K1@tool-room.example"}]
)
def test_a_deputy_who_cannot_be_reached_or_has_the_same_mailbox_is_passed_over(
    house: House, change: dict[str, object]
) -> None:
    house.deputy("K1", "S1")
    house.letters_out()
    house.read_all_but("K1")
    house.desk.change(house.desk.shop.actor("S1").id or 0, **change)
    house.at(TUESDAY_NOON)
    assert house.pass_on() == [("Kim Keeper", "spare")]


def test_a_letter_to_the_spare_address_itself_goes_no_further(house: House) -> None:
    for badge in ("K1", "P1", "S1"):
        house.desk.change(house.desk.shop.actor(badge).id or 0, address=None)
    house.letters_out()
    house.at(WEDNESDAY_NOON)
    assert house.pass_on() == []


def test_where_the_reader_has_the_spare_address_nobody_is_left(house: House) -> None:
    house.desk.change(house.desk.shop.actor("K1").id or 0, address="North@tool-room.example")
    house.letters_out()
    house.read_all_but("K1")
    house.at(WEDNESDAY_NOON)
    assert house.pass_on() == []


def test_the_letter_of_the_week_before_is_overtaken_by_that_of_this_week(house: House) -> None:
    house.letters_out()
    house.read_all_but("K1")
    house.at(datetime(2026, 5, 25, 11, 5, tzinfo=UTC))
    house.desk.write()
    assert house.pass_on() == []
    house.send()
    house.at(datetime(2026, 5, 26, 17, tzinfo=UTC))
    assert ("Kim Keeper", "spare") in house.pass_on()
    assert house.letter("spare", whose="K1").week == "2026-W22"


def test_a_working_week_from_sunday_to_thursday_has_its_own_noons(house: House) -> None:
    rows = rows_of(records.SiteRow)
    with house.desk.room.act() as db:
        db.execute(update(rows).values(working_days="12347", time_zone="Asia/Dubai"))
    house.at(datetime(2026, 5, 21, 6, tzinfo=UTC))  # A Thursday morning there.
    house.letters_out()
    house.read_all_but("K1")
    house.at(datetime(2026, 5, 24, 7, 59, tzinfo=UTC))
    assert house.pass_on() == []
    house.at(datetime(2026, 5, 24, 8, tzinfo=UTC))  # Noon on the Sunday.
    assert house.pass_on() == [("Kim Keeper", "spare")]


def test_what_was_told_at_once_is_passed_on_too(house: House) -> None:
    content = Content("Urgent", "Stop its use.\n", "<html><body><p>Stop its use.</p></body></html>")
    with house.desk.room.act() as db:
        letter = NewLetter(
            kind=AT_ONCE,
            site=house.desk.site,
            code="NORTH",
            week="2026-W21-1T1105",
            number=4,
            person_id=house.desk.shop.actor("K1").id,
            address="k1@tool-room.example",
            subject=content.subject,
            sha256=keep_content(db, content),
            domain="tool-room.example",
            sites=(house.desk.site,),
        )
        add_letter(db, letter, house.desk.room.now(db))
    house.send()
    house.at(TUESDAY_NOON)
    assert house.pass_on() == [("Kim Keeper", "spare")]
    house.send()
    passed = house.post.taken[-1]
    assert (passed.kind, passed.subject) == (AT_ONCE, "For Kim Keeper: Urgent")
    assert "fleet letters acknowledge 4 --for K1 --site NORTH --at-once" in passed.plain
    assert passed.html.startswith('<html><body><p style="')


# --- Once ---------------------------------------------------------------------------------------------------


def test_it_is_written_into_the_day_book(house: House) -> None:
    house.letters_out(REFUSED, SENT, SENT)
    house.pass_on()
    entry = records.EntryRow
    with house.desk.room.look() as db:
        row = db.execute(select(entry).where(entry.act == "letter passed on")).one()
    assert (row.about, row.person_name, row.chain) == ("2026-W21", "the clock", house.desk.site)
    body = json.loads(row.body)
    assert (body["of"], body["to"], body["because"], body["number"]) == (
        "Kim Keeper",
        "spare",
        "undeliverable",
        1,
    )


def test_two_who_pass_on_at_once_write_each_letter_once(house: House, deep: bool) -> None:
    for _ in range(40 if deep else 4):
        house.desk.clock.pass_by(weeks=1)
        house.letters_out()
        house.desk.clock.now = house.desk.clock.now.replace(hour=18)
        house.desk.clock.pass_by(days=1)
        start = threading.Barrier(3)
        done: list[PassedOn] = []

        def go(start: threading.Barrier = start, done: list[PassedOn] = done) -> None:
            start.wait()
            with house.desk.room.act() as db:
                done += pass_on(db, sender=SENDER, now=house.desk.room.now(db))

        three = [threading.Thread(target=go) for _ in range(3)]
        for one in three:
            one.start()
        for one in three:
            one.join()
        assert sorted(one.whose for one in done) == ["Kim Keeper", "Pat Planner", "Sam Safety"]


def test_the_rounds_pass_on_and_send_and_say_so(house: House) -> None:
    first = tick(house.desk.room, house.post)
    assert (first.passed_on, first.sent.sent) == ((), 3)
    house.at(TUESDAY_NOON)
    done = tick(house.desk.room, house.post)
    assert [one.whose for one in done.passed_on] == ["Kim Keeper", "Pat Planner", "Sam Safety"]
    assert str(done).startswith("3 passed on, 0 written, 3 sent")
    assert tick(house.desk.room, house.post).passed_on == ()


def test_while_letters_are_off_nothing_is_passed_on(house: House) -> None:
    house.letters_out(REFUSED, SENT, SENT)
    assert tick(house.desk.room, None).passed_on == ()
    assert [line.badge for line in house.desk.letters() if line.badge == "spare"] == []
