"""Files for the import, and a tool room to take them into. Everything in them is invented."""

from __future__ import annotations

import io
import re
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import xlsxwriter
from sqlalchemy import func, select, text

from fleet import records
from fleet.desk.imports import import_files, read_file
from fleet.records import Base
from fleet.room import open_room, upgrade_database
from fleet.settings import read_settings
from tests.shop import Clock

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from sqlalchemy.engine import Connection

    from fleet.desk.imports import ReadFile, Rejection, Report
    from fleet.room import Room

# A small room, a file per sheet. The clock of the tests stands at 13 May 2026.
ROOM: Mapping[str, str] = {
    "sites": """\
Site,Name,Time zone,Pressure unit,Torque unit,Letter day,Letter hour,Spare address
NORTH,North tool room,America/Chicago,psi,ft-lb,Monday,6,north@tool-room.example
SOUTH,South tool room,Europe/Berlin,bar,Nm,,,south@tool-room.example
""",
    "people": """\
Badge,Name,E-mail,Site,Role,Active
K1,Kim Keeper,kim@tool-room.example,NORTH,keeper,yes
K1,Kim Keeper,kim@tool-room.example,SOUTH,keeper,yes
P1,Pat Planner,,NORTH,planner,
S1,Sam Safety,,NORTH,safety officer,
F1,Fin Fitter,,,,
""",
    "couplings": """\
Series,Size,Maximum working pressure,Flush face
A,3/8 in,"700 bar / 10,000 psi",no
""",
    "models": """\
Model;Kind;MWP;Head;Square drive;Across flats;Relief setting advance;Burst ratio;Range;Class;Stroke degrees;\
Advance volume;Return volume;Flow;Bulk months;Storage months;Width;Height;Weight;Reaction arm
W-500;wrench;700 bar / 10 000 psi;square drive;1 in;;;;;;30;60 cm³;2.5 in³;;;;3 1/8 in;6 in;11.5 lb;7 in
L-60;wrench;700 bar / 10 000 psi;ratchet link;;60 mm;;;;;;;;;;;32 mm;126 mm;2.3 kg;158 mm
P-1;pump;10,000 psi;;;;9,800 psi;;;;;;;0.25 US gal/min;;;;;62 lb;
H-6;hose;700 bar / 10 000 psi;;;;;4:1;;;;;;;48;24;;;;
G-1;gauge;;;;;;;1000 bar;1.6;;;;;;;;;;
S-36;socket;;;1 in;36 mm;;;;;;;;;;;;;;
""",
    "ports": """\
Model,Line,Faces,Series,Size,Half
W-500,advance,pump,A,3/8 in,male
W-500,retract,pump,A,3/8 in,female
""",
    "charts": """\
Model,Pressure (psi),"Torque (lbf·ft)"
W-500,"2,000",300
W-500,"5,000",750
W-500,"10,000",1500
""",
    "upkeep": """\
Task,Kind,Model,Months,Cycles,Pump hours,Counts from,Lead days,Stop,Proved by,Again after
calibration,wrench,,12,5000,,,,,calibration,"Seal kit; drive parts"
life,hose,,72,,,assembly,30,hard,,
service,pump,,12,,250,,,,note,relief set
""",
    "items": """\
Tag,Model,Serial,Site,Shelf,Received,Assembled,Bulk made on
10006,W-500,00123,NORTH,A1,2025-01-05,,
10014,H-6,2E5,NORTH,B2,2025-01-05,2024-12-01,2023-06-01
10022,P-1,MAR1,SOUTH,,2025-01-05,,
10039,W-500,1-2,NORTH,A2,2025-01-05,,
""",
    "jobs": """\
Job,Name,Site,Start,End,Crews
J-1,Exchanger bundle,NORTH,2026-05-10,2026-05-20,3
J-2,Steam chest,SOUTH,2026-06-01 07:00,2026-06-03 16:00,
""",
    "joint templates": """\
Template,Bolts,Thread,Target torque,Loosening factor,Loosening reason,Duration minutes,Head,Widest,Heaviest
Manway,24,M39,"1,900 N·m",1.6,hot service,480,ratchet link,60 mm,9 kg
""",
    "joints": """\
Job,Joint,Bolts,Thread,Nut series,Across flats,Target torque,Loosening factor,Loosening reason,\
Planned cycles,Turn degrees,Template,Wrenches at once,Square drive,Highest
J-1,F-1,16,1 1/2-8 UN,heavy,2 3/8 in,"1,400 N·m",1.5,"rust, paint",32,90,,2,1 in,7 in
J-2,M-1,,,,60 mm,,,,,,manway,,,
""",
    "breakouts": """\
Job,Joint,Tag,Measured on,Torque,Pressure,By,Note
J-1,F-1,10006,2026-05-11,,"8,000 psi",K1,
J-1,F-1,,2026-05-11,"1,500 N·m",,,by the torque multiplier
""",
    "use": """\
Tag,Used on,Job,Cycles,Pump minutes,By,Note
10006,2026-01-10,,400,90,K1,
10006,2026-03-10,J-1,120,30,K1,second shift
""",
    "upkeep done": """\
Tag,Task,Done on,Cycles,By,Note
10006,calibration,2026-02-01,,K1,certificate 77
""",
    "holds": """\
Tag,Cause,Reason,Opened on,Released on,Evidence,By
10039,damaged,Reaction arm bent,2026-05-01,,,K1
10014,inspection,Cover cut,2026-04-01,2026-04-03,Inspected again,K1
""",
    "loans": """\
Tag,Borrower,Job,Issued on,Back on,By
10006,F1,J-1,2026-05-10,2026-05-20,K1
""",
    "competences": """\
Badge,Kind,Task,Expires on,Evidence
K1,hose,inspection before use,2027-01-31,"Instructed on 3 March, list 7"
K1,wrench,Calibration,2027-03-01,Course of the wrench maker
""",
    "reservations": """\
Tag,Job,Joint,From,To,By
10006,J-1,F-1,2026-05-10,2026-05-20,P1
10022,J-2,,2026-06-01 07:00,2026-06-03 16:00,K1
""",
}
ROWS = sum(len(sheet.splitlines()) - 1 for sheet in ROOM.values())


