"""Ranking of kits, what keeps a wrench off a joint, and what to hire: by their tables."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from fleet.bolting.figures import Units
from fleet.bolting.parts import Kind
from fleet.refusals import NotPossible
from fleet.rules.kit_search import (
    FAR,
    Hire,
    Limits,
    Offer,
    Ranked,
    Tally,
    WrenchSize,
    asked_margin,
    choose,
    days_to,
    kept_out,
    oversize,
    right_drive,
    say_due,
    say_hire,
    say_tally,
    strong_enough,
)

TODAY = date(2026, 5, 13)
INCH = 25.4
FLATS = 60.325
SQUARE = WrenchSize("square drive", INCH, None, 80.0, 150.0, 5.0)
LINK = WrenchSize("ratchet link", None, FLATS, 40.0, 160.0, 4.0)


def offer(number: int, days: int | None = 100, shelf: str | None = "A", *, at_job: bool = False) -> Offer:
    due = None if days is None else TODAY + timedelta(days=days)
    left = days_to(due, TODAY)
    return Offer(number, f"1{number:04}", "pump", shelf, due, at_job=at_job, kept=at_job, days=left)


# --- Margin and strength ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("percent", "share"), [(0, 0.0), (10, 0.1), (90, 0.9)])
def test_a_margin_is_a_share_of_what_is_given(percent: float, share: float) -> None:
    assert asked_margin(percent) == share


@pytest.mark.parametrize("percent", [-0.1, 90.1, 100, float("nan"), float("inf")])
def test_what_is_no_margin_is_refused(percent: float) -> None:
    with pytest.raises(NotPossible, match=r"makes no sense: give one from 0 to 90 %\."):
        asked_margin(percent)


@pytest.mark.parametrize(("given", "enough"), [(2000.0, True), (1999.9, False), (2000.1, True)])
def test_a_tenth_of_what_is_given_must_be_left(given: float, enough: bool) -> None:
    assert strong_enough(given, 1800.0, 0.1) is enough


@pytest.mark.parametrize(("strength", "percent"), [(1500.0, 0), (1514.9, 0), (1515.0, 1), (3000.0, 100)])
def test_oversize_is_told_in_whole_per_cent(strength: float, percent: int) -> None:
    assert oversize(strength, 1500.0) == percent


# --- What gets at the joint ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("size", "limits", "right"),
    [
        (SQUARE, Limits(), True),
        (LINK, Limits(), True),
        (SQUARE, Limits(head="square drive"), True),
        (SQUARE, Limits(head="ratchet link"), False),
        (LINK, Limits(head="square drive"), False),
        (SQUARE, Limits(drive_mm=25.69), True),
        (SQUARE, Limits(drive_mm=25.71), False),
        (LINK, Limits(drive_mm=INCH), False),
        (WrenchSize("square drive", None, None, None, None, None), Limits(), False),
        (WrenchSize("ratchet link", None, 60.0, None, None, None), Limits(), False),
        (WrenchSize("ratchet link", None, None, None, None, None), Limits(), False),
    ],
)
def test_right_head_and_drive(size: WrenchSize, limits: Limits, right: bool) -> None:
    assert right_drive(size, limits, FLATS) is right


@pytest.mark.parametrize(
    ("limits", "why"),
    [
        (Limits(), None),
        (Limits(widest_mm=80.0, highest_mm=150.0, heaviest_kg=5.0), None),
        (Limits(widest_mm=79.9), "too wide"),
        (Limits(highest_mm=149.9), "too high"),
        (Limits(heaviest_kg=4.9), "too heavy"),
    ],
)
def test_what_keeps_a_wrench_off(limits: Limits, why: str | None) -> None:
    assert kept_out(SQUARE, limits) == why


def test_a_size_that_is_not_on_record_does_not_count_as_fitting() -> None:
    bare = WrenchSize("square drive", INCH, None, None, None, None)
    assert kept_out(bare, Limits()) is None
    assert kept_out(bare, Limits(widest_mm=500.0)) == "with no width on record"
    assert kept_out(bare, Limits(highest_mm=500.0)) == "with no height on record"
    assert kept_out(bare, Limits(heaviest_kg=500.0)) == "with no weight on record"


# --- Choosing pieces ----------------------------------------------------------------------------------------


def test_the_latest_due_day_goes_before_fewer_moves() -> None:
    wrench = offer(1, 50, "A")
    days, moves, picked = choose(wrench, [[offer(2, 20, "A"), offer(3, 40, "B")]]) or (0, 0, ())
    assert (days, moves, [one.id for one in picked]) == (40, 2, [1, 3])


def test_what_is_due_after_the_wrench_is_as_good_as_never_due() -> None:
    wrench = offer(1, 50, "A")
    found = choose(wrench, [[offer(2, None, "B"), offer(3, 60, "A")], [offer(4, 50, None)]])
    assert found is not None
    assert (found[0], found[1], [one.id for one in found[2]]) == (50, 2, [1, 3, 4])


def test_what_is_at_the_job_need_not_be_moved() -> None:
    wrench = offer(1, None, "A", at_job=True)
    found = choose(wrench, [[offer(2, None, "A"), offer(3, None, None, at_job=True)]])
    assert found is not None
    # Beside a wrench that is at the job, its shelf is of no use.
    assert (found[0], found[1], found[2][1].id) == (FAR, 0, 3)
    assert (choose(wrench, [[offer(2, None, "A")]]) or (0, 0))[1] == 1


def test_pieces_of_no_shelf_lie_beside_nothing() -> None:
    assert (choose(offer(1, None, None), [[offer(2, None, None)]]) or (0, 0))[1] == 2


def test_no_piece_fills_two_roles_and_none_is_left_empty() -> None:
    wrench, one = offer(1), offer(2)
    assert choose(wrench, [[one], [one]]) is None
    assert choose(wrench, [[one], []]) is None
    assert choose(wrench, [[wrench]]) is None
    both = choose(wrench, [[one, offer(3)], [one, offer(3)]])
    assert both is not None
    assert {piece.id for piece in both[2]} == {1, 2, 3}


def test_rank_is_oversize_then_days_then_moves_then_tags() -> None:
    a, b = (offer(1),), (offer(2),)
    best = [
        Ranked(5, 10, 5, a),
        Ranked(6, 90, 3, a),
        Ranked(6, 80, 1, a),
        Ranked(6, 80, 2, a),
        Ranked(6, 80, 2, b),
    ]
    mixed = [best[at] for at in (3, 0, 4, 2, 1)]
    assert sorted(mixed, key=lambda one: one.key) == best


# --- When there is none -------------------------------------------------------------------------------------


def test_tallies_read_as_people_say_them() -> None:
    many = Tally(Kind.WRENCH, "of the right drive", 14, (("too weak", 9), ("reserved", 3)))
    assert say_tally(many) == "14 wrenches of the right drive: 9 too weak, 3 reserved."
    assert say_tally(Tally(Kind.PUMP, "", 1, (("free", 1),))) == "1 pump: 1 free."
    assert say_tally(Tally(Kind.SOCKET, "for this nut", 0, ())) == "No socket for this nut at this site."


def test_due_days_are_told_one_by_one_or_as_a_span() -> None:
    days = [TODAY + timedelta(days=one) for one in range(-1, 4)]
    assert say_due({days[0]: 2, days[1]: 1, days[2]: 2}, TODAY) == [
        ("overdue", 2),
        ("falls due on 13 May 2026", 1),
        ("fall due on 14 May 2026", 2),
    ]
    assert [said for said, _ in say_due(dict.fromkeys(days[1:4], 1), TODAY)][-1] == "falls due on 15 May 2026"
    assert say_due(dict.fromkeys(days[1:], 1), TODAY) == [("fall due between 13 May 2026 and 16 May 2026", 4)]


@pytest.mark.parametrize(
    ("kind", "count", "figures", "said"),
    [
        (
            Kind.WRENCH,
            1,
            {"needed_nm": 9395.0, "drive_mm": 38.1},
            "one 1 1/2 in square drive wrench giving at least 9,400 N·m at 700 bar",
        ),
        (
            Kind.WRENCH,
            2,
            {"needed_nm": 900.0, "flats_mm": 55.0},
            "two ratchet link wrenches for 55 mm (2 3/16 in) across flats giving at least 900 N·m at 700 bar",
        ),
        (
            Kind.WRENCH,
            1,
            {"needed_nm": 900.0},
            "one hydraulic torque wrench giving at least 900 N·m at 700 bar",
        ),
        (
            Kind.SOCKET,
            7,
            {"drive_mm": 38.1, "flats_mm": 55.0},
            "7 impact sockets of 55 mm (2 3/16 in) across flats for a 1 1/2 in drive",
        ),
        (
            Kind.PUMP,
            1,
            {"coupling": "A 3/8"},
            "one pump with a relief setting of at most 700 bar, with couplings A 3/8",
        ),
        (Kind.HOSE, 6, {"coupling": "A 3/8"}, "six twin-line hoses for 700 bar, with couplings A 3/8"),
        (Kind.GAUGE, 1, {}, "one gauge with a range of at least 700 bar"),
    ],
)
def test_what_to_hire_is_said_with_its_days(
    kind: Kind, count: int, figures: dict[str, float], said: str
) -> None:
    asked = Hire(kind, count, date(2026, 5, 4), date(2026, 5, 9), **figures)  # type: ignore[arg-type]
    assert say_hire(asked, Units("bar", "N·m")) == f"{said}, from 4 May 2026 to 9 May 2026"
