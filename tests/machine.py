"""What the machine has to offer the tests, and what root may add to it. Standard library only."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

NO_CLUSTER = Path("/etc/postgresql-common/createcluster.d/tests-only.conf")
# Debian's mail server, and the library that lets it run under an account of any name.
MAIL_SERVER = ("exim4-daemon-light", "libnss-wrapper")
MAIL_FOLDER = Path(__file__).resolve().parent.parent / ".test-mail"
# Debian's Chromium.
BROWSER = Path("/usr/bin/chromium")
# Linux's folder in memory, and how much has to be free in it before databases may lie there.
MEMORY = Path("/dev/shm")  # noqa: S108  Names of our own are made below it.
ROOM_IN_MEMORY = 2 << 30


class CannotGoOn(Exception):  # noqa: N818  It is a sentence for the person at the terminal.
    """The tests cannot be started; the message says why and what to do."""


def say(sentence: str) -> None:
    """Tell the person at the terminal what is being done, without mixing it into pytest's own output."""
    sys.stderr.write(f"{sentence}\n")
    sys.stderr.flush()


def is_root() -> bool:
    """Answer whether this process may install packages of the system."""
    return os.geteuid() == 0


def quickest_folder() -> Path:
    """Answer where to put what need not outlive the run: in memory where there is room, else where files go.

    Measured: there, PostgreSQL's copy of a database takes a tenth of the time that it takes on a disk.
    """
    in_memory = MEMORY.is_dir() and os.access(MEMORY, os.W_OK)
    roomy = in_memory and shutil.disk_usage(MEMORY).free > ROOM_IN_MEMORY
    # A socket's path has to be short, which the folder for files of the day need not be.
    return MEMORY if roomy else Path("/tmp")  # noqa: S108  As above.


def may_install() -> bool:
    """Answer whether Debian packages can be had here: by root, with Debian's own program."""
    return is_root() and shutil.which("apt-get") is not None


def install(*packages: str, options: tuple[str, ...] = ()) -> bool:
    """Install Debian packages without their recommendations; answer whether that worked."""
    if not may_install():
        return False
    say(f"Installing Debian's package {' and '.join(packages)} ...")
    quietly = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    steps = (["update"], ["install", "-y", "--no-install-recommends", *options, *packages])
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


def provide_browser() -> None:
    """See that a browser is there: installed as root, otherwise say what will be missing."""
    if BROWSER.exists():
        return
    if not may_install():
        say("No Chromium: the tests in a browser will not run (as root this command installs it).")
        return
    install("chromium")
    if not BROWSER.exists():
        say("Chromium could not be installed: tests of pages in a browser will not run.")


def mail_server_program() -> Path | None:
    """Answer where the mail server for the tests lies, or None."""
    program = MAIL_FOLDER / "usr" / "sbin" / "exim4"
    return program if program.exists() else None


def provide_mail_server() -> None:
    """See that a mail server's files are there: fetched as root, otherwise say what will be missing.

    Installed, the package would set up a standing mail server and make itself this machine's own. So its
    files, and those of what it needs and this machine has not, are only laid into a folder of the tests.
    """
    if mail_server_program():
        return
    if not may_install():
        say("The tests have no mail server: its tests will not run (as root this command fetches it).")
        return
    part = MAIL_FOLDER.with_name(f"{MAIL_FOLDER.name}.part")
    archives = part / "archives"
    (archives / "partial").mkdir(parents=True, exist_ok=True)
    only_fetch = ("--download-only", "--reinstall", "-o", f"Dir::Cache::archives={archives}")
    if install(*MAIL_SERVER, options=only_fetch):
        for archive in archives.glob("*.deb"):
            subprocess.run(["dpkg", "-x", archive, part], check=True)
        shutil.rmtree(archives)
        part.rename(MAIL_FOLDER)
    if not mail_server_program():
        say("The mail server could not be fetched: its tests will not run.")
