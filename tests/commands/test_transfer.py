"""Import and export as they are typed, in a real terminal where it matters."""

from __future__ import annotations

import fcntl
import json
import os
import pty
import re
import struct
import subprocess
import sys
import termios
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from fleet.rules.sheets import SHEETS
from tests.commands.typed import Answer, here, start
from tests.importing import ROOM, ROWS, taken_in, workbook

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.databases import Migrate

FLEET = Path(sys.executable).with_name("fleet")
GOOD = "Model,Serial,Site\nW-500,90,NORTH\n"
BAD = (
    "Model,Serial,Site,Shelf,Received\n"
    'W-50,90,NORTH,"behind [the] door, second shelf from the top, left of the long table",03/04/26\n'
    "W-500,91,NORTH,A1,2026-01-01\n"
)


@dataclass
class Typed:
    """The program as it is started from a shell."""

    database: str
    folder: Path

    def env(self) -> dict[str, str]:
        return {"PATH": os.environ["PATH"], "FLEET_SETTINGS": "/nowhere", "FLEET_DATABASE": self.database}

    def run(self, *words: str, by: str = "K1") -> Answer:
        acting = ["--by", by] if by else []
        return here(*acting, *words, folder=self.folder, FLEET_DATABASE=self.database)

    def file(self, name: str, content: str | bytes) -> str:
        path = self.folder / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return name

    def object(self, *words: str, by: str = "K1") -> Any:  # noqa: ANN401  Whatever the program prints.
        return json.loads(self.run(*words, "--json", by=by).out)


@pytest.fixture
def typed(engine_name: str, migrated_template: Callable[[str, Migrate], str], tmp_path: Path) -> Typed:
    """The program beside a small room."""
    return Typed(migrated_template(engine_name, taken_in), tmp_path)


def test_an_empty_room_is_set_up_by_whoever_comes_first(database_url: str, tmp_path: Path) -> None:
    typed = Typed(database_url, tmp_path)
    names = [typed.file(f"{name}.csv", content) for name, content in ROOM.items()]
    env = {"FLEET_DATABASE": database_url}
    assert start("database", "upgrade", **env).code == 0

    set_up = start("import", *(str(tmp_path / name) for name in names), "--write", **env)
    assert (set_up.code, set_up.err) == (0, "")
    assert set_up.out.endswith(f"Saved: {ROWS} new, 0 changed.\n")


def test_without_write_nothing_is_saved(typed: Typed) -> None:
    name = typed.file("new.csv", GOOD)
    for _ in range(2):
        shown = typed.run("import", name)
        assert (shown.code, shown.err) == (0, "")
        assert shown.out.endswith("Nothing is saved yet: 1 new, 0 changed. Save with --write.\n")

    assert typed.run("import", name, "--write").out.endswith("Saved: 1 new, 0 changed.\n")
    again = typed.run("import", name, "--write")
    assert (again.code, again.out.splitlines()[-1]) == (
        0,
        "Nothing to save: what these files say is on record already.",
    )


def test_one_refused_row_refuses_all_unless_it_may_be_skipped(typed: Typed) -> None:
    names = [typed.file("bad.csv", BAD), typed.file("good.csv", GOOD)]

    refused = typed.run("import", *names, "--write")
    assert refused.code == 3
    assert refused.out.splitlines()[-1].startswith("Nothing was saved: 1 row is refused.")
    assert typed.object("import", *names)["tables"][0]["new"] == 1

    skipped = typed.run("import", *names, "--write", "--skip-rejected")
    assert (skipped.code, skipped.out.splitlines()[-1]) == (
        0,
        "Saved: 2 new, 0 changed. 1 row is left out.",
    )


def test_the_report_as_json(typed: Typed) -> None:
    found = typed.object("import", typed.file("bad.csv", BAD))

    assert found["saved"] is False
    assert found["tables"] == [
        {
            "file": "bad.csv",
            "sheet": "items",
            "rows": 2,
            "new": 1,
            "changed": 0,
            "unchanged": 0,
            "rejected": 1,
            "blank": 0,
        }
    ]
    assert [(one["row"], one["column"], one["value"], one["rule"]) for one in found["rejections"]] == [
        (2, "Model", "W-50", "unknown"),
        (2, "Received", "03/04/26", "unreadable"),
    ]


