"""Asks the bench as anybody would, and reads what it printed."""

import json
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from typer.testing import CliRunner

from fleet import commands
from fleet.refusals import Refusal

ROOT = Path(__file__).parents[2]


@dataclass(frozen=True)
class Done:
    """What one calculation printed, and how it ended."""

    exit_code: int
    stdout: str
    output: str
    exception: BaseException | None


def calc(*words: object, database: str = "/nowhere/no.db") -> Done:
    """``fleet calc`` with these words; there is no database unless one is named."""
    code, refusal = 0, None
    with CliRunner(env={"FLEET_SETTINGS": "/nowhere"}).isolation() as streams:
        try:
            commands.program().main(["--database", database, "calc", *map(str, words)], prog_name="fleet")
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else 1
        except Refusal as said:
            code, refusal = 1, said
        sys.stdout.flush()
        sys.stderr.flush()
        out, _, both = (stream.getvalue().decode() for stream in streams)
    return Done(code, out, both, refusal)


def answered(*words: object, database: str = "/nowhere/no.db") -> dict[str, Any]:
    """The JSON that a calculation answers."""
    done = calc(*words, "--json", database=database)
    assert done.exit_code == 0, done.exception or done.output
    found = json.loads(done.stdout)
    assert isinstance(found, dict)
    return found


def refused(*words: object, database: str = "/nowhere/no.db") -> str:
    """The one sentence with which a calculation refuses."""
    done = calc(*words, database=database)
    assert isinstance(done.exception, Refusal), done.output
    assert done.stdout == ""
    sentence = str(done.exception)
    assert "\n" not in sentence
    return sentence


def program(*words: object) -> "subprocess.CompletedProcess[str]":
    """The same in a process of its own, with its exit code."""
    env = os.environ | {"FLEET_SETTINGS": "/nowhere", "FLEET_DATABASE": "/nowhere/no.db"}
    command = [sys.executable, "-m", "fleet", "calc", *map(str, words)]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=ROOT, env=env)


def figures(answer: dict[str, Any]) -> set[str]:
    """The keys of the figures, without what is said about them."""
    return set(answer) - {"assumptions", "source", "cautions"}


def sheet(folder: Path, text: str) -> Path:
    """A file of points."""
    path = folder / "points.csv"
    path.write_text(text, encoding="utf-8")
    return path
