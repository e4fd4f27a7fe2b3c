"""One overdue task, two people, at most a day: when an exception may be made, and when not."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from fleet.refusals import NotAllowed, NotPossible, Refusal
from fleet.rules.concessions import judge_concession
from fleet.rules.loans import Away, DueStand, ItemFacts, OpenHold, Out
from fleet.rules.upkeep import Stop

TODAY = date(2026, 5, 13)
CALIBRATION = DueStand(1, "Calibration", Stop.SOFT, date(2025, 5, 1), date(2026, 5, 12), None, None)
INSPECTION = DueStand(2, "inspection", Stop.SOFT, date(2026, 5, 1), date(2026, 5, 13), None, None)
LIFE = DueStand(3, "replacement", Stop.HARD, None, date(2026, 5, 12), None, None)
USED_UP = DueStand(4, "seal change", Stop.SOFT, date(2026, 5, 1), None, 0.0, None)
ITEM = ItemFacts(
    tag="104272",
    kind="hose",
    site="NORTH",
    retired_on=None,
    assembled_on=date(2024, 2, 29),
    mwp_advance_mpa=70.0,
    mwp_retract_mpa=70.0,
    range_mpa=None,
    relief_advance_mpa=None,
    charted=False,
    holds=(),
    out=None,
    dues=(INSPECTION, CALIBRATION, USED_UP),
    kept=(),
    waived=(),
    first_out_on=date(2024, 3, 10),
)
KEEPER, OFFICER = (1, "Kim Keeper"), (2, "Sam Safety")


def ask(task: str = "calibration", **other: Any) -> DueStand:  # noqa: ANN401  Any argument.
    asked: dict[str, Any] = {"today": TODAY, "asker": KEEPER, "granter": OFFICER, "hours": 8}
    return judge_concession(other.pop("item", ITEM), task, **(asked | other))


def refusal_of(kind: type[Refusal], *given: str, **other: Any) -> str:  # noqa: ANN401  Any argument.
    with pytest.raises(kind) as refusal:
        ask(*given, **other)
    return str(refusal.value)


@pytest.mark.parametrize("written", ["calibration", "  CALIBRATION ", "Calibration"])
def test_the_task_is_found_however_it_is_written(written: str) -> None:
    assert ask(written) is CALIBRATION


def test_a_meter_that_ran_out_can_be_excused_too() -> None:
    assert ask("seal change") is USED_UP


@pytest.mark.parametrize(("hours", "granted"), [(0, False), (1, True), (24, True), (25, False), (-1, False)])
def test_it_lasts_from_an_hour_to_a_day(hours: int, granted: bool) -> None:
    if granted:
        assert ask(hours=hours) is CALIBRATION
    else:
        told = refusal_of(NotPossible, hours=hours)
        assert told == f"A concession lasts from 1 to 24 hours, not {hours}."


def test_nobody_grants_what_he_asked_for() -> None:
    told = refusal_of(NotAllowed, asker=OFFICER)
    assert told == "Sam Safety cannot grant what Sam Safety asked for. Another person must."
    # Two people may bear one name.
    assert ask(asker=(1, "Sam Safety")) is CALIBRATION


def test_what_is_no_task_of_the_item_cannot_be_excused() -> None:
    told = refusal_of(NotPossible, "proof test")
    names = "inspection, Calibration, seal change"
    assert told == f"10427-2 has no upkeep task 'proof test'. Its tasks: {names}."


def test_an_item_without_tasks_says_so() -> None:
    told = refusal_of(NotPossible, item=replace(ITEM, dues=()))
    assert told == "10427-2 has no upkeep task 'calibration'. Its tasks: none."


def test_what_is_good_through_today_needs_no_exception() -> None:
    told = refusal_of(NotPossible, "inspection")
    assert told == "Inspection of 10427-2 is not overdue; it needs no concession."


def test_a_hard_stop_is_lifted_by_nobody() -> None:
    told = refusal_of(NotPossible, "replacement", item=replace(ITEM, dues=(CALIBRATION, LIFE)))
    assert told == "Nobody can lift this: replacement of 10427-2 is a hard stop."


@pytest.mark.parametrize(
    ("fault", "sentence"),
    [
        ({"holds": (OpenHold("damaged", "Arm bent", TODAY),)}, "On hold since 13 May 2026"),
        ({"recalls": ("Notice 7",)}, "Recalled: Notice 7"),
        ({"away": Away("calibration", "Bench 4", TODAY)}, "Away for calibration at Bench 4"),
        ({"proof_failed_on": TODAY}, "It failed its proof test on 13 May 2026"),
        ({"retired_on": TODAY}, "Retired on 13 May 2026"),
        ({"dues": (CALIBRATION, LIFE)}, "Replacement was"),
        ({"assembled_on": None}, "its age is unknown"),
        ({"mwp_advance_mpa": None}, "is not on record"),
        ({"first_out_on": None}, "may lie in store only until"),
    ],
)
def test_what_nobody_can_lift_leaves_no_room_for_a_concession_of_something_else(
    fault: dict[str, Any], sentence: str
) -> None:
    refusal = refusal_of(NotPossible, item=replace(ITEM, **fault))
    assert refusal.startswith("No concession for 10427-2, since nobody can lift this: ")
    assert sentence in refusal


def test_a_life_from_assembly_is_no_matter_of_an_inspection_whatever_the_room_calls_it() -> None:
    life = replace(LIFE, stop=Stop.SOFT, counts_from="assembly")
    assert "is a hard stop" in refusal_of(NotPossible, "replacement", item=replace(ITEM, dues=(life,)))


def test_who_has_it_or_waits_for_it_is_no_hindrance() -> None:
    out = replace(ITEM, out=Out("Fin Fitter", "J-9", TODAY))
    assert ask(item=out) is CALIBRATION
