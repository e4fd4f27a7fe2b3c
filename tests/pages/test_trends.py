"""Trends: every figure against data made by hand."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import literal, select

from fleet.ledgers.upkeep import withdraw_done
from fleet.lists.calendar_months import PlusMonths
from fleet.lists.due import due
from fleet.lists.overdue_weeks import OverdueTrend, overdue_weeks, week_ends
from fleet.lists.sites import find_site
from fleet.lists.trends import concession_rate, rejects
from fleet.measures.times import add_months
from fleet.papers.bars import Bar, bar_plot
from fleet.records import (
    ConcessionRow,
    InspectionRow,
    LimitRow,
    LoanLineRow,
    LoanRow,
    RepairRow,
    TaskAfterRepairRow,
    UpkeepRow,
)
from fleet.rules.people import SETTING_UP
from tests.shop import NOON, TODAY, Shop

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.pages.browsing import Pages

# Wednesday 13 May 2026: the last week ended on Sunday the 10th.
LAST_WEEK = date(2026, 5, 10)


def trend(room: Room, code: str = "NORTH") -> OverdueTrend:
    with room.look() as db:
        return overdue_weeks(db, find_site(db, code), now=room.now(db))


def overdue_on(found: OverdueTrend) -> set[date]:
    """The days on which the one task that there is was overdue."""
    return {day for day, count in zip(found.days, found.counts, strict=True) if count}


def weeks(first: date, last: date) -> set[date]:
    """The Sundays in between, and today."""
    return {day for day in week_ends(TODAY) if first <= day <= last}


def test_the_weeks_end_on_sundays_and_today_comes_last() -> None:
    days = week_ends(TODAY)
    assert len(days) == 53
    assert days[-2:] == (LAST_WEEK, TODAY)
    assert {day.isoweekday() for day in days[:-1]} == {7}
    assert week_ends(LAST_WEEK)[-2:] == (date(2026, 5, 3), LAST_WEEK)


@pytest.fixture
def site(shop: Shop) -> int:
    return shop.site()


def test_what_was_done_late_was_overdue_in_between(room: Room, shop: Shop, site: int) -> None:
    task = shop.task("inspection", "hose", every_months=6)
    item, _ = shop.item(shop.model("hose"), site, received_on=date(2025, 1, 1))
    # Due on 15 Jul 2025, done on 20 Aug; then due on 20 Feb 2026 and not done since.
    shop.did(item, task, date(2025, 1, 15))
    shop.did(item, task, date(2025, 8, 20))
    found = trend(room)
    assert overdue_on(found) == weeks(date(2025, 7, 16), date(2025, 8, 19)) | weeks(date(2026, 2, 21), TODAY)
    assert found.by_use == 0


def test_it_is_usable_through_its_day(room: Room, shop: Shop, site: int) -> None:
    """Due on the very Sunday: overdue from Monday on."""
    task = shop.task("inspection", "hose", every_months=1)
    item, _ = shop.item(shop.model("hose"), site)
    shop.did(item, task, date(2026, 4, 10))
    assert overdue_on(trend(room)) & {LAST_WEEK, TODAY} == {TODAY}


def test_what_was_never_done_is_overdue_from_the_day_it_came(room: Room, shop: Shop, site: int) -> None:
    shop.task("inspection", "hose", every_months=12)
    shop.item(shop.model("hose"), site, received_on=date(2026, 3, 1))
    assert overdue_on(trend(room)) == weeks(date(2026, 3, 1), TODAY)


def test_a_life_from_assembly_runs_out_once_and_a_retired_item_counts_no_more(
    room: Room, shop: Shop, site: int
) -> None:
    shop.task("replacement", "hose", every_months=12, counts_from="assembly")
    shop.item(
        shop.model("hose"),
        site,
        received_on=date(2024, 7, 1),
        assembled_on=date(2024, 6, 30),
        retired_on=date(2026, 1, 4),
        retired_reason="Past its life",
    )
    assert overdue_on(trend(room)) == weeks(date(2025, 7, 1), date(2026, 1, 3))


def test_what_was_withdrawn_never_counted(room: Room, shop: Shop, site: int) -> None:
    task = shop.task("inspection", "hose", every_months=3)
    item, _ = shop.item(shop.model("hose"), site)
    shop.did(item, task, date(2025, 12, 1))
    shop.did(item, task, date(2026, 4, 1))
    first, gap = weeks(date(2025, 5, 11), date(2025, 11, 30)), date(2026, 3, 2)
    assert overdue_on(trend(room)) == first | weeks(gap, date(2026, 3, 31))
    with room.act() as db:
        entry = db.execute(select(UpkeepRow.id).order_by(UpkeepRow.id.desc()).limit(1)).scalar_one()
        withdraw_done(db, entry, "Another hose", by=SETTING_UP, now=room.now(db), client_id="w")
    assert overdue_on(trend(room)) == first | weeks(gap, TODAY)


def test_a_repair_undoes_what_was_done_until_it_is_done_again(room: Room, shop: Shop, site: int) -> None:
    task = shop.task("inspection", "pump", every_months=24)
    shop.put(TaskAfterRepairRow, task_id=task, work="seal kit")
    item, _ = shop.item(shop.model("pump"), site, received_on=date(2025, 1, 1))
    shop.did(item, task, date(2025, 1, 2))
    shop.put(
        RepairRow,
        client_id="r",
        item_id=item,
        work="seal kit",
        description="New seals",
        done_on=date(2026, 2, 2),
        cycles_at=0,
        minutes_at=0,
        by_name="Kim",
        recorded_at=NOON,
    )
    shop.did(item, task, date(2026, 3, 2))
    assert overdue_on(trend(room)) == weeks(date(2026, 2, 2), date(2026, 3, 1))


def test_a_models_own_task_and_an_items_own_limit_go_first(room: Room, shop: Shop, site: int) -> None:
    kind = shop.task("inspection", "hose", every_months=1)
    model = shop.model("hose")
    own = shop.task("inspection", "hose", every_months=3, model_id=model)
    item, _ = shop.item(model, site)
    shop.did(item, kind, date(2026, 2, 1))
    assert overdue_on(trend(room)) & weeks(date(2026, 2, 1), TODAY) == weeks(date(2026, 5, 2), TODAY)
    shop.put(
        LimitRow,
        item_id=item,
        task_id=own,
        every_months=2,
        reason="Wears fast",
        document="D-1",
        set_at=NOON,
    )
    shop.refresh(item)
    assert overdue_on(trend(room)) & weeks(date(2026, 2, 1), TODAY) == weeks(date(2026, 4, 2), TODAY)


def test_use_alone_is_counted_apart(room: Room, shop: Shop, site: int) -> None:
    task = shop.task("calibration", "wrench", every_cycles=100)
    item, _ = shop.item(shop.model("wrench"), site, cycles=150)
    shop.did(item, task, date(2026, 5, 1), cycles=0)
    found = trend(room)
    assert (overdue_on(found), found.by_use) == (set(), 1)


@pytest.mark.parametrize("code", ["NORTH", "EAST"])
def test_today_is_what_the_due_list_says(demo: Pages, code: str) -> None:
    """The figure at the end, worked out from history, against the due lines kept on every write."""
    with demo.room.look() as db:
        site = find_site(db, code)
        today = site.today(demo.room.now(db))
        lines = due(db, site.id, until=today, today=today)
    by_calendar = [line for line in lines if line.due_on and line.due_on < today]
    found = trend(demo.room, code)
    assert found.counts[-1] == len(by_calendar) > 0
    assert found.by_use == len([line for line in lines if line.overdue(today)]) - len(by_calendar)


@given(day=st.dates(date(1999, 1, 1), date(2101, 1, 1)), months=st.integers(1, 240))
def test_months_are_added_as_everywhere_else_on_sqlite(day: date, months: int) -> None:
    from sqlalchemy import create_engine  # noqa: PLC0415  Only here.

    engine = create_engine("sqlite://")
    kind = UpkeepRow.done_on.type
    with engine.connect() as db:
        found = db.execute(select(PlusMonths(literal(day, kind), literal(months)))).scalar_one()
    engine.dispose()
    assert found == add_months(day, months)


@pytest.mark.parametrize("day", [date(2026, 1, 31), date(2028, 2, 29), date(2025, 10, 31), date(2026, 5, 13)])
def test_months_are_added_alike_on_both_engines(room: Room, day: date) -> None:
    kind = UpkeepRow.done_on.type
    with room.look() as db:
        for months in range(1, 40):
            found = db.execute(select(PlusMonths(literal(day, kind), literal(months)))).scalar_one()
            assert found == add_months(day, months)


def test_concessions_per_hundred_items_by_month(room: Room, shop: Shop, site: int) -> None:
    person, other = shop.person("K1", site, "keeper"), shop.person("S1", site, "safety officer")
    job, task = shop.job(site), shop.task("inspection", "hose", every_months=12)
    model = shop.model("hose")
    # 30 Apr 23:30 in Chicago is 1 May in UTC: it belongs to April.
    late_april = datetime(2026, 5, 1, 4, 30, tzinfo=UTC)
    for at, (when, count) in enumerate(((late_april, 3), (NOON, 5))):
        loan = shop.put(
            LoanRow,
            client_id=f"l{at}",
            site_id=site,
            job_id=job,
            borrower_id=person,
            issued_at=when,
            issued_by_id=person,
            back_on=TODAY,
        )
        for _ in range(count):
            shop.put(LoanLineRow, loan_id=loan, item_id=shop.item(model, site)[0])
    item, _ = shop.item(model, site)
    for when in (late_april, NOON - timedelta(days=800), NOON):
        shop.put(
            ConcessionRow,
            item_id=item,
            task_id=task,
            job_id=job,
            asked_by_id=person,
            granted_by_id=other,
            reason_code="no other item",
            reason="The crew waits at the flange",
            starts_at=when,
            ends_at=when + timedelta(hours=8),
        )
    with room.look() as db:
        found = concession_rate(db, find_site(db, "NORTH"), now=room.now(db))
    assert [month.first_day for month in found] == [
        add_months(date(2025, 6, 1), number) for number in range(12)
    ]
    assert [(one.handed_out, one.concessions) for one in found[-3:]] == [(0, 0), (3, 1), (5, 1)]
    assert found[-3].per_hundred is None
    assert found[-2].per_hundred == pytest.approx(100 / 3)
    assert found[-1].per_hundred == pytest.approx(20.0)


def test_rejects_by_model_of_the_last_year(room: Room, shop: Shop, site: int) -> None:
    number = iter(range(100))

    def inspected(item: int, result: str, on: date = TODAY, withdraws: int | None = None) -> int:
        return shop.put(
            InspectionRow,
            client_id=f"i{next(number)}",
            item_id=item,
            occasion="before use",
            checklist_version=0,
            inspected_on=on,
            result=result,
            cycles_at=0,
            minutes_at=0,
            by_name="Kim",
            recorded_at=NOON,
            withdraws_id=withdraws,
            reason="Another item" if withdraws else None,
        )

    hose, pump = shop.item(shop.model("hose", "H-1"), site)[0], shop.item(shop.model("pump", "P-1"), site)[0]
    for result in ("reject", "fine", "note"):
        inspected(hose, result)
    wrong = inspected(hose, "reject")
    inspected(hose, "reject", withdraws=wrong)
    inspected(hose, "reject", on=TODAY - timedelta(days=365))
    inspected(pump, "fine")
    with room.look() as db:
        found = rejects(db, find_site(db, "NORTH"), now=room.now(db))
    assert [(one.model, one.inspections, one.rejects) for one in found] == [("H-1", 3, 1), ("P-1", 1, 0)]
    assert found[0].share == pytest.approx(100 / 3)


def test_the_page_shows_each_picture_with_its_table_and_its_unit(demo: Pages) -> None:
    page = demo.as_("officer").get("/trends?site=NORTH")
    assert page.status == 200
    assert page.body.count("<svg") == 2
    for title in ("Tasks overdue at the end of each week", "Concessions per 100 items handed out"):
        assert title in page.text
    assert "13 May 2026, today 8" in page.text
    assert "What ran out by use alone is not in it: 2 today." in page.text
    assert "2026-05 24 0 0.0" in page.text
    assert "style=" not in page.body


def test_bars_say_everything_in_words_too_and_take_any_name() -> None:
    drawn = bar_plot("A & B", "in %", [Bar("<b>" + "x" * 60, 2.0, "2 %"), Bar("none", 0.0, "0 %")], key="k")
    assert "&lt;b&gt;" + "x" * 60 in drawn
    assert "<b>" not in drawn
    assert "A &amp; B" in drawn
    assert "none: 0 %" in drawn
    assert bar_plot("Nothing", "in %", []).startswith("<svg")
