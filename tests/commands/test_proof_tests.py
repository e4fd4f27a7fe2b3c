"""Proof tests, as they are typed."""

from __future__ import annotations

import shlex
from typing import TYPE_CHECKING, Any

from sqlalchemy import select

from fleet import records
from fleet.measures.tags import show_tag

if TYPE_CHECKING:
    import pytest

    from tests.commands.typed import Desk


def test_a_passed_proof_test_does_its_task(desk: Desk, hose: str, gauge: str) -> None:
    desk.type("inspect", hose, "-o", "periodic", "--all-fine")
    words = ("proof-test", hose, "--pressure", "20,000 psi", "--held", "45", "--tight", "--gauge", gauge)

    answer = desk.type(*words)

    assert answer.code == 0
    first, second, heading, *cautions = answer.out.splitlines()
    assert (first, second) == (
        f"Proof test 1 of {show_tag(hose)}: passed.",
        "  Pressure test is done.",
    )
    assert heading == "Cautions"
    assert any("maker's manual" in line for line in cautions)
    assert desk.type("due", "--json").json["lines"] == []
    assert "20,000 psi" in desk.type("proof-tests", hose).out


def test_a_failed_one_stays_in_until_a_later_one_is_passed(desk: Desk, hose: str, gauge: str) -> None:
    words = ("proof-test", hose, "--pressure", "15,000 psi", "--held", "20", "--leaks", "--gauge", gauge)

    answer = desk.type(*words)

    shown = " ".join(answer.out.split())
    assert f"Proof test 1 of {show_tag(hose)}: NOT PASSED." in shown
    assert "was held at 15,000 psi; it needs 20,000 psi." in shown
    assert "It was held for 20 seconds; it needs 30 to 60." in shown
    assert "It leaked." in shown
    stops = " ".join(desk.type("item", hose).out.split())
    assert "It failed its proof test on" in stops
    assert "On hold" in stops
    good = ("proof-test", hose, "--pressure", "20,000 psi", "--held", "45", "--tight", "--gauge", gauge)
    assert desk.type(*good, "--json").json["passed"] is True
    assert "It failed its proof test on" not in " ".join(desk.type("item", hose).out.split())
    found = desk.type("proof-tests", hose, "--json").json["proof_tests"]
    assert [(one["number"], one["passed"]) for one in found] == [(2, True), (1, False)]


PROOF = "proof-test {hose} --pressure '{pressure}' --held {held} --tight --gauge {gauge}"
PROOF_REFUSED = [
    ({"gauge": "{hose}"}, "is a hose, not a gauge"),
    ({"gauge": "{small}"}, "and cannot have shown 20,000 psi"),
    ({"gauge": "{late}"}, "The calibration of gauge"),
    ({"gauge": "{never}"}, "has no calibration on record"),
    ({"gauge": "{held_gauge}"}, "is on hold, so its reading proves nothing"),
    ({"pressure": "20,000"}, "20,000"),
    ({"pressure": "0 psi"}, "must be above zero"),
    ({"held": "4000"}, "from 0 to 3,600"),
    ({"hose": "{wrench}"}, "has no competence for proof test on a wrench"),
]


def test_a_proof_test_on_no_sound_gauge_proves_nothing(
    desk: Desk, hose: str, gauge: str, subtests: pytest.Subtests
) -> None:
    task = next(row for row in _tasks(desk) if row.kind == "gauge").id
    sound: dict[str, Any] = {"range_written": "2500 bar", "range_mpa": 250.0}
    late, late_tag = desk.shop.item(desk.shop.model("gauge", **sound), desk.site)
    desk.shop.did(late, task, desk.day(-390))
    never = desk.shop.item(desk.shop.model("gauge", **sound), desk.site)[1]
    small, small_tag = desk.shop.item(desk.shop.model("gauge"), desk.site)
    desk.shop.did(small, task, desk.day(-30))
    held, held_tag = desk.shop.item(desk.shop.model("gauge", **sound), desk.site)
    desk.shop.did(held, task, desk.day(-30))
    desk.type("hold", held_tag, "--reason", "Pointer sticks at zero")
    tags = {
        "hose": hose,
        "late": late_tag,
        "never": never,
        "small": small_tag,
        "held_gauge": held_tag,
        "wrench": desk.wrench(),
    }
    usual = {"hose": hose, "gauge": gauge, "pressure": "20,000 psi", "held": "45"}
    for changed, said in PROOF_REFUSED:
        with subtests.test(said):
            named = usual | {name: value.format(**tags) for name, value in changed.items()}
            assert said in desk.refused(*shlex.split(PROOF.format(**named)))


def _tasks(desk: Desk) -> list[records.TaskRow]:
    with desk.room.look() as db:
        return list(db.execute(select(*records.TaskRow.__table__.columns)))  # type: ignore[arg-type]
