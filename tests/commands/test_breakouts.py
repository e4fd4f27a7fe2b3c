"""Breakouts, as they are typed: at the return, by themselves, and what they say the next time."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import pytest

from fleet import records
from fleet.measures.tags import show_tag
from tests.shop import NOON

if TYPE_CHECKING:
    from tests.commands.typed import Desk


@pytest.fixture
def flange(desk: Desk) -> str:
    """A wrench, and the joint F-1 in the jobs J-1 and J-2; answers the wrench's tag."""
    second = desk.shop.job(desk.site, "J-2", starts_at=NOON + timedelta(days=3000))
    for job in (desk.job, second):
        desk.shop.put(
            records.JointRow,
            job_id=job,
            mark="F-1",
            bolts=12,
            thread="M36",
            nut_series="iso",
            torque_written="1,000 N·m",
            torque_nm=1000.0,
        )
    return desk.wrench()


def test_a_return_with_breakouts(desk: Desk, flange: str) -> None:
    desk.type("issue", flange, "--to", "F1", "--job", "J-1", "--back", str(desk.day(2)), "--yes")

    answer = desk.type(
        "return", flange, "-c", "4", "--breakout", "F-1=40 MPa", "--breakout", "F-1 = 1500 N·m"
    )

    assert (answer.code, answer.err) == (0, "")
    assert "  Breakout 1 at F-1: 885.1 lbf·ft, read at 40 MPa, 1.20 × its target torque.\n" in answer.out
    assert "  Breakout 2 at F-1: 1500 N·m, 1.50 × its target torque.\n" in answer.out


def test_breakouts_belong_to_one_wrench_and_name_their_joint(desk: Desk, flange: str) -> None:
    other = desk.wrench()
    desk.type("issue", flange, other, "--to", "F1", "--job", "J-1", "--back", str(desk.day(2)), "--yes")

    assert "belongs to one wrench" in desk.refused(
        "return", flange, other, "-c", "4", "--breakout", "F-1=40 MPa"
    )
    assert "write it like 'F-1=6200 psi'" in desk.refused("return", flange, "-c", "4", "--breakout", "40 MPa")
    assert "neither a torque nor" in desk.refused("return", flange, "-c", "4", "--breakout", "F-1=hard")
    assert "J-1 has no joint 'F-7'" in desk.refused("return", flange, "-c", "4", "--breakout", "F-7=40 MPa")


def test_a_breakout_by_itself_and_withdrawn(desk: Desk, flange: str) -> None:
    words = ("breakout", "add", "f-1", "1,900 N·m", "--job", "j-1", "--item", flange, "--id", "b1")
    answer = desk.type(*words)
    assert (answer.code, answer.out) == (
        0,
        "Breakout 1 at F-1: 1,900 N·m, 1.90 × its target torque.\n",
    )
    assert "It had been recorded before." in desk.type(*words).out
    assert "is not a keeper" in desk.type("breakout", "add", "F-1", "1 N·m", "-j", "J-1", by="P1").err
    desk.type("breakout", "add", "F-1", "1300 N·m", "--job", "J-1", "--note", "Multiplier")

    taken = desk.type("breakout", "withdraw", "1", "--reason", "Wrong gauge was read")

    assert taken.out == "Entry 3 withdraws breakout 1, which counts for nothing now.\n"
    assert "already withdrawn" in desk.refused(
        "breakout", "withdraw", "1", "--reason", "Wrong gauge was read"
    )
    shown = desk.type("breakout", "list", "--joint", "F-1").out
    assert show_tag(flange) in shown
    assert "withdrawn by 3" in shown
    assert "withdraws 1: Wrong gauge was read" in shown
    found = desk.type("breakout", "list", "--site", "north", "--json").json
    assert [(line["entry"], line["torque_nm"], line["withdrawn_by"]) for line in found] == [
        (1, 1900.0, 3),
        (2, 1300.0, None),
        (3, 1900.0, None),
    ]


def test_nothing_measured_is_said(desk: Desk) -> None:
    assert desk.type("breakout", "list").out == "No breakout was measured yet.\n"


def test_the_next_job_is_told_what_was_measured(desk: Desk, flange: str) -> None:
    for reading in ("1300 N·m", "1500 N·m", "1,400 N·m"):
        desk.type("breakout", "add", "F-1", reading, "--job", "J-1", "--item", flange)

    listed = desk.type("job", "J-2")
    assert "F-1: measured before: 3 times, 958.8 lbf·ft to 1,107 lbf·ft" in listed.out
    assert desk.type("job", "J-2", "--json").json["measured_before"]["F-1"]["count"] == 3

    words = ("calc", "loosen", "--joint", "J-2/F-1", "--nut-factor", "0.16")
    found = desk.type(*words, "--json").json
    assert (found["factor"], found["reason"]) == (1.5, "measured breakouts")
    assert found["tightening_torque_nm"] == pytest.approx(1000.0)
    assert found["needed_torque_nm"] == pytest.approx(1500.0)
    # Mean 1,400, s = 100, t(0.95; 2) = 2.920 of the printed tables.
    assert found["measured_before"]["bound_nm"] == pytest.approx(1400 + 2.920 * 100 * (4 / 3) ** 0.5, abs=0.1)
    shown = desk.type(*words).out
    assert "because: measured breakouts" in " ".join(shown.split())
    own = desk.type(*words, "--factor", "2", "--reason", "Rusted since then", "--json").json
    assert (own["factor"], own["needed_torque_nm"]) == (2.0, pytest.approx(2000.0))


def test_without_measurements_and_plan_a_factor_is_asked_for(desk: Desk, flange: str) -> None:
    assert flange
    words = ("calc", "loosen", "--joint", "J-2/F-1", "--nut-factor", "0.16")
    assert desk.refused(*words) == (
        "No breakout was measured at F-1 and no loosening factor is planned for it; give --factor with its "
        "--reason."
    )
    for misuse in (
        ("calc", "loosen", "-k", "0.16"),
        (*words, "--factor", "2"),
        (*words, "--reason", "Rust all over"),
    ):
        assert desk.type(*misuse).code == 2


def test_a_kit_is_held_against_the_highest_that_was_measured(desk: Desk, flange: str) -> None:
    desk.type("breakout", "add", "F-1", "1900 N·m", "--job", "J-1", "--item", flange)
    check = ("kit", "check", flange, "--job", "J-2", "--joint", "F-1", "--json")

    planned = desk.type(*check, "--loosening-factor", "1.2", "--reason", "Greased last year").json
    assert planned["check"]["kit"]["need"]["loosening_nm"] == 1900.0
    codes = [one["code"] for one in planned["check"]["kit"]["findings"]]
    assert "breakouts-above-plan" in codes

    alone = desk.type(*check).json
    assert (alone["joint"]["loosening_factor"], alone["joint"]["loosening_reason"]) == (
        1.9,
        "measured breakouts",
    )
    shown = desk.type(*check[:-1]).out
    assert "Measured before" in shown
    assert "once, at 1,402 lbf·ft" in shown
