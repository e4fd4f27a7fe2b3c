"""May an item be kept for a job: what lasts stops it, what passes can be mended before the window."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from fleet.bolting.findings import Finding, Severity
from fleet.rules.loans import DueStand, ItemFacts, Kept, OpenHold, Out
from fleet.rules.reservations import judge_window, make_window
from fleet.rules.upkeep import CountsFrom, Stop

BERLIN = ZoneInfo("Europe/Berlin")
HARD, SOFT, NOTE = Severity.HARD, Severity.SOFT, Severity.NOTE
TODAY, FIRST, LAST = date(2026, 5, 4), date(2026, 5, 11), date(2026, 5, 15)
NOON = datetime(2026, 5, 11, 12, 0, tzinfo=BERLIN)
NIGHT = datetime(2026, 5, 16, 0, 0, tzinfo=BERLIN)
WINDOW = make_window("J-1", "NORTH", NOON, NIGHT, there=BERLIN, now=datetime(2026, 5, 4, 9, 0, tzinfo=BERLIN))
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
CALIBRATION = DueStand(1, "calibration", Stop.SOFT, date(2025, 5, 1), date(2027, 5, 1), None, None)
HOUR = timedelta(hours=1)


def found(**changed: Any) -> list[tuple[Severity, str, str]]:  # noqa: ANN401  Any field.
    verdict = judge_window(replace(WRENCH, **changed), WINDOW)
    assert {finding.about for finding in verdict.findings} <= {verdict.tag}
    return [(one.severity, one.code, one.sentence) for one in verdict.findings]


def due(**known: Any) -> list[tuple[Severity, str, str]]:  # noqa: ANN401  Any field.
    return found(dues=(replace(CALIBRATION, **known),))


def kept(starts_at: datetime, ends_at: datetime, job: str = "J-2") -> Kept:
    return Kept(job, "Pat Planner", starts_at, ends_at, starts_at.date(), ends_at.date())


# --- The window ---------------------------------------------------------------------------------------------


def test_a_window_that_ends_at_midnight_ends_the_day_before() -> None:
    assert (WINDOW.today, WINDOW.first_day, WINDOW.last_day) == (TODAY, FIRST, LAST)
    later = make_window("J-1", "NORTH", NOON, NIGHT + HOUR, there=BERLIN, now=NOON)
    assert (later.today, later.last_day) == (FIRST, date(2026, 5, 16))
    assert (later.job, later.site, later.starts_at, later.ends_at) == ("J-1", "NORTH", NOON, NIGHT + HOUR)


def test_a_moment_past_midnight_is_another_day() -> None:
    """Half-open to the last figure of the clock: midnight is outside, a microsecond later is not."""
    moment = timedelta(microseconds=1)
    ends = [NIGHT - moment, NIGHT, NIGHT + moment, NIGHT + 2 * moment]
    lasts = [make_window("J-1", "NORTH", NOON, end, there=BERLIN, now=NOON).last_day for end in ends]
    assert lasts == [LAST, LAST, date(2026, 5, 16), date(2026, 5, 16)]


def test_the_days_of_a_window_are_those_of_the_site() -> None:
    """23:00 in Greenwich is already tomorrow in Berlin."""
    late = datetime(2026, 5, 10, 23, 0, tzinfo=UTC)
    window = make_window("J-1", "NORTH", late, late + HOUR, there=BERLIN, now=late)
    assert (window.today, window.first_day, window.last_day) == (FIRST, FIRST, FIRST)


def test_what_is_in_order_is_kept_without_a_word() -> None:
    assert judge_window(WRENCH, WINDOW).findings == ()
    assert judge_window(WRENCH, WINDOW).tag == "104272"
    assert due() == []


# --- What lasts ---------------------------------------------------------------------------------------------


def test_what_is_retired_elsewhere_or_unrated_is_kept_for_nobody() -> None:
    assert found(retired_on=date(2026, 5, 1)) == [(HARD, "retired", "Retired on 1 May 2026.")]
    assert found(site="SOUTH") == [(HARD, "elsewhere", "Belongs to SOUTH, not to NORTH.")]
    ((severity, code, _),) = found(mwp_advance_mpa=None)
    assert (severity, code) == (HARD, "rating unknown")


def test_another_reservation_is_named_with_its_days() -> None:
    assert found(kept=(kept(NOON, NIGHT),)) == [
        (HARD, "reserved", "Pat Planner reserved it for J-2 from 11 May 2026 to 16 May 2026.")
    ]


@given(st.integers(-200, 200), st.integers(1, 200))
@example(-1, 1)  # Ends where ours begins.
@example(108, 1)  # Begins where ours ends.
def test_two_windows_that_share_an_instant_are_one_too_many(starts: int, lasts: int) -> None:
    """Half-open both: one job may begin at noon where another ends at noon."""
    theirs = kept(NOON + starts * HOUR, NOON + (starts + lasts) * HOUR)
    ours = range(round((NIGHT - NOON) / HOUR))
    shared = set(ours) & set(range(starts, starts + lasts))
    assert bool(found(kept=(theirs,))) == bool(shared)


# --- What passes --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("back_on", "severity"), [(FIRST - timedelta(days=1), NOTE), (FIRST, SOFT), (LAST, SOFT)]
)
def test_what_is_out_is_a_stop_only_when_it_comes_back_too_late(back_on: date, severity: Severity) -> None:
    ((graveness, code, sentence),) = found(out=Out("Fin Fitter", "J-7", back_on))
    assert (graveness, code) == (severity, "out")
    assert sentence == f"Out with Fin Fitter for J-7, to be back {back_on.day} May 2026."


def test_what_is_out_for_this_very_job_is_no_matter() -> None:
    assert found(out=Out("Fin Fitter", "J-1", LAST)) == []


def test_a_hold_can_be_released_before_the_window() -> None:
    hold = OpenHold("damaged", "Arm bent", date(2026, 5, 3))
    assert found(holds=(hold,)) == [(SOFT, "on hold", "On hold since 3 May 2026: Arm bent")]


@pytest.mark.parametrize(("stop", "severity"), [(Stop.HARD, HARD), (Stop.SOFT, SOFT)])
@pytest.mark.parametrize(
    ("known", "sentence"),
    [
        ({"last_done_on": None}, "Calibration was never done."),
        ({"due_on": TODAY - timedelta(days=1)}, "Calibration was due 3 May 2026."),
        ({"due_on": TODAY}, "Calibration falls due 4 May 2026, before the window."),
        ({"due_on": FIRST - timedelta(days=1)}, "Calibration falls due 10 May 2026, before the window."),
        ({"due_on": FIRST}, "Calibration falls due 11 May 2026, inside the window."),
        ({"due_on": LAST - timedelta(days=1)}, "Calibration falls due 14 May 2026, inside the window."),
        ({"use_left": 0.0}, "Calibration is due by use."),
        ({"use_left": -0.5}, "Calibration is due by use."),
    ],
)
def test_what_falls_due_by_the_end_of_the_window_is_as_grave_as_its_task(
    known: dict[str, Any], sentence: str, stop: Stop, severity: Severity
) -> None:
    assert due(stop=stop, **known) == [(severity, "due", sentence)]


@pytest.mark.parametrize(
    "known",
    [
        {"due_on": LAST},
        {"use_left": 0.01},
        {"due_on": None, "use_left": 0.5, "last_done_on": None},
        {"counts_from": CountsFrom.ASSEMBLY, "last_done_on": None},
        {"forecast_on": LAST},
    ],
)
def test_what_is_good_through_the_last_day_is_no_matter(known: dict[str, Any]) -> None:
    assert due(**known) == []


def test_use_that_may_run_out_inside_the_window_is_a_word_of_warning() -> None:
    warned = due(forecast_on=LAST - timedelta(days=1))
    assert warned == [
        (NOTE, "due by use", "Calibration is likely to fall due by use about 14 May 2026."),
    ]


def test_everything_that_is_found_is_said() -> None:
    crowded = replace(
        WRENCH,
        site="SOUTH",
        kept=(kept(NOON, NIGHT), kept(NOON, NIGHT, "J-3")),
        out=Out("Fin Fitter", "J-7", LAST),
        holds=(OpenHold("damaged", "Arm bent", TODAY),),
        dues=(replace(CALIBRATION, due_on=TODAY), replace(CALIBRATION, task="inspection", due_on=FIRST)),
        charted=False,
    )
    told: tuple[Finding, ...] = judge_window(crowded, WINDOW).findings
    assert [finding.code for finding in told] == [
        "elsewhere", "reserved", "reserved", "out", "on hold", "due", "due", "no chart",
    ]  # fmt: skip
