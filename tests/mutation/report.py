"""Count the mutants and show those that lived. Standard library only."""

import ast
import copy
import difflib
import json
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.mutation.equivalent import EQUIVALENT

LONGEST_NAME = 24
# mutmut's own numbers.
KILLED, NO_TEST = 1, 33


@dataclass(frozen=True, slots=True)
class Mutant:
    """One change: where, the lines before and after, and whether the tests noticed."""

    file: str
    name: str
    before: str
    after: str
    fate: str


def run_at_import(module: ast.Module) -> set[str]:
    """Answer the functions that make a module's tables: they have run before mutmut can change them."""
    made = [node.value for node in module.body if isinstance(node, ast.Assign | ast.AnnAssign) and node.value]
    calls = [node.func for value in made for node in ast.walk(value) if isinstance(node, ast.Call)]
    return {called.id for called in calls if isinstance(called, ast.Name)}


class _Wordless(ast.NodeTransformer):
    """Blank what is mere wording, so that two functions differing in nothing else look alike."""

    def visit_Constant(self, node: ast.Constant) -> ast.Constant:
        """Blank a long text with spaces."""
        wordy = isinstance(node.value, str) and " " in node.value and len(node.value) > LONGEST_NAME
        return ast.Constant("...") if wordy else node

    def visit_JoinedStr(self, node: ast.JoinedStr) -> ast.AST:
        """Keep only the values of an f-string: long texts that are joined on to it are part of it."""
        kept = [part for part in node.values if isinstance(part, ast.FormattedValue)]
        return self.generic_visit(ast.JoinedStr(list[ast.expr](kept)))


def _shape(function: ast.FunctionDef) -> str:
    blank = ast.Module([_Wordless().visit(copy.deepcopy(one)) for one in function.body], [])
    return ast.dump(blank)


def _changed(before: str, after: str) -> tuple[str, str]:
    lines = list(difflib.ndiff(before.splitlines()[1:], after.splitlines()[1:]))
    gone = " ".join(line[2:].strip() for line in lines if line.startswith("- "))
    come = " ".join(line[2:].strip() for line in lines if line.startswith("+ "))
    return gone, come


def _of_mutmut(work: Path, file: str) -> Iterator[Mutant]:
    mutated = work / "mutants" / file
    meta = mutated.with_name(mutated.name + ".meta")
    if not meta.exists():
        return
    text = mutated.read_text()
    functions = {node.name: node for node in ast.walk(ast.parse(text)) if isinstance(node, ast.FunctionDef)}
    lines = text.splitlines()
    tables = run_at_import(ast.parse((work / file).read_text()))
    for key, code in json.loads(meta.read_text())["exit_code_by_key"].items():
        name = key.rpartition(".")[2]
        if name.partition("__mutmut_")[0].removeprefix("x_") in tables:
            continue
        function = functions[name]
        original = functions[name.rpartition("__mutmut_")[0] + "__mutmut_orig"]
        written = ["\n".join(lines[one.lineno - 1 : one.end_lineno]) for one in (original, function)]
        before, after = _changed(written[0], written[1])
        if _shape(original) == _shape(function):
            fate = "wording"
        elif code == KILLED:
            fate = "killed"
        else:
            fate = "no test" if code == NO_TEST else "survived"
        yield Mutant(file, name.removeprefix("x_"), before, after, fate)


def _of_the_rest(work: Path, file: str) -> Iterator[Mutant]:
    for line in (work / "rest.jsonl").read_text().splitlines():
        mutant = Mutant(**json.loads(line))
        if mutant.file == file:
            yield mutant


def mutants(work: Path, file: str) -> list[Mutant]:
    """Answer every mutant of one file, those that change nothing marked as such."""
    found = [*_of_mutmut(work, file), *_of_the_rest(work, file)]
    return [
        Mutant(one.file, one.name, one.before, one.after, "equivalent")
        if one.fate != "killed" and (one.file, one.after) in EQUIVALENT
        else one
        for one in found
    ]


def show(work: Path, files: list[str]) -> int:
    """Print the count of each file and every survivor; answer how many lived."""
    row = "{:<34} {:>7} {:>7} {:>9} {:>8} {:>8} {:>11} {:>8}"
    total: Counter[str] = Counter()
    lived: list[Mutant] = []
    say(row.format("file", "counted", "killed", "survived", "no test", "killed %", "equivalent", "wording"))
    for file in files:
        found = mutants(work, file)
        lived += [one for one in found if one.fate in {"survived", "no test"}]
        count = Counter(one.fate for one in found)
        total += count
        _print_row(row, file, count)
    _print_row(row, "all", total)
    for one in lived:
        say(f"\n{one.file} {one.name}: {one.fate}\n- {one.before}\n+ {one.after}")
    return len(lived)


def say(line: str) -> None:
    """Print one line of the answer."""
    sys.stdout.write(f"{line}\n")


def _print_row(row: str, name: str, count: Counter[str]) -> None:
    counted = count["killed"] + count["survived"] + count["no test"]
    percent = f"{100 * count['killed'] / counted:.1f}" if counted else "-"
    fates = (count["killed"], count["survived"], count["no test"])
    say(row.format(name, counted, *fates, percent, count["equivalent"], count["wording"]))
