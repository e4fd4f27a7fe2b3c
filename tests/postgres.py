"""A throw-away PostgreSQL server for one test run, kept by a process of its own.

That process answers at a door (a socket) and starts the server when a test first asks, so that a run without
databases pays nothing. It ends, and removes the server and its folder, when its standard input closes: that
happens when the test run ends, however it ends.
"""

import os
import pwd
import select
import shutil
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

from tests.machine import is_root, postgres_programs

NAMED = "FLEET_TEST_POSTGRES"
DOOR = "FLEET_TEST_DOOR"
# Nothing here outlives the run, so nothing need reach the disk.
QUICK = (
    "fsync=off",
    # Its workers belong to the superuser, and nobody else may drop a database that one of them is in.
    "autovacuum=off",
    "synchronous_commit=off",
    "full_page_writes=off",
    "listen_addresses=",
    "max_connections=60",
)


class Unavailable(Exception):  # noqa: N818  It is a sentence for the summary of the run.
    """No PostgreSQL can be had here; the message says why."""


def ask(door: str) -> str:
    """Answer the address of the run's server, asked at ``door``; raise ``Unavailable`` if there is none."""
    with socket.socket(socket.AF_UNIX) as line:
        line.connect(door)
        with line.makefile() as answer:
            said = answer.read()
    if not said.startswith("postgresql"):
        raise Unavailable(said)
    return said


def server_account() -> dict[str, Any]:
    """Answer how to start the server: PostgreSQL refuses root, so root lends it an account without rights."""
    if not is_root():
        return {}
    known = {entry.pw_name: entry for entry in pwd.getpwall()}
    account = known.get("postgres") or known.get("nobody")
    if account is None:
        message = "PostgreSQL refuses to run as root and there is no account to lend it"
        raise Unavailable(message)
    return {"user": account.pw_uid, "group": account.pw_gid, "extra_groups": []}


class Server:
    """The server, from the first question until the end of the run."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.process: subprocess.Popen[bytes] | None = None
        self.answer = ""

    def address(self) -> str:
        """Answer the server's address, or the reason why there is none; the first question starts it."""
        if not self.answer:
            try:
                self.start()
                self.answer = f"postgresql+psycopg://keeper@/postgres?host={self.folder}"
            except Unavailable as reason:
                self.answer = str(reason)
        return self.answer

    def start(self) -> None:
        """Make a cluster, start it, and add the ordinary account that the tests work with."""
        programs = postgres_programs()
        if programs is None:
            message = "no PostgreSQL programs (initdb, postgres) were found"
            raise Unavailable(message)
        account = server_account()
        if account:
            os.chown(self.folder, account["user"], account["group"])
        data, log = self.folder / "data", self.folder / "log"
        how = ("-U", "chief", "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync")
        with log.open("wb") as output:
            shared: dict[str, Any] = {"cwd": self.folder, "stdout": output, "stderr": output, **account}
            made = subprocess.run([programs / "initdb", "-D", data, *how], check=False, **shared)
            if made.returncode != 0:
                raise Unavailable(f"PostgreSQL could not make a database cluster: {last_line(log)}")
            settings = [part for setting in QUICK for part in ("-c", setting)]
            command = [str(programs / "postgres"), "-D", str(data), "-k", str(self.folder), *settings]
            self.process = subprocess.Popen(command, **shared)
        self.add_account(log)

    def add_account(self, log: Path) -> None:
        """Wait until the server listens, then add an account that may make databases and nothing more."""
        import psycopg  # noqa: PLC0415  A run without databases must not wait for it.

        who = f"host={self.folder} user=chief dbname=postgres"
        for _ in range(300):
            try:
                with psycopg.connect(who, autocommit=True) as chief:
                    chief.execute("CREATE ROLE keeper LOGIN CREATEDB")
                    return
            except psycopg.OperationalError:
                time.sleep(0.05)
        raise Unavailable(f"PostgreSQL did not start: {last_line(log)}")

    def stop(self) -> None:
        """Stop at once; there is nothing to save."""
        if self.process is not None:
            self.process.send_signal(signal.SIGQUIT)
            self.process.wait()


def last_line(log: Path) -> str:
    """Answer the last thing that the server said."""
    return (log.read_text(errors="replace").strip().splitlines() or ["it said nothing"])[-1]


def keep_door(folder: Path, door: socket.socket) -> None:
    """Answer every question at the door until the test run is gone, then remove everything."""
    server = Server(folder)
    try:
        while sys.stdin not in select.select([sys.stdin, door], [], [])[0]:
            line, _ = door.accept()
            with line:
                line.sendall(server.address().encode())
    finally:
        server.stop()
        shutil.rmtree(folder)


if __name__ == "__main__":
    keep_door(Path(sys.argv[1]), socket.socket(fileno=int(sys.argv[2])))
