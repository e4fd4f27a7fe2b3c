"""The program as people type it: each command with its exit code, what it printed, and what it changed."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from contextlib import chdir
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import select
from typer.testing import CliRunner

from fleet import records
from fleet.commands import main
from fleet.measures.times import add_months, local_day, zone
from tests.shop import ZONE

if TYPE_CHECKING:
    import pytest

    from fleet.room import Room
    from tests.shop import Clock, Shop

ROOT = Path(__file__).parents[2]


@dataclass(frozen=True)
class Answer:
    """What one command answered."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:  # noqa: ANN401  Whatever the command answers.
        return json.loads(self.out)


@dataclass
class Keyboard:
    """Types commands into the program, in this process: the same entry, arguments and exit codes."""

    database: str
    capture: pytest.CaptureFixture[str]

    def type(self, *words: str, by: str | None = "K1") -> Answer:
        acting = ["--by", by] if by else []
        self.capture.readouterr()
        try:
            main([*words, "--database", self.database, *acting])
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else 0
        else:
            code = 0
        return Answer(code, *self.capture.readouterr())


def here(*words: str, folder: str | Path = ROOT, **env: str) -> Answer:
    """What ``start`` answers, but in this process and so at a twentieth of the cost."""
    strangers = {name: None for name in os.environ if name.startswith("FLEET_")}
    code = 0
    with (
        CliRunner(env={**strangers, "FLEET_SETTINGS": "/nowhere", **env}).isolation() as (out, err, _),
        chdir(folder),
    ):
        try:
            main(words)
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else 0
        sys.stdout.flush()
        sys.stderr.flush()
        return Answer(code, out.getvalue().decode(), err.getvalue().decode())


def start(*words: str, **env: str) -> Answer:
    """Start the program in a process of its own, without anybody's settings."""
    clean = {"PATH": os.environ["PATH"], "FLEET_SETTINGS": "/nowhere", **env}
    command = [sys.executable, "-m", "fleet", *words]
    done = subprocess.run(command, cwd=ROOT, env=clean, capture_output=True, text=True, check=False)
    return Answer(done.returncode, done.stdout, done.stderr)


@dataclass
class Desk:
    """A tool room of today: the program that is typed into goes by the real clock."""

    room: Room
    shop: Shop
    keyboard: Keyboard
    today: date
    site: int
    task: int
    model: int
    job: int
    wrenches: list[int] = field(default_factory=list)

    def type(self, *words: str, by: str | None = "K1") -> Answer:
        return self.keyboard.type(*words, by=by)

    def refused(self, *words: str, by: str | None = "K1") -> str:
        """The one sentence by which it was refused; nothing may have been changed."""
        before = everything(self.room)
        answer = self.type(*words, by=by)
        assert answer.code == 3, answer
        assert answer.err.count("\n") == 1, answer.err
        assert everything(self.room) == before
        return answer.err.strip()

    def wrench(self, done_days_ago: int | None = 30, **values: object) -> str:
        """A wrench, calibrated so many days ago or never; answers its tag."""
        item, tag = self.shop.item(self.model, self.site, **values)
        if done_days_ago is not None:
            self.shop.did(item, self.task, self.day(-done_days_ago))
        return tag

    def day(self, offset: int) -> date:
        return self.today + timedelta(days=offset)

    def year_on(self, offset: int = 0) -> str:
        return str(add_months(self.day(offset), 12))


def set_up(room: Room, shop: Shop, clock: Clock, capture: pytest.CaptureFixture[str]) -> Desk:
    clock.now = datetime.now(UTC).replace(microsecond=0)
    site = shop.site()
    for badge, *roles in (("K1", "keeper"), ("P1", "planner"), ("S1", "safety officer"), ("F1",)):
        shop.person(badge, site, *roles)
    task = shop.task("calibration", "wrench", every_months=12, every_cycles=5000)
    job = shop.job(site, starts_at=clock.now - timedelta(days=1))
    keyboard = Keyboard(room.settings.database, capture)
    today = local_day(clock.now, zone(ZONE))
    return Desk(room, shop, keyboard, today, site, task, shop.model("wrench", "W-2000"), job)


def everything(room: Room) -> dict[str, list[Any]]:
    """All that is on record."""
    tables = records.Base.metadata.sorted_tables
    with room.look() as db:
        return {table.name: sorted(map(str, db.execute(select(table)))) for table in tables}
