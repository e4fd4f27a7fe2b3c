"""A day is the site's own: its midnight decides, east and west, by half hours, and when clocks change.

The instants are worked out by hand from the offsets of the IANA time zone database, which are written beside
them (from memory of its rules); none is taken from the program.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

import pytest
from dateutil.relativedelta import relativedelta
from sqlalchemy import select

from fleet.desk.holds import ConcessionSlip, grant_concession
from fleet.desk.inspections import InspectionSlip, record_inspection
from fleet.desk.loans import IssueSlip, issue, look_over
from fleet.desk.repairs import RepairSlip, record_repair
from fleet.desk.returns import ReturnSlip, take_back
from fleet.desk.upkeep import DoneSlip, record_done
from fleet.records import CompetenceRow, DueLineRow, LoanLineRow, TaskAfterRepairRow, UsageRow
from fleet.refusals import NotAllowed, NotPossible
from fleet.rules.evidence import Occasion, Work

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Clock, Shop

A_SECOND = timedelta(seconds=1)

# zone, a day, the instant in UTC at which that day ends there, and the offset by which it does
MIDNIGHTS = (
    ("Pacific/Kiritimati", "2026-05-13", "2026-05-13 10:00"),  # +14
    ("Pacific/Auckland", "2026-05-13", "2026-05-13 12:00"),  # +12
    ("Australia/Adelaide", "2026-05-13", "2026-05-13 14:30"),  # +9:30
    ("Asia/Kathmandu", "2026-05-13", "2026-05-13 18:15"),  # +5:45
    ("Asia/Kolkata", "2026-05-13", "2026-05-13 18:30"),  # +5:30
    ("Europe/Berlin", "2026-05-13", "2026-05-13 22:00"),  # +2
    ("America/St_Johns", "2026-05-13", "2026-05-14 02:30"),  # -2:30
    ("America/Chicago", "2026-05-13", "2026-05-14 05:00"),  # -5
    ("Pacific/Marquesas", "2026-05-13", "2026-05-14 09:30"),  # -9:30
    ("Pacific/Pago_Pago", "2026-05-13", "2026-05-14 11:00"),  # -11
    # Nights in which clocks change: the day has 23 or 25 hours, on Lord Howe Island 23 and a half.
    ("America/Chicago", "2026-03-07", "2026-03-08 06:00"),  # -6
    ("America/Chicago", "2026-03-08", "2026-03-09 05:00"),  # -5, since 02:00 of that day
    ("America/Chicago", "2026-10-31", "2026-11-01 05:00"),  # -5
    ("America/Chicago", "2026-11-01", "2026-11-02 06:00"),  # -6, since 02:00 of that day
    ("Europe/Berlin", "2026-03-29", "2026-03-29 22:00"),  # +2, since 02:00 of that day
    ("Europe/Berlin", "2026-10-25", "2026-10-25 23:00"),  # +1, since 03:00 of that day
    ("Australia/Lord_Howe", "2026-10-03", "2026-10-03 13:30"),  # +10:30
    ("Australia/Lord_Howe", "2026-10-04", "2026-10-04 13:00"),  # +11, since 02:00 of that day
    # Chile's clocks skip the first hour of that Sunday: Saturday ends where Sunday's 01:00 begins.
    ("America/Santiago", "2026-09-05", "2026-09-06 04:00"),  # -4
    ("America/Santiago", "2026-09-06", "2026-09-07 03:00"),  # -3
    ("Europe/Berlin", "2028-02-29", "2028-02-29 23:00"),  # +1, a leap day
)


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def stops(room: Room, tag: str, job: str, at: datetime, back_on: date = date(2100, 1, 1)) -> list[str]:
    """Why it stays in at that instant, by code, leaving out what falls due before it is to be back."""
    slip = IssueSlip("look", (tag,), "F1", job, back_on)
    with room.look() as db:
        _, verdicts = look_over(db, slip, now=at)
    (verdict,) = verdicts.values()
    return sorted(finding.code for finding in verdict.findings if finding.code != "due while out")


def test_what_is_due_goes_out_until_the_midnight_of_its_site(room: Room, shop: Shop) -> None:
    """An inspection, a hose's life and its time in store, all of four years and with the same last day."""
    task = shop.task("inspection", "hose", every_months=48)
    shop.task("life", "hose", every_months=48, counts_from="assembly", stop="hard")
    model = shop.model("hose", storage_months=48)
    found = []
    for number, (zone, day, ends_at) in enumerate(MIDNIGHTS):
        last, ends = date.fromisoformat(day), utc(ends_at)
        began = last.replace(year=last.year - 4)
        site = shop.site(f"S{number}", zone)
        shop.job(site, f"J-{number}")
        hose, tag = shop.item(model, site, received_on=began, assembled_on=began, first_out_on=None)
        shop.did(hose, task, began)
        before, after = (stops(room, tag, f"J-{number}", at) for at in (ends - A_SECOND, ends))
        found.append((zone, day, before, after))
    too_old = ["overdue", "overdue", "stored too long"]
    assert found == [(zone, day, [], too_old) for zone, day, _ in MIDNIGHTS]


