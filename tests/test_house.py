"""The shape of the house: what holds for every file, whoever wrote it."""

import ast
import json
import re
import subprocess
import sys
import tokenize
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parent.parent
OURS = sorted(path for folder in ("fleet", "migrations", "tests") for path in (ROOT / folder).rglob("*.py"))
PROJECT = (ROOT / "pyproject.toml").read_text()
PINNED = (ROOT / "tests" / "requirements.lock").read_text()

LONGEST_FILE = 320  # lines; a migration is a list of tables and never changes again, so it may be longer
# Help must appear at once, so a command loads these only when it runs.
HEAVY = {
    *("alembic", "apscheduler", "fastapi", "jinja2", "numpy", "openpyxl", "pint", "rich", "sqlalchemy"),
    *("uvicorn", "xlsxwriter"),
}
SILENCED = re.compile(r"#\s*noqa")
SILENCED_WITH_REASON = re.compile(r"#\s*noqa: [A-Z]+[0-9]+(, [A-Z]+[0-9]+)*  \S+(\s+\S+)+")


def comments(path: Path) -> Iterator[str]:
    with tokenize.open(path) as source:
        for token in tokenize.generate_tokens(source.readline):
            if token.type == tokenize.COMMENT:
                yield token.string


def rules_switched_off(lint: dict[str, object]) -> list[str]:
    """Every rule that the project file switches off, as often as it does so."""
    everywhere = lint["ignore"]
    somewhere = lint["per-file-ignores"]
    assert isinstance(everywhere, list)
    assert isinstance(somewhere, dict)
    return [*everywhere, *(rule for rules in somewhere.values() for rule in rules)]


def test_every_file_says_what_it_is_for() -> None:
    silent = [str(path) for path in OURS if not ast.get_docstring(ast.parse(path.read_bytes()))]
    assert silent == []


def test_no_file_is_too_long_to_read_in_one_sitting() -> None:
    lengths = {path: len(path.read_text().splitlines()) for path in OURS if path.parent.name != "versions"}
    assert {str(path): length for path, length in lengths.items() if length > LONGEST_FILE} == {}


def test_whoever_silences_a_check_says_why() -> None:
    unexplained = [
        f"{path}: {comment}"
        for path in OURS
        for comment in comments(path)
        if SILENCED.search(comment) and not SILENCED_WITH_REASON.search(comment)
    ]
    assert unexplained == []


def test_every_rule_that_is_switched_off_has_its_reason_beside_it() -> None:
    switched_off = rules_switched_off(tomllib.loads(PROJECT)["tool"]["ruff"]["lint"])
    explained = re.findall(r'^    "([A-Z]+[0-9]*)", +# \S+ \S+', PROJECT, flags=re.MULTILINE)
    assert sorted(switched_off) == sorted(explained)


def test_the_pinned_list_names_no_address_and_checks_every_package() -> None:
    assert "://" not in PINNED
    packages = re.findall(r"^\S+==.*(?:\n    --hash=sha256:[0-9a-f]{64}.*)*", PINNED, flags=re.MULTILINE)
    assert packages
    assert [package for package in packages if "--hash=sha256:" not in package] == []


def test_the_pinned_list_has_what_the_project_asks_for() -> None:
    project = tomllib.loads(PROJECT)
    asked = [
        *project["build-system"]["requires"],
        *project["project"]["dependencies"],
        *project["project"]["optional-dependencies"]["postgres"],
        *project["dependency-groups"]["dev"],
    ]
    pinned: dict[str, list[str]] = {}
    for name, version in re.findall(r"^([a-z0-9-]+)==([^ ;]+)", PINNED, flags=re.MULTILINE):
        pinned.setdefault(name, []).append(version)
    for wanted in map(Requirement, asked):
        versions = pinned.get(canonicalize_name(wanted.name), [])
        assert versions, f"{wanted.name} is not pinned: python3 -m tests --lock"
        assert list(wanted.specifier.filter(versions)) == versions, str(wanted)


@pytest.mark.parametrize("module", ["fleet", "fleet.commands"])
def test_the_commands_load_nothing_heavy_before_they_run(module: str) -> None:
    look = f"import json, sys, {module}; print(json.dumps(sorted(sys.modules)))"
    seen = subprocess.run([sys.executable, "-c", look], capture_output=True, text=True, check=True, cwd=ROOT)
    loaded = {name.partition(".")[0] for name in json.loads(seen.stdout)}
    assert loaded & HEAVY == set()