def csv_file(name: str, content: str) -> ReadFile:
    """A CSV file of this text."""
    return read_file(f"{name}.csv", content.encode())


def workbook(sheets: Mapping[str, Sequence[Sequence[Any]]], **formats: Mapping[str, object]) -> bytes:
    """An XLSX file; a cell may be text, a number, a day, or ``(value, format name)``."""
    buffer = io.BytesIO()
    with xlsxwriter.Workbook(buffer, {"default_date_format": "yyyy-mm-dd"}) as book:
        named = {name: book.add_format(dict(given)) for name, given in formats.items()}
        for title, rows in sheets.items():
            page = book.add_worksheet(title)
            for at, row in enumerate(rows):
                for column, cell in enumerate(row):
                    value, style = cell if isinstance(cell, tuple) else (cell, None)
                    page.write(at, column, value, *([named[style]] if style else []))
    return buffer.getvalue()


@dataclass
class Intake:
    """Takes files into a room and answers what became of them."""

    room: Room

    def take(self, *files: ReadFile, by: str | None = None) -> Report:
        """One import, saved whatever was refused."""
        with self.room.act() as db:
            actor, now = self.room.sit(db, by)
            return import_files(db, files, by=actor, now=now)

    def set_up(self) -> Report:
        """The small room, taken into an empty one."""
        return self.take(*(csv_file(name, content) for name, content in ROOM.items()))

    def sheet(self, name: str, content: str, by: str = "K1") -> Report:
        """One sheet, by the keeper."""
        return self.take(csv_file(name, content), by=by)

    def refused(self, name: str, content: str, by: str = "K1") -> Rejection:
        """One sheet of which exactly one row is refused, for one reason."""
        report = self.sheet(name, content, by)
        (rejection,) = report.rejections
        assert report.rejected == 1
        return rejection

    def one(self, column: Any, *where: Any) -> Any:  # noqa: ANN401  Whatever the test asks for.
        """One value from the room."""
        with self.room.look() as db:
            return db.execute(select(column).where(*where)).scalar()

    def tally(self) -> dict[str, int]:
        """How many rows every table has."""
        with self.room.look() as db:
            return {
                table.name: db.execute(select(func.count()).select_from(table)).scalar_one()
                for table in Base.metadata.sorted_tables
            }

    def everything(self) -> dict[str, list[tuple[Any, ...]]]:
        """Every row of every table, to show that nothing at all has changed."""
        with self.room.look() as db:
            return {table.name: _rows(db, table.name) for table in Base.metadata.sorted_tables}


def taken_in(address: str) -> None:
    """Bring an empty database to the newest schema, and take the small room into it."""
    settings = read_settings({"FLEET_SETTINGS": "/nowhere"}, database=address)
    upgrade_database(settings)
    room = open_room(settings, clock=Clock())
    assert Intake(room).set_up().rejections == ()
    room.close()


def _rows(db: Connection, name: str) -> list[tuple[Any, ...]]:
    assert re.fullmatch(r"[a-z_]+", name)
    return sorted((tuple(row) for row in db.execute(text(f"SELECT * FROM {name}"))), key=repr)


def newest_entry(intake: Intake, chain: int) -> Any:  # noqa: ANN401  A row of the day book.
    """The newest entry of a day-book chain."""
    entry = records.EntryRow
    with intake.room.look() as db:
        rows = select(entry).where(entry.chain == chain).order_by(entry.seq.desc()).limit(1)
        return db.execute(rows).first()


def at(year: int, month: int, day: int, hour: int = 0, minute: int = 0) -> datetime:
    """An instant in UTC."""
    return datetime(year, month, day, hour, minute, tzinfo=UTC)
