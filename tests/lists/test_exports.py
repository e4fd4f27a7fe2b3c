"""What is exported can be read again, and then changes nothing at all."""

from __future__ import annotations

import csv
import io
from datetime import UTC, timedelta
from typing import TYPE_CHECKING

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import func, select

from fleet import records
from fleet.commands.sheetfiles import write_csv, write_workbook
from fleet.desk.imports import read_file
from fleet.desk.loans import IssueSlip, issue
from fleet.desk.returns import ReturnSlip, take_back
from fleet.desk.usage import reverse_use
from fleet.lists.exports import export_sheets, write_when
from fleet.measures.tags import make_tag
from fleet.measures.times import read_instant, read_moment, zone
from fleet.records.base import rows_of
from fleet.refusals import NotPossible
from fleet.room import open_room
from fleet.rules.sheets import SHEETS
from fleet.settings import read_settings
from tests.conftest import migrate
from tests.importing import ROWS, Intake, at
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from datetime import datetime
    from pathlib import Path

    from fleet.desk.imports import Report
    from fleet.lists.exports import SheetRows
    from fleet.room import Room
    from fleet.rules.people import Actor
    from tests.databases import Migrate

HOSTILE = (
    '=HYPERLINK("http://nowhere.example","x")',
    "+1+1",
    "-2+3",
    "@SUM(A1)",
    "\t=1",
    "'=1",
    "''quoted",
    'say "no", twice',
    "a,b;c\td",
    "first line\nsecond line",
    "first line\r\nsecond line",
    " blanks around ",
    "00123",
    "2E5",
    "MAR1",
    "1-2",
    "Ärger Ω 漢字 🔧",
    "_x0041_",
    "[bold]no markup[/bold]",
    "<b>&amp;",
)


@pytest.fixture
def filled(room: Room) -> Intake:
    intake = Intake(room)
    assert intake.set_up().rejections == ()
    return intake


def exported(intake: Intake) -> list[SheetRows]:
    with intake.room.look() as db:
        return export_sheets(db)


def taken_in_again(intake: Intake, paths: Sequence[Path]) -> Report:
    return intake.take(*(read_file(path.name, path.read_bytes()) for path in paths), by="K1")


def changes_nothing(intake: Intake, folder: Path) -> None:
    """Export both ways, and take each in again."""
    before, sheets = intake.everything(), exported(intake)
    for paths in (write_csv(folder / "csv", sheets), write_workbook(folder / "xlsx", sheets)):
        report = taken_in_again(intake, paths)
        assert report.rejections == ()
        assert report.changes == ()
        assert report.writes == 0
        assert sum(table.unchanged for table in report.tables) == sum(len(sheet.rows) for sheet in sheets)
        assert intake.everything() == before


def test_every_sheet_comes_back_with_every_row(filled: Intake) -> None:
    sheets = exported(filled)

    assert [(sheet.name, sheet.headings) for sheet in sheets] == [(one.name, one.headings) for one in SHEETS]
    assert sum(len(sheet.rows) for sheet in sheets) == ROWS
    assert all(len(row) == len(sheet.headings) for sheet in sheets for row in sheet.rows)


def test_taking_in_what_was_exported_changes_nothing(filled: Intake, tmp_path: Path) -> None:
    changes_nothing(filled, tmp_path)


def test_what_happened_at_the_counter_comes_back_too(filled: Intake, tmp_path: Path) -> None:
    keeper = actor(filled, "K1")
    with filled.room.act() as db:
        now = filled.room.now(db) + timedelta(seconds=7, microseconds=31)
        take_back(db, ReturnSlip("r-1", "10006", 40, 9, "damaged", "Arm bent, =1+1"), by=keeper, now=now)
        issue(db, IssueSlip("i-1", ("10014",), "F1", "J-1", TODAY + timedelta(days=3)), by=keeper, now=now)
        entry = db.execute(select(func.max(records.UsageRow.id))).scalar_one()
        reverse_use(db, entry, "Counted twice at the counter", client_id="b-1", by=keeper, now=now)

    changes_nothing(filled, tmp_path)


def actor(intake: Intake, badge: str) -> Actor:
    with intake.room.look() as db:
        return intake.room.sit(db, badge)[0]


def test_hostile_text_comes_back_as_it_was(filled: Intake, tmp_path: Path) -> None:
    rows = rows_of(records.ItemRow)
    with filled.room.act() as db:
        wrench = dict(db.execute(rows.select().where(rows.c.tag == "10006")).mappings().one())
        del wrench["id"]
        other = db.execute(select(records.ModelRow.id).where(records.ModelRow.designation == "L-60"))
        wrench |= {"model_id": other.scalar_one(), "cycles": 0, "minutes": 0}
        for number, text in enumerate(HOSTILE, start=9000):
            db.execute(rows.insert(), wrench | {"tag": make_tag(number), "serial": text, "shelf": text})

    changes_nothing(filled, tmp_path)


