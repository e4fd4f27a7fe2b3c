"""Mutation testing, as a command: do the tests notice a changed formula or stop rule.

``python3 -m tests.mutation [--keep FOLDER] [FILE ...]``

mutmut changes the body of every plain function; ``rest`` changes what mutmut leaves alone: properties, and
the constants and tables of a module. Only the tests without a database run, on a copy of the project. A
changed sentence does not count: a plain text over 24 characters, or any text of an f-string, is wording; the
numbers, names and conditions in a sentence do count. ``equivalent`` lists the changes that change nothing.
"""

import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from tests import environment, machine
from tests.mutation import report
from tests.mutation.settings import QUIETLY, TESTS

MUTMUT = "mutmut==3.8.1"
VENV = environment.ROOT / ".mutation-venv"
STOP_RULES = (
    *("loans", "hoses", "kits", "sockets", "due", "concessions"),
    *("reservations", "calibrations", "intervals", "people", "plates"),
)
# The same examples for every mutant, no PostgreSQL, and no compiled file that outlives its source.
ALIKE = {"CI": "1", "FLEET_TEST_POSTGRES": "none", "PYTHONDONTWRITEBYTECODE": "1", "NO_COLOR": "1"}


def chosen(given: list[str]) -> list[str]:
    """Answer the files to change, as paths from the root: those given, or all formulas and stop rules."""
    formulas = sorted((environment.ROOT / "fleet" / "bolting").glob("[!_]*.py"))
    everything = [f"fleet/rules/{name}.py" for name in STOP_RULES]
    everything += [str(path.relative_to(environment.ROOT)) for path in formulas]
    unknown = [name for name in given if name not in everything]
    if unknown:
        raise machine.CannotGoOn(f"Not among the formulas and stop rules: {', '.join(unknown)}.")
    return given or everything


def python_with_mutmut() -> Path:
    """Answer the Python of an environment of mutmut's own, which sees the packages of the tests too."""
    tests_packages = next(environment.VENV.glob("lib/python*/site-packages"))
    python = VENV / "bin" / "python"
    if not list(VENV.glob(f"lib/python*/site-packages/{MUTMUT.replace('==', '-')}.dist-info")):
        machine.say(f"Making an environment for {MUTMUT} in {VENV.name} ...")
        environment.run(str(environment.PYTHON), "-m", "venv", "--clear", str(VENV))
        environment.run(str(python), "-m", "pip", "-qq", "--no-input", "install", MUTMUT)
    ours = next(VENV.glob("lib/python*/site-packages"))
    (ours / "tests.pth").write_text(f"{tests_packages}\n")
    return python


def copy_project(work: Path, files: list[str]) -> None:
    """Copy what the tests need and tell mutmut what to change."""
    without = shutil.ignore_patterns("__pycache__")
    for folder in ("fleet", "migrations", "seed_data", "tests"):
        shutil.copytree(environment.ROOT / folder, work / folder, ignore=without)
    wanted = {
        "source_paths": ["fleet"],
        "only_mutate": files,
        "also_copy": ["migrations", "seed_data"],
        "pytest_add_cli_args": list(QUIETLY),
        "pytest_add_cli_args_test_selection": list(TESTS),
    }
    table = "".join(f"{key} = {json.dumps(value)}\n" for key, value in wanted.items())
    project = environment.PROJECT.read_text() + f"\n[tool.mutmut]\n{table}use_git_change_detection = false\n"
    (work / "pyproject.toml").write_text(project)


def run(where: Path, python: Path, module: str, *arguments: str) -> None:
    """Run a module; what it prints goes beside the answer."""
    command = [str(python), "-m", module, *arguments]
    subprocess.run(command, cwd=where, env={**os.environ, **ALIKE}, check=True, stdout=sys.stderr)


def main(given: list[str]) -> int:
    """Change every chosen file in every place, run the tests, and print what they did not notice."""
    keep = Path(given[1]) if given[:1] == ["--keep"] else None
    files = chosen(given[2:] if keep else given)
    environment.ready()
    python = python_with_mutmut()
    work = keep or Path(tempfile.mkdtemp(prefix="mutation-"))
    copy_project(work, files)
    # mutmut makes all mutants and finds the tests that reach them, but need try only a few of one file.
    few = files[-1].removesuffix(".py").replace("/", ".") + ".*__mutmut_1"
    run(work, python, "mutmut", "run", "--max-children", "1", few)
    run(work / "mutants", python, "tests.mutation.trial", *files)
    run(work, python, "tests.mutation.rest", *files)
    survivors = report.show(work, files)
    if keep is None:
        shutil.rmtree(work)
    return 1 if survivors else 0


if __name__ == "__main__":
    try:
        sys.exit(main(sys.argv[1:]))
    except machine.CannotGoOn as reason:
        sys.stderr.write(f"{reason}\n")
        sys.exit(2)
