"""May it go out: every reason against every other, held against a small oracle of its own."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from itertools import product
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.bolting.findings import Severity
from fleet.bolting.parts import Kind
from fleet.rules.loans import DueStand, ItemFacts, Kept, OpenHold, Out, Verdict, Waived, Wish, judge
from fleet.rules.upkeep import CountsFrom, Stop

TODAY = date(2026, 5, 13)
BACK = TODAY + timedelta(days=5)
WISH = Wish("J-1", "NORTH", TODAY, BACK)
CHICAGO = ZoneInfo("America/Chicago")
TOMORROW_NOON = datetime(2026, 5, 14, 12, 0, tzinfo=CHICAGO)
# A concession helps only when it lasts until the item is back.
LONG_ENOUGH = TOMORROW_NOON + timedelta(days=4)

# A wrench in good order, with nothing due and nobody waiting for it.
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
    first_out_on=TODAY - timedelta(days=200),
)


def day(offset: int) -> date:
    return TODAY + timedelta(days=offset)


def stand(due_on: date | None, use_left: float | None = None, **other: Any) -> DueStand:  # noqa: ANN401  Any field.
    known = DueStand(1, "calibration", Stop.SOFT, day(-300), due_on, use_left, None)
    return replace(known, **other)


def kept(job: str, first: date, last: date) -> Kept:
    starts = datetime.combine(first, datetime.min.time(), CHICAGO)
    ends = datetime.combine(last + timedelta(days=1), datetime.min.time(), CHICAGO)
    return Kept(job, "Pat Planner", starts, ends, first, last)


def codes(verdict: Verdict) -> set[str]:
    return {finding.code for finding in verdict.findings}


# --- Every reason against every other -----------------------------------------------------------------------

NOTHING: dict[str, Any] = {}
RETIRED = {False: NOTHING, True: {"retired_on": day(-9)}}
OUT = {False: NOTHING, True: {"out": Out("Fin Fitter", "J-7", day(2))}}
HOLD = {False: NOTHING, True: {"holds": (OpenHold("damaged", "Arm bent", day(-1)),)}}
RATED = {True: NOTHING, False: {"mwp_advance_mpa": None}}
DUES: dict[str, tuple[DueStand, ...]] = {
    "no task": (),
    "in date": (stand(BACK, 0.5),),
    "past its day": (stand(day(-1)),),
    "used up": (stand(day(90), 0.0),),
    "never done": (stand(day(-1), last_done_on=None),),
    "due while out": (stand(day(4)),),
    "used up while out": (stand(day(90), 0.1, forecast_on=day(3)),),
}
WAIVERS = {
    "none": (),
    "this job": (Waived("calibration", "J-1", LONG_ENOUGH),),
    "another job": (Waived("calibration", "J-2", TOMORROW_NOON),),
    "another task": (Waived("inspection", "J-1", TOMORROW_NOON),),
}
KEPT = {
    "nobody": (),
    "this job": (kept("J-1", TODAY, BACK),),
    "another job then": (kept("J-2", BACK, day(20)),),
    "another job later": (kept("J-2", day(6), day(20)),),
}
OVERDUE = ("past its day", "used up", "never done")


def expected(
    facts: tuple[bool, bool, bool, bool], due: str, stop: Stop, waiver: str, reserved: str
) -> set[str]:
    """The oracle: which findings there must be, in words of its own."""
    retired, out, hold, rated = facts
    lifted = due in OVERDUE and stop is Stop.SOFT and waiver == "this job"
    return {
        code
        for code, found in {
            "retired": retired,
            "out": out,
            "on hold": hold,
            "rating unknown": not rated,
            "reserved": reserved == "another job then",
            "concession": lifted,
            "overdue": due in OVERDUE and not lifted,
            "due while out": due == "due while out",
            "due by use while out": due == "used up while out",
        }.items()
        if found
    }


def gravity(code: str, stop: Stop) -> Severity:
    """How grave each reason is: a soft stop can be lifted, a note stops nothing, all else is hard."""
    if code in {"concession", "due by use while out"}:
        return Severity.NOTE
    if code in {"overdue", "due while out"} and stop is Stop.SOFT:
        return Severity.SOFT
    return Severity.HARD


@pytest.mark.parametrize("stop", Stop)
@pytest.mark.parametrize("due", DUES)
def test_whatever_comes_together_every_reason_is_said_and_nothing_else(due: str, stop: Stop) -> None:
    harmless = {"concession", "due by use while out"}
    flags = product(RETIRED, OUT, HOLD, RATED)
    for facts, waiver, reserved in product(flags, WAIVERS, KEPT):
        retired, out, hold, rated = facts
        item = replace(
            WRENCH,
            **RETIRED[retired],
            **OUT[out],
            **HOLD[hold],
            **RATED[rated],
            dues=tuple(replace(one, stop=stop) for one in DUES[due]),
            waived=WAIVERS[waiver],
            kept=KEPT[reserved],
        )

        verdict = judge(item, WISH)

        told = (facts, due, stop, waiver, reserved)
        must = expected(*told)
        assert codes(verdict) == must, told
        assert verdict.goes_out == (must <= harmless), told
        # Each is laid to this very item and is no harder than it has to be.
        assert {finding.about for finding in verdict.findings} <= {WRENCH.tag}, told
        for finding in verdict.findings:
            assert finding.severity is gravity(finding.code, stop), told


def test_what_is_in_order_goes_out_without_a_word() -> None:
    assert judge(WRENCH, WISH) == Verdict("104272", ())


def test_what_belongs_to_another_site_stays_there() -> None:
    verdict = judge(replace(WRENCH, site="SOUTH"), WISH)
    (finding,) = verdict.findings
    assert (finding.code, finding.sentence) == ("elsewhere", "Belongs to SOUTH, not to NORTH.")
    assert (finding.severity, finding.about) == (Severity.HARD, "104272")
    assert not verdict.goes_out


# --- Whatever is missing is a stop --------------------------------------------------------------------------

COMPLETE: dict[Kind, dict[str, Any]] = {
    Kind.WRENCH: {"mwp_advance_mpa": 70.0, "mwp_retract_mpa": 70.0, "charted": True},
    Kind.PUMP: {"mwp_advance_mpa": 70.0, "mwp_retract_mpa": 70.0, "relief_advance_mpa": 68.9},
    Kind.HOSE: {"mwp_advance_mpa": 70.0, "mwp_retract_mpa": 70.0, "assembled_on": date(2024, 2, 29)},
    Kind.COUPLER: {"mwp_advance_mpa": 70.0, "mwp_retract_mpa": 70.0},
    Kind.GAUGE: {"range_mpa": 100.0},
    Kind.SOCKET: {},
}
BARE = replace(WRENCH, mwp_advance_mpa=None, mwp_retract_mpa=None, charted=False)


def of_kind(kind: Kind, **other: Any) -> ItemFacts:  # noqa: ANN401  Any field.
    return replace(BARE, kind=kind, **(COMPLETE[kind] | other))


@pytest.mark.parametrize("kind", Kind)
def test_each_kind_goes_out_with_what_it_needs_on_record(kind: Kind) -> None:
    assert judge(of_kind(kind), WISH).goes_out


@pytest.mark.parametrize(("kind", "field"), [(kind, field) for kind in Kind for field in COMPLETE[kind]])
def test_whatever_is_missing_keeps_it_in(kind: Kind, field: str) -> None:
    missing = False if field == "charted" else None
    verdict = judge(of_kind(kind, **{field: missing}), WISH)
    assert [finding.severity for finding in verdict.findings] == [Severity.HARD]
    assert "on record" in verdict.findings[0].sentence


@pytest.mark.parametrize("figure", [0.0, -70.0, float("nan"), float("inf")])
@pytest.mark.parametrize(
    ("kind", "field"),
    [(kind, field) for kind in Kind for field in COMPLETE[kind] if field.endswith("_mpa")],
)
def test_a_figure_that_cannot_be_a_pressure_counts_as_missing(kind: Kind, field: str, figure: float) -> None:
    assert not judge(of_kind(kind, **{field: figure}), WISH).goes_out


# --- Days ---------------------------------------------------------------------------------------------------

days = st.integers(-30, 30).map(day)


@given(st.tuples(days, days).map(sorted), st.integers(0, 20))
def test_a_reservation_of_another_job_keeps_it_in_for_its_own_days_only(
    window: list[date], out_for: int
) -> None:
    first, last = window
    item = replace(WRENCH, kept=(kept("J-2", first, last),))

    verdict = judge(item, replace(WISH, back_on=day(out_for)))

    wanted = {day(offset) for offset in range(out_for + 1)}
    theirs = {first + timedelta(days=offset) for offset in range((last - first).days + 1)}
    assert verdict.goes_out == (not wanted & theirs)


@given(days, st.integers(0, 20))
def test_in_date_until_it_is_back_or_it_stays_in(due_on: date, out_for: int) -> None:
    verdict = judge(replace(WRENCH, dues=(stand(due_on),)), replace(WISH, back_on=day(out_for)))
    assert verdict.goes_out == (due_on >= day(out_for))


# --- What the keeper reads ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"retired_on": day(-9)}, "Retired on 4 May 2026."),
        (
            {"out": Out("Fin Fitter", "J-7", day(2))},
            "Already out with Fin Fitter for J-7, to be back 15 May 2026.",
        ),
        (
            {"holds": (OpenHold("damaged", "Arm bent", day(-1)),)},
            "On hold since 12 May 2026 (damaged): Arm bent",
        ),
        ({"kept": KEPT["another job then"]}, "Reserved for J-2 from 18 May 2026 to 2 Jun 2026."),
        ({"dues": DUES["past its day"]}, "Calibration was due 12 May 2026."),
        ({"dues": DUES["never done"]}, "Calibration was never done."),
        ({"dues": DUES["used up"]}, "Calibration is due by use."),
        ({"dues": DUES["due while out"]}, "Calibration falls due 17 May 2026, before it is to be back."),
        (
            {"dues": DUES["used up while out"]},
            "Calibration is likely to fall due by use about 16 May 2026.",
        ),
        (
            {"dues": DUES["past its day"], "waived": WAIVERS["this job"]},
            "Calibration was due 12 May 2026. A concession covers it until 18 May 2026 12:00 CDT.",
        ),
    ],
)
def test_the_reason_is_one_plain_sentence(changed: dict[str, Any], sentence: str) -> None:
    verdict = judge(replace(WRENCH, **changed), WISH)
    assert [finding.sentence for finding in verdict.findings] == [sentence]


def test_a_hose_past_its_life_was_due_and_not_never_done() -> None:
    life = stand(
        day(-7), last_done_on=None, stop=Stop.HARD, counts_from=CountsFrom.ASSEMBLY, task="replacement"
    )
    (finding,) = judge(of_kind(Kind.HOSE, dues=(life,)), WISH).findings
    assert (finding.severity, finding.sentence) == (Severity.HARD, "Replacement was due 6 May 2026.")


def test_a_hard_stop_is_lifted_by_nobody() -> None:
    life = replace(stand(day(-1)), stop=Stop.HARD)
    item = replace(WRENCH, dues=(life,), waived=WAIVERS["this job"])
    assert [finding.severity for finding in judge(item, WISH).findings] == [Severity.HARD]


def test_a_concession_that_ends_before_it_is_back_lets_nothing_out() -> None:
    short = replace(
        WRENCH,
        dues=(stand(TODAY - timedelta(days=1)),),
        waived=(Waived("calibration", "J-1", TOMORROW_NOON),),
    )

    assert not judge(short, WISH).goes_out
    assert judge(short, replace(WISH, back_on=TODAY + timedelta(days=1))).goes_out
