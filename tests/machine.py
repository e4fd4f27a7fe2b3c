"""What the machine has to offer the tests, and what root may add to it. Standard library only."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

NO_CLUSTER = Path("/etc/postgresql-common/createcluster.d/tests-only.conf")


class CannotGoOn(Exception):  # noqa: N818  It is a sentence for the person at the terminal.
    """The tests cannot be started; the message says why and what to do."""


def say(sentence: str) -> None:
    """Tell the person at the terminal what is being done, without mixing it into pytest's own output."""
    sys.stderr.write(f"{sentence}\n")
    sys.stderr.flush()


def is_root() -> bool:
    """Answer whether this process may install packages of the system."""
    return os.geteuid() == 0


def install(*packages: str) -> bool:
    """Install Debian packages without their recommendations; answer whether that worked."""
    if not (is_root() and shutil.which("apt-get")):
        return False
    say(f"Installing Debian's package {' and '.join(packages)} ...")
    quietly = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    steps = (["update"], ["install", "-y", "--no-install-recommends", *packages])
    for step in steps:
        done = subprocess.run(
            ["apt-get", "-qq", *step], env=quietly, capture_output=True, text=True, check=False
        )
        if done.returncode != 0:
            say(f"apt-get {step[0]} failed: {(done.stderr or done.stdout).strip()}")
            return False
    return True


def postgres_programs() -> Path | None:
    """Answer the folder that holds both ``initdb`` and ``postgres``, the newest of several, or None."""
    on_path = [Path(folder) for folder in os.environ.get("PATH", "").split(os.pathsep) if folder]
    debian = [
        folder for folder in Path("/usr/lib/postgresql").glob("*/bin") if folder.parent.name.isdecimal()
    ]
    debian.sort(key=lambda folder: int(folder.parent.name), reverse=True)
    for folder in [*on_path, *debian]:
        if (folder / "initdb").exists() and (folder / "postgres").exists():
            return folder
    return None


def provide_postgres() -> None:
    """See that PostgreSQL's programs are there: install them as root, otherwise say what will be missing.

    Debian's package would set up a standing database server of its own. A file that says no lies there
    during the installation: the tests start and remove their own server and leave none behind.
    """
    if postgres_programs() or "FLEET_TEST_POSTGRES" in os.environ:
        return
    if not is_root():
        say("PostgreSQL is not installed: its tests will not run (as root this command installs it).")
        return
    NO_CLUSTER.parent.mkdir(parents=True, exist_ok=True)
    NO_CLUSTER.write_text("create_main_cluster = false\n")
    try:
        install("postgresql")
    finally:
        NO_CLUSTER.unlink()
    if not postgres_programs():
        say("PostgreSQL could not be installed: its tests will not run.")
