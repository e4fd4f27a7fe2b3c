"""The page of what is due, 50 rows, served over one line, against its query and its template served bare.

Bare is the same server and web library with a plain function that does no more than it must: the same
statement on a driver's connection that stays open, the same wording, the same template told the same things,
the same bytes sent. Ours adds who is asking, their site and units, the banner, the headers and the shares.
Both run in processes of their own, and are asked in turns. Rates are told by the clock on the wall, and by
the processor time that a server spends on a page: a page of ours is handed to a thread and back, and on a
machine where others work each hand waits for its turn.
"""

from __future__ import annotations

import asyncio
import multiprocessing
import re
import statistics
import time
from contextlib import contextmanager
from datetime import date, timedelta
from http.client import HTTPConnection
from typing import TYPE_CHECKING, Any

import uvicorn
from fastapi import FastAPI
from fastapi.responses import HTMLResponse
from sqlalchemy.dialects import sqlite

from fleet.commands.serve import config_of, listen
from fleet.ledgers.access import begin_session
from fleet.lists import due as due_list
from fleet.lists.due import DueLine
from fleet.lists.sites import find_site
from fleet.pages import make_app
from fleet.pages.areas import area_of, page_of
from fleet.pages.drawing import templates
from fleet.pages.due import DAYS_AHEAD, MOST_ROWS, rows_of
from fleet.pages.guard import SESSION, Form
from fleet.room import open_room
from fleet.settings import read_settings
from tests.benchmarks.fleet_of import NOW, room_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from multiprocessing.connection import Connection
    from pathlib import Path

    from fleet.room import Room

ROUNDS = 400
ITEMS = 10_000
TODAY = NOW.date()
UNTIL = TODAY + timedelta(days=DAYS_AHEAD[-1])
PAGE = "/due"


def run(folder: Path) -> None:
    """Print the ratio of the rates, and the time of a page."""
    path = folder / "pages.db"
    with room_of(path, ITEMS) as room, room.act() as db:
        token = begin_session(db, 1, None, "benchmark", NOW)
    with _served(_serve_ours, path) as ours, _served(_serve_bare, path) as bare:
        lines = [HTTPConnection("127.0.0.1", port) for _, port in (ours, bare)]
        askers = [_asker(line, token) for line in lines]
        _check_alike(*(ask() for ask in askers))
        _race(askers)  # Both have then made what they make once.
        before = [_processor_time(pid) for pid, _ in (ours, bare)]
        wall = _race(askers)
        after = [_processor_time(pid) for pid, _ in (ours, bare)]
    spent = [(late - soon) / ROUNDS for soon, late in zip(before, after, strict=True)]
    for what, (mine, bares) in (("on the wall, median", wall), ("of the processor", spent)):
        figures = f"{mine * 1e3:.2f} ms {what}, bare {bares * 1e3:.2f} ms"
        print(f"page of 50 due rows: {figures}; rate {bares / mine:.2f} of bare (goal 0.80)")


def _asker(line: HTTPConnection, token: str) -> Callable[[], bytes]:
    headers = {"Cookie": f"{SESSION}={token}"}

    def ask() -> bytes:
        line.request("GET", PAGE, headers=headers)
        answer = line.getresponse()
        body = answer.read()
        if answer.status != 200:
            raise RuntimeError(f"{answer.status} instead of a page")
        return body

    return ask


def _check_alike(ours: bytes, bare: bytes) -> None:
    """The race is one only if both send the same page, but for its token."""
    token = rb'value="[0-9a-f]{64}"'
    if re.sub(token, b"", ours) != re.sub(token, b"", bare) or ours.count(b"<tr>") != 51:
        raise RuntimeError("The two do not send the same page")


def _race(askers: list[Callable[[], bytes]]) -> list[float]:
    """Median seconds of each, taking turns."""
    times: list[list[float]] = [[] for _ in askers]
    for _ in range(ROUNDS):
        for ask, taken in zip(askers, times, strict=True):
            begun = time.perf_counter()
            ask()
            taken.append(time.perf_counter() - begun)
    return [statistics.median(taken) for taken in times]


