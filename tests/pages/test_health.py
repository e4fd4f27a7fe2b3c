"""The pages for a monitor outside, from the real server in a process of its own."""

from __future__ import annotations

import http.client
import json
import os
import re
import signal
import subprocess
import sys
import time
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from sqlalchemy import text

from fleet.commands.serve import listen
from fleet.refusals import NotPossible
from fleet.rounds import tick
from tests.letterdesk import LetterDesk, Outbox
from tests.mailserver import free_port

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from fleet.room import Room
    from tests.shop import Clock, Shop

FLEET = Path(sys.executable).with_name("fleet")


@dataclass(frozen=True)
class Page:
    """What was answered."""

    status: int
    headers: Mapping[str, str]
    body: str

    @property
    def amiss(self) -> dict[str, str]:
        return {line["what"]: line["sentence"] for line in json.loads(self.body) if not line["ok"]}


@dataclass
class Server:
    """The program as it serves."""

    port: int
    process: subprocess.Popen[str]

    def get(self, path: str, method: str = "GET") -> Page:
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            line.request(method, path)
            answer = line.getresponse()
            return Page(answer.status, dict(answer.getheaders()), answer.read().decode())
        finally:
            line.close()

    def stop(self, number: signal.Signals = signal.SIGTERM) -> tuple[int, str, str]:
        self.process.send_signal(number)
        out, err = self.process.communicate()
        return self.process.returncode, out, err


@contextmanager
def serving(database: str, *words: str, **env: str) -> Iterator[Server]:
    port = free_port()
    clean = {"PATH": os.environ["PATH"], "FLEET_SETTINGS": "/nowhere", "FLEET_DATABASE": database} | env
    command = [str(FLEET), "serve", "--port", str(port), *words]
    pipe = subprocess.PIPE
    with subprocess.Popen(command, env=clean, stdout=pipe, stderr=pipe, text=True) as process:
        try:
            # It listens before it says where.
            assert process.stdout is not None
            assert f"http://127.0.0.1:{port}/ until stopped" in process.stdout.readline()
            yield Server(port, process)
        finally:
            process.kill()


@pytest.fixture
def desk(room: Room, shop: Shop, clock: Clock) -> LetterDesk:
    """A site with a keeper, by the machine's own clock, which the server goes by."""
    clock.now = clock.now.now(clock.now.tzinfo)
    made = LetterDesk(room, shop, clock)
    made.hire("K1")
    with room.act() as db:
        db.execute(text("UPDATE site SET letter_weekday = 0, letter_hour = 0"))
    return made


def address(desk: LetterDesk) -> str:
    database = desk.room.engine.url.render_as_string(hide_password=False)
    return database.replace("postgresql+psycopg", "postgresql")


def test_the_duty_is_answered_by_a_status_and_by_sentences(desk: LetterDesk, tmp_path: Path) -> None:
    folder = tmp_path / "letters"
    with serving(address(desk), FLEET_MAIL_FOLDER=str(folder)) as server:
        before = server.get("/healthz/duty")
        assert before.status == 503
        assert set(before.amiss) == {"rounds", "weekly letters"}
        tick(desk.room, Outbox())
        after = server.get("/healthz/duty")
        assert (after.status, after.amiss) == (200, {})
        assert {key: value for key, value in json.loads(after.body)[0].items() if key != "sentence"} == {
            "what": "letters",
            "ok": True,
            "begun": True,
        }
        for page in (before, after, server.get("/healthz"), server.get("/healthz/duty", "HEAD")):
            assert page.headers["cache-control"] == "no-store"
        assert "@" not in before.body + after.body
        assert "Kim" not in before.body + after.body


def test_the_process_is_alive_whatever_the_duty(desk: LetterDesk) -> None:
    with serving(address(desk)) as server:
        assert server.get("/healthz/duty").amiss["letters"].startswith("Letters are off")
        alive = server.get("/healthz")
        assert (alive.status, alive.body) == (200, "The process is alive.\n")
        assert alive.headers["content-type"].startswith("text/plain")
        assert server.get("/healthz/duty", "HEAD").body == ""


def test_no_page_of_the_library_is_served(tmp_path: Path) -> None:
    with serving(made_at(tmp_path)) as server:
        for path in ("/docs", "/redoc", "/openapi.json", "/healthz/duty/x"):
            assert server.get(path).status == 404
        assert server.get("/healthz/duty", "POST").status == 405


def test_a_database_that_cannot_be_used_is_not_explained_to_strangers(tmp_path: Path) -> None:
    database = made_at(tmp_path)
    with serving(database) as server:
        Path(database).write_bytes(b"no database any more, but something else " * 400)
        for beside in tmp_path.glob("fleet.db-*"):
            beside.unlink()
        shut = server.get("/healthz/duty")
        assert (shut.status, shut.amiss) == (503, {"database": "The database cannot be used."})
        assert database not in shut.body
        assert server.get("/healthz").status == 200


def made_at(folder: Path) -> str:
    env = {"PATH": os.environ["PATH"], "FLEET_SETTINGS": "/nowhere", "FLEET_DATABASE": f"{folder}/fleet.db"}
    subprocess.run([str(FLEET), "database", "upgrade"], env=env, check=True, capture_output=True)
    return env["FLEET_DATABASE"]


# --- Beginning and ending -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("number", "words"),
    [(signal.SIGTERM, ()), (signal.SIGINT, ()), (signal.SIGTERM, ("--with-rounds",))],
)
def test_a_signal_ends_it_in_peace(tmp_path: Path, number: signal.Signals, words: tuple[str, ...]) -> None:
    with serving(made_at(tmp_path), *words) as server:
        server.get("/healthz")
        code, out, err = server.stop(number)
    assert (code, out) == (0, "Stopped.\n")
    assert "Traceback" not in err
    assert ("The rounds end." in err) is bool(words)


def test_the_rounds_may_go_beside_the_pages(desk: LetterDesk, tmp_path: Path) -> None:
    folder = tmp_path / "letters"
    with serving(address(desk), "--with-rounds", FLEET_MAIL_FOLDER=str(folder)) as server:
        while server.get("/healthz/duty").status != 200:
            assert server.process.poll() is None, server.process.communicate()[1]
            time.sleep(0.05)
        assert desk.states() == {"K1": "sent"}
        assert server.stop()[0] == 0
    assert len(list(folder.iterdir())) == 1


def test_a_port_in_use_is_one_sentence(tmp_path: Path) -> None:
    with serving(made_at(tmp_path)) as server:
        env: dict[str, Any] = {"PATH": os.environ["PATH"], "FLEET_SETTINGS": "/nowhere"}
        env["FLEET_DATABASE"] = f"{tmp_path}/fleet.db"
        command = [str(FLEET), "serve", "--port", str(server.port)]
        second = subprocess.run(command, env=env, capture_output=True, text=True, check=False)
    assert (second.returncode, second.stdout) == (3, "")
    said = f"Port {server.port} of 127.0.0.1 cannot be listened at: Address already in use."
    assert second.stderr.strip() == f"{said} Name another with --port."
    for host in ("no such host", "203.0.113.7"):
        with pytest.raises(NotPossible) as refused:
            listen(host, 8741)
        assert re.match(
            rf"Port 8741 of {host} cannot be listened at: [A-Z][a-z ]+\. Name", str(refused.value)
        )
