"""Taking in sheets: every row is on record afterwards or refused with its reason."""

from __future__ import annotations

import json
import zlib
from datetime import date
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import func, select

from fleet import records
from fleet.desk.imports import import_files, read_file
from fleet.lists.exports import export_sheets
from fleet.lists.sites import find_site
from fleet.refusals import NotPossible
from fleet.rules.people import SETTING_UP
from tests.importing import ROOM, ROWS, Intake, at, csv_file, newest_entry
from tests.shop import TODAY

if TYPE_CHECKING:
    from fleet.room import Room

ITEM, MODEL, CHART = records.ItemRow, records.ModelRow, records.ChartRow


@pytest.fixture
def intake(room: Room) -> Intake:
    return Intake(room)


@pytest.fixture
def filled(intake: Intake) -> Intake:
    report = intake.set_up()
    assert report.rejections == ()
    return intake


def test_an_empty_room_is_set_up_in_one_go_whatever_the_order(intake: Intake) -> None:
    files = [csv_file(name, content) for name, content in reversed(list(ROOM.items()))]
    report = intake.take(*files)

    assert report.rejections == ()
    assert sum(table.new for table in report.tables) == ROWS
    assert intake.one(func.count(ITEM.id)) == 4


def test_the_same_files_twice_change_nothing_at_all(filled: Intake) -> None:
    before = filled.everything()
    report = filled.take(*(csv_file(name, content) for name, content in ROOM.items()), by="K1")

    assert report.writes == 0
    assert sum(table.unchanged for table in report.tables) == ROWS
    assert filled.everything() == before


def test_every_row_is_accounted_for(filled: Intake) -> None:
    rows = (
        "Tag,Model,Serial,Site,Shelf",
        "10006,W-500,00123,NORTH,A9",  # changed
        "10014,H-6,2E5,NORTH,B2",  # unchanged
        ",,,,",  # blank
        ",W-501,9,NORTH,A1",  # refused
        ",W-500,10,NORTH,A1",  # new
        "",  # blank
    )
    (table,) = filled.sheet("items", "\n".join(rows) + "\n").tables

    assert (table.rows, table.new, table.changed, table.unchanged, table.rejected, table.blank) == (
        *(6, 1, 1, 1, 1, 2),
    )
    assert table.accepted + table.rejected + table.blank == table.rows


def test_measures_are_kept_as_written_with_their_value_beside(filled: Intake) -> None:
    assert filled.one(MODEL.mwp_advance_written, MODEL.designation == "W-500") == "700 bar / 10 000 psi"
    assert filled.one(MODEL.mwp_retract_mpa, MODEL.designation == "W-500") == 70.0
    assert filled.one(MODEL.drive_mm, MODEL.designation == "W-500") == 25.4
    # NIST SP 811 (2008), appendix B.9: 1 psi = 6.894757 kPa.
    assert filled.one(MODEL.relief_advance_mpa, MODEL.designation == "P-1") == pytest.approx(
        67.5686, abs=1e-4
    )
    assert filled.one(records.ChartPointRow.torque_written, records.ChartPointRow.pressure_mpa < 20) == (
        "300 lbf·ft"
    )


def test_text_that_looks_like_a_number_or_a_day_stays_text(filled: Intake) -> None:
    with filled.room.look() as db:
        serials = set(db.execute(select(ITEM.serial)).scalars())
    assert serials == {"00123", "2E5", "MAR1", "1-2"}


def test_a_change_says_what_was_and_what_is(filled: Intake) -> None:
    report = filled.sheet("items", "Tag,Model,Serial,Site,Shelf\n10006,W-500,00123,NORTH,C7\n")

    (change,) = report.changes
    assert (change.about, change.column, change.old, change.new) == ("1000-6", "Shelf", "A1", "C7")
    entry = newest_entry(filled, 1)
    body = json.loads(entry.body)
    assert (entry.act, entry.about, entry.person_name) == ("imported", "items.csv", "Kim Keeper")
    assert body["changes"] == [["items", "1000-6", "Shelf", "A1", "C7"]]
    assert body["counts"] == {"items, changed": 1}


def test_a_column_that_is_not_there_leaves_the_record_alone_and_a_blank_cell_clears_it(
    filled: Intake,
) -> None:
    filled.sheet("items", "Tag,Model,Serial,Site\n10014,H-6,2E5,NORTH\n")
    assert filled.one(ITEM.shelf, ITEM.tag == "10014") == "B2"

    filled.sheet("items", "Tag,Model,Serial,Site,Shelf,Received\n10014,H-6,2E5,NORTH,,\n")
    assert filled.one(ITEM.shelf, ITEM.tag == "10014") is None
    assert filled.one(ITEM.received_on, ITEM.tag == "10014") == date(2025, 1, 5)


def test_each_site_and_the_room_get_one_entry_and_the_file_is_kept_once(filled: Intake) -> None:
    with filled.room.look() as db:
        chains = list(db.execute(select(records.EntryRow.chain).order_by(records.EntryRow.chain)).scalars())
        kept = db.execute(
            select(records.TakenInRow.content).where(records.TakenInRow.name == "items.csv")
        ).scalar_one()
    assert chains == [0, 1, 2]
    assert zlib.decompress(kept).decode() == ROOM["items"]
    assert intake_digests(filled) == len(ROOM)


