"""Change what mutmut leaves alone: decorated functions, and the constants and tables of a module or class.

A function that makes such a table has run before mutmut can change it, so it is changed here too.

Run inside the copy: ``python -m tests.mutation.rest FILE ...``. Each change is written into the file, and a
fork of this process, which has loaded the libraries but nothing of the project, runs the tests on it.
"""

import ast
import importlib
import json
import os
import re
import resource
import sys
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path

import pytest

from tests.mutation.report import Mutant, run_at_import
from tests.mutation.settings import LONGEST_SECONDS, QUIETLY, TESTS
from tests.mutation.trial import FirstFault

LIBRARIES = (
    "alembic",
    "hypothesis",
    "numpy",
    "openpyxl",
    "pint",
    "psycopg",
    "pytest",
    "scipy.stats",
    "sqlalchemy.orm",
)
NUMERAL = re.compile(r"\d+(?:\.\d+)?")
SWAPS: dict[type[ast.AST], tuple[str, str]] = {
    ast.Lt: ("<", "<="), ast.LtE: ("<=", "<"), ast.Gt: (">", ">="), ast.GtE: (">=", ">"),
    ast.Eq: ("==", "!="), ast.NotEq: ("!=", "=="), ast.Is: ("is", "is not"), ast.IsNot: ("is not", "is"),
    ast.In: ("in", "not in"), ast.NotIn: ("not in", "in"), ast.Add: ("+", "-"), ast.Sub: ("-", "+"),
    ast.Mult: ("*", "/"), ast.Div: ("/", "*"), ast.And: ("and", "or"), ast.Or: ("or", "and"),
}  # fmt: skip
NAMES = {"True": "False", "False": "True", "any": "all", "all": "any", "min": "max", "max": "min"}

Edit = tuple[int, int, str]


class Places:
    """The places of one source that mutmut does not change, as edits of its bytes."""

    def __init__(self, source: bytes) -> None:
        self.source = source
        self.tables = run_at_import(ast.parse(source))
        self.starts = [0]
        for line in source.splitlines(keepends=True):
            self.starts.append(self.starts[-1] + len(line))

    def edits(self) -> Iterator[Edit]:
        """Give every edit, from the top of the file down."""
        for statement in ast.parse(self.source).body:
            yield from self._statement(statement)

    def _statement(self, node: ast.stmt) -> Iterator[Edit]:
        if isinstance(node, ast.FunctionDef):
            if node.decorator_list or node.name in self.tables:
                yield from self._all_of(node.body)
        elif isinstance(node, ast.ClassDef):
            for inner in node.body:
                yield from self._statement(inner)
        elif isinstance(node, ast.Assign | ast.AnnAssign) and node.value:
            yield from self._inside(node.value)

    def _all_of(self, body: list[ast.stmt]) -> Iterator[Edit]:
        for node in body:
            if not (isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)):
                yield from self._inside(node)

    def _inside(self, top: ast.AST) -> Iterator[Edit]:
        if isinstance(top, ast.Call) and ast.unparse(top.func) == "re.compile":
            return
        yield from self._here(top)
        for child in ast.iter_child_nodes(top):
            yield from self._inside(child)

    def _span(self, node: ast.expr) -> tuple[int, int]:
        first, last = node.lineno, node.end_lineno or node.lineno
        return self.starts[first - 1] + node.col_offset, self.starts[last - 1] + (node.end_col_offset or 0)

    def _here(self, node: ast.AST) -> Iterator[Edit]:  # noqa: C901  A list of cases, one a kind of node.
        if isinstance(node, ast.Constant):
            yield from self._numerals(node)
        elif isinstance(node, ast.Name) and node.id in NAMES:
            yield *self._span(node), NAMES[node.id]
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
            yield *self._span(node), self._text(node.operand)
        elif isinstance(node, ast.Compare):
            for left, operator, right in zip(
                (node.left, *node.comparators), node.ops, node.comparators, strict=False
            ):
                yield from self._swap(left, operator, right)
        elif isinstance(node, ast.BinOp):
            yield from self._swap(node.left, node.op, node.right)
        elif isinstance(node, ast.BoolOp):
            for left, right in zip(node.values, node.values[1:], strict=False):
                yield from self._swap(left, node.op, right)
        elif isinstance(node, ast.Tuple | ast.Set) and len(node.elts) > 1:
            yield from self._without_each(node.elts)
        elif isinstance(node, ast.IfExp):
            yield *self._span(node), self._text(node.body)
            yield *self._span(node), self._text(node.orelse)
        elif isinstance(node, ast.If):
            yield *self._span(node.test), "True"
            yield *self._span(node.test), "False"

    def _text(self, node: ast.expr) -> str:
        start, end = self._span(node)
        return f"({self.source[start:end].decode()})"

    def _numerals(self, node: ast.Constant) -> Iterator[Edit]:
        if not isinstance(node.value, str | int | float) or isinstance(node.value, bool):
            return
        start, end = self._span(node)
        for found in NUMERAL.finditer(self.source[start:end].decode("latin-1")):
            last = str((int(found[0][-1]) + 1) % 10)
            yield start + found.end() - 1, start + found.end(), last

    def _swap(self, left: ast.expr, operator: ast.AST, right: ast.expr) -> Iterator[Edit]:
        if type(operator) not in SWAPS:
            return
        old, new = SWAPS[type(operator)]
        start, end = self._span(left)[1], self._span(right)[0]
        at = self.source.index(old.encode(), start, end)
        yield at, at + len(old), new

    def _without_each(self, elements: list[ast.expr]) -> Iterator[Edit]:
        for element in elements:
            start, end = self._span(element)
            yield start, end + self.source.startswith(b",", end), ""


