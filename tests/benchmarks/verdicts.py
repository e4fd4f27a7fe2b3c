"""From a scan to the page with its verdict, over HTTP from the real server, at 100,000 items."""

from __future__ import annotations

import statistics
import time
from http.client import HTTPConnection
from typing import TYPE_CHECKING

import pyotp

from fleet.desk.logins import invite_first, set_password, set_second_factor
from fleet.lists.access import visitor
from fleet.measures.tags import make_tag
from fleet.pages.guard import SESSION
from fleet.rules.people import SETTING_UP
from fleet.rules.secrets import new_totp_secret
from tests.benchmarks.fleet_of import FIRST_TAG, NOW, room_of
from tests.pages.browsing import PASSWORD, serving
from tests.shop import Clock

if TYPE_CHECKING:
    from pathlib import Path

    from fleet.room import Room

ITEMS = 100_000
OUT = 2_000
ROUNDS = 300
WARM_UP = 20


def run(folder: Path) -> None:
    """Print the median and the 95th percentile of what goes out, of a kit of six, and of what comes back."""
    with room_of(folder / "verdicts.db", ITEMS, out=OUT) as room:
        cookie = _log_in(room)
        with serving(room, Clock(NOW)) as pages:
            for what, kit, first in (("goes out", 0, OUT), ("is sixth of a kit", 5, OUT), ("is back", 0, 0)):
                took = _scans(pages.port, cookie, kit, first)
                middle, late = statistics.median(took), statistics.quantiles(took, n=20)[-1]
                figures = f"p50 {middle * 1e3:.0f} ms, p95 {late * 1e3:.0f} ms (goal 300 ms)"
                print(f"scan to verdict, {ITEMS:,} items, what {what}: {figures}")


def _log_in(room: Room) -> str:
    secret = new_totp_secret()
    with room.act() as db:
        link = invite_first(db, "K1", by=SETTING_UP, now=NOW)
        token = set_password(db, link, PASSWORD, "benchmark", now=NOW).token or ""
        who = visitor(db, token, NOW)
        if who is None:
            raise RuntimeError("nobody is logged in")
        # Whoever is made the first administrator needs one.
        set_second_factor(db, who, secret, pyotp.TOTP(secret).at(NOW), now=NOW, clock=NOW)
    return token


def _scans(port: int, cookie: str, kit: int, first: int) -> list[float]:
    """Seconds from a scan until the page it leads to has come, each of another item; without warming up."""
    line = HTTPConnection("127.0.0.1", port, timeout=60)
    took = []
    for at in range(ROUNDS + WARM_UP):
        tags = [make_tag(FIRST_TAG + 1 + first + at * (kit + 1) + more) for more in range(kit + 1)]
        basket = "".join(f"&item={tag}" for tag in tags[1:])
        begun = time.perf_counter()
        status, leads, _ = _ask(line, f"/scan?code={tags[0]}{basket}", cookie)
        _status, _, body = _ask(line, leads, cookie)
        took.append(time.perf_counter() - begun)
        if status != 303 or not any(word in body for word in ("MAY GO OUT", "STAYS IN", "Take back ")):
            raise RuntimeError(f"no verdict for {tags[0]}: {status} {leads}")
    line.close()
    return took[WARM_UP:]


def _ask(line: HTTPConnection, path: str, cookie: str) -> tuple[int, str, str]:
    line.request("GET", path, headers={"Cookie": f"{SESSION}={cookie}"})
    answer = line.getresponse()
    body = answer.read().decode()
    return answer.status, answer.headers.get("location", ""), body