def intake_digests(intake: Intake) -> int:
    return int(intake.one(func.count(records.TakenInRow.sha256.distinct())))


def test_a_file_that_changes_something_again_is_kept_only_once(filled: Intake) -> None:
    there, back = (f"Tag,Model,Serial,Site,Shelf\n10006,W-500,00123,NORTH,{shelf}\n" for shelf in ("X", "Y"))
    for content in (there, back, there):
        filled.sheet("items", content)

    assert filled.one(func.count(records.TakenInRow.id)) == len(ROOM) + 2
    assert filled.one(ITEM.shelf, ITEM.tag == "10006") == "X"


def test_new_items_without_a_tag_get_the_next_free_one(filled: Intake) -> None:
    # The numbers from 1000 to 1003 are on labels already.
    filled.sheet("items", "Model,Serial,Site\nW-500,77,NORTH\nW-500,78,NORTH\n")

    assert filled.one(ITEM.tag, ITEM.serial == "77") == "10047"
    assert filled.one(ITEM.received_on, ITEM.serial == "78") == TODAY


def test_without_tags_the_model_and_serial_number_tell_which_item_it_is(filled: Intake) -> None:
    report = filled.sheet("items", "Model,Serial no.,Site,Shelf\nw-500,00123,north,Z9\n")

    assert report.tables[0].changed == 1
    assert filled.one(ITEM.shelf, ITEM.tag == "10006") == "Z9"


def test_items_get_their_due_lines_at_once(filled: Intake) -> None:
    filled.sheet("items", "Model,Serial,Site,Received\nW-500,77,NORTH,2026-04-01\n")

    item = filled.one(ITEM.id, ITEM.serial == "77")
    # What was never done is overdue on the day the item comes.
    assert filled.one(records.DueLineRow.due_on, records.DueLineRow.item_id == item) == date(2026, 3, 31)


def test_a_new_task_is_worked_out_for_every_item_of_its_kind(filled: Intake) -> None:
    filled.sheet("upkeep", "Task,Kind,Months\ninspection,wrench,6\n")

    assert filled.one(func.count(records.DueLineRow.item_id)) == 2 + 1 + 1 + 2


def test_a_changed_chart_replaces_the_current_one_and_keeps_the_old(filled: Intake) -> None:
    report = filled.sheet("charts", "Model,Pressure,Torque\nW-500,200 bar,500 N·m\nW-500,700 bar,2100 N·m\n")

    assert (report.tables[0].changed, report.rejections) == (2, ())
    assert filled.one(func.count(CHART.id)) == 2
    assert filled.one(func.count(CHART.id), CHART.replaced_at.is_(None)) == 1
    assert "500 N·m at 200 bar; 2100 N·m at 700 bar" in report.changes[0].new


def test_an_item_may_have_a_chart_of_its_own(filled: Intake) -> None:
    rows = "Model,Tag,Pressure,Torque,Source\nW-500,1000-6,700 bar,2050 N·m,certificate 77\n"
    filled.sheet("charts", rows)

    item = filled.one(ITEM.id, ITEM.tag == "10006")
    assert filled.one(CHART.source, CHART.item_id == item) == "certificate 77"
    assert filled.sheet("charts", rows).writes == 0


def test_one_bad_row_keeps_the_whole_chart_out(filled: Intake) -> None:
    before = filled.everything()
    report = filled.sheet(
        "charts", "Model,Pressure,Torque\nW-500,200 bar,500 N·m\nW-500,12 psi,12 psi\nL-60,700 bar,900 N·m\n"
    )

    assert [(one.row, one.rule) for one in report.rejections] == [(3, "unreadable"), (2, "chart not whole")]
    assert report.tables[0].new == 1
    assert set(before["chart_point"]) < set(filled.everything()["chart_point"])
    assert before["chart"] == filled.everything()["chart"][:1]


def test_a_chart_whose_torque_falls_is_refused_with_both_points(filled: Intake) -> None:
    report = filled.sheet("charts", "Model,Pressure,Torque\nL-60,200 bar,500 N·m\nL-60,700 bar,400 N·m\n")

    assert report.rejected == 2
    assert (
        "no more torque than the point before it (500 N·m at 20 MPa (200 bar))"
        in report.rejections[0].sentence
    )


def test_jobs_go_by_the_clock_of_their_site(filled: Intake) -> None:
    assert filled.one(records.JobRow.starts_at, records.JobRow.code == "J-2") == at(2026, 6, 1, 5)
    # The whole of 20 May in Chicago belongs to the first.
    assert filled.one(records.JobRow.ends_at, records.JobRow.code == "J-1") == at(2026, 5, 21, 5)


