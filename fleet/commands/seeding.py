"""The invented scenario: its sheets with real dates, in a folder of its own, imported like anybody's."""

from __future__ import annotations

import csv
import io
import re
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from fleet.desk.imports import import_files, read_file
from fleet.refusals import NotPossible
from fleet.rules.people import SETTING_UP

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from fleet.desk.imports import ReadFile, Report
    from fleet.room import Room

# Each sheet after those it leans on; the import would find its own order.
SHEETS = (
    *("sites", "people", "couplings", "models", "ports", "charts", "upkeep", "items", "jobs"),
    *("joint_templates", "joints", "breakouts", "use", "upkeep_done", "holds", "loans", "reservations"),
    "competences",
)
MARK = "made-by-fleet-demo.txt"
_MARKED = (
    "This folder was made by: fleet demo\n"
    "Everything in it is invented. The next fleet demo with this folder builds it anew.\n"
)
DATABASE, WRITTEN, LETTERS = "demo.db", "sheets", "letters"

_RELATIVE = re.compile(r"D([+-][0-9]{1,4})?")
# At this hour it is the same day at both sites.
_HOUR = time(15, tzinfo=UTC)
_SHOWN_REJECTIONS = 5


def seed_folder() -> Path:
    """The sheets: inside an installed package, or beside it in a working copy."""
    here = Path(__file__).parent.parent
    packed = here / "_seed_data"
    return packed if packed.is_dir() else here.parent / "seed_data"


def moment_of(day: date) -> datetime:
    """The instant at which the demo is built, on this day at both sites."""
    return datetime.combine(day, _HOUR)


def sheets_of(day: date) -> Iterator[tuple[str, str]]:
    """Each sheet's file name and text, ``D-412`` written as the day 412 days before this one."""
    for name in SHEETS:
        text = io.StringIO()
        writer = csv.writer(text, lineterminator="\n")
        with (seed_folder() / f"{name}.csv").open(newline="", encoding="utf-8") as rows:
            for row in csv.reader(rows):
                writer.writerow([_dated(cell, day) for cell in row])
        yield f"{name}.csv", text.getvalue()


def _dated(cell: str, day: date) -> str:
    found = _RELATIVE.fullmatch(cell)
    return (day + timedelta(days=int(found[1] or 0))).isoformat() if found else cell


def claim(folder: Path) -> bool:
    """Make the folder ours; answer whether an older demo had to go. Refuses a folder of anybody else's."""
    if folder.exists() and not folder.is_dir():
        raise NotPossible(f"{folder} is a file. Name a folder that is empty or does not exist yet.")
    ours = (folder / MARK).exists()
    if not ours and folder.exists() and any(folder.iterdir()):
        raise NotPossible(
            f"{folder} holds something that no demo made. Name a folder that is empty or does not exist yet."
        )
    try:
        (folder / WRITTEN).mkdir(parents=True, exist_ok=True)
        (folder / MARK).write_text(_MARKED, encoding="utf-8")
        for old in (*folder.glob(f"{DATABASE}*"), *(folder / LETTERS).glob("*.eml")):
            old.unlink()
    except OSError as error:
        raise NotPossible(f"Nothing can be built in {folder}: {error.strerror}.") from error
    return ours


def write_sheets(folder: Path, day: date) -> list[Path]:
    """Write the sheets with real dates."""
    paths = []
    for name, text in sheets_of(day):
        paths.append(folder / name)
        paths[-1].write_text(text, encoding="utf-8")
    return paths


def fill(room: Room, files: Iterable[ReadFile], tell: Callable[[str, int, int], None]) -> Report:
    """Import the files into an empty room, all rows or none."""
    with room.act() as db:
        report = import_files(db, list(files), by=SETTING_UP, now=room.now(db), tell=tell)
        if report.rejections:
            said = [f"{one.file} row {one.row}: {one.sentence}" for one in report.rejections]
            more = f" … and {len(said) - _SHOWN_REJECTIONS} more" if len(said) > _SHOWN_REJECTIONS else ""
            raise NotPossible(
                "The seed data does not fit this program, so no demo was built. "
                + " ".join(said[:_SHOWN_REJECTIONS])
                + more
            )
    return report


def read_all(paths: Iterable[Path]) -> list[ReadFile]:
    """Read files from disk as an import does."""
    return [read_file(path.name, path.read_bytes()) for path in paths]
