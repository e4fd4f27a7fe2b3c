"""Calendar files, read back with the library and by hand: stable names, the right days, nobody's name."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest
from icalendar import Calendar

from fleet import records
from fleet.ledgers import daybook
from fleet.lists.calendars import CalendarFacts, job_calendar, site_calendar
from fleet.lists.jobs import find_job
from fleet.lists.sites import find_site
from fleet.papers.calendars import calendar_file
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Clock, Shop

HOSTILE = 'Bundle; pull, \\n \r\nBEGIN:VEVENT\r\nSUMMARY:planted 🔧 "x" \u0007 ' + "ünbroken" * 20


class Desk:
    """A room with a job, a wrench that is kept for it, and its calendars."""

    def __init__(self, room: Room, shop: Shop) -> None:
        self.room, self.shop = room, shop
        self.site = shop.site()
        self.planner = shop.person("P1", self.site, "planner")
        self.item, self.tag = shop.item(shop.model("wrench", "W-1"), self.site)
        self.job = shop.job(self.site, "J-1")
        self.task = shop.task("calibration", "wrench", every_months=12)
        shop.did(self.item, self.task, TODAY - timedelta(days=355))

    def keep(self, **values: object) -> int:
        row: dict[str, Any] = {
            "client_id": f"r{next(self.shop.numbers)}",
            "item_id": self.item,
            "job_id": self.job,
            "starts_at": NOON,
            "ends_at": NOON + timedelta(days=3),
            "reserved_at": NOON - timedelta(days=9, seconds=3),
            "reserved_by_id": self.planner,
        }
        return self.shop.put(records.ReservationRow, **(row | values))

    def facts(self, job: str | None = None) -> CalendarFacts:
        with self.room.look() as db:
            now, site = self.room.now(db), find_site(db, "NORTH")
            if job is None:
                return site_calendar(db, site, now=now)
            return job_calendar(db, site, find_job(db, job), now=now)

    def file(self, job: str | None = None) -> bytes:
        return calendar_file(self.facts(job))

    def events(self, job: str | None = None) -> dict[str, Any]:
        """The events by their category."""
        read: Any = Calendar.from_ical(self.file(job))
        return {one["categories"].cats[0]: one for one in read.walk("VEVENT")}


@pytest.fixture
def desk(room: Room, shop: Shop) -> Desk:
    return Desk(room, shop)


def by_hand(file: bytes) -> list[str]:
    """The content lines, unfolded as RFC 5545, 3.1 says."""
    return file.replace(b"\r\n ", b"").decode().split("\r\n")


def test_a_due_day_is_one_whole_day(desk: Desk) -> None:
    due = desk.events()["due"]
    assert due["dtstart"].dt == TODAY + timedelta(days=10)
    assert due["dtend"].dt == TODAY + timedelta(days=11)  # Exclusive: RFC 5545, 3.6.1.
    assert due["summary"] == f"Calibration due: wrench {desk.tag[:-1]}-{desk.tag[-1]}"
    assert f"DTSTART;VALUE=DATE:{TODAY + timedelta(days=10):%Y%m%d}" in by_hand(desk.file())
    assert due["transp"] == "TRANSPARENT"


def test_a_window_within_days_is_in_utc_and_one_of_whole_days_in_dates(desk: Desk) -> None:
    desk.keep()
    # Midnight in Chicago is 05:00 UTC in summer.
    starts = datetime(2026, 6, 1, 5, 0, tzinfo=UTC)
    desk.shop.job(desk.site, "J-2", days=3, starts_at=starts)

    kept = desk.events("J-1")["reservation"]
    assert (kept["dtstart"].dt, kept["dtend"].dt) == (NOON, NOON + timedelta(days=3))
    whole = desk.events("J-2")["job"]
    assert (whole["dtstart"].dt, whole["dtend"].dt) == (date(2026, 6, 1), date(2026, 6, 4))
    assert b"VTIMEZONE" not in desk.file()
    assert b"TZID" not in desk.file()


def test_the_same_record_gives_the_same_file_and_names_last(desk: Desk, clock: Clock) -> None:
    desk.keep()
    first = desk.file()
    clock.pass_by(hours=3)
    assert desk.file() == first

    uids = {sort: event["uid"] for sort, event in desk.events().items()}
    assert len(set(uids.values())) == 3
    assert {sort: event["uid"] for sort, event in desk.events("J-1").items()} == uids
    stamp = desk.events()["reservation"]["dtstamp"].dt
    assert stamp == NOON - timedelta(days=9, seconds=3)


def test_what_moves_keeps_its_name_and_counts_up(desk: Desk) -> None:
    before = desk.events()["due"]
    desk.shop.did(desk.item, desk.task, TODAY)
    with desk.room.act() as db:
        daybook.enter(
            db, desk.site, by=desk.shop.actor("P1"), now=NOON, act="upkeep done", about=desk.tag, body={}
        )
    after = desk.events()["due"]
    assert after["uid"] == before["uid"]
    assert after["dtstart"].dt > before["dtstart"].dt
    assert after["sequence"] == before["sequence"] + 1
    assert after["dtstamp"].dt == NOON


def test_what_was_given_up_is_called_off_for_sixty_days(desk: Desk, clock: Clock) -> None:
    desk.keep(
        ends_at=NOON + timedelta(days=90),
        ended_at=NOON,
        ended_by_id=desk.planner,
        end_reason="Pat Planner fell ill",
    )
    ended = desk.events()["reservation"]
    assert (ended["status"], ended["sequence"], ended["dtstamp"].dt) == ("CANCELLED", 1, NOON)
    clock.pass_by(days=59)
    assert "reservation" in desk.events()
    clock.pass_by(days=2)
    assert "reservation" not in desk.events()


def test_what_came_to_its_end_was_not_called_off(desk: Desk) -> None:
    desk.keep(
        starts_at=NOON - timedelta(days=5),
        ends_at=NOON - timedelta(days=2),
        ended_at=NOON - timedelta(days=2),
        ended_by_id=desk.planner,
        end_reason="the job is done",
    )
    assert desk.events()["reservation"]["status"] == "CONFIRMED"


def test_the_calendar_of_a_job_has_its_own_things_only(desk: Desk) -> None:
    desk.shop.job(desk.site, "J-2", days=2)
    assert set(desk.events("J-1")) == {"job"}  # The wrench falls due, but is not kept for it.
    desk.keep()
    assert set(desk.events("J-1")) == {"job", "reservation", "due"}
    assert set(desk.events("J-2")) == {"job"}
    assert [job.code for job in desk.facts().jobs] == ["J-1", "J-2"]


def test_another_site_has_nothing_of_it(desk: Desk) -> None:
    desk.keep()
    desk.shop.site("SOUTH")
    with desk.room.look() as db:
        facts = site_calendar(db, find_site(db, "SOUTH"), now=NOON)
    assert (facts.dues, facts.jobs, facts.kept) == ((), (), ())
    assert Calendar.from_ical(calendar_file(facts)).walk("VEVENT") == []


def test_nobodys_name_stands_in_it(desk: Desk) -> None:
    desk.keep(any_of="wrench of 1,500 N·m")
    said = desk.file().decode()
    assert "Pat" not in said
    assert "Any wrench of 1\\,500 N·m will do." in "".join(by_hand(desk.file()))


def test_hostile_words_are_text_and_lines_are_short(desk: Desk) -> None:
    desk.keep()
    facts = desk.facts()
    facts = replace(
        facts,
        title=HOSTILE,
        dues=(replace(facts.dues[0], task=HOSTILE, serial=HOSTILE),),
        jobs=(replace(facts.jobs[0], code=HOSTILE, name=HOSTILE),),
        kept=(replace(facts.kept[0], job_name=HOSTILE, joint=HOSTILE),),
    )
    file = calendar_file(facts)

    assert file.count(b"BEGIN:VEVENT\r\n") == 3
    assert not any(line.startswith("SUMMARY:planted") for line in by_hand(file))
    # RFC 5545, 3.1: lines of at most 75 octets, ended by CR LF; a folded one goes on after a space.
    assert all(len(line) <= 75 for line in file.split(b"\r\n"))
    assert b"\n" not in file.replace(b"\r\n", b"")
    assert b"\x07" not in file
    read: Any = Calendar.from_ical(file)
    assert read["x-wr-calname"] == read["name"]
    (kept,) = [one for one in read.walk("VEVENT") if one["categories"].cats == ["reservation"]]
    clean = HOSTILE.replace("\r\n", "\n").replace("\u0007", "\ufffd")
    assert kept["description"] == f"Wrench W-1, reserved for J-1, {clean}, joint {clean}."
