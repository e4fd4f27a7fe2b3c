"""Try every mutant that mutmut made: ``python -m tests.mutation.trial FILE ...`` beside its ``mutants``.

mutmut's own runner starts pytest anew for each mutant. Here one session collects the tests once, and a fork
of it switches a mutant on and runs the tests that reach the changed function, until one fails.
"""

import importlib
import json
import os
import resource
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from _pytest.runner import runtestprotocol
from hypothesis import Phase, settings

from tests.mutation.report import NO_TEST
from tests.mutation.settings import LONGEST_SECONDS, QUIETLY, TESTS


class FirstFault:
    """A pytest plugin: one failing example is enough, nobody reads the smallest."""

    @pytest.hookimpl(trylast=True)
    def pytest_configure(self) -> None:
        """Leave out shrinking, after the project's own profile was loaded."""
        phases = (Phase.explicit, Phase.generate)
        settings.register_profile("mutants", settings(), phases=phases, report_multiple_bugs=False)
        settings.load_profile("mutants")


class Trials:
    """A pytest plugin that runs the mutants of some files instead of tests."""

    def __init__(self, files: list[str]) -> None:
        self.files = files

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """Try each mutant and write what became of it into mutmut's own record."""
        stats = json.loads(Path("mutmut-stats.json").read_text())
        seconds: dict[str, float] = stats["duration_by_test"]
        reach: dict[str, list[str]] = stats["tests_by_mangled_function_name"]
        items = {item.nodeid: item for item in session.items}
        for file in self.files:
            meta = Path(f"{file}.meta")
            record = json.loads(meta.read_text())
            for key in record["exit_code_by_key"]:
                names = sorted(reach.get(key.rpartition("__mutmut_")[0], []), key=lambda name: seconds[name])
                chosen = [items[name] for name in names if name in items]
                record["exit_code_by_key"][key] = noticed(key, chosen) if chosen else NO_TEST
            meta.write_text(json.dumps(record))
            sys.stderr.write(f"{file}: {len(record['exit_code_by_key'])} tried\n")
        return True


def noticed(mutant: str, items: list[pytest.Item]) -> int:
    """Answer 1 when a test fails on the mutant, or hangs, and 0 when none does."""
    child = os.fork()
    if child == 0:
        resource.setrlimit(resource.RLIMIT_CPU, (LONGEST_SECONDS, LONGEST_SECONDS))
        importlib.import_module("mutmut.mutation.trampoline").set_mutant_under_test(mutant)
        code = 1
        try:
            code = int(any(report.failed for report in _reports(items)))
        finally:
            os._exit(code)
    _, status = os.waitpid(child, 0)
    return int(status != 0)


def _reports(items: list[pytest.Item]) -> Iterator[pytest.TestReport]:
    for item in items:
        yield from runtestprotocol(item, log=False, nextitem=None)


if __name__ == "__main__":
    sys.exit(pytest.main(["-q", "-s", *QUIETLY, *TESTS], plugins=[FirstFault(), Trials(sys.argv[1:])]))