def test_changes_are_shown_when_asked_for(typed: Typed) -> None:
    name = typed.file("moved.csv", "Tag,Model,Serial,Site,Shelf\n10006,W-500,00123,NORTH,C7\n")
    shown = typed.run("import", name, "--changes").out

    assert "items  1000-6  Shelf   A1   C7" in shown


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("nothing.csv", "nothing.csv cannot be read: No such file or directory."),
        (".", ". is a folder. Name the files in it, such as ./*.csv."),
        ("empty.csv", "empty.csv is empty: it has no row of headings."),
        ("broken.xlsx", "broken.xlsx is not an Excel workbook (.xlsx)."),
    ],
)
def test_what_is_no_file_is_refused_with_a_sentence(typed: Typed, name: str, sentence: str) -> None:
    typed.file("empty.csv", "")
    typed.file("broken.xlsx", "PK\x03\x04 no")
    refused = typed.run("import", name)

    assert (refused.code, refused.out) == (3, "")
    assert refused.err.startswith(sentence)
    assert "Traceback" not in refused.err


def test_nobody_imports_without_saying_who(typed: Typed) -> None:
    refused = typed.run("import", typed.file("new.csv", GOOD), by="")

    assert refused.code == 3
    assert refused.err.startswith("Say who you are with --by BADGE")


def test_a_workbook_of_several_sheets(typed: Typed) -> None:
    sheets: dict[str, list[tuple[object, ...]]] = {
        "items": [("Model", "Serial", "Site"), ("W-500", "00124", "NORTH")],
        "charts": [("Model", "Pressure (bar)", "Torque (N·m)"), ("L-60", 200, 500.5), ("L-60", 700, 1750)],
    }
    name = typed.file("room.xlsx", workbook(sheets))

    assert typed.run("import", name, "--write").out.endswith("Saved: 3 new, 0 changed.\n")


def test_export_and_import_make_a_circle(typed: Typed) -> None:
    for words, files in ((["--xlsx"], ["sheets.xlsx"]), ([], [f"{sheet.name}.csv" for sheet in SHEETS])):
        found = typed.object("export", "out", *words)
        assert [Path(path).name for path in found["files"]] == files
        assert sum(sheet["rows"] for sheet in found["sheets"]) == ROWS
        back = typed.run("import", *found["files"], "--write")
        assert back.out.splitlines()[-1] == "Nothing to save: what these files say is on record already."


def test_only_the_sheets_that_were_asked_for(typed: Typed) -> None:
    assert typed.object("export", "some", "--sheets", "Items, upkeep-done")["sheets"] == [
        {"sheet": "items", "rows": 4},
        {"sheet": "upkeep done", "rows": 1},
    ]
    refused = typed.run("export", "some", "--sheets", "itms")
    assert (refused.code, 'Did you mean "items"?' in refused.err) == (3, True)

    twice = typed.run("export", "some", "--sheets", "items")
    assert (twice.code, "is there already" in twice.err) == (3, True)


def in_a_terminal(typed: Typed, *words: str, columns: int = 80) -> tuple[str, str, int]:
    """What a person sees who runs the program: the text, the progress, and the exit code."""
    texts = []
    streams = [pty.openpty(), pty.openpty()]
    for _, ours in streams:
        fcntl.ioctl(ours, termios.TIOCSWINSZ, struct.pack("HHHH", 40, columns, 0, 0))
    env = typed.env() | {"TERM": "xterm", "NO_COLOR": "1"}
    command = [str(FLEET), "--by", "K1", *words]
    with subprocess.Popen(
        command, cwd=typed.folder, env=env, stdout=streams[0][1], stderr=streams[1][1]
    ) as running:
        for theirs, ours in streams:
            os.close(ours)
            texts.append(_all_of(theirs))
    return texts[0], texts[1], running.returncode


def _all_of(terminal: int) -> str:
    seen = b""
    try:
        while more := os.read(terminal, 65_536):
            seen += more
    except OSError:  # The other end is closed.
        pass
    os.close(terminal)
    return seen.decode()


def test_refused_rows_are_readable_in_eighty_columns_and_nothing_is_cut(typed: Typed) -> None:
    seen, progress, code = in_a_terminal(typed, "import", typed.file("bad.csv", BAD))

    lines = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]|\r", "", seen).splitlines()
    assert code == 3
    assert max(len(line) for line in lines[:-1]) <= 80
    assert "…" not in seen
    said = "".join(seen.split())
    # The words of the sentence stand below each other in their column.
    for word in ("W-50", "unknown", "W-500", "03/04/26", "2026-04-03", "2026-03-04"):
        assert word in said
    assert "working out what is due" in progress


def test_the_help_says_what_is_saved_when(typed: Typed) -> None:
    said = " ".join(typed.run("import", "--help").out.split())

    assert "Saves only with --write" in said
    assert "--skip-rejected" in said
