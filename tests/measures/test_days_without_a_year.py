"""A day written without its year is the next such day, or the last where it is over; windows in words."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from fleet.measures.times import show_window, with_year, zone

TODAY = date(2026, 5, 13)


@pytest.mark.parametrize(
    ("text", "ahead", "behind"),
    [
        ("27 mar", "2027-03-27", "2026-03-27"),
        ("27  March 07:00", "2027-03-27 07:00", "2026-03-27 07:00"),
        ("13 may", "2026-05-13", "2026-05-13"),
        ("14 May", "2026-05-14", "2025-05-14"),
        ("29 feb", "2028-02-29", "2024-02-29"),
        # What names its year, or is no day, is left to whoever reads it.
        ("27 mar 2026", "27 mar 2026", "27 mar 2026"),
        ("2026-03-27", "2026-03-27", "2026-03-27"),
        ("27/3", "27/3", "27/3"),
        ("27 smarch", "27 smarch", "27 smarch"),
        ("31 feb", "31 feb 2026", "31 feb 2026"),
        ("", "", ""),
    ],
)
def test_the_year_is_the_next_or_the_last(text: str, ahead: str, behind: str) -> None:
    assert with_year(text, TODAY) == ahead
    assert with_year(text, TODAY, ahead=False) == behind


@pytest.mark.parametrize(
    ("starts", "ends", "said"),
    [
        ((2026, 6, 1, 5), (2026, 6, 4, 5), ("1 Jun 2026", "3 Jun 2026")),
        ((2026, 6, 1, 12), (2026, 6, 4, 5), ("1 Jun 2026 07:00", "3 Jun 2026")),
        ((2026, 6, 1, 5), (2026, 6, 4, 12), ("1 Jun 2026", "4 Jun 2026 07:00")),
    ],
)
def test_whole_days_are_said_without_their_hours(
    starts: tuple[int, int, int, int], ends: tuple[int, int, int, int], said: tuple[str, str]
) -> None:
    chicago = zone("America/Chicago")
    assert show_window(datetime(*starts, tzinfo=UTC), datetime(*ends, tzinfo=UTC), chicago) == said