@pytest.fixture
def staff(shop: Shop) -> tuple[int, dict[str, int]]:
    """A site in Chicago with everybody, one job, and a wrench's calibration once a year."""
    site = shop.site()
    people = {
        badge: shop.person(badge, site, *roles)
        for badge, *roles in (("K1", "keeper"), ("S1", "safety officer"), ("F1",))
    }
    shop.job(site, "J-1", days=900)
    return site, people


@pytest.mark.parametrize(
    ("granted_at", "hours", "ends_at", "ends_on"),
    [
        # Clocks go back at 02:00 of 1 Nov: noon to 11:00 are 24 hours.
        ("2026-10-31 17:00", 24, "2026-11-01 17:00", "2026-11-01"),
        # Clocks go forward at 02:00 of 8 Mar: noon to 13:00 are 24 hours.
        ("2026-03-07 18:00", 24, "2026-03-08 18:00", "2026-03-08"),
        # 23:30 to 22:30 of the long day, and to 00:30 of the day after the short one.
        ("2026-11-01 04:30", 24, "2026-11-02 04:30", "2026-11-01"),
        ("2026-03-08 05:30", 24, "2026-03-09 05:30", "2026-03-09"),
        # Noon to midnight: the next day is not covered at all.
        ("2026-05-13 17:00", 12, "2026-05-14 05:00", "2026-05-13"),
    ],
)
def test_an_exception_lasts_its_hours_whatever_the_clocks_do(
    room: Room,
    shop: Shop,
    clock: Clock,
    staff: tuple[int, dict[str, int]],
    granted_at: str,
    hours: int,
    ends_at: str,
    ends_on: str,
) -> None:
    task = shop.task("calibration", "wrench", every_months=12)
    item, tag = shop.item(shop.model("wrench"), staff[0])
    shop.did(item, task, date(2025, 1, 31))
    clock.now = utc(granted_at)
    slip = ConcessionSlip(
        tag, "calibration", "J-1", "K1", "no other item", "The other wrench is in pieces", hours
    )
    safety = shop.actor("S1")
    with room.act() as db:
        grant_concession(db, slip, by=safety, now=room.now(db))

    ends, last = utc(ends_at), date.fromisoformat(ends_on)

    assert stops(room, tag, "J-1", ends - A_SECOND, last) == ["concession"]
    assert stops(room, tag, "J-1", clock.now, last + timedelta(days=1)) == ["concession too short"]
    assert stops(room, tag, "J-1", ends) == ["overdue"]


@pytest.mark.parametrize(("zone", "day", "ends_at"), [MIDNIGHTS[i] for i in (0, 4, 6, 9, 13)])
def test_a_competence_counts_until_the_midnight_of_the_site(
    room: Room, shop: Shop, clock: Clock, zone: str, day: str, ends_at: str
) -> None:
    site, last, ends = shop.site(time_zone=zone), date.fromisoformat(day), utc(ends_at)
    shop.task("inspection", "hose", every_months=6, proved_by="inspection")
    _, tag = shop.item(shop.model("hose"), site, received_on=date(2025, 1, 1))
    shop.put(
        CompetenceRow,
        person_id=shop.person("K1", site, "keeper"),
        kind="hose",
        task="inspection",
        expires_on=last,
        evidence="Instructed",
        granted_at=ends - timedelta(days=90),
    )
    by = shop.actor("K1")

    def inspect(client: str, on: date) -> bool:
        slip = InspectionSlip(client, tag, Occasion.PERIODIC, (), on, all_fine=True)
        with room.act() as db:
            return record_inspection(db, slip, by=by, now=room.now(db)).fulfilled == "inspection"

    clock.now = ends - A_SECOND
    with pytest.raises(NotPossible, match="still to come"):
        inspect("early", last + timedelta(days=1))
    assert inspect("in time", last)
    clock.now = ends
    with pytest.raises(NotAllowed, match="ended on"):
        inspect("late", last + timedelta(days=1))


