"""The project's own test command: ``python3 -m tests [pytest arguments]``.

It needs nothing but Python 3.11: it makes its own environment in ``.test-venv``, sees to PostgreSQL, a mail
server and a browser, and becomes pytest. ``--deep`` runs the long proofs at full size; ``--lock`` writes the
pinned packages anew.
"""

import sys

if sys.version_info < (3, 11):  # noqa: UP036  Any Python that a machine has may be the one that was called.
    sys.stderr.write(f"The tests need Python 3.11 or newer; this is Python {sys.version.split()[0]}.\n")
    sys.exit(2)

import os

from tests import environment, machine

# Each of these says how many processes to use, or needs the tests to run in one.
IN_ONE_PROCESS = ("-n", "--numprocesses", "--pdb", "--trace", "no:xdist", "-pno:xdist")


def pytest_arguments(given: list[str]) -> list[str]:
    """Answer the arguments for pytest: two processes unless ``given`` decides that itself."""
    decided = any(argument.startswith(IN_ONE_PROCESS) for argument in given)
    return given if decided else ["-n", "2", *given]


def main(given: list[str]) -> None:
    """Get everything ready, then become pytest."""
    try:
        if given == ["--lock"]:
            environment.write_lock()
            return
        python = environment.ready()
        machine.provide_postgres()
        machine.provide_mail_server()
        machine.provide_browser()
    except machine.CannotGoOn as reason:
        sys.stderr.write(f"{reason}\n")
        sys.exit(2)
    os.execv(python, [str(python), "-m", "pytest", *pytest_arguments(given)])  # noqa: S606  No shell is wanted.


if __name__ == "__main__":
    main(sys.argv[1:])
