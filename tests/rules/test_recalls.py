"""Which items a recall is about."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.refusals import NotPossible, Unreadable
from fleet.rules.recalls import Scope, comparable, matches, read_scope

MAY = date(2024, 5, 31)


@pytest.mark.parametrize(
    ("serials", "serial", "meant"),
    [
        ("K-100..K-250", "K-100", True),
        ("K-100..K-250", "K-250", True),
        ("K-100..K-250", "K-0099", False),  # 99 by its figures, whatever its zeros
        ("K-100..K-250", "K-0100", True),
        ("K-100..K-250", "K-1000", False),  # not between them as text would be
        ("K-9..K-11", "K-10", True),
        ("K-100..K-250", "k-120", True),
        ("K-100..K-250", "L-120", False),
        ("K-100..K-250", "120", False),
        ("K-100..K-250", "K-120A", False),
        ("K-100A..K-250A", "K-120A", True),
        ("2024-0012..2024-0020", "2024-0015", True),
        ("2024-0012..2024-0020", "2025-0015", False),
        ("100..250", "120", True),
        ("K-77", "K-77", True),
        ("K-77", "K-78", False),
        ("PILOT", "pilot", True),
        ("PILOT", "PILOT-1", False),
    ],
)
def test_serial_numbers_are_compared_by_their_last_figures(serials: str, serial: str, meant: bool) -> None:
    assert matches(read_scope(serials, None), serial, None) is meant


@pytest.mark.parametrize(
    ("serials", "refusal", "sentence"),
    [
        ("K-100..L-250", NotPossible, "cannot be compared"),
        ("K-100..250", NotPossible, "cannot be compared"),
        ("K-100A..K-250B", NotPossible, "cannot be compared"),
        ("2023-0900..2024-0100", NotPossible, "Open one recall for each series"),
        ("PILOT..FINAL", NotPossible, "cannot be compared"),
        ("K-250..K-100", NotPossible, "write the lower serial number first"),
        ("K-1..K-2..K-3", Unreadable, "is no range of serial numbers"),
        ("..K-100", Unreadable, "is no range of serial numbers"),
        ("", Unreadable, "write it like K-100..K-250"),
    ],
)
def test_what_cannot_be_compared_is_refused(serials: str, refusal: type[Exception], sentence: str) -> None:
    with pytest.raises(refusal, match=sentence):
        read_scope(serials, None)


@pytest.mark.parametrize(
    ("assembled", "first", "last"),
    [
        ("2024-01..2024-06", date(2024, 1, 1), date(2024, 6, 30)),
        ("2024-02", date(2024, 2, 1), date(2024, 2, 29)),
        ("2024-01-15..2024-03", date(2024, 1, 15), date(2024, 3, 31)),
        ("15 Jan 2024..2024-01-20", date(2024, 1, 15), date(2024, 1, 20)),
    ],
)
def test_months_are_whole_and_days_are_as_written(assembled: str, first: date, last: date) -> None:
    assert read_scope(None, assembled) == Scope(None, None, first, last)


@pytest.mark.parametrize(
    ("assembled", "sentence"),
    [
        ("2024-06..2024-01", "write the earlier one first"),
        ("2024-13", "is not a day"),
        ("last year", "is not a day"),
        ("1024-01..2024-01", "check the year"),
    ],
)
def test_periods_that_make_no_sense_are_refused(assembled: str, sentence: str) -> None:
    with pytest.raises((NotPossible, Unreadable), match=sentence):
        read_scope(None, assembled)


def test_both_ends_of_the_period_are_meant_and_so_is_an_unknown_day() -> None:
    scope = read_scope(None, "2024-01..2024-05")
    assert matches(scope, "any", MAY)
    assert matches(scope, "any", date(2024, 1, 1))
    assert not matches(scope, "any", date(2024, 6, 1))
    assert not matches(scope, "any", date(2023, 12, 31))
    assert matches(scope, "any", None)


def test_a_range_and_a_period_must_both_hold() -> None:
    scope = read_scope("K-1..K-9", "2024-01..2024-05")
    assert matches(scope, "K-5", MAY)
    assert not matches(scope, "K-15", MAY)
    assert not matches(scope, "K-5", date(2025, 1, 1))
    assert str(scope) == "serial numbers K-1 to K-9, assembled 1 Jan 2024 to 31 May 2024"


def test_without_a_range_or_period_every_item_of_the_model_is_meant() -> None:
    assert matches(Scope(), "anything", None)
    assert str(Scope()) == "every one"


def test_a_serial_number_of_another_series_is_to_be_looked_at_by_hand() -> None:
    scope = read_scope("K-100..K-250", None)
    assert [comparable(scope, serial) for serial in ("K-1", "120", "X", "k-300")] == [
        True,
        False,
        False,
        True,
    ]


@given(
    st.text("ABC-/", max_size=4),
    st.integers(0, 10**9),
    st.integers(0, 10**9),
    st.integers(0, 10**9),
    st.integers(1, 12),
)
def test_inside_is_inside_however_the_figures_are_padded(
    prefix: str, low: int, high: int, own: int, width: int
) -> None:
    low, high = min(low, high), max(low, high)
    scope = read_scope(f"X{prefix}{low}..X{prefix}{high}", None)
    assert matches(scope, f"X{prefix}{own:0{width}}", None) is (low <= own <= high)