def test_no_cell_of_an_export_runs(filled: Intake, tmp_path: Path) -> None:
    filled.sheet("items", f'Tag,Model,Serial,Site,Shelf\n10006,W-500,00123,NORTH,"\'{HOSTILE[1]}"\n')
    sheets = exported(filled)

    written = (write_csv(tmp_path, sheets)[7]).read_text(encoding="utf-8")
    shelves = {row["Tag"]: row["Shelf"] for row in csv.DictReader(io.StringIO(written))}
    assert shelves["10006"] == "'+1+1"
    assert not written.startswith("\ufeff")

    book = openpyxl.load_workbook(write_workbook(tmp_path, sheets)[0])
    kinds = {cell.data_type for page in book.worksheets for row in page.iter_rows() for cell in row}
    assert kinds <= {"s", "n"}
    assert book["items"]["E2"].value == "+1+1"


def test_a_negative_number_is_a_number(filled: Intake, tmp_path: Path) -> None:
    filled.sheet("use", "Tag,Used on,Cycles,Entry\n10006,2026-04-01,700,e-1\n")
    filled.sheet("use", "Tag,Used on,Cycles,Note,Entry,Reverses\n10006,2026-04-01,-700,Typo,e-2,e-1\n")
    (use,) = (sheet for sheet in exported(filled) if sheet.name == "use")

    assert use.rows[-1] == ("10006", "2026-04-01", "", -700, 0, "", "Typo", "e-2", "e-1")
    assert ",-700," in write_csv(tmp_path, [use])[0].read_text(encoding="utf-8")
    changes_nothing(filled, tmp_path / "again")


@pytest.fixture
def other_room(engine_name: str, migrated_template: Callable[[str, Migrate], str]) -> Iterator[Room]:
    """A second, empty room."""
    address = migrated_template(engine_name, migrate)
    opened = open_room(read_settings({"FLEET_SETTINGS": "/nowhere"}, database=address), clock=lambda: NOON)
    yield opened
    opened.close()


def test_an_export_fills_another_room_with_the_same(filled: Intake, other_room: Room, tmp_path: Path) -> None:
    sheets = exported(filled)
    paths = write_csv(tmp_path, sheets)
    other = Intake(other_room)
    report = other.take(*(read_file(path.name, path.read_bytes()) for path in paths))

    assert report.rejections == ()
    assert exported(other) == sheets
    assert other.tally()["due_line"] == filled.tally()["due_line"]


def test_nothing_is_written_over(filled: Intake, tmp_path: Path) -> None:
    sheets = exported(filled)
    (path,) = write_workbook(tmp_path, sheets)
    before = path.read_bytes()

    with pytest.raises(NotPossible, match="is there already"):
        write_workbook(tmp_path, sheets)
    assert path.read_bytes() == before


ZONES = st.sampled_from(["America/Chicago", "Europe/Berlin", "Australia/Lord_Howe", "Africa/Cairo", "UTC"])
WALL = NOON.replace(tzinfo=None)
INSTANTS = st.one_of(
    st.datetimes(min_value=WALL.replace(year=1990), max_value=WALL.replace(year=2090)),
    st.integers(0, 400 * 24 * 4).map(lambda quarters: WALL + timedelta(minutes=15 * quarters)),
)


@given(INSTANTS, ZONES, st.booleans())
def test_a_moment_is_read_back_as_the_very_same(moment: datetime, name: str, end: bool) -> None:
    instant = moment.replace(tzinfo=UTC)
    text = write_when(instant, name, end=end)

    read = read_instant(text) if text.endswith("Z") else read_moment(text, zone(name), end=end)
    assert read == instant


def test_a_day_is_written_as_a_day() -> None:
    assert write_when(at(2026, 5, 10, 5), "America/Chicago") == "2026-05-10"
    assert write_when(at(2026, 5, 21, 5), "America/Chicago", end=True) == "2026-05-20"
    assert write_when(at(2026, 5, 10, 12, 30), "America/Chicago") == "2026-05-10 07:30"
    # Clocks go back on 1 November 2026 (IANA time zone database): this 01:30 is the second of that night.
    assert write_when(at(2026, 11, 1, 7, 30), "America/Chicago") == "2026-11-01T07:30:00.000000Z"
    assert write_when(None, "UTC") == ""
