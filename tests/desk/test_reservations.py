"""Keeping items for a job: nobody has the same item for the same time, however many ask at once."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import func, select

from fleet import records
from fleet.desk.holds import open_hold
from fleet.desk.loans import IssueSlip, issue
from fleet.desk.upkeep import retire
from fleet.measures.times import read_moment, zone
from fleet.refusals import NotAllowed, NotFound, NotPossible
from fleet.rules.conditions import HoldCause
from tests.board import Board, after
from tests.shop import NOON, TODAY, ZONE

if TYPE_CHECKING:
    from fleet.desk.reservations import Reserved


def sentences(kept: Reserved) -> list[str]:
    return [finding.sentence for verdict in kept.verdicts for finding in verdict.findings]


# --- Kept, and for whom -------------------------------------------------------------------------------------


def test_an_item_is_kept_for_the_window_of_its_job(board: Board) -> None:
    kept = board.reserve()

    assert (kept.job, kept.starts_at, kept.ends_at, sentences(kept)) == ("J-1", NOON, after(240), [])
    assert board.live() == [(board.tag, "J-1", NOON, after(240))]


def test_who_has_it_is_named(board: Board) -> None:
    board.reserve()

    with pytest.raises(
        NotPossible,
        match=r"Nothing was reserved\. .*: Pat Planner reserved it for J-1 from 13 May 2026 to 23 May 2026\.",
    ):
        board.reserve("v2", job="J-2")

    assert [job for _, job, _, _ in board.live()] == ["J-1"]


def test_one_that_is_taken_keeps_the_whole_slip_from_being_kept(board: Board) -> None:
    _, other = board.good()
    board.reserve()

    with pytest.raises(NotPossible, match="Nothing was reserved"):
        board.reserve("v2", job="J-2", items=(other, board.tag))

    assert [tag for tag, *_ in board.live()] == [board.tag]


def test_one_job_may_begin_at_the_minute_in_which_another_ends(board: Board) -> None:
    """Windows are half open, so that minute belongs to the second job only; both lie on the same day."""
    board.reserve(starts_at=after(-4), ends_at=after(2))

    board.reserve("v2", job="J-2", starts_at=after(2), ends_at=after(4))
    with pytest.raises(NotPossible, match="Pat Planner reserved it for J-2 from 13 May 2026 to 13 May 2026"):
        board.reserve("v3", starts_at=after(4 - 1 / 60), ends_at=after(5))

    assert [job for _, job, _, _ in board.live()] == ["J-1", "J-2"]


@settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(st.integers(1, 40), st.integers(1, 8)), min_size=2, max_size=5))
def test_what_overlaps_is_refused_and_nothing_else(board: Board, windows: list[tuple[int, int]]) -> None:
    """In half hours; the oracle counts the half hours that are taken."""
    _, tag = board.good()
    taken: set[int] = set()
    for at, (start, length) in enumerate(windows):
        half_hours = set(range(start, start + length))
        window = {"starts_at": after(start / 2), "ends_at": after((start + length) / 2)}
        slip: dict[str, Any] = {"client": f"{tag}/{at}", "items": (tag,), "job": f"J-{at % 2 + 1}", **window}
        if taken & half_hours:
            with pytest.raises(NotPossible, match="Pat Planner reserved it for J-"):
                board.reserve(**slip)
        else:
            board.reserve(**slip)
            taken |= half_hours


def test_the_same_slip_twice_keeps_once(board: Board) -> None:
    first = board.reserve()

    assert board.reserve() == replace(first, verdicts=(), again=True)
    assert len(board.live()) == 1
    with pytest.raises(NotPossible, match="The id 'v1' was used before, for something else"):
        board.reserve(job="J-2")
    board.set_free()
    with pytest.raises(NotPossible, match="set free since"):
        board.reserve()


# --- Clock changes ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("day", "hours"),
    [
        ("2026-11-01", 25),
        ("2027-03-14", 23),
        ("2027-06-01", 24),
    ],
)
def test_a_bare_day_is_kept_whole_however_long_it_is(board: Board, day: str, hours: int) -> None:
    """Clocks go back on the first Sunday of November and forward on the second of March (15 USC 260a)."""
    there = zone(ZONE)
    start, end = read_moment(day, there), read_moment(day, there, end=True)
    assert end - start == timedelta(hours=hours)

    board.reserve(starts_at=start, ends_at=end)
    for number, (starts_at, ends_at) in enumerate(((end, end + timedelta(hours=1)), (after(1), start))):
        board.reserve(f"beside{number}", job="J-2", starts_at=starts_at, ends_at=ends_at)
    with pytest.raises(NotPossible, match="reserved it for J-1"):
        board.reserve("in it", job="J-2", starts_at=end - timedelta(minutes=1), ends_at=end)


def test_the_hour_that_comes_twice_is_two_hours(board: Board) -> None:
    """01:30 comes at 06:30 UTC and at 07:30 UTC again: windows that seem to touch there overlap."""
    first, second = datetime(2026, 11, 1, 6, 30, tzinfo=UTC), datetime(2026, 11, 1, 7, 30, tzinfo=UTC)
    board.reserve(starts_at=first - timedelta(hours=1), ends_at=second)

    with pytest.raises(NotPossible, match="reserved it for J-1"):
        board.reserve("v2", job="J-2", starts_at=first, ends_at=second)
    board.reserve("v3", job="J-2", starts_at=second, ends_at=second + timedelta(hours=1))


# --- What cannot be mended refuses, what can be mended is said ----------------------------------------------


def test_what_can_still_be_mended_is_said(board: Board) -> None:
    overdue, tag = board.shop.item(board.model, board.site)
    board.shop.did(overdue, board.task, TODAY - timedelta(days=360))
    hold = (HoldCause.INSPECTION, "Crack at the drive")
    board.act(lambda db, actor, now: open_hold(db, tag, *hold, by=actor, now=now), "K1")
    slip = IssueSlip("i1", (board.tag,), "F1", "J-2", TODAY + timedelta(days=2))
    board.act(lambda db, actor, now: issue(db, slip, by=actor, now=now), "K1")

    kept = board.reserve(items=(tag, board.tag))

    assert sentences(kept) == [
        "On hold since 13 May 2026: Crack at the drive",
        "Calibration falls due 18 May 2026, inside the window.",
        "Out with Fin Fitter for J-2, to be back 15 May 2026.",
    ]


def test_what_is_out_and_back_before_is_said_too(board: Board) -> None:
    slip = IssueSlip("i1", (board.tag,), "F1", "J-2", TODAY + timedelta(days=2))
    board.act(lambda db, actor, now: issue(db, slip, by=actor, now=now), "K1")

    kept = board.reserve(starts_at=after(90), ends_at=after(100))

    assert [(f.severity, f.code) for v in kept.verdicts for f in v.findings] == [("note", "out")]


def test_what_was_never_done_is_said_as_such(board: Board) -> None:
    _, tag = board.shop.item(board.model, board.site)
    assert sentences(board.reserve(items=(tag,))) == ["Calibration was never done."]


def test_what_cannot_be_mended_refuses(board: Board) -> None:
    shop = board.shop
    south = shop.site("SOUTH")
    shop.task("replacement", "hose", every_months=72, counts_from="assembly", stop="hard")
    _, old = shop.item(shop.model("hose"), board.site, assembled_on=TODAY - timedelta(days=6 * 365))
    _, elsewhere = shop.item(board.model, south)
    _, unrated = shop.item(shop.model("coupler", None, mwp_advance_mpa=None), board.site)
    _, gone = board.good()
    board.act(lambda db, actor, now: retire(db, gone, "Drive worn beyond repair", by=actor, now=now), "K1")

    for tag, said in (
        (old, "Replacement falls due 14 May 2026, inside the window"),
        (elsewhere, "Belongs to SOUTH, not to NORTH"),
        (unrated, "The maximum working pressure of its advance line is not on record"),
        (gone, "Retired on 13 May 2026"),
    ):
        with pytest.raises(NotPossible, match=f"Nothing was reserved.*{said}"):
            board.reserve(items=(tag,))
    assert board.live() == []


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"starts_at": after(5), "ends_at": after(5)}, "The window ends before it starts"),
        ({"starts_at": after(5), "ends_at": after(4)}, "The window ends before it starts"),
        ({"starts_at": after(-5), "ends_at": NOON}, "The window has already passed"),
    ],
)
def test_a_window_that_makes_no_sense_is_refused(board: Board, changed: dict[str, Any], said: str) -> None:
    with pytest.raises(NotPossible, match=said):
        board.reserve(**changed)


def test_unknown_words_and_doubled_items_are_named(board: Board) -> None:
    with pytest.raises(NotFound, match="There is no job 'J-9'"):
        board.reserve(job="J-9")
    with pytest.raises(NotFound, match="J-1 has no joint 'F-1'"):
        board.reserve(joint="F-1")
    with pytest.raises(NotPossible, match="The same item was named twice"):
        board.reserve(items=(board.tag, board.tag))


# --- Set free -----------------------------------------------------------------------------------------------


def test_what_is_set_free_can_be_kept_again(board: Board) -> None:
    board.reserve()

    assert board.set_free() == board.tag

    assert board.live() == []
    board.reserve("v2", job="J-2")
    assert [job for _, job, _, _ in board.live()] == ["J-2"]
    with board.room.look() as db:
        kept = select(func.count(records.ReservationRow.id), func.count(records.ReservationRow.end_reason))
        assert db.execute(kept).one() == (2, 1)


def test_nothing_is_set_free_that_is_not_kept_or_without_a_reason(board: Board) -> None:
    with pytest.raises(NotPossible, match="is not reserved for J-1"):
        board.set_free()
    board.reserve()
    with pytest.raises(NotPossible, match="is not reserved for J-2"):
        board.set_free("J-2")
    with pytest.raises(NotPossible, match="Write down why it is set free"):
        board.set_free(reason="done")
    assert len(board.live()) == 1


@pytest.mark.parametrize("badge", ["S1", "F1"])
def test_only_planners_and_keepers_keep_and_set_free(board: Board, badge: str) -> None:
    with pytest.raises(NotAllowed, match="is not a planner or keeper at North tool room"):
        board.reserve(by=badge)
    board.reserve(by="K1")
    with pytest.raises(NotAllowed, match="is not a planner or keeper at North tool room"):
        board.set_free(by=badge)


# --- All at once --------------------------------------------------------------------------------------------
