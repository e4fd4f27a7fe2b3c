"""Which matters stand at a site, as its record says."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest

from fleet import records
from fleet.measures.tags import show_tag
from fleet.rules.matters import MatterKind
from tests.shop import NOON, TODAY
from tests.troubledesk import TroubleDesk

if TYPE_CHECKING:
    from fleet.room import Room
    from fleet.rules.matters import Matter
    from tests.shop import Clock, Shop


@pytest.fixture
def desk(room: Room, shop: Shop, clock: Clock) -> TroubleDesk:
    return TroubleDesk(room, shop, clock)


@pytest.fixture
def planner(desk: TroubleDesk) -> int:
    return desk.letters.hire("P1")


def only(desk: TroubleDesk) -> Matter:
    (found,) = desk.standing()
    return found


def keys(desk: TroubleDesk) -> list[str]:
    return [one.key for one in desk.standing()]


def kinds(desk: TroubleDesk) -> list[MatterKind]:
    return [one.kind for one in desk.standing()]


# --- What is out --------------------------------------------------------------------------------------------


def test_a_quiet_room_has_no_matters(desk: TroubleDesk) -> None:
    item, _ = desk.item()
    desk.lend(item)
    assert desk.standing() == []


def test_a_hold_is_a_matter_while_the_item_is_out(desk: TroubleDesk) -> None:
    item, tag = desk.item()
    line = desk.lend(item, TODAY + timedelta(days=7))
    hold = desk.hold(item)

    found = only(desk)
    assert (found.key, found.head, found.owners, found.day) == (
        f"hold {hold}",
        show_tag(tag),
        (desk.fitter,),
        TODAY,
    )
    assert found.sentence == "On hold since 13 May 2026 (damaged): Relief valve leaks"
    assert found.where == "with Fin Fitter for job J-1, due back 20 May 2026"
    desk.take_back(line)
    assert desk.standing() == []


def test_a_hold_for_no_cause_of_its_own_gives_its_reason_alone(desk: TroubleDesk) -> None:
    item, _ = desk.item()
    desk.lend(item)
    desk.hold(item, cause="other")
    assert only(desk).sentence == "On hold since 13 May 2026: Relief valve leaks"


def test_a_hold_on_what_is_in_and_one_that_was_released_are_no_matters(desk: TroubleDesk) -> None:
    (shelved, _), (out, _) = desk.item(), desk.item()
    desk.lend(out)
    desk.hold(shelved)
    desk.release(desk.hold(out))
    assert desk.standing() == []


def test_a_hold_is_passed_on_by_the_days_it_stands_at_the_site(desk: TroubleDesk) -> None:
    item, _ = desk.item()
    desk.lend(item)
    desk.hold(item)
    levels = []
    # 22:59 and 23:00 of 19 May in Chicago, as UTC; the seventh day begins at midnight, 05:00 UTC.
    for moment in (datetime(2026, 5, 20, 4, 59, tzinfo=UTC), datetime(2026, 5, 20, 5, 0, tzinfo=UTC)):
        desk.clock.now = moment
        levels.append(only(desk).level)
    desk.clock.pass_by(days=7)
    assert [*levels, only(desk).level] == [0, 1, 2]


def test_what_went_out_on_hold_is_passed_on_by_the_days_it_has_been_out(desk: TroubleDesk) -> None:
    """The counter does not let it; a sheet of loans that was read later may show it."""
    item, _ = desk.item()
    desk.hold(item, opened_at=NOON - timedelta(days=20))
    desk.lend(item)
    assert (only(desk).level, only(desk).day) == (0, TODAY)


def test_what_is_late_back_is_a_matter_from_the_day_after(desk: TroubleDesk) -> None:
    item, _ = desk.item()
    line = desk.lend(item, TODAY)
    assert desk.standing() == []
    desk.clock.pass_by(days=1)
    found = only(desk)
    assert (found.key, found.level, found.sentence) == (
        f"late {line}",
        0,
        "Was to be back 13 May 2026: 1 day late",
    )
    desk.clock.pass_by(days=6)
    assert (only(desk).level, only(desk).sentence) == (1, "Was to be back 13 May 2026: 7 days late")
    desk.clock.pass_by(days=7)
    assert only(desk).level == 2
    desk.take_back(line)
    assert desk.standing() == []


def test_a_recall_counts_what_it_holds_here_and_how_much_of_it_is_out(desk: TroubleDesk) -> None:
    recall = desk.recall()
    assert desk.standing() == []
    south = desk.shop.site("SOUTH")
    for site, out in ((desk.site, True), (desk.site, False), (desk.site, False), (south, False)):
        item, _ = desk.item(site)
        if out:
            desk.lend(item)
        desk.hold(item, cause="recall", recall_id=recall)

    assert kinds(desk) == [MatterKind.RECALL, MatterKind.HOLD]
    found = desk.standing()[0]
    assert (found.key, found.where) == (f"recall {recall}", "3 items are on hold for it here, 1 of them out")
    assert found.sentence == "Recalled on 13 May 2026 (Maker's notice 4 of May): Relief valve may stick"
    desk.change(records.RecallRow, recall, ended_at=NOON, end_reason="All were changed")
    assert kinds(desk) == [MatterKind.HOLD]


def test_what_was_cleared_of_a_recall_is_not_counted_for_it(desk: TroubleDesk) -> None:
    recall = desk.recall()
    holds = [desk.hold(desk.item()[0], cause="recall", recall_id=recall) for _ in range(2)]
    desk.release(holds[0])
    assert only(desk).where == "1 item is on hold for it here, 0 of them out"
    desk.release(holds[1])
    assert desk.standing() == []


def test_a_failed_calibration_says_how_many_joints_it_may_have_touched(desk: TroubleDesk) -> None:
    item, _ = desk.item()
    review = desk.review(item, joints=3)

    found = only(desk)
    assert (found.key, found.where) == (
        f"failed {review}",
        "3 joints may be affected, 3 to decide by 27 May 2026",
    )
    desk.change(records.ImpactReviewRow, review, closed_at=NOON, summary="Nothing was out of tolerance")
    assert desk.standing() == []


def test_every_site_has_its_own_matters_and_the_urgent_come_first(desk: TroubleDesk) -> None:
    late, _ = desk.item()
    desk.lend(late, TODAY - timedelta(days=3))
    item, _ = desk.item()
    desk.review(item)
    held, _ = desk.item()
    desk.lend(held)
    desk.hold(held)
    elsewhere, _ = desk.item(desk.shop.site("SOUTH"))
    desk.lend(elsewhere, TODAY - timedelta(days=9))

    assert kinds(desk) == [MatterKind.HOLD, MatterKind.FAILED, MatterKind.LATE]


# --- What is reserved ---------------------------------------------------------------------------------------


def test_a_kit_is_ready_when_all_of_it_is_in_the_room_and_in_order(desk: TroubleDesk, planner: int) -> None:
    (one, tag), (two, other) = desk.item(), desk.item()
    for item in (one, two):
        desk.reserve(item, planner)
    found = only(desk)
    assert (found.key, found.head) == (f"ready {desk.job} 2026-05-14T0500Z", "job J-1")
    assert found.what == "from 14 May 2026 00:00"
    assert (found.where, found.owners) == (f"{show_tag(tag)}, {show_tag(other)}", (planner,))

    hold = desk.hold(two)
    assert kinds(desk) == [MatterKind.AGAINST]
    desk.release(hold)
    assert kinds(desk) == [MatterKind.READY]
    desk.lend(one)
    assert desk.standing() == []


@pytest.mark.parametrize(("hours", "is_told"), [(25, False), (24, True), (-24, True), (-25, False)])
def test_a_kit_is_ready_within_a_day_of_its_start(
    desk: TroubleDesk, planner: int, hours: int, *, is_told: bool
) -> None:
    item, _ = desk.item()
    desk.reserve(item, planner, hours)
    assert bool(desk.standing()) is is_told


def test_a_kit_of_which_one_was_sent_away_is_not_ready(desk: TroubleDesk, planner: int) -> None:
    (one, _), (two, _) = desk.item(), desk.item()
    for item in (one, two):
        desk.reserve(item, planner)
    sent = {"errand": "repair", "sent_to": "Works", "sent_at": NOON - timedelta(days=1)}
    desk.shop.put(records.AwayRow, client_id="away", item_id=one, **sent)
    assert MatterKind.READY not in kinds(desk)


def test_a_kit_of_which_one_is_out_for_another_job_is_not_ready(desk: TroubleDesk, planner: int) -> None:
    """To be back before it is wanted, it does not stand against the reservation; but it is not in."""
    item, _ = desk.item()
    desk.reserve(item, planner, hours=20)
    desk.job = desk.shop.job(desk.site, "J-2")
    desk.lend(item, TODAY)
    assert desk.standing() == []


def test_what_stands_against_a_reservation_is_one_matter_for_each_sentence(
    desk: TroubleDesk, planner: int
) -> None:
    item, tag = desk.item()
    number = desk.reserve(item, planner, hours=200)
    first = desk.hold(item)
    desk.hold(item, reason="Gauge glass broken")

    found = desk.standing()
    assert [(one.kind, one.number, one.head) for one in found] == [
        (MatterKind.AGAINST, number, show_tag(tag))
    ] * 2
    assert {one.sentence for one in found} == {
        "On hold since 13 May 2026: Relief valve leaks",
        "On hold since 13 May 2026: Gauge glass broken",
    }
    before = {one.key for one in found}
    desk.release(first)
    assert only(desk).key in before


def test_what_is_reserved_for_after_four_weeks_can_wait_for_the_letter(
    desk: TroubleDesk, planner: int
) -> None:
    item, _ = desk.item()
    desk.reserve(item, planner, hours=28 * 24 + 1)
    desk.hold(item)
    assert desk.standing() == []


@pytest.mark.parametrize(
    ("day", "fetched_by", "is_told"),
    [
        # From Wednesday: the next working day is Thursday; from Friday it is Monday.
        (0, datetime(2026, 5, 15, 4, 59, tzinfo=UTC), True),
        (0, datetime(2026, 5, 15, 5, 1, tzinfo=UTC), False),
        (2, datetime(2026, 5, 19, 4, 59, tzinfo=UTC), True),
        (2, datetime(2026, 5, 19, 5, 1, tzinfo=UTC), False),
    ],
)
def test_it_is_said_when_a_reservation_runs_out_by_the_next_working_day(
    desk: TroubleDesk, planner: int, day: int, fetched_by: datetime, *, is_told: bool
) -> None:
    item, _ = desk.item()
    number = desk.reserve(item, planner, hours=100, expires_at=fetched_by)
    desk.clock.pass_by(days=day)
    assert keys(desk) == ([f"expires {number}"] if is_told else [])


def test_what_was_fetched_does_not_run_out(desk: TroubleDesk, planner: int) -> None:
    item, _ = desk.item()
    desk.reserve(item, planner, hours=100, expires_at=NOON + timedelta(hours=12))
    desk.lend(item)
    assert desk.standing() == []


def test_what_was_given_up_is_told_for_a_week(desk: TroubleDesk, planner: int) -> None:
    item, _ = desk.item()
    ended: dict[str, Any] = {"ended_at": NOON, "end_reason": "not fetched by 13 May 2026 12:00"}
    number = desk.reserve(item, planner, **ended)
    desk.reserve(item, planner, **(ended | {"end_reason": "Joint taken out of the plan"}))

    assert keys(desk) == [f"ended {number}"]
    assert only(desk).sentence == "Not fetched: given up 13 May 2026 12:00."
    desk.clock.pass_by(days=7)
    assert desk.standing() == []
