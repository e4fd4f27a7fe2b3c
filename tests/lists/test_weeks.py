"""The weeks of a site: what is kept, out, away, held and due, and which joints lack a wrench."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest

from fleet import records
from fleet.lists.sites import find_site
from fleet.lists.weeks import weeks
from fleet.measures.times import show_day
from fleet.rules.weeks import Sort, Stretch, Weeks, make_period, say_stretch
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from datetime import date

    from fleet.room import Room
    from tests.shop import Clock, Shop


class Wall:
    """A tool room with one wrench, and the weeks on its wall."""

    def __init__(self, room: Room, shop: Shop) -> None:
        self.room, self.shop = room, shop
        self.site = shop.site()
        self.keeper = shop.person("K1", self.site, "keeper")
        self.model = shop.model("wrench", "W-1")
        self.item, self.tag = shop.item(self.model, self.site)
        self.job = shop.job(self.site, "J-1", days=5)

    def joint(self, mark: str = "F-1", job: int | None = None, **values: object) -> int:
        plan = {"bolts": 8, "torque_written": "1,000 N·m", "torque_nm": 1000.0} | values
        return self.shop.put(records.JointRow, job_id=job or self.job, mark=mark, **plan)

    def keep(self, item: int | None = None, first: int = 0, days: int = 5, **values: object) -> int:
        starts = NOON + timedelta(days=first)
        row: dict[str, Any] = {
            "client_id": f"r{next(self.shop.numbers)}",
            "item_id": item or self.item,
            "job_id": self.job,
            "starts_at": starts,
            "ends_at": starts + timedelta(days=days),
            "reserved_at": NOON,
            "reserved_by_id": self.keeper,
        }
        return self.shop.put(records.ReservationRow, **(row | values))

    def lend(self, back: date, returned: int | None = None, issued: int = 0) -> None:
        loan = self.shop.put(
            records.LoanRow,
            client_id=f"l{next(self.shop.numbers)}",
            site_id=self.site,
            job_id=self.job,
            borrower_id=self.keeper,
            issued_at=NOON + timedelta(days=issued),
            issued_by_id=self.keeper,
            back_on=back,
        )
        line: dict[str, Any] = {"loan_id": loan, "item_id": self.item}
        if returned is not None:
            line |= {"returned_at": NOON + timedelta(days=returned), "condition": "fine"}
        self.shop.put(records.LoanLineRow, **line)

    def look(self, first: date = TODAY, many: int = 4, kind: str | None = None) -> Weeks:
        with self.room.look() as db:
            site = find_site(db, "NORTH")
            return weeks(db, site, make_period(first, many), kind=kind, now=self.room.now(db))

    def against(self, first: date = TODAY) -> list[Stretch]:
        return list(self.look(first).items[0].stretches)


@pytest.fixture
def wall(room: Room, shop: Shop) -> Wall:
    return Wall(room, shop)


def test_what_is_kept_stands_in_its_days_with_job_joint_and_class(wall: Wall) -> None:
    wall.keep(joint_id=wall.joint(), any_of="wrench of 1,500 N·m")
    (kept,) = wall.against()
    # The window ends at noon of the fifth day after its start.
    assert (kept.sort, kept.first_on, kept.last_on) == (Sort.RESERVED, TODAY, TODAY + timedelta(days=5))
    assert kept.told == "reserved for J-1, Exchanger bundle, joint F-1, as any wrench of 1,500 N·m"


def test_a_reservation_given_up_and_one_outside_the_weeks_are_not_shown(wall: Wall) -> None:
    wall.keep(ended_at=NOON, ended_by_id=wall.keeper, end_reason="not needed any more")
    wall.keep(first=40)
    wall.keep(first=-30)
    assert wall.against() == []


def test_a_loan_reaches_to_its_day_and_a_late_one_to_today(wall: Wall, clock: Clock) -> None:
    wall.lend(TODAY + timedelta(days=3))
    (out,) = wall.against()
    assert (out.sort, out.last_on, out.told) == (Sort.OUT, TODAY + timedelta(days=3), "out for J-1")

    clock.pass_by(days=5)
    (late,) = wall.against()
    assert late.last_on == TODAY + timedelta(days=5)
    assert late.told == f"out for J-1 and late: it was to be back {show_day(TODAY + timedelta(days=3))}"


def test_what_came_back_is_shown_in_the_weeks_in_which_it_was_out(wall: Wall) -> None:
    wall.lend(TODAY - timedelta(days=10), returned=-12, issued=-20)
    assert wall.against() == []
    (was,) = wall.against(TODAY - timedelta(days=21))
    assert (was.told, was.last_on) == ("was out for J-1", TODAY - timedelta(days=12))


def test_a_hold_has_no_end_until_it_is_released(wall: Wall) -> None:
    held = {"item_id": wall.item, "cause": "damaged", "opened_at": NOON}
    wall.shop.put(records.HoldRow, **held, reason="arm bent")
    wall.shop.put(
        records.HoldRow,
        **held,
        reason="hose cut",
        released_at=NOON + timedelta(days=1),
        released_by_id=wall.keeper,
        evidence="looked over",
    )
    told = {one.told: one.last_on for one in wall.against()}
    assert told == {
        "on hold (damaged: arm bent)": None,
        "on hold (damaged: hose cut)": TODAY + timedelta(days=1),
    }


def test_what_is_away_is_awaited_by_its_day(wall: Wall, clock: Clock) -> None:
    wall.shop.put(
        records.AwayRow,
        client_id="a1",
        item_id=wall.item,
        errand="repair",
        sent_to="Workshop",
        sent_at=NOON,
        wanted_on=TODAY + timedelta(days=9),
    )
    (away,) = wall.against()
    assert (away.sort, away.last_on, away.told) == (
        Sort.AWAY,
        TODAY + timedelta(days=9),
        "away for repair",
    )
    clock.pass_by(days=10)
    assert wall.against()[0].last_on is None


def test_due_days_stand_in_their_week_and_old_ones_in_the_first(wall: Wall) -> None:
    task = wall.shop.task("calibration", "wrench", every_months=12)
    wall.shop.did(wall.item, task, TODAY - timedelta(days=355))
    (due,) = wall.against()
    assert (due.sort, due.mark, due.first_on) == (Sort.DUE, "calibration", TODAY + timedelta(days=10))
    assert say_stretch(due) == f"calibration due {show_day(TODAY + timedelta(days=10))}"

    ahead = wall.look(TODAY + timedelta(days=70))
    (before,) = ahead.items[0].stretches
    assert before.within(ahead.period.first_day, ahead.period.first_day)
    assert before.first_on == TODAY + timedelta(days=10)


def test_overdue_and_never_done_are_said(wall: Wall) -> None:
    task = wall.shop.task("calibration", "wrench", every_months=12)
    wall.shop.refresh(wall.item)
    assert wall.against()[0].told == "calibration was never done"
    wall.shop.did(wall.item, task, TODAY - timedelta(days=375))
    assert wall.against()[0].told == f"calibration overdue since {show_day(TODAY - timedelta(days=10))}"


def test_a_joint_is_short_until_enough_wrenches_are_kept_for_it(wall: Wall) -> None:
    joint = wall.joint("F-1", wrenches_at_once=2)
    other = wall.joint("F-2")
    (one, two) = wall.look().shortages
    assert (one.joint, one.missing, one.kept, two.joint, two.missing) == ("F-1", 2, 0, "F-2", 1)
    assert (one.first_on, one.last_on) == (TODAY, TODAY + timedelta(days=5))

    wall.keep(joint_id=joint)
    hose, _ = wall.shop.item(wall.shop.model("hose", "H-1"), wall.site)
    wall.keep(hose, joint_id=other)
    assert [(one.joint, one.missing) for one in wall.look().shortages] == [("F-1", 1), ("F-2", 1)]

    second, _ = wall.shop.item(wall.model, wall.site)
    whole = wall.keep(second)  # For the job as a whole: it serves either joint.
    assert wall.look().shortages == ()
    assert whole


def test_a_wrench_handed_out_to_the_job_serves_its_joints_and_counts_once(wall: Wall) -> None:
    wall.joint(wrenches_at_once=2)
    wall.lend(TODAY + timedelta(days=5))
    assert [one.missing for one in wall.look().shortages] == [1]
    wall.keep(ended_at=NOON, ended_by_id=wall.keeper, end_reason="handed out without it")
    assert [one.missing for one in wall.look().shortages] == [1]
    wall.keep()
    assert [one.missing for one in wall.look().shortages] == [1]


def test_jobs_of_another_site_or_done_are_not_short(wall: Wall) -> None:
    south = wall.shop.site("SOUTH")
    wall.joint(job=wall.shop.job(south, "J-2"))
    wall.joint(job=wall.shop.job(wall.site, "J-3", days=1, starts_at=NOON - timedelta(days=2)))
    assert wall.look().shortages == ()


def test_only_items_of_the_site_and_kind_are_listed_and_none_that_retired(wall: Wall) -> None:
    wall.joint()
    wall.shop.item(wall.shop.model("hose", "H-1"), wall.site)
    wall.shop.item(wall.model, wall.shop.site("SOUTH"))
    wall.shop.item(wall.model, wall.site, retired_on=TODAY, retired_reason="worn out")

    assert [one.kind for one in wall.look().items] == ["hose", "wrench"]
    assert [one.kind for one in wall.look(kind="hose").items] == ["hose"]
    assert wall.look(kind="hose").shortages == ()
    assert len(wall.look(kind="wrench").shortages) == 1
