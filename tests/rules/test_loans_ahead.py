"""May it go out on a day still to come, until when, and what exactly is missing on its record."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.bolting.findings import Finding, Severity
from fleet.bolting.parts import Kind
from fleet.rules.loans import DueStand, ItemFacts, Out, Verdict, Waived, Wish, judge, ratings
from fleet.rules.upkeep import Stop

ASKED = date(2026, 5, 4)
GOES_OUT = date(2026, 5, 11)
BACK = date(2026, 5, 15)
LATER = Wish("J-1", "NORTH", GOES_OUT, BACK, asked_on=ASKED)
NOW = Wish("J-1", "NORTH", GOES_OUT, BACK)
WRENCH = ItemFacts(
    tag="104272",
    kind="wrench",
    site="NORTH",
    retired_on=None,
    assembled_on=None,
    mwp_advance_mpa=70.0,
    mwp_retract_mpa=70.0,
    range_mpa=None,
    relief_advance_mpa=None,
    charted=True,
    holds=(),
    out=None,
    dues=(),
    kept=(),
    waived=(),
)
CALIBRATION = DueStand(1, "calibration", Stop.SOFT, date(2025, 5, 1), None, None, None)


def only(verdict: Verdict) -> Finding:
    (finding,) = verdict.findings
    return finding


def with_due(**known: Any) -> ItemFacts:  # noqa: ANN401  Any field.
    return replace(WRENCH, dues=(replace(CALIBRATION, **known),))


def out_for(job: str, back_on: date) -> ItemFacts:
    return replace(WRENCH, out=Out("Fin Fitter", job, back_on))


# --- Out now, wanted later ----------------------------------------------------------------------------------


@given(st.integers(-10, 30), st.sampled_from(["J-1", "J-7"]), st.booleans())
def test_what_is_out_is_no_obstacle_to_its_own_job_or_when_it_is_back_before(
    offset: int, job: str, ahead: bool
) -> None:
    back_on = ASKED + timedelta(days=offset)
    found = only(judge(out_for(job, back_on), LATER if ahead else NOW))

    comes_back_first = back_on in {ASKED + timedelta(days=number) for number in range(7)}
    no_obstacle = ahead and (job == "J-1" or comes_back_first)
    assert (found.code, found.about) == ("out", "104272")
    assert found.severity is (Severity.NOTE if no_obstacle else Severity.HARD)
    assert found.sentence.startswith("It is out" if no_obstacle else "Already out")


def test_one_that_is_late_already_is_not_believed_to_be_back_in_time() -> None:
    assert not judge(out_for("J-7", ASKED - timedelta(days=1)), LATER).goes_out
    assert judge(out_for("J-7", ASKED), LATER).goes_out
    assert judge(out_for("J-7", GOES_OUT - timedelta(days=1)), LATER).goes_out
    assert not judge(out_for("J-7", GOES_OUT), LATER).goes_out


def test_who_has_it_now_is_said_in_one_sentence() -> None:
    found = only(judge(out_for("J-1", BACK), LATER))
    assert found.sentence == "It is out with Fin Fitter for J-1, to be back 15 May 2026."


# --- Due before it goes out, or before it is back -----------------------------------------------------------


@pytest.mark.parametrize(
    ("due_on", "wish", "verb"),
    [
        (ASKED - timedelta(days=1), LATER, "was"),
        (ASKED, LATER, "falls"),
        (GOES_OUT - timedelta(days=1), LATER, "falls"),
        (GOES_OUT - timedelta(days=1), NOW, "was"),
    ],
)
def test_a_day_to_come_falls_due_and_a_day_gone_was_due(due_on: date, wish: Wish, verb: str) -> None:
    found = only(judge(with_due(due_on=due_on), wish))
    assert found.sentence == f"Calibration {verb} due {due_on.day} May 2026."
    assert (found.code, found.severity) == ("overdue", Severity.SOFT)


def test_a_meter_used_up_on_the_due_day_is_due_by_use() -> None:
    """A thing is good through the day it is due, so on that day it is the meter that stops it."""
    found = only(judge(with_due(due_on=GOES_OUT, use_left=0.0), NOW))
    assert found.sentence == "Calibration is due by use."


@pytest.mark.parametrize(("forecast_on", "warned"), [(BACK - timedelta(days=1), True), (BACK, False)])
def test_use_that_runs_out_before_it_is_back_is_a_word_of_warning(forecast_on: date, warned: bool) -> None:
    verdict = judge(with_due(due_on=date(2027, 1, 1), use_left=0.1, forecast_on=forecast_on), NOW)
    assert verdict.goes_out
    assert [finding.code for finding in verdict.findings] == ["due by use while out"] * warned


# --- Concessions --------------------------------------------------------------------------------------------


def test_a_concession_lasts_through_the_day_on_which_it_is_back() -> None:
    until = datetime(2026, 5, 14, 12, 0, tzinfo=ZoneInfo("Europe/Berlin"))
    item = replace(
        with_due(due_on=GOES_OUT - timedelta(days=1)), waived=(Waived("calibration", "J-1", until),)
    )

    covered = only(judge(item, replace(NOW, back_on=date(2026, 5, 14))))
    assert (covered.code, covered.severity) == ("concession", Severity.NOTE)

    short = only(judge(item, NOW))
    assert (short.code, short.severity, short.about) == ("concession too short", Severity.SOFT, "104272")
    assert short.sentence == (
        "Calibration was due 10 May 2026. A concession covers it only until 14 May 2026 12:00 CEST, "
        "and it is to be back later."
    )


def test_of_two_concessions_the_one_that_lasts_longer_counts() -> None:
    zone = ZoneInfo("Europe/Berlin")
    short, long = (
        Waived("calibration", "J-1", datetime(2026, 5, number, 12, 0, tzinfo=zone)) for number in (12, 15)
    )
    overdue = with_due(due_on=GOES_OUT - timedelta(days=1))
    for waived in ((short, long), (long, short)):
        assert judge(replace(overdue, waived=waived), NOW).goes_out


def test_a_concession_for_one_task_does_not_lift_another() -> None:
    until = datetime(2026, 5, 30, 12, 0, tzinfo=ZoneInfo("Europe/Berlin"))
    overdue = replace(CALIBRATION, due_on=GOES_OUT - timedelta(days=1))
    item = replace(
        WRENCH,
        dues=(overdue, replace(overdue, task="inspection")),
        waived=(Waived("inspection", "J-1", until),),
    )

    verdict = judge(item, NOW)

    assert [finding.code for finding in verdict.findings] == ["overdue", "concession"]
    assert not verdict.goes_out


# --- What must be on record ---------------------------------------------------------------------------------

MISSING = [
    (Kind.WRENCH, "no chart", "It has no pressure-torque chart on record."),
    (Kind.PUMP, "relief unknown", "Its relief setting is not on record."),
    (Kind.GAUGE, "range unknown", "Its range is not on record."),
    (Kind.HOSE, "age unknown", "Its assembly date is not on record, so its age is unknown."),
    (Kind.COUPLER, None, ""),
    (Kind.SOCKET, None, ""),
]


@pytest.mark.parametrize(("kind", "code", "sentence"), MISSING)
def test_each_kind_is_asked_for_what_only_it_must_have(kind: Kind, code: str | None, sentence: str) -> None:
    bare = replace(WRENCH, kind=kind, charted=False)
    told = [(finding.code, finding.sentence) for finding in ratings(bare)]
    assert told == ([(code, sentence)] if code else [])


@pytest.mark.parametrize("kind", [Kind.WRENCH, Kind.PUMP, Kind.HOSE, Kind.COUPLER])
@pytest.mark.parametrize("line", ["advance", "retract"])
def test_the_line_without_a_rating_is_named(kind: Kind, line: str) -> None:
    known: dict[str, Any] = {"charted": True, "relief_advance_mpa": 70.0, "assembled_on": date(2025, 2, 28)}
    item = replace(WRENCH, kind=kind, **(known | {f"mwp_{line}_mpa": None}))
    found = only(judge(item, NOW))
    assert (found.code, found.severity, found.about) == ("rating unknown", Severity.HARD, "104272")
    assert found.sentence == f"The maximum working pressure of its {line} line is not on record."
