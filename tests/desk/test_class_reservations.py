"""Reservations of a class, and reservations that change: swapped, extended, split."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest
from sqlalchemy import select

from fleet import records
from fleet.bolting.parts import Kind
from fleet.desk import reserved
from fleet.desk.holds import open_hold
from fleet.desk.loans import IssueSlip, issue
from fleet.desk.reserved import Changed, ChangeSlip
from fleet.ledgers.strengths import rate_items
from fleet.lists.reservations import reservations
from fleet.refusals import NotAllowed, NotFound, NotPossible
from fleet.rules.conditions import HoldCause
from fleet.rules.item_classes import Wanted, make_class
from tests.board import Board, after
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from fleet.lists.reservations import ReservationLine

WRENCH = Wanted(Kind.WRENCH)
WHY = "The other one is needed elsewhere"


def wrench(board: Board, torque_nm: float, drive_mm: float = 25.4) -> tuple[int, str]:
    """A calibrated wrench that gives this torque."""
    model = board.shop.model("wrench", drive_mm=drive_mm)
    item, tag = board.shop.item(model, board.site)
    board.shop.chart(model, [(20.0, torque_nm / 3.5), (70.0, torque_nm)], item)
    board.shop.did(item, board.task, TODAY - timedelta(days=30))
    with board.room.act() as db:
        rate_items(db, [item])
    return item, tag


def change(board: Board, act: str, by: str = "P1", **slip: Any) -> Changed:  # noqa: ANN401  Any field.
    asked = replace(ChangeSlip("c1", board.tag, "J-1", WHY), **slip)
    what = getattr(reserved, act)
    changed: Changed = board.act(lambda db, actor, now: what(db, asked, by=actor, now=now), by)
    return changed


def lines(board: Board) -> list[ReservationLine]:
    with board.room.look() as db:
        return reservations(db, since=NOON - timedelta(days=99))


def rows(board: Board) -> list[Any]:
    with board.room.look() as db:
        found = select(records.ReservationRow.__table__).order_by(records.ReservationRow.id)
        return list(db.execute(found))


def entries(board: Board) -> list[str]:
    with board.room.look() as db:
        return list(db.execute(select(records.EntryRow.act).order_by(records.EntryRow.seq)).scalars())


# --- Any of a class -----------------------------------------------------------------------------------------


def test_the_room_chooses_the_one_with_the_least_oversize(board: Board) -> None:
    for torque_nm in (5000.0, 3000.0, 4000.0):
        wrench(board, torque_nm)
    asked = make_class(Kind.WRENCH, {"at_least": "2900 N·m"})
    strengths = []
    for number in range(3):
        (verdict,) = board.reserve(f"v{number}", items=(), any_of=asked).verdicts
        with board.room.look() as db:
            found = select(records.ItemRow.strength).where(records.ItemRow.tag == verdict.tag)
            strengths.append(db.execute(found).scalar_one())
    assert strengths == [3000.0, 4000.0, 5000.0]
    assert {line.any_of for line in lines(board)} == {"wrench; at least 2900 N·m"}
    with pytest.raises(NotPossible, match=r"NORTH has 3 like this \(.*\), and none of them is free and in"):
        board.reserve("v9", items=(), any_of=asked)


def test_several_of_a_class_are_all_kept_or_none(board: Board) -> None:
    board.good()
    with pytest.raises(NotPossible, match="and only 2 of them are free"):
        board.reserve(items=(), any_of=WRENCH, count=3)
    assert lines(board) == []

    kept = board.reserve(items=(), any_of=WRENCH, count=2)

    assert sorted(v.tag for v in kept.verdicts) == sorted(line.tag for line in lines(board))
    again = board.reserve(items=(), any_of=WRENCH, count=2)
    assert (again.again, len(lines(board))) == (True, 2)


def test_one_that_is_stopped_is_not_chosen(board: Board) -> None:
    """On hold, never calibrated, or due inside the window: one that is named may still be mended."""
    board.act(
        lambda db, actor, now: open_hold(db, board.tag, HoldCause.OTHER, "Seal weeps oil", by=actor, now=now),
        "K1",
    )
    board.shop.item(board.model, board.site)
    due, _ = board.shop.item(board.model, board.site)
    board.shop.did(due, board.task, TODAY - timedelta(days=360))
    with pytest.raises(NotPossible, match=r"has 3 like this .* none of them is free"):
        board.reserve(items=(), any_of=WRENCH)
    _, good = board.good()
    (verdict,) = board.reserve(items=(), any_of=WRENCH).verdicts
    assert verdict.tag == good


def test_a_class_that_is_not_there_is_said(board: Board) -> None:
    with pytest.raises(NotPossible, match="NORTH has nothing like this: pump; at least 700 bar"):
        board.reserve(items=(), any_of=make_class(Kind.PUMP, {"at_least": "700 bar"}))
    with pytest.raises(NotFound, match="There is no wrench model 'W-9'"):
        board.reserve(items=(), any_of=make_class(Kind.WRENCH, {"model": "W-9"}))
    with pytest.raises(NotFound, match=r"There is no coupling 'Screw Z'\. Known: none"):
        board.reserve(items=(), any_of=make_class(Kind.WRENCH, {"coupling": "Screw Z"}))


# --- Another in its place -----------------------------------------------------------------------------------


def test_a_named_item_takes_the_place(board: Board) -> None:
    _, other = board.good()
    board.reserve()

    changed = change(board, "swap", instead=other)

    assert (changed.was, changed.tag, changed.starts_at, changed.ends_at) == (
        board.tag,
        other,
        NOON,
        after(240),
    )
    assert board.live() == [(other, "J-1", NOON, after(240))]
    old, new = rows(board)
    assert (old.end_reason, new.replaces_id, old.ended_at is not None) == (f"swapped: {WHY}", old.id, True)
    assert entries(board)[-1] == "reservation swapped"
    assert change(board, "swap", instead=other) == replace(changed, verdict=None, again=True)


def test_the_room_chooses_within_the_class(board: Board) -> None:
    strong = wrench(board, 9000.0)[1]
    board.reserve(items=(), any_of=make_class(Kind.WRENCH, {"at_least": "2000 N·m"}))
    assert [line.tag for line in lines(board)] == [board.tag]

    changed = change(board, "swap", swap=True)

    assert changed.tag == strong
    assert [line.any_of for line in lines(board)] == ["wrench; at least 2000 N·m"]


def test_without_a_class_only_the_same_model_will_do(board: Board) -> None:
    wrench(board, 9000.0)
    board.reserve()
    with pytest.raises(
        NotPossible, match=r"Nothing was changed: nothing else like this .wrench; model wrench"
    ):
        change(board, "swap", swap=True)
    assert [line.tag for line in lines(board)] == [board.tag]
    _, other = board.good()
    assert change(board, "swap", swap=True).tag == other


def test_what_is_taken_or_another_kind_does_not_take_the_place(board: Board) -> None:
    _, other = board.good()
    board.reserve()
    board.reserve("v2", items=(other,), job="J-2")
    pump = board.shop.item(board.shop.model("pump"), board.site)[1]
    for instead, said in (
        (other, "Nothing was changed.*Pat Planner reserved it for J-2"),
        (pump, "A pump cannot take the place of a wrench"),
        (board.tag, "cannot take its own place"),
    ):
        with pytest.raises(NotPossible, match=said):
            change(board, "swap", instead=instead)
    assert [line.tag for line in lines(board)] == [board.tag, other]


def test_what_was_fetched_is_taken_back_before_it_is_swapped(board: Board) -> None:
    board.good()
    board.reserve()
    slip = IssueSlip("i1", (board.tag,), "F1", "J-1", TODAY + timedelta(days=2))
    board.act(lambda db, actor, now: issue(db, slip, by=actor, now=now), "K1")
    with pytest.raises(NotPossible, match="is out for J-1: take it back first"):
        change(board, "swap", swap=True)


# --- Longer, and in two -------------------------------------------------------------------------------------


def test_a_reservation_is_extended_where_the_item_is_free(board: Board) -> None:
    board.reserve(ends_at=after(48))
    board.reserve("v2", job="J-2", starts_at=after(72), ends_at=after(96))

    assert change(board, "extend", until=after(72)).ends_at == after(72)
    with pytest.raises(NotPossible, match="Pat Planner reserved it for J-2"):
        change(board, "extend", client_id="c2", until=after(73))
    with pytest.raises(NotPossible, match="It is reserved until 16 May 2026 12:00 already"):
        change(board, "extend", client_id="c3", until=after(72))
    assert [(job, end) for _, job, _, end in board.live()] == [("J-1", after(72)), ("J-2", after(96))]
    assert [row.replaces_id for row in rows(board)] == [None, None, 1]


def test_one_window_becomes_two_and_the_second_goes_to_another(board: Board) -> None:
    _, other = board.good()
    board.reserve()

    change(board, "split", split_at=after(100), swap=True)

    assert board.live() == [(board.tag, "J-1", NOON, after(100)), (other, "J-1", after(100), after(240))]
    with pytest.raises(NotPossible, match="Split it at a time that is still ahead"):
        change(board, "split", client_id="c2", split_at=after(100))


def test_which_of_two_reservations_is_meant_must_be_said(board: Board) -> None:
    board.reserve()
    change(board, "split", split_at=after(100))
    with pytest.raises(
        NotPossible, match=r"Say with --number which reservation .*: 2 from 13 May 2026 12:00, 3"
    ):
        change(board, "extend", client_id="c2", until=after(300))
    assert change(board, "extend", client_id="c2", until=after(300), number=3).ends_at == after(300)


@pytest.mark.parametrize("act", ["swap", "extend", "split"])
def test_only_planners_and_keepers_change_and_only_with_a_reason(board: Board, act: str) -> None:
    board.reserve()
    with pytest.raises(NotAllowed):
        change(board, act, by="S1")
    with pytest.raises(NotPossible, match="Write down why"):
        change(board, act, reason="so", until=after(300), split_at=after(3))
    with pytest.raises(NotPossible, match="is not reserved for J-2"):
        change(board, act, job="J-2")