def _processor_time(pid: int) -> float:
    """Seconds that a process and its threads have spent; Linux names the clock by the number."""
    return time.clock_gettime(~pid << 3 | 2)


@contextmanager
def _served(serve: Callable[[str, Connection], None], path: Path) -> Iterator[tuple[int, int]]:
    """Process and port of a server in a process of its own."""
    spawning = multiprocessing.get_context("spawn")
    here, there = spawning.Pipe()
    process = spawning.Process(target=serve, args=(str(path), there), daemon=True)
    process.start()
    try:
        port = here.recv()
        yield process.pid or 0, port
    finally:
        process.terminate()
        process.join()


def _room(path: str) -> Room:
    settings = read_settings({"FLEET_SETTINGS": "/nowhere"}, database=path)
    return open_room(settings, clock=lambda: NOW)


def _answer(app: Any, told: Connection) -> None:  # noqa: ANN401  Any application.
    listener = listen("127.0.0.1", 0)
    told.send(listener.getsockname()[1])
    asyncio.run(uvicorn.Server(config_of(app)).serve(sockets=[listener]))


def _serve_ours(path: str, told: Connection) -> None:
    _answer(make_app(_room(path)), told)


def _serve_bare(path: str, told: Connection) -> None:
    room = _room(path)
    page = _bare_page(room)

    app = FastAPI(title="bare", docs_url=None, redoc_url=None, openapi_url=None)
    app.add_api_route(PAGE, lambda: HTMLResponse(page()), methods=["GET"], response_model=None)
    _answer(app, told)


def _bare_page(room: Room) -> Callable[[], str]:
    """The query on the driver, the words, the template; all else is known beforehand."""
    statement = due_list._DUE.statement.compile(dialect=sqlite.dialect(paramstyle="named"))  # noqa: SLF001  The very statement.
    sql = str(statement)
    given = statement.params | {"site": 1, "until": str(UNTIL), "today": str(TODAY)}
    raw: Any = room.engine.raw_connection().driver_connection
    template = templates().get_template("items/due.html")
    told = _known(room)

    def page() -> str:
        found = [DueLine._make(_read(row)) for row in raw.execute(sql, given).fetchall()]
        known = {
            "rows": rows_of(found, TODAY),
            "count": len(found),
            "overdue": sum(line.overdue(TODAY) for line in found),
        }
        return template.render(told | known)

    return page


_DAYS = tuple(
    DueLine._fields.index(name) for name in ("back_on", "last_done_on", "due_on", "forecast_on", "first_on")
)


def _read(row: tuple[Any, ...]) -> list[Any]:
    """A row with its days read."""
    cells = list(row)
    for at in _DAYS:
        if cells[at]:
            cells[at] = date.fromisoformat(cells[at])
    return cells


def _known(room: Room) -> dict[str, object]:
    """What the template is told beside the rows; taken from what a page of ours is told."""
    from fleet.lists.access import visitor  # noqa: PLC0415  Only here.
    from fleet.lists.duty import duty, in_short  # noqa: PLC0415  As above.

    with room.act() as db:
        who = visitor(db, begin_session(db, 1, None, "bare", NOW), NOW)
        site = find_site(db, "S1")
        banner = in_short(duty(db, room.settings.mail, clock=NOW))
    return {
        "who": who,
        "token": "0" * 64,
        "path": PAGE,
        "banner": banner,
        "said": "",
        "error": None,
        "typed": Form(),
        "basket": (),
        "part": area_of(PAGE),
        "page": page_of(PAGE),
        "sites": [site],
        "site": site,
        "today": TODAY,
        "until": UNTIL,
        "asked": "",
        "days": [(number, (TODAY + timedelta(days=number)).isoformat()) for number in DAYS_AHEAD],
        "begin": 0,
        "most": MOST_ROWS,
    }
