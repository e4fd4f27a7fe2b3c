"""One letter a week to whoever answers for several sites; what is the same is kept once."""

from __future__ import annotations

from datetime import date, timedelta
from email.policy import default
from typing import TYPE_CHECKING

import pytest
from icalendar import Calendar
from sqlalchemy import func, insert, select

from fleet import records
from fleet.desk.letters import Written
from fleet.mail.messages import message_of
from fleet.records.base import rows_of
from fleet.rounds import tick
from tests.letterdesk import SENDER, LetterDesk, Outbox

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Clock, Shop

WEEK = "2026-W20"


@pytest.fixture
def south(desk: LetterDesk) -> LetterDesk:
    return LetterDesk(desk.room, desk.shop, desk.clock, "SOUTH")


def both(desk: LetterDesk, south: LetterDesk, badge: str = "S1") -> int:
    """Somebody who answers for both sites."""
    person = desk.hire(badge)
    give_role(south, person)
    return person


def give_role(desk: LetterDesk, person: int) -> None:
    desk.shop.put(records.RoleRow, person_id=person, site_id=desk.site, role="safety officer")


def count(room: Room, entity: type[records.Base]) -> int:
    with room.look() as db:
        return int(db.execute(select(func.count()).select_from(rows_of(entity))).scalar_one())


def test_whoever_answers_for_two_sites_gets_one_letter_about_both(
    desk: LetterDesk, south: LetterDesk
) -> None:
    both(desk, south)
    south.hire("K1")

    assert desk.write() == Written("NORTH", WEEK, 1, ("S1",))
    assert south.write() == Written("SOUTH", WEEK, 1, ("K1",))
    said = desk.said("S1")
    assert "North tool room (NORTH)" in said or "(NORTH), week 2026-W20." in said
    assert "(SOUTH), week 2026-W20." in said
    assert "(NORTH), week" not in south.said("K1")


def test_a_site_of_which_all_are_told_elsewhere_needs_no_spare_letter(
    desk: LetterDesk, south: LetterDesk
) -> None:
    both(desk, south)

    assert south.write().to == ()
    assert desk.write().to == ("S1",)
    assert south.write().to == ()


def test_a_site_that_no_letter_of_the_week_told_about_is_not_silent(
    desk: LetterDesk, south: LetterDesk
) -> None:
    """Its only reader came after their letter was written."""
    person = desk.hire("S1")
    desk.write()
    give_role(south, person)

    assert south.write().to == ("spare",)
    south.clock.pass_by(days=7)
    assert south.write("2026-W21").to == ()
    assert desk.write("2026-W21").to == ("S1",)
    assert "(SOUTH), week 2026-W21." in desk.said("S1", week="2026-W21")


def test_a_week_told_in_anothers_letter_is_not_called_missed(desk: LetterDesk, south: LetterDesk) -> None:
    both(desk, south)
    for _ in range(2):
        tick(desk.room, Outbox())
        desk.clock.pass_by(days=7)
    south.hire("K1")
    outbox = Outbox()
    tick(desk.room, outbox)

    assert outbox.badges == ["K1", "S1"]
    assert not any("No letter was written" in letter.plain for letter in outbox.taken)


def test_who_moves_to_another_site_in_the_week_gets_no_second_letter(
    desk: LetterDesk, south: LetterDesk
) -> None:
    person = desk.hire("S1")
    outbox = Outbox()
    tick(desk.room, outbox)
    roles = rows_of(records.RoleRow)
    with desk.room.act() as db:
        db.execute(roles.delete().where(roles.c.person_id == person))
    give_role(south, person)
    desk.clock.pass_by(minutes=1)
    tick(desk.room, outbox)

    assert outbox.badges.count("S1") == 1


def test_what_all_are_told_is_kept_once(desk: LetterDesk, south: LetterDesk) -> None:
    for badge in ("K1", "K2", "K3", "K4"):
        desk.hire(badge, "keeper")
    for badge in ("S1", "S2"):
        give_role(south, desk.hire(badge, "safety officer"))
    desk.write()

    assert count(desk.room, records.LetterRow) == 6
    assert count(desk.room, records.LetterContentRow) == 2


def test_whoever_is_away_is_stood_in_for_and_named(desk: LetterDesk) -> None:
    pat = desk.hire("P1")
    kim = desk.hire("K1")
    with desk.room.act() as db:
        db.execute(
            insert(rows_of(records.AbsenceRow)),
            {
                "person_id": pat,
                "deputy_id": kim,
                "from_day": date(2026, 5, 11),
                "through_day": date(2026, 5, 15),
                "set_at": desk.clock.now,
            },
        )

    assert desk.write().to == ("K1",)
    assert "You are also told instead of Pat Planner, who is away." in desk.said("K1")
    desk.clock.pass_by(days=7)
    assert desk.write().to == ("K1", "P1")


def test_a_calendar_goes_along_with_what_falls_due_and_the_jobs(
    desk: LetterDesk, shop: Shop, clock: Clock
) -> None:
    """Read by the icalendar library, after the standard library took the message apart."""
    desk.hire("K1")
    task = shop.task("calibration", "wrench", every_months=12)
    for months in (11, 3):
        item, _ = shop.item(shop.model("wrench"), desk.site)
        shop.did(item, task, clock.now.date() - timedelta(days=31 * months))
    shop.job(desk.site)
    desk.write()

    message = message_of(desk.must_take(), SENDER)
    (attached,) = message.iter_attachments()
    assert attached.get_content_type() == "text/calendar"
    calendar = Calendar.from_ical(attached.get_content())
    names = [str(event["summary"]) for event in calendar.walk("VEVENT")]
    assert len(names) == 2
    assert names[0].startswith("Calibration due: wrench ")
    assert names[1].startswith("J-1: ")
    assert default.header_factory("To", str(message["To"])).addresses[0].addr_spec == "k1@tool-room.example"


def test_without_anything_due_no_calendar_goes_along(desk: LetterDesk) -> None:
    desk.hire("K1")
    desk.write()

    assert desk.must_take().calendar is None
