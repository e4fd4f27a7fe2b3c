"""What the import refuses, and the sentence that says what to write instead."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tests.importing import ROOM, Intake, csv_file

if TYPE_CHECKING:
    from fleet.room import Room


def refusals(intake: Intake, name: str, headings: str, rows: dict[str, tuple[str, str]]) -> None:
    """Take in rows that are all to be refused: for each, its column and a piece of its sentence.

    Nothing at all may be written by them.
    """
    before = intake.everything()
    report = intake.sheet(name, "\n".join((headings, *rows)) + "\n")

    assert [table.rejected for table in report.tables] == [len(rows)]
    by_row = {one.row: one for one in report.rejections}
    for number, (row, (column, piece)) in enumerate(rows.items(), start=2):
        assert by_row[number].column == column, row
        assert piece in by_row[number].sentence, row
    assert intake.everything() == before


def test_measures_that_could_be_read_in_two_ways(filled: Intake) -> None:
    rows = {
        "C-1,coupler,3 400 psi": ("MWP", "gap inside the number; write 3,400 psi or 3400 psi"),
        "C-2,coupler,5–10 psi": ("MWP", "is a range; choose one value"),
        "C-3,coupler,12 N·m": ("MWP", "is a torque; a pressure was expected"),
        "C-4,coupler,10000": ("MWP", "has no unit; write it like 700 bar"),
        "C-5,coupler,700 bar / 9000 psi": ("MWP", "differ by 12.8%"),
        "C-6,coupler,-5 bar": ("MWP", "below zero"),
        "C-7,coupler,1e4 psi": ("MWP", "written with an exponent"),
    }
    refusals(filled, "models", "Model,Kind,MWP", rows)


def test_a_unit_in_the_heading_serves_bare_numbers_and_gives_way_to_one_beside_a_number(
    filled: Intake,
) -> None:
    filled.sheet("models", "Model,Kind,Max. working pressure (psi)\nC-1,coupler,10000\nC-2,coupler,700 bar\n")
    exported = {"C-1": "10000 psi", "C-2": "700 bar"}

    for model, written in exported.items():
        again = filled.sheet("models", f"Model,Kind,MWP\n{model},coupler,{written}\n")
        assert again.tables[0].unchanged == 1


def test_days_that_could_be_two_days_or_none(filled: Intake) -> None:
    rows = {
        "W-500,90,NORTH,03/04/26,": (
            "Received",
            "write 2026-04-03 for 3 Apr 2026 or 2026-03-04 for 4 Mar 2026",
        ),
        "W-500,91,NORTH,2026-02-30,": (
            "Received",
            "30 February 2026 does not exist; February 2026 has 28 days",
        ),
        "W-500,92,NORTH,2026-05-14,": ("Received", "2026-05-14 is after today, 2026-05-13; check the year."),
        "W-500,93,NORTH,45000,": ("Received", "is not a day"),
        "W-500,94,NORTH,,2026-13-01": ("Assembled", "no month from 1 to 12"),
    }
    refusals(filled, "items", "Model,Serial,Site,Received,Assembled", rows)


def test_names_that_are_not_on_record_get_the_nearest_that_is(filled: Intake) -> None:
    rows = {
        "W-50,90,NORTH": ("Model", 'There is no model "W-50" on record. Did you mean "W-500"?'),
        "W-500,91,NORHT": ("Site", 'There is no site "NORHT" on record. Did you mean "NORTH"?'),
        "W-500,92,": ("Site", "must not be blank"),
    }
    refusals(filled, "items", "Model,Serial,Site", rows)


def test_tags_that_are_not_what_they_should_be(filled: Intake) -> None:
    rows = {
        "10007,W-500,90,NORTH": ("Tag", "its last figure does not fit"),
        "10006,L-60,00123,NORTH": ("Model", "1000-6 is a W-500 on record; a tag stays with its piece"),
        "10047,W-500,00123,NORTH": ("Tag", "has the tag 1000-6 on record"),
        "10039,W-500,00123,NORTH": ("Tag", "has the tag 1000-6 on record"),
    }
    refusals(filled, "items", "Tag,Model,Serial,Site", rows)


def test_the_same_thing_twice_in_one_file_is_refused_both_times(filled: Intake) -> None:
    rows = {
        ",W-500,90,NORTH": ("", "also described in row 3 of items.csv"),
        ",w-500,90,SOUTH": ("", "also described in row 2 of items.csv"),
        "10047,W-500,91,NORTH": ("Tag", "More than one row bears the tag 10047"),
        "1004-7,W-500,92,NORTH": ("Tag", "More than one row bears the tag 1004-7"),
    }
    refusals(filled, "items", "Tag,Model,Serial,Site", rows)


def test_what_is_out_or_retired_stays_what_it_is(filled: Intake) -> None:
    filled.sheet(
        "items",
        "Tag,Model,Serial,Site,Retired,Retired because\n10039,W-500,1-2,NORTH,2026-05-01,Arm cracked\n",
    )
    rows = {
        "10039,W-500,1-2,NORTH,,": ("Retired", "was retired on 1 May 2026 and stays so"),
        "10006,W-500,00123,SOUTH,,": ("Site", "is out on loan; take it back first"),
        "10014,H-6,2E5,NORTH,2026-05-01,": ("Retired because", "Give the day and the reason, or neither"),
    }
    headings = "Tag,Model,Serial,Site,Retired,Retired because"
    refusals(filled, "items", headings, rows)
    out = {"10006,W-500,00123,NORTH,2026-05-01,Worn": ("Retired", "is out on loan; take it back first")}
    refusals(filled, "items", headings, out)


def test_a_relief_setting_belongs_to_a_pump(filled: Intake) -> None:
    rows = {"10006,W-500,00123,NORTH,9800 psi": ("Relief advance", "A wrench has no relief setting")}
    refusals(filled, "items", "Tag,Model,Serial,Site,Relief advance", rows)


def test_plates_that_lack_what_their_kind_needs(filled: Intake) -> None:
    rows = {
        "W-9,wrench,,1 in,,,": ("Head", "A wrench must have a head"),
        "W-9b,wrench,square drive,,,,": ("Square drive", "must have a square drive"),
        "W-9c,wrench,ratchet link,,,,": ("Across flats", "must have a width across flats"),
        "W-9d,wrench,round,1 in,,,": ("Head", "none of: square drive, ratchet link"),
        "G-9,gauge,,,,1000 bar,": ("Class", "A gauge must have an accuracy class"),
        "G-9b,gauge,,,,1000 bar,7.5": ("Class", "no accuracy of a gauge"),
        "S-9,socket,,1 in,,,": ("Across flats", "A socket must have a width across flats"),
        "H-9,hose,,,36 mm,,": ("Across flats", "A hose does not have a width across flats"),
        "W-500,pump,,,,,": ("Kind", "W-500 is a wrench on record, and a model stays what it is"),
        "X-9,spanner,,,,,": ("Kind", "is none of: wrench, pump, hose, coupler, gauge, socket"),
    }
    refusals(filled, "models", "Model,Kind,Head,Square drive,Across flats,Range,Class", rows)


def test_tasks_without_a_clock(filled: Intake) -> None:
    rows = {
        "oil,pump,,,,": ("", "A task needs months, cycles or pump hours"),
        "oil2,pump,W-500,6,,": ("Kind", "W-500 is a wrench, not a pump"),
        "oil3,pump,,0,,": ("Months", "must be at least 1"),
        "oil4,pump,,,,0.001": ("Pump hours", "are not whole minutes"),
        "calibration,wrench,,,,": ("", "A task needs months"),
    }
    refusals(filled, "upkeep", "Task,Kind,Model,Months,Cycles,Pump hours", rows)


def test_people_who_cannot_be_told_apart(filled: Intake) -> None:
    rows = {
        "Z1,Zoe,zoe@tool-room.example,,": ("E-mail", "give the same badge a different E-mail"),
        "Z1,Zoe,zoe@tool-room.exampel,,": ("E-mail", "give the same badge a different E-mail"),
        "Z2,Zed,zed at home,,": ("E-mail", "is not one mail address"),
        "Z3,Zia,,NORTH,": ("Role", "A role is held at a site"),
        "Z4,Zak,,,keeper": ("Site", "A role is held at a site"),
        "Z5,Zen,,NORTH,kepper": ("Role", 'Did you mean "keeper"?'),
    }
    before = filled.everything()
    report = filled.sheet("people", "\n".join(("Badge,Name,E-mail,Site,Role", *rows)) + "\n")

    found = [(one.column, one.sentence) for one in sorted(report.rejections, key=lambda one: one.row)]
    # The two rows of Z1 differ in their role only if they had one; here they are one row given twice.
    assert "also described in row 3" in found[0][1]
    for (column, sentence), (wanted, piece) in zip(found[2:], list(rows.values())[2:], strict=True):
        assert (column, piece in sentence) == (wanted, True)
    assert filled.everything() == before


def test_two_rows_of_one_badge_must_agree(filled: Intake) -> None:
    report = filled.sheet(
        "people", "Badge,Name,Site,Role\nZ1,Zoe Zander,NORTH,keeper\nZ1,Zoe Zandar,NORTH,planner\nZ2,Zed,,\n"
    )

    assert [(one.row, one.rule) for one in report.rejections] == [(2, "rows disagree"), (3, "rows disagree")]
    assert report.tables[0].new == 1


def test_joints_and_jobs_that_make_no_sense(filled: Intake) -> None:
    joints = {
        "J-1,F-2,8,12 psi,,,": ("Target torque", "is a pressure; a torque was expected"),
        "J-1,F-3,0,900 Nm,,,": ("Bolts", "must be at least 1"),
        "J-1,F-4,8,900 Nm,M36x7,,": ("Thread", "7 mm is no standard pitch"),
        "J-1,F-5,8,900 Nm,,1.5,": ("Loosening reason", "Give a loosening factor with its reason"),
        "J-1,F-6,8,900 Nm,,,rust": ("Loosening factor", "Give a loosening factor with its reason"),
        "J-9,F-7,8,900 Nm,,,": ("Job", 'There is no job "J-9" on record'),
    }
    headings = "Job,Joint,Bolts,Target torque,Thread,Loosening factor,Loosening reason"
    refusals(filled, "joints", headings, joints)

    jobs = {
        "J-8,A,NORTH,2026-06-02,2026-06-01": ("End", "End must be after Start"),
        "J-7,B,SOUTH,2026-03-29 02:30,2026-04-01": ("Start", "does not exist in Europe/Berlin"),
        "J-6,C,NORTH,01/02/2026,2026-04-01": ("Start", "can be read in more than one way"),
    }
    refusals(filled, "jobs", "Job,Name,Site,Start,End", jobs)


def test_a_site_needs_a_zone_a_day_and_an_address(filled: Intake) -> None:
    rows = {
        "EAST,East,Europe/Berln,bar,Nm,Monday,6,e@tool-room.example": ("Time zone", "Europe/Berlin"),
        "EAST2,East,Europe/Berlin,torr,Nm,Monday,6,e@tool-room.example": ("Pressure unit", "psi, bar, MPa"),
        "EAST3,East,Europe/Berlin,bar,Nm,Mo,6,e@tool-room.example": ("Letter day", "write one like Monday"),
        "EAST4,East,Europe/Berlin,bar,Nm,Monday,24,e@tool-room.example": ("Letter hour", "from 0 to 23"),
        "EAST5,East,Europe/Berlin,bar,Nm,Monday,6,": ("Spare address", "must not be blank"),
    }
    headings = "Site,Name,Time zone,Pressure unit,Torque unit,Letter day,Letter hour,Spare address"
    refusals(filled, "sites", headings, rows)


def test_quiet_hours_and_working_days_of_a_site(filled: Intake) -> None:
    site = "East,Europe/Berlin,bar,Nm,e@tool-room.example"
    rows = {
        f"EAST,{site},25,6,Mon": ("Quiet from", "from 0 to 23"),
        f"EAST2,{site},20,six,Mon": ("Quiet until", "from 0 to 23"),
        f"EAST3,{site},20,6,Mon to Fri": ("Working days", "write them like Mon Tue Wed Thu Fri"),
        f"EAST4,{site},20,6,;": ("Working days", "write them like Mon Tue Wed Thu Fri"),
    }
    headings = (
        "Site,Name,Time zone,Pressure unit,Torque unit,Spare address,Quiet from,Quiet until,Working days"
    )
    refusals(filled, "sites", headings, rows)


def test_a_row_with_too_many_or_too_few_cells(filled: Intake) -> None:
    rows = {
        "W-500,90,NORTH,A1,B2": ("", "5 cells under 4 headings"),
        "W-500,91,NORTH": ("", "3 cells under 4 headings"),
    }
    refusals(filled, "items", "Model,Serial,Site,Shelf", rows)


def test_a_heading_that_is_not_known_refuses_the_whole_table(filled: Intake) -> None:
    before = filled.everything()
    report = filled.sheet("items", "Model,Seriel,Site,Colour\nW-500,90,NORTH,red\n,,,\n")

    assert [(one.row, one.column, one.rule) for one in report.rejections] == [
        (1, "Seriel", "unknown heading"),
        (1, "Colour", "unknown heading"),
        (1, "Serial", "heading missing"),
    ]
    assert 'Did you mean "Serial"?' in report.rejections[0].sentence
    assert (report.tables[0].rejected, report.tables[0].blank) == (1, 1)
    assert filled.everything() == before


def test_a_table_of_headings_only_is_no_fault(filled: Intake) -> None:
    report = filled.sheet("items", "Model,Serial,Site\n")

    assert (report.rejections, report.tables[0].rows) == ((), 0)


def test_the_good_rows_are_taken_in_beside_the_bad_ones(filled: Intake) -> None:
    report = filled.take(
        csv_file("items", "Model,Serial,Site\nW-500,90,NORTH\nW-999,91,NORTH\n"),
        csv_file("jobs", "Job,Name,Site,Start,End\nJ-9,A,NORTH,2026-06-01,2026-06-02\n"),
        by="K1",
    )

    assert [(table.new, table.rejected) for table in report.tables] == [(1, 1), (1, 0)]


def test_a_room_that_knows_nobody_takes_no_loans_without_an_issuer(room: Room) -> None:
    files = dict(ROOM) | {"loans": "Tag,Borrower,Job,Issued on,Back on\n10006,F1,J-1,2026-05-10,2026-05-20\n"}
    report = Intake(room).take(*(csv_file(name, content) for name, content in files.items()))

    (rejection,) = report.rejections
    assert rejection.sentence.startswith("Say who issued it: give the badge in a column By")