def test_a_planner_plans_and_does_not_keep_the_register(filled: Intake) -> None:
    assert filled.sheet("joints", "Job,Joint,Bolts,Torque\nJ-1,F-2,8,900 Nm\n", by="P1").tables[0].new == 1

    refusal = filled.refused("items", "Model,Serial,Site\nW-500,77,NORTH\n", by="P1")
    assert refusal.rule == "role"
    assert refusal.sentence == "Pat Planner is not a keeper at North tool room; that role is needed for this."


def test_a_planner_of_one_site_does_not_plan_another(filled: Intake) -> None:
    report = filled.sheet(
        "jobs",
        "Job,Name,Site,Start,End\nJ-3,A,NORTH,2026-06-01,2026-06-02\nJ-4,B,SOUTH,2026-06-01,2026-06-02\n",
        "P1",
    )

    assert report.tables[0].new == 1
    assert report.rejections[0].row == 3


def test_a_safety_officer_may_take_in_people_but_no_models(filled: Intake) -> None:
    assert filled.sheet("people", "Badge,Name\nF2,Flo Fitter\n", by="S1").tables[0].new == 1
    assert filled.refused("models", "Model,Kind\nC-1,coupler\n", by="S1").rule == "role"


def test_only_a_safety_officer_makes_another(filled: Intake) -> None:
    sheet = "Badge,Name,Site,Role\nK1,Kim Keeper,NORTH,safety officer\n"

    for site in ("NORTH", "SOUTH"):
        refusal = filled.refused("people", sheet.replace("NORTH", site), by="K1")
        assert (refusal.rule, "is not a safety officer" in refusal.sentence) == ("role", True)
    assert filled.sheet("people", sheet, by="S1").writes == 1


def test_a_new_site_gets_its_first_roles_from_elsewhere_and_no_further_ones(filled: Intake) -> None:
    sites = ROOM["sites"].replace("SOUTH,South", "WEST,West").replace("south@", "west@")
    filled.sheet("sites", sites)
    assert filled.sheet("people", "Badge,Name,Site,Role\nW1,Wil Wester,WEST,keeper\n").writes == 1

    refusal = filled.refused("people", "Badge,Name,Site,Role\nW2,Wyn Wester,WEST,keeper\n")
    assert (refusal.rule, "keeper or safety officer at West tool room" in refusal.sentence) == ("role", True)


def test_a_chart_has_one_source(filled: Intake) -> None:
    rows = "Model,Pressure,Torque,Source\nL-60,200 bar,500 Nm,plate\nL-60,700 bar,1750 Nm,certificate 9\n"
    report = filled.sheet("charts", rows)

    assert [(one.row, one.rule) for one in report.rejections] == [
        (2, "sources differ"),
        (3, "sources differ"),
    ]


def test_a_long_import_says_where_it_is(filled: Intake) -> None:
    said: list[tuple[str, int, int]] = []
    with filled.room.act() as db:
        actor, now = filled.room.sit(db, "K1")
        file = csv_file("items", "Model,Serial,Site\nW-500,77,NORTH\n")
        import_files(db, [file], by=actor, now=now, tell=lambda what, done, of: said.append((what, done, of)))

    assert said == [
        ("reading items.csv", 0, 1),
        ("adding items", 0, 1),
        ("working out what is due", 0, 1),
    ]


def test_one_file_given_twice_is_one_too_many(filled: Intake) -> None:
    content = ROOM["use"].encode()
    files = [read_file("a.csv", content), read_file("b.csv", content)]

    with filled.room.act() as db, pytest.raises(NotPossible, match="given twice"):
        import_files(db, files, by=SETTING_UP, now=filled.room.now(db))


def test_a_moved_item_is_entered_where_it_left_and_where_it_came(filled: Intake) -> None:
    filled.sheet("items", "Tag,Model,Serial,Site\n10014,H-6,2E5,SOUTH\n")

    for chain in (1, 2):
        assert json.loads(newest_entry(filled, chain).body)["changes"] == [
            ["items", "1001-4", "Site", "NORTH", "SOUTH"]
        ]
    assert (
        filled.one(records.DueLineRow.site_id, ITEM.tag == "10014", ITEM.id == records.DueLineRow.item_id)
        == 2
    )


def test_quiet_hours_and_a_working_week_are_taken_in_and_written_back(filled: Intake) -> None:
    with filled.room.look() as db:
        usual = find_site(db, "SOUTH")
    assert (usual.quiet_from_hour, usual.quiet_until_hour, usual.working_days) == (20, 6, "12345")
    head, _, south = ROOM["sites"].strip().split("\n")
    # The working week of some countries begins on a Sunday; the order in the cell does not matter.
    changed = f"{head},Quiet from,Quiet until,Working days\n{south},22:00,7,Sunday Mon; Tue wed Thu\n"
    assert filled.sheet("sites", changed).tables[0].changed == 1
    with filled.room.look() as db:
        site = find_site(db, "SOUTH")
        (written,) = export_sheets(db, ["sites"])
    assert (site.quiet_from_hour, site.quiet_until_hour, site.working_days) == (22, 7, "12347")
    assert written.rows[1][-3:] == (22, 7, "Mon Tue Wed Thu Sun")
    assert filled.sheet("sites", changed).tables[0].unchanged == 1
