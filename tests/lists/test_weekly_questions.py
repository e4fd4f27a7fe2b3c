"""What a weekly reader asks: what is out and late, what is on hold, which concessions there are."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import text

from fleet import records
from fleet.lists.concessions import concessions
from fleet.lists.holds import holds
from fleet.lists.out import out
from fleet.lists.sites import SiteLine, find_site
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Shop


@dataclass
class Wall:
    """Two sites, a fitter and a job at one of them, and the questions asked there at noon."""

    room: Room
    shop: Shop
    site: int
    other: int
    fitter: int
    job: int
    wrench: int

    def lend(self, item: int, back_on: date, issued_at: datetime = NOON) -> int:
        loan = self.shop.put(
            records.LoanRow,
            client_id=f"loan-{next(self.shop.numbers)}",
            site_id=self.site,
            job_id=self.job,
            borrower_id=self.fitter,
            issued_at=issued_at,
            issued_by_id=self.fitter,
            back_on=back_on,
        )
        return self.shop.put(records.LoanLineRow, loan_id=loan, item_id=item)

    def hold(self, item: int, **values: object) -> int:
        said: dict[str, object] = {"cause": "damaged", "reason": "Arm bent", "opened_at": NOON} | values
        return self.shop.put(records.HoldRow, item_id=item, **said)

    @property
    def line(self) -> SiteLine:
        with self.room.look() as db:
            return find_site(db, "NORTH")


@pytest.fixture
def wall(room: Room, shop: Shop) -> Wall:
    site, other = shop.site(), shop.site("SOUTH")
    fitter = shop.person("F1", site)
    return Wall(room, shop, site, other, fitter, shop.job(site), shop.model("wrench", "W-2000"))


def test_what_is_out_comes_latest_first(wall: Wall) -> None:
    tags = {}
    for days in (3, -1, 0, -9):
        item, tags[days] = wall.shop.item(wall.wrench, wall.site)
        wall.lend(item, TODAY + timedelta(days=days))
    wall.shop.item(wall.wrench, wall.site)

    with wall.room.look() as db:
        found = out(db, wall.line, now=NOON)

    assert [(line.tag, line.days_late) for line in found] == [
        (tags[-9], 9),
        (tags[-1], 1),
        (tags[0], 0),
        (tags[3], 0),
    ]
    assert {(line.holder, line.job, line.kind, line.model) for line in found} == {
        ("Fin Fitter", "J-1", "wrench", "W-2000")
    }


def test_what_came_back_or_belongs_elsewhere_is_not_out_here(wall: Wall) -> None:
    back, _ = wall.shop.item(wall.wrench, wall.site)
    line = wall.lend(back, TODAY)
    with wall.room.act() as db:
        db.execute(
            text("UPDATE loan_line SET returned_at = :now, condition = 'fine' WHERE id = :id"),
            {"now": "2026-05-13T17:00:00.000000Z", "id": line},
        )
    elsewhere, _ = wall.shop.item(wall.wrench, wall.other)
    wall.lend(elsewhere, TODAY)

    with wall.room.look() as db:
        assert out(db, wall.line, now=NOON) == []


def test_the_day_of_issue_is_the_day_at_the_site(wall: Wall) -> None:
    """At 03:00 UTC on 14 May it is still 13 May in the zone of the site (five hours behind)."""
    item, _ = wall.shop.item(wall.wrench, wall.site)
    wall.lend(item, TODAY, issued_at=NOON + timedelta(hours=10))

    with wall.room.look() as db:
        (line,) = out(db, wall.line, now=NOON + timedelta(hours=11))

    assert line.issued_on == TODAY
    assert line.days_late == 0


def test_open_holds_come_oldest_first_with_their_age(wall: Wall) -> None:
    young, young_tag = wall.shop.item(wall.wrench, wall.site)
    old, old_tag = wall.shop.item(wall.wrench, wall.site)
    wall.hold(young, opened_by_id=wall.fitter)
    wall.hold(old, cause="recall", reason="Maker's notice", opened_at=NOON - timedelta(days=12))
    wall.hold(old, released_at=NOON, evidence="Inspected", opened_at=NOON - timedelta(days=30))
    wall.hold(wall.shop.item(wall.wrench, wall.other)[0])
    wall.lend(old, TODAY)

    with wall.room.look() as db:
        found = holds(db, wall.line, now=NOON)

    assert [(line.tag, line.age_days, line.cause, line.opened_by) for line in found] == [
        (old_tag, 12, "recall", None),
        (young_tag, 0, "damaged", "Fin Fitter"),
    ]
    assert [line.holder for line in found] == ["Fin Fitter", None]
    assert found[0].opened_on == TODAY - timedelta(days=12)


def test_concessions_in_force_or_of_the_last_seven_days_are_shown(wall: Wall) -> None:
    task = wall.shop.task("calibration", "wrench", every_months=12)
    safety = wall.shop.person("S1", wall.site, "safety officer")
    item, tag = wall.shop.item(wall.wrench, wall.site)
    for start, hours in ((-7 * 24 - 1, 24), (-7 * 24 + 1, 24), (-2, 8), (-24, 24)):
        wall.shop.put(
            records.ConcessionRow,
            item_id=item,
            task_id=task,
            job_id=wall.job,
            asked_by_id=wall.fitter,
            granted_by_id=safety,
            reason_code="no other item",
            reason="The only wrench of this size on site.",
            starts_at=NOON + timedelta(hours=start),
            ends_at=NOON + timedelta(hours=start + hours),
        )

    with wall.room.look() as db:
        found = concessions(db, wall.line, now=NOON)

    starts = [(line.starts_at - NOON) / timedelta(hours=1) for line in found]
    assert starts == [-2, -24, -7 * 24 + 1]
    # Its window is half open: it ends at its end.
    assert [line.in_force(NOON) for line in found] == [True, False, False]
    assert {(line.tag, line.task, line.job, line.asked_by, line.granted_by) for line in found} == {
        (tag, "calibration", "J-1", "Fin Fitter", "Sam Safety")
    }
