"""Reservations that are given up unless fetched, and warnings about what is reserved."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest
from sqlalchemy import select

from fleet import records
from fleet.desk.holds import open_hold
from fleet.desk.loans import IssueSlip, issue
from fleet.desk.reserved import expire_reservations
from fleet.lists.reservations import warnings
from fleet.lists.sites import find_site
from fleet.refusals import NotPossible
from fleet.rules.conditions import HoldCause
from tests.board import Board, after
from tests.shop import TODAY

if TYPE_CHECKING:
    from fleet.lists.reservations import WarningLine


def told(board: Board) -> list[WarningLine]:
    with board.room.look() as db:
        return warnings(db, find_site(db, None), board.room.now(db))


def rows(board: Board) -> list[Any]:
    with board.room.look() as db:
        found = select(records.ReservationRow.__table__).order_by(records.ReservationRow.id)
        return list(db.execute(found))


def entries(board: Board) -> list[str]:
    with board.room.look() as db:
        return list(db.execute(select(records.EntryRow.act).order_by(records.EntryRow.seq)).scalars())


# --- Given up -----------------------------------------------------------------------------------------------


def expire(board: Board) -> list[str]:
    with board.room.act() as db:
        return [line.tag for line in expire_reservations(db, now=board.room.now(db))]


def test_what_nobody_fetches_is_given_up_once_and_said(board: Board) -> None:
    board.reserve(expires_at=after(24))
    assert expire(board) == []
    assert [line.matter for line in told(board)] == ["expires"]
    board.room.clock.pass_by(hours=24)  # type: ignore[attr-defined]  # The clock of the tests.

    assert expire(board) == [board.tag]
    assert expire(board) == []

    assert board.live() == []
    assert [(one.tag, one.number, one.matter) for one in told(board)] == [(board.tag, None, "ended")]
    assert told(board)[0].sentence == "Not fetched: given up 14 May 2026 12:00."
    assert entries(board).count("reservation expired") == 1
    assert [(row.end_reason, row.ended_by_id) for row in rows(board)] == [
        ("not fetched by 14 May 2026 12:00", None)
    ]


def test_what_was_fetched_in_time_stays(board: Board) -> None:
    board.reserve(expires_at=after(24))
    slip = IssueSlip("i1", (board.tag,), "F1", "J-1", TODAY + timedelta(days=2))
    board.act(lambda db, actor, now: issue(db, slip, by=actor, now=now), "K1")
    board.room.clock.pass_by(hours=25)  # type: ignore[attr-defined]  # The clock of the tests.
    assert (expire(board), len(board.live())) == ([], 1)


@pytest.mark.parametrize("hours", [-1, 0, 240, 300])
def test_an_expiry_that_does_nothing_is_refused(board: Board, hours: int) -> None:
    with pytest.raises(NotPossible, match="must say a time ahead, before its window ends"):
        board.reserve(expires_at=after(hours))


# --- Warnings -----------------------------------------------------------------------------------------------


def test_what_stands_against_it_is_said_with_a_swap(board: Board) -> None:
    _, other = board.good()
    board.reserve()
    assert told(board) == []
    board.act(
        lambda db, actor, now: open_hold(db, board.tag, HoldCause.OTHER, "Seal weeps oil", by=actor, now=now),
        "K1",
    )
    (line,) = told(board)
    assert (line.matter, line.instead, line.sentence) == (
        "on hold",
        other,
        "On hold since 13 May 2026: Seal weeps oil",
    )


def test_one_free_item_is_offered_once_for_one_time(board: Board) -> None:
    _, free = board.good()
    tags = [board.shop.item(board.model, board.site)[1] for _ in range(2)]
    for number, tag in enumerate(tags):
        board.reserve(f"v{number}", items=(tag,))
    third = board.shop.item(board.model, board.site)[1]
    board.reserve("third", items=(third,))
    offered = [line.instead for line in told(board)]
    assert sorted(filter(None, offered)) == sorted([board.tag, free])
    assert offered.count(None) == 1


def test_late_back_from_another_job_is_said(board: Board) -> None:
    slip = IssueSlip("i1", (board.tag,), "F1", "J-2", TODAY + timedelta(days=1))
    board.act(lambda db, actor, now: issue(db, slip, by=actor, now=now), "K1")
    board.reserve(starts_at=after(100))
    assert told(board) == []
    board.room.clock.pass_by(days=2)  # type: ignore[attr-defined]  # The clock of the tests.
    (line,) = told(board)
    assert (line.matter, line.sentence) == (
        "late back",
        "Out with Fin Fitter for J-2, was to be back 14 May 2026.",
    )
