"""Run every benchmark in a folder of its own: ``python -m tests.benchmarks [name …] [--full]``.

``--full`` lets those that have a long size run at it; that needs some gigabytes of disk and some minutes.
"""

from __future__ import annotations

import importlib
import sys
import tempfile
from pathlib import Path

NAMES = ("returns", "due", "traces", "plans", "kits", "letters", "verdicts", "pages")
HAVE_A_LONG_SIZE = ("traces", "kits")


def main() -> None:
    """Run the named benchmarks, or all."""
    words = sys.argv[1:]
    full = "--full" in words
    for name in [word for word in words if word != "--full"] or NAMES:
        options = {"full": True} if full and name in HAVE_A_LONG_SIZE else {}
        with tempfile.TemporaryDirectory() as folder:
            importlib.import_module(f"tests.benchmarks.{name}").run(Path(folder), **options)


main()
