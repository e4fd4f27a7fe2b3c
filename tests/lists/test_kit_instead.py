"""The kit is too weak: the smallest wrench of the site that would do, with its socket, or what to hire."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING, NamedTuple

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import update

from fleet import records
from fleet.records.base import rows_of
from tests.lists.rack import INCH, JOINT, Rack, Thing, build, codes
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Shop


@pytest.fixture
def rack(room: Room, shop: Shop) -> Rack:
    return build(room, shop)


def withdraw(rack: Rack, first: int) -> None:
    """Take this item and all that came after it out of service."""
    gone = {"retired_on": TODAY, "retired_reason": "Worn beyond repair"}
    with rack.room.act() as db:
        db.execute(update(rows_of(records.ItemRow)).where(records.ItemRow.id >= first).values(gone))


def keep(rack: Rack, thing: Thing, job_id: int) -> None:
    window = {"starts_at": NOON, "ends_at": NOON + timedelta(days=1)}
    who = {"reserved_at": NOON, "reserved_by_id": 2, "client_id": f"kept-{thing.tag}"}
    rack.shop.put(records.ReservationRow, item_id=thing.item, job_id=job_id, **who, **window)


def test_too_weak_for_loosening_names_the_smallest_that_would_do_with_its_socket(rack: Rack) -> None:
    """1,000 N·m tightened needs 1,500 N·m to loosen: it can tighten, and could not loosen again."""
    large, small = rack.wrench(4000.0, drive_mm=1.5 * INCH), rack.wrench(1900.0, drive_mm=1.5 * INCH)
    socket = rack.socket(1.5 * INCH)

    check = rack.check(wrench=rack.wrench(1400.0))

    assert not check.usable
    assert codes(check) == ["not-covered"]
    assert check.instead is not None
    assert large.tag != check.instead.tag == small.tag
    assert check.instead.socket == socket.tag
    assert check.instead.available_nm == pytest.approx(1900.0)
    assert rack.check(wrench=small, socket=socket).usable


def test_the_kits_own_socket_is_kept_even_when_it_is_reserved_for_this_job(rack: Rack) -> None:
    wrench = rack.wrench(1900.0)
    for thing in (wrench, rack.kit["socket"]):
        keep(rack, thing, job_id=1)

    instead = rack.check(wrench=rack.wrench(1400.0)).instead

    assert instead is not None
    assert (instead.tag, instead.socket) == (wrench.tag, rack.kit["socket"].tag)


def test_what_is_kept_for_another_job_is_not_offered(rack: Rack) -> None:
    free, kept = rack.wrench(1950.0), rack.wrench(1900.0)
    keep(rack, kept, job_id=2)

    instead = rack.check(wrench=rack.wrench(1400.0)).instead

    assert instead is not None
    assert instead.tag == free.tag


def test_where_none_would_do_it_says_what_to_hire(rack: Rack) -> None:
    check = rack.check(replace(JOINT, target_torque_nm=1400.0, loosening_factor=2.0))

    assert check.instead is None
    assert check.first is None
    assert check.hire is not None
    # 2,800 N·m is 2,065 lbf·ft, and nine tenths of 2,295 (NIST SP 811: 1.355 818 N·m); asked for in tens.
    assert check.hire.startswith("one 1 in square drive wrench giving at least 2,300 lbf·ft at ")


@pytest.fixture
def weak(rack: Rack) -> Rack:
    """The kit with a wrench that is too weak, no other wrench, and sockets for two of three drives."""
    withdraw(rack, rack.kit["wrench"].item)
    rack.kit["wrench"] = rack.wrench(1400.0)
    rack.socket(1.5 * INCH)
    return rack


class Offered(NamedTuple):
    """A wrench that the site has: what it gives, and whether it fits, is in date and is free of holds."""

    gives_nm: float
    drive_in: float
    fits: bool
    in_date: bool
    sound: bool


wrenches = st.builds(
    Offered,
    st.sampled_from([1300.0, 1499.0, 1500.0, 1600.0, 1667.0, 1700.0, 2500.0, 9000.0, 16000.0]),
    st.sampled_from([0.75, 1.0, 1.5]),
    *(st.sampled_from([True, True, True, False]) for _ in range(3)),
)


def best_of(offered: dict[str, Offered]) -> str | None:
    """By brute force: the least that gives 1,500 N·m with a tenth of itself to spare, else without.

    One whose chart begins, at a tenth of its torque, above the target cannot be set to it.
    """
    able = [
        (one.gives_nm < 1500 / 0.9, one.gives_nm, tag)
        for tag, one in offered.items()
        if one.fits and one.in_date and one.sound and one.drive_in != 0.75 and 1500 <= one.gives_nm <= 10_000
    ]
    return min(able)[2] if able else None


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(wrenches, max_size=5))
def test_the_smallest_that_would_do_is_the_smallest_of_all(weak: Rack, offered: list[Offered]) -> None:
    if "B" not in weak.couplings:
        weak.coupling("B")
    made = {}
    for one in offered:
        drive, days = one.drive_in * INCH, 30 if one.in_date else 366
        thing = weak.wrench(one.gives_nm, "A" if one.fits else "B", drive, days)
        made[thing.tag] = one
        if not one.sound:
            cause = {"cause": "damaged", "reason": "Arm bent", "opened_at": NOON}
            weak.shop.put(records.HoldRow, item_id=thing.item, **cause)

    check = weak.check()
    withdraw(weak, max(thing.item for thing in weak.kit.values()) + 2)

    best = best_of(made)
    assert (check.instead.tag if check.instead else None) == best
    assert (check.hire is None) == (best is not None)
