"""What no concession lifts: recalls, failed proofs, hoses too old, things away or not known here."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.bolting.findings import Finding, Severity
from fleet.bolting.parts import Kind
from fleet.rules.hoses import BULK_MONTHS, STORAGE_MONTHS, bulk_too_old, storage_ends_on
from fleet.rules.loans import Away, DueStand, ItemFacts, OpenHold, Out, Waived, Wish, judge
from fleet.rules.upkeep import Stop

TODAY = date(2026, 5, 13)
BACK = date(2026, 5, 18)
WISH = Wish("J-1", "NORTH", TODAY, BACK)
HOSE = ItemFacts(
    tag="104272",
    kind="hose",
    site="NORTH",
    retired_on=None,
    assembled_on=date(2024, 5, 13),
    mwp_advance_mpa=70.0,
    mwp_retract_mpa=70.0,
    range_mpa=None,
    relief_advance_mpa=None,
    charted=False,
    holds=(),
    out=None,
    dues=(),
    kept=(),
    waived=(),
)


def found(item: ItemFacts, wish: Wish = WISH) -> list[tuple[str, str]]:
    """Code and sentence of every finding; each is hard and laid to the item."""
    findings = judge(item, wish).findings
    assert {(one.severity, one.about) for one in findings} <= {(Severity.HARD, item.tag)}
    return [(one.code, one.sentence) for one in findings]


def changed(**other: Any) -> list[tuple[str, str]]:  # noqa: ANN401  Any field.
    return found(replace(HOSE, **other))


def test_a_sound_hose_goes_out() -> None:
    assert found(HOSE) == []


def test_what_is_recalled_stays_in_with_every_notice() -> None:
    assert changed(recalls=("Swage may slip", "Cover may crack")) == [
        ("recalled", "Recalled: Swage may slip"),
        ("recalled", "Recalled: Cover may crack"),
    ]


def test_what_failed_its_proof_test_stays_in() -> None:
    expected = [("proof failed", "It failed its proof test on 4 May 2026.")]
    assert changed(proof_failed_on=date(2026, 5, 4)) == expected


def test_what_is_away_cannot_be_handed_out() -> None:
    away = Away("calibration", "the laboratory", date(2026, 5, 4))
    assert changed(away=away) == [("away", "Away for calibration at the laboratory since 4 May 2026.")]


@pytest.mark.parametrize(("keeper", "stopped"), [(True, False), (None, False), (False, True)])
def test_only_a_keeper_hands_it_out_and_anybody_may_ask(keeper: bool | None, stopped: bool) -> None:
    told = found(HOSE, replace(WISH, keeper=keeper))
    assert told == [("role", "Only a keeper at NORTH hands it out.")] * stopped


def test_what_is_not_known_to_the_room_stays_in() -> None:
    assert changed(kind="winch") == [("kind unknown", "What it is ('winch') is not known here.")]


@pytest.mark.parametrize("kind", Kind)
def test_every_kind_of_the_room_is_known(kind: Kind) -> None:
    assert "kind unknown" not in {code for code, _ in changed(kind=kind)}


def test_a_task_whose_day_nobody_knows_is_a_stop() -> None:
    task = DueStand(1, "calibration", Stop.SOFT, None, None, None, None)
    assert changed(dues=(task,)) == [("due unknown", "When calibration is due is not on record.")]
    for known in ({"due_on": BACK}, {"use_left": 0.5}):
        assert changed(dues=(replace(task, last_done_on=date(2026, 5, 1), **known),)) == []


def test_a_stop_the_room_does_not_know_is_a_hard_one() -> None:
    """Only what is known to be soft may be excused."""
    until = datetime(2026, 5, 30, 12, 0, tzinfo=ZoneInfo("Europe/Berlin"))
    task = DueStand(1, "calibration", "stern", date(2025, 5, 1), date(2026, 5, 12), None, None)
    item = replace(HOSE, dues=(task,), waived=(Waived("calibration", "J-1", until),))
    assert found(item) == [("overdue", "Calibration was due 12 May 2026.")]


# --- Hoses: DGUV Regel 113-020 and DIN 20066, read in quotation ---------------------------------------------


def test_a_hose_lies_in_store_for_two_years_and_bulk_hose_for_four() -> None:
    assert (STORAGE_MONTHS, BULK_MONTHS) == (24, 48)
    assert storage_ends_on(date(2024, 2, 29), None) == date(2026, 2, 28)
    assert storage_ends_on(date(2024, 2, 29), 12) == date(2025, 2, 28)


@pytest.mark.parametrize(("assembled_on", "stopped"), [(date(2024, 5, 13), False), (date(2024, 5, 12), True)])
def test_a_hose_never_out_is_good_through_the_last_day_of_its_storage(
    assembled_on: date, stopped: bool
) -> None:
    told = changed(assembled_on=assembled_on)
    assert (
        told
        == [("stored too long", "It was never out and may lie in store only until 12 May 2026.")] * stopped
    )
    assert changed(assembled_on=assembled_on, first_out_on=date(2025, 1, 1)) == []
    assert changed(assembled_on=assembled_on, storage_months=36) == []


def test_only_a_hose_ages_in_store() -> None:
    old = replace(HOSE, kind="coupler", assembled_on=date(2000, 1, 1), bulk_made_on=date(1990, 1, 1))
    assert found(old) == []


def test_a_hose_of_unknown_age_is_stopped_for_that_alone() -> None:
    (told,) = changed(assembled_on=None, bulk_made_on=date(1990, 1, 1))
    assert told[0] == "age unknown"


@pytest.mark.parametrize(
    ("made_on", "months", "stopped"),
    [
        (date(2020, 5, 13), None, False),
        (date(2020, 5, 12), None, True),
        (date(2024, 5, 13), None, False),
        (date(2024, 5, 14), None, True),
        (date(2020, 5, 12), 60, False),
        (date(2022, 5, 12), 24, True),
    ],
)
def test_bulk_hose_past_its_age_when_it_was_made_up_or_not_yet_made_is_stopped(
    made_on: date, months: int | None, stopped: bool
) -> None:
    told = changed(bulk_made_on=made_on, bulk_months=months)
    sentence = (
        f"It was made up on 13 May 2024 of bulk hose from {made_on.day} May {made_on.year}: more than "
        f"{months or 48} months old, or not yet made."
    )
    assert told == [("bulk too old", sentence)] * stopped


@given(st.dates(date(2000, 1, 1), date(2040, 1, 1)), st.integers(1, 120), st.integers(-400, 4000))
def test_older_bulk_hose_is_never_better(made_on: date, months: int, later: int) -> None:
    assembled_on = date.fromordinal(made_on.toordinal() + max(later, 0))
    if bulk_too_old(made_on, assembled_on, months):
        assert bulk_too_old(date.fromordinal(made_on.toordinal() - 30), assembled_on, months)
    assert bulk_too_old(date.fromordinal(assembled_on.toordinal() + 1), assembled_on, months)


# --- No way round -------------------------------------------------------------------------------------------

AGAINST: dict[str, dict[str, Any]] = {
    "retired": {"retired_on": date(2026, 5, 1)},
    "out": {"out": Out("Fin Fitter", "J-7", BACK)},
    "away": {"away": Away("repair", "the workshop", date(2026, 5, 4))},
    "elsewhere": {"site": "SOUTH"},
    "rating unknown": {"mwp_retract_mpa": None},
    "recalled": {"recalls": ("Swage may slip",)},
    "proof failed": {"proof_failed_on": date(2026, 5, 4)},
    "stored too long": {"assembled_on": date(2023, 5, 4)},
    "bulk too old": {"bulk_made_on": date(2010, 5, 4)},
    "on hold": {"holds": (OpenHold("damaged", "Cover torn", date(2026, 5, 4)),)},
}


@given(st.sets(st.sampled_from(sorted(AGAINST))), st.booleans())
def test_a_concession_lifts_nothing_but_its_own_task(against: set[str], waived: bool) -> None:
    until = datetime(2026, 5, 30, 12, 0, tzinfo=ZoneInfo("Europe/Berlin"))
    overdue = DueStand(1, "inspection", Stop.SOFT, date(2025, 5, 1), date(2026, 5, 12), None, None)
    fields: dict[str, Any] = {}
    for code in against:
        fields |= AGAINST[code]
    waivers = (Waived("inspection", "J-1", until),) if waived else ()
    verdict = judge(replace(HOSE, dues=(overdue,), waived=waivers, **fields), WISH)
    hard: set[Finding] = {one for one in verdict.findings if one.severity is Severity.HARD}
    assert {one.code for one in hard} == against
    assert verdict.goes_out is (waived and not against)