# --- At night -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("zone", "day", "ends_at"), MIDNIGHTS)
def test_a_kit_that_comes_back_around_midnight(
    room: Room, shop: Shop, clock: Clock, zone: str, day: str, ends_at: str
) -> None:
    """The wrench is scanned in the last second of the day, its pump when the next has begun."""
    site, last, ends = shop.site(time_zone=zone), date.fromisoformat(day), utc(ends_at)
    shop.person("K1", site, "keeper")
    shop.person("F1", site)
    shop.job(site, "J-1", starts_at=ends - timedelta(hours=30))
    tags = [shop.item(shop.model(kind), site)[1] for kind in ("wrench", "pump")]
    by = shop.actor("K1")
    clock.now = ends - timedelta(hours=20)
    with room.act() as db:
        issue(db, IssueSlip("out", tuple(tags), "F1", "J-1", last), by=by, now=room.now(db))

    for tag, at, cycles, minutes in ((tags[0], ends - A_SECOND, 40, 0), (tags[1], ends, 0, 55)):
        clock.now = at
        with room.act() as db:
            take_back(db, ReturnSlip(f"in {tag}", tag, cycles, minutes, "fine"), by=by, now=room.now(db))

    with room.look() as db:
        used = db.execute(select(UsageRow.used_on, UsageRow.cycles, UsageRow.minutes).order_by(UsageRow.id))
        assert [tuple(row) for row in used] == [(last, 40, 0), (last + timedelta(days=1), 0, 55)]
        came = db.execute(select(LoanLineRow.returned_at).order_by(LoanLineRow.item_id)).scalars().all()
        assert came == [ends - A_SECOND, ends]


def test_a_meter_runs_out_on_the_day_of_the_site(room: Room, shop: Shop, clock: Clock) -> None:
    """In Pago Pago it is still the thirteenth when the fourteenth is eleven hours old in Greenwich."""
    site = shop.site(time_zone="Pacific/Pago_Pago")
    shop.person("K1", site, "keeper")
    shop.person("F1", site)
    shop.job(site, "J-1")
    task = shop.task("service", "wrench", every_cycles=30)
    item, tag = shop.item(shop.model("wrench"), site)
    shop.did(item, task, date(2026, 5, 1))
    clock.now, by = utc("2026-05-14 10:58"), shop.actor("K1")
    with room.act() as db:
        issue(db, IssueSlip("out", (tag,), "F1", "J-1", date(2026, 5, 13)), by=by, now=room.now(db))
    clock.now = utc("2026-05-14 10:59")
    with room.act() as db:
        take_back(db, ReturnSlip("in", tag, 30, 0, "fine"), by=by, now=room.now(db))
        assert db.execute(select(DueLineRow.forecast_on)).scalar_one() == date(2026, 5, 13)


@pytest.mark.parametrize(("zone", "day", "ends_at"), [MIDNIGHTS[i] for i in (0, 2, 9, 13)])
def test_a_repair_at_night_and_the_service_after_it(
    room: Room, shop: Shop, clock: Clock, zone: str, day: str, ends_at: str
) -> None:
    """Done before the repair on the same day is not done; what was done when midnight had passed is."""
    site, last, ends = shop.site(time_zone=zone), date.fromisoformat(day), utc(ends_at)
    shop.person("K1", site, "keeper")
    task = shop.task("service", "wrench", every_months=3)
    shop.put(TaskAfterRepairRow, task_id=task, work="seal kit")
    _, tag = shop.item(shop.model("wrench"), site, received_on=date(2025, 1, 1))
    by = shop.actor("K1")

    def serviced(at: datetime, on: date) -> date | None:
        clock.now = at
        with room.act() as db:
            slip = DoneSlip(f"done {at}", tag, "service", on)
            return record_done(db, slip, by=by, now=room.now(db)).due_on

    assert serviced(ends - 3 * A_SECOND, last) == last + relativedelta(months=3)
    clock.now = ends - A_SECOND
    with room.act() as db:
        slip = RepairSlip("r", tag, Work.SEAL_KIT, "New seals at the swivel", last)
        assert record_repair(db, slip, by=by, now=room.now(db)).due_again == ("service",)
    with room.look() as db:
        assert db.execute(select(DueLineRow.due_on)).scalar_one() == last - timedelta(days=1)
    tomorrow = last + timedelta(days=1)
    assert serviced(ends, tomorrow) == tomorrow + relativedelta(months=3)
