"""Which sheet a table is, by what people write over its columns."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from fleet.rules.headings import REFUSED, plain, recognise
from fleet.rules.sheets import SHEETS

if TYPE_CHECKING:
    from fleet.rules.columns import Sheet


def sheet(name: str) -> Sheet:
    return next(one for one in SHEETS if one.name == name)


@pytest.mark.parametrize("one", SHEETS, ids=lambda one: one.name)
def test_every_sheet_is_known_by_its_own_headings(one: Sheet) -> None:
    found = recognise(one.headings, "anything")

    assert (found.sheet, found.faults) == (one, ())
    assert tuple(found.places) == one.headings


@pytest.mark.parametrize("one", SHEETS, ids=lambda one: one.name)
def test_no_two_columns_of_a_sheet_go_by_one_name(one: Sheet) -> None:
    names = [
        name for column in one.columns for name in {plain(said) for said in (column.heading, *column.also)}
    ]
    assert sorted(names) == sorted(set(names))


def test_case_spaces_and_punctuation_do_not_count() -> None:
    found = recognise(["MODEL NO.", "serial-no", " s i t e ", "Max. working pressure"], "items")

    assert [one.column.heading for one in found.places.values()] == ["Model", "Serial", "Site"]
    assert [fault.heading for fault in found.faults] == ["Max. working pressure"]


@pytest.mark.parametrize(
    ("heading", "column", "unit"),
    [
        ("Torque (lbf·ft)", "Torque", "lbf·ft"),
        ("Torque [ft-lb]", "Torque", "lbf·ft"),
        ("torque  ( Nm )", "Torque", "N·m"),
        ("Output torque (kN.m)", "Torque", "kN·m"),
        ("Torque", "Torque", None),
    ],
)
def test_a_unit_in_brackets_serves_the_column(heading: str, column: str, unit: str | None) -> None:
    found = recognise(["Model", "Pressure (psi)", heading], "charts")

    assert found.faults == ()
    assert found.places[column].unit == unit
    assert found.places["Pressure"].unit == "psi"


@pytest.mark.parametrize(
    ("heading", "piece"),
    [
        ("Torque (psi)", "takes a unit of torque there"),
        ("Torque (furlong)", "takes a unit of torque there"),
        ("Model (psi)", "takes no unit there"),
        ("Torqe", 'Did you mean "Torque"?'),
        ("", "has cells but no heading"),
    ],
)
def test_headings_that_cannot_be_used(heading: str, piece: str) -> None:
    found = recognise(["Model", "Pressure", "Torque", heading], "charts")

    assert any(piece in fault.sentence for fault in found.faults)


def test_a_gap_between_columns_is_no_fault() -> None:
    assert recognise(["Model", None, "Pressure", "Torque"], "charts").faults == ()


def test_one_column_does_not_stand_twice() -> None:
    found = recognise(["Model", "Pressure", "Torque", "Set pressure"], "charts")

    assert [fault.sentence for fault in found.faults] == [
        'The headings "Pressure" and "Set pressure" are the same column; leave one of them.'
    ]


def test_one_rating_for_both_lines_leaves_no_room_for_one_of_them() -> None:
    assert recognise(["Model", "Kind", "MWP"], "models").faults == ()
    assert recognise(["Model", "Kind", "MWP advance", "MWP retract"], "models").faults == ()

    (fault,) = recognise(["Model", "Kind", "MWP", "MWP retract"], "models").faults
    assert fault.heading == "MWP retract"


def test_a_missing_column_is_named() -> None:
    found = recognise(["Model", "Serial"], "items.csv")

    assert [fault.sentence for fault in found.faults] == [
        "The sheet items needs a column Site, and there is none."
    ]


def test_headings_of_nothing_we_know() -> None:
    found = recognise(["Song", "Singer"], "music")

    assert found.sheet is None
    assert "fit none of the sheets sites, people" in found.faults[0].sentence


def test_the_name_decides_where_the_headings_fit_two_sheets() -> None:
    # A job without its name, site and window is no job, so nothing but the name of the file can decide here.
    headings = ["Tag", "Job", "Start", "End"]
    assert recognise(headings, "15 reservations").sheet == sheet("reservations")


@pytest.mark.parametrize("name", ["upkeep_done", "11-Upkeep done", "UPKEEP DONE"])
def test_a_file_is_named_in_many_ways(name: str) -> None:
    assert recognise(["Tag"], name).sheet == sheet("upkeep done")


def test_the_column_that_says_why_rows_were_refused_is_not_read_again() -> None:
    found = recognise([*sheet("jobs").headings, REFUSED], "anything")

    assert (found.sheet, found.faults) == (sheet("jobs"), ())
    assert tuple(found.places) == sheet("jobs").headings