def notice(tests: list[str]) -> bool:
    """Answer whether the tests fail on the files as they lie there."""
    child = os.fork()
    if child == 0:
        resource.setrlimit(resource.RLIMIT_CPU, (LONGEST_SECONDS, LONGEST_SECONDS))
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
        code = 1
        try:
            code = int(pytest.main(["-x", "-q", *QUIETLY, *tests], plugins=[FirstFault()]))
        finally:
            os._exit(1 if code else 0)
    _, status = os.waitpid(child, 0)
    return status != 0


def tests_of(file: str) -> tuple[list[str], list[str]]:
    """Answer the test files that name a module, and the others."""
    module = file.removesuffix(".py").replace("/", ".")
    every = [path for folder in TESTS for path in Path(folder).glob("test_*.py")]
    naming = [str(path) for path in every if module in path.read_text()]
    return naming, [str(path) for path in every if str(path) not in naming]


def fates(file: str) -> Iterator[Mutant]:
    """Change a file in one place after another and say what became of it."""
    path, (near, far) = Path(file), tests_of(file)
    source = path.read_bytes()
    for start, end, new in Places(source).edits():
        changed = source[:start] + new.encode() + source[end:]
        path.write_bytes(changed)
        killed = (bool(near) and notice(near)) or notice(far)
        row = source.count(b"\n", 0, start)
        before, after = (text.splitlines()[row].decode().strip() for text in (source, changed))
        fate = "killed" if killed else "survived"
        yield Mutant(file, f"line {row + 1}", before, after, fate)
    path.write_bytes(source)


def main(files: list[str]) -> None:
    """Write what became of every change, one JSON object a line."""
    for library in LIBRARIES:
        importlib.import_module(library)
    if notice(list(TESTS)):
        sys.exit("The tests fail on the unchanged files, so they can tell nothing about changed ones.")
    with Path("rest.jsonl").open("w") as lines:
        for file in files:
            lines.writelines(json.dumps(asdict(mutant), ensure_ascii=False) + "\n" for mutant in fates(file))
            sys.stdout.write(f"{file}: done\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main(sys.argv[1:])
