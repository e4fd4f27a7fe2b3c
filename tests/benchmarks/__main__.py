"""Run every benchmark in a folder of its own: ``python -m tests.benchmarks [name …]``."""

from __future__ import annotations

import importlib
import sys
import tempfile
from pathlib import Path

NAMES = ("returns", "due")


def main() -> None:
    """Run the named benchmarks, or all."""
    for name in sys.argv[1:] or NAMES:
        with tempfile.TemporaryDirectory() as folder:
            importlib.import_module(f"tests.benchmarks.{name}").run(Path(folder))


main()
