"""What is due: overdue first, then by day, with who holds it and by which clock; and nothing else."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from random import Random
from typing import TYPE_CHECKING, Any

import pytest
from sqlalchemy import select

from fleet import records
from fleet.desk.upkeep import retire
from fleet.desk.usage import UseSlip, note_use
from fleet.lists.due import DueLine, due
from fleet.records.base import rows_of
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.room import Room
    from tests.shop import Shop


def day(offset: int) -> date:
    return TODAY + timedelta(days=offset)


@dataclass
class Wall:
    """Two tool rooms; wrenches to be calibrated every twelve months or 1,000 cycles."""

    room: Room
    shop: Shop
    site: int
    other: int
    model: int
    task: int
    numbers: Iterator[int] = field(default_factory=lambda: iter(range(1000)))

    def wrench(self, due_in: int | None = 100, site: int | None = None, **values: object) -> tuple[int, str]:
        """A wrench whose calibration is due in so many days, or was never done."""
        item, tag = self.shop.item(self.model, site or self.site, **values)
        if due_in is not None:
            # Counted in days from a day far from month ends, so that twelve months are these days.
            self.shop.did(item, self.task, date(2025, 5, 13) + timedelta(days=due_in))
        return item, tag

    def use(self, tag: str, cycles: int, on: date) -> None:
        slip = UseSlip(f"u{next(self.numbers)}", tag, cycles, 0, on, "Found on a job sheet")
        by = self.shop.actor("K1")
        with self.room.act() as db:
            note_use(db, slip, by=by, now=self.room.now(db))

    def lend(self, item: int, back_on: date) -> None:
        loan = {"site_id": self.site, "job_id": 1, "borrower_id": 2, "issued_at": NOON, "issued_by_id": 1}
        client = f"loan-{item}"
        number = self.shop.put(records.LoanRow, client_id=client, back_on=back_on, **loan)
        self.shop.put(records.LoanLineRow, loan_id=number, item_id=item)

    def hold(self, item: int, **values: object) -> None:
        hold: dict[str, object] = {"cause": "damaged", "reason": "Arm bent", "opened_at": NOON}
        self.shop.put(records.HoldRow, item_id=item, **(hold | values))

    def due(self, within: int = 30, today: date = TODAY) -> list[DueLine]:
        with self.room.look() as db:
            return due(db, self.site, until=today + timedelta(days=within), today=today)


@pytest.fixture
def wall(room: Room, shop: Shop) -> Wall:
    site, other = shop.site(), shop.site("SOUTH")
    shop.put(records.RoleRow, person_id=shop.person("K1", site, "keeper"), site_id=other, role="keeper")
    shop.person("F1", site)
    shop.job(site)
    task = shop.task("calibration", "wrench", every_months=12, every_cycles=1000)
    return Wall(room, shop, site, other, shop.model("wrench", "W-2000"), task)


def test_overdue_comes_first_and_then_by_day(wall: Wall) -> None:
    tags = {due_in: wall.wrench(due_in)[1] for due_in in (5, -1, 30, 0, -40, 31)}

    found = wall.due()

    assert [line.tag for line in found] == [tags[due_in] for due_in in (-40, -1, 0, 5, 30)]
    assert [line.overdue(TODAY) for line in found] == [True, True, False, False, False]
    assert [line.due_on for line in found] == [day(due_in) for due_in in (-40, -1, 0, 5, 30)]


def test_used_up_stands_among_the_overdue_by_the_day_it_ran_out(wall: Wall) -> None:
    _, early = wall.wrench(-10)
    _, used = wall.wrench(200)
    _, late = wall.wrench(-2)
    wall.shop.room.clock.pass_by(days=-5)  # type: ignore[attr-defined]
    wall.use(used, 1000, on=day(-5))
    wall.shop.room.clock.pass_by(days=5)  # type: ignore[attr-defined]
    # A second entry works its lines out afresh, and the day on which it ran out stays.
    wall.use(used, 10, on=TODAY)

    found = wall.due()

    assert [line.tag for line in found] == [early, used, late]
    assert [line.by for line in found] == ["calendar", "use", "calendar"]
    assert (found[1].first_on, found[1].use_left) == (day(-5), -0.01)


def test_what_was_never_done_is_overdue_and_says_so(wall: Wall) -> None:
    _, tag = wall.wrench(None)
    (line,) = wall.due(0)
    assert (line.tag, line.overdue(TODAY), line.never_done) == (tag, True, True)


def test_a_hose_has_a_day_though_nobody_ever_did_it(wall: Wall) -> None:
    wall.shop.task("replacement", "hose", every_months=72, counts_from="assembly", stop="hard")
    wall.shop.item(wall.shop.model("hose"), wall.site, assembled_on=date(2020, 5, 12))
    (line,) = wall.due()
    assert (line.due_on, line.overdue(TODAY), line.never_done) == (day(-1), True, False)


def test_who_holds_it_for_which_job_and_until_when(wall: Wall) -> None:
    out, _ = wall.wrench(1)
    wall.wrench(2, shelf="B7")
    wall.lend(out, back_on=day(9))

    held, shelved = wall.due()

    assert (held.holder, held.job, held.back_on) == ("Fin Fitter", "J-1", day(9))
    assert (shelved.holder, shelved.job, shelved.back_on, shelved.shelf) == (None, None, None, "B7")


def test_what_is_on_hold_is_marked_until_it_is_released(wall: Wall) -> None:
    held, released = wall.wrench(1)[0], wall.wrench(2)[0]
    wall.hold(held)
    # Two holds on one item are still one line.
    wall.hold(held, cause="recall")
    wall.hold(released, released_at=NOON, evidence="Dye test 44")

    assert [line.on_hold for line in wall.due()] == [True, False]


def test_a_forecast_says_on_what_use_it_rests(wall: Wall) -> None:
    """910 cycles in 182 days are 5 a day; the 90 that are left last 18 days."""
    _, tag = wall.wrench(200)
    wall.use(tag, 900, on=day(-181))
    wall.use(tag, 10, on=TODAY)

    (line,) = wall.due()

    assert (line.by, line.forecast_on, line.first_on) == ("use", day(18), day(18))
    assert (line.cycles, line.due_cycles, line.recent_cycles, line.recent_days) == (910, 1000, 910, 182)
    assert not line.overdue(TODAY)


def test_nothing_of_another_site_and_nothing_that_is_retired(wall: Wall) -> None:
    wall.wrench(1, wall.other)
    _, tag = wall.wrench(1)
    by = wall.shop.actor("K1")
    with wall.room.act() as db:
        retire(db, tag, "Worn beyond repair", by=by, now=wall.room.now(db))

    assert wall.due() == []


def test_judged_on_another_day(wall: Wall) -> None:
    """A week ago nothing was overdue yet; in a month, what is due by then will be."""
    wall.wrench(-3)
    wall.wrench(20)
    _, used = wall.wrench(200)
    wall.use(used, 1000, on=TODAY)

    def at(offset: int, within: int) -> list[tuple[date, bool]]:
        return [(line.first_on, line.overdue(day(offset))) for line in wall.due(within, day(offset))]

    assert at(0, 30) == [(day(-3), True), (TODAY, True), (day(20), False)]
    assert at(-7, 30) == [(day(-3), False), (TODAY, False), (day(20), False)]
    assert at(-7, 2) == []
    assert at(30, 0) == [(day(-3), True), (TODAY, True), (day(20), True)]


# --- Against brute force ------------------------------------------------------------------------------------


def fill(wall: Wall, dice: Random) -> None:
    """A room of all sorts: several tasks, calendars and meters, both sites, things out and on hold."""
    shop = wall.shop
    shop.task("inspection", "wrench", every_months=6)
    shop.task("seal change", "wrench", every_cycles=700, every_minutes=600)
    shop.task("calibration", "wrench", model_id=wall.model, every_months=6, every_cycles=400)
    plain = shop.model("wrench")
    for _ in range(40):
        site = dice.choice([wall.site, wall.site, wall.other])
        item, tag = shop.item(dice.choice([wall.model, plain]), site)
        for _ in range(dice.randrange(3)):
            wall.use(tag, dice.randrange(500), on=day(-dice.randrange(400)))
        for task in (1, 2, 3):
            if dice.random() < 0.7:
                shop.did(item, task, day(-dice.randrange(400)), cycles=dice.randrange(400))
        if site == wall.site and dice.random() < 0.3:
            wall.lend(item, day(dice.randrange(-5, 20)))
        if dice.random() < 0.2:
            wall.hold(item)


def by_brute_force(wall: Wall, until: date, today: date) -> list[tuple[Any, ...]]:
    """Read every due line there is, and choose, judge and sort them in Python."""
    with wall.room.look() as db:
        lines = db.execute(select(rows_of(records.DueLineRow))).all()
        items = {row.id: row for row in db.execute(select(rows_of(records.ItemRow)))}
        tasks = {row.id: row.name for row in db.execute(select(rows_of(records.TaskRow)))}
        out = {row.item_id for row in db.execute(select(rows_of(records.LoanLineRow)))}
        held = {row.item_id for row in db.execute(select(rows_of(records.HoldRow)))}
    found = []
    for line in lines:
        days = [on for on in (line.due_on, line.forecast_on) if on]
        if items[line.item_id].site_id != wall.site or not days or min(days) > until:
            continue
        ran_out = line.use_left is not None and line.use_left <= 0 and line.forecast_on <= today
        overdue = ran_out or (line.due_on is not None and line.due_on < today)
        where = ("Fin Fitter" if line.item_id in out else None, line.item_id in held)
        found.append((not overdue, min(days), items[line.item_id].tag, tasks[line.task_id], where))
    return sorted(found)


@pytest.mark.parametrize("seed", [1, 2])
def test_the_list_is_what_brute_force_finds(wall: Wall, seed: int) -> None:
    fill(wall, Random(seed))  # noqa: S311  Dice for a test, not a secret.
    for offset, within in ((0, 0), (0, 30), (0, 400), (-30, 10), (-90, 90), (60, 30), (0, 5000)):
        today = day(offset)
        found = wall.due(within, today)
        assert [
            (not line.overdue(today), line.first_on, line.tag, line.task, (line.holder, line.on_hold))
            for line in found
        ] == by_brute_force(wall, today + timedelta(days=within), today)
    assert len(wall.due(5000)) > 40
