"""The table of what makes the pages safe names tests that are there."""

import ast
import tomllib
from pathlib import Path

HERE = Path(__file__).parent
ITEMS = tomllib.loads((HERE / "security.toml").read_text())["item"]
FORTY = 40


def test_there_are_forty_things_each_with_a_test_or_a_reason() -> None:
    assert len(ITEMS) == FORTY
    assert [item["asked"] for item in ITEMS if not (item.get("tests") or item.get("reason"))] == []


def test_every_test_that_is_named_is_there() -> None:
    missing = []
    for named in {test for item in ITEMS for test in item.get("tests", ())}:
        file, _, name = named.partition("::")
        path = HERE / file
        found = path.exists() and {
            one.name for one in ast.walk(ast.parse(path.read_bytes())) if isinstance(one, ast.FunctionDef)
        }
        if not found or (name and name not in found):
            missing.append(named)
    assert missing == []
