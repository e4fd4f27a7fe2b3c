"""The watcher outside is told that a week's letters all went out, once, and never anything else."""

from __future__ import annotations

import threading
from collections import deque
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import TYPE_CHECKING

import pytest

from fleet.lists.duty import last_note
from fleet.pinging import Unheard, ping_complete, post
from fleet.rounds import tick
from fleet.rules.letters import Delivery, Outcome
from tests.letterdesk import LetterDesk, Outbox
from tests.mailserver import answers, drips, free_port, rude_server

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.room import Room
    from tests.shop import Clock, Shop

REFUSED = Delivery(Outcome.REFUSED, "550 5.1.1 No such user")
LATER = Delivery(Outcome.TRY_AGAIN, "451 4.7.1 Later, please")


@dataclass
class Watcher:
    """What a real HTTP server was told, and the statuses it is to answer with first."""

    port: int = 0
    told: list[tuple[str, str]] = field(default_factory=list)
    answers: deque[tuple[int, str]] = field(default_factory=deque)

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}/in"


@pytest.fixture
def watcher() -> Iterator[Watcher]:
    with watching() as found:
        yield found


@contextmanager
def watching() -> Iterator[Watcher]:
    found = Watcher()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            said = self.rfile.read(int(self.headers["Content-Length"])).decode()
            found.told.append((self.path, said))
            status, to = found.answers.popleft() if found.answers else (200, "")
            self.send_response(status)
            if to:
                self.send_header("Location", to)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def do_GET(self) -> None:
            found.told.append((f"GET {self.path}", ""))
            self.send_response(200)
            self.end_headers()

        def log_message(self, *_args: object) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    found.port = server.server_port
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield found
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


@pytest.fixture
def desk(room: Room, shop: Shop, clock: Clock) -> LetterDesk:
    """A site with two readers."""
    made = LetterDesk(room, shop, clock)
    made.hire("K1")
    made.hire("P1")
    return made


def pinging(desk: LetterDesk, address: str | None) -> Room:
    return replace(desk.room, settings=replace(desk.room.settings, ping=address))


def go_round(desk: LetterDesk, address: str | None, *answers: Delivery) -> None:
    tick(pinging(desk, address), Outbox(list(answers)))


def noted(desk: LetterDesk, code: str = "NORTH") -> str | None:
    with desk.room.look() as db:
        return last_note(db, f"ping {code}")


def test_it_is_told_once_when_every_letter_of_the_week_went_out(desk: LetterDesk, watcher: Watcher) -> None:
    for _ in range(3):
        go_round(desk, watcher.address)
        desk.clock.pass_by(minutes=1)
    assert watcher.told == [("/in", "NORTH: 2 letters of 2026-W20 sent, none left.\n")]
    assert noted(desk) == "2026-W20"


def test_the_next_week_is_told_anew(desk: LetterDesk, watcher: Watcher) -> None:
    go_round(desk, watcher.address)
    desk.clock.pass_by(days=7)
    go_round(desk, watcher.address)
    assert [said.split()[4] for _, said in watcher.told] == ["2026-W20", "2026-W21"]


@pytest.mark.parametrize("answer", [REFUSED, LATER])
def test_nothing_is_told_while_a_letter_waits_or_is_lost(
    desk: LetterDesk, watcher: Watcher, answer: Delivery
) -> None:
    go_round(desk, watcher.address, answer)
    go_round(desk, watcher.address)
    assert watcher.told == []
    assert noted(desk) is None


def test_it_is_told_when_the_letter_that_waited_went_out(desk: LetterDesk, watcher: Watcher) -> None:
    go_round(desk, watcher.address, LATER)
    desk.clock.pass_by(hours=1)
    go_round(desk, watcher.address)
    assert len(watcher.told) == 1


def test_nothing_is_told_of_letters_that_went_to_another_address(desk: LetterDesk, watcher: Watcher) -> None:
    elsewhere = Delivery(Outcome.SENT, "redirected to me@tool-room.example: 250 OK")
    go_round(desk, watcher.address, elsewhere)
    assert desk.states() == {"K1": "sent", "P1": "sent"}
    assert watcher.told == []


def test_nothing_is_told_while_letters_are_off(desk: LetterDesk, watcher: Watcher) -> None:
    desk.write()
    desk.send(Outbox())
    tick(pinging(desk, watcher.address), None)
    assert watcher.told == []


def test_nothing_is_told_where_nothing_is_set(desk: LetterDesk, watcher: Watcher) -> None:
    go_round(desk, None)
    assert watcher.told == []
    assert noted(desk) is None


def test_a_watcher_that_fails_is_told_in_the_next_round(desk: LetterDesk, watcher: Watcher) -> None:
    watcher.answers.append((500, ""))
    go_round(desk, watcher.address)
    assert noted(desk) is None
    go_round(desk, watcher.address)
    assert noted(desk) == "2026-W20"
    assert len(watcher.told) == 2


@pytest.mark.parametrize("to", ["/log-in", "ftp://127.0.0.1/x", "file:///etc/passwd"])
def test_nobody_is_followed_elsewhere(desk: LetterDesk, watcher: Watcher, to: str) -> None:
    watcher.answers.append((302, to))
    go_round(desk, watcher.address)
    assert [path for path, _ in watcher.told] == ["/in"]
    assert noted(desk) is None


def test_a_watcher_that_cannot_be_reached_stops_no_letter(
    desk: LetterDesk, caplog: pytest.LogCaptureFixture
) -> None:
    go_round(desk, f"http://127.0.0.1:{free_port()}/secret-word")
    assert desk.states() == {"K1": "sent", "P1": "sent"}
    assert noted(desk) is None
    assert "Nobody could be told that the letters of NORTH went out" in caplog.text
    assert "secret-word" not in caplog.text


def test_a_watcher_that_hangs_up_is_tried_again(desk: LetterDesk, watcher: Watcher) -> None:
    with rude_server(lambda line: line.close()) as port:
        go_round(desk, f"http://127.0.0.1:{port}/")
    assert noted(desk) is None
    go_round(desk, watcher.address)
    assert noted(desk) == "2026-W20"


# --- Several sites ------------------------------------------------------------------------------------------


@pytest.fixture
def two(desk: LetterDesk) -> LetterDesk:
    """Two sites, whose names in an address need care; each has readers of its own."""
    far = desk.shop.site("FAR/1")
    desk.shop.person("S9", far, "keeper", address="s9@tool-room.example")
    return desk


def test_each_site_has_an_address_of_its_own(two: LetterDesk, watcher: Watcher) -> None:
    go_round(two, f"{watcher.address}/{{site}}?from=fleet", REFUSED)
    (told,) = watcher.told
    silent = {letter.site for letter in two.letters() if letter.state == "undeliverable"}
    assert told[0] == {"NORTH": "/in/FAR%2F1?from=fleet", "FAR/1": "/in/NORTH?from=fleet"}[silent.pop()]


def test_one_address_for_all_is_told_only_when_no_site_lags_behind(two: LetterDesk, watcher: Watcher) -> None:
    go_round(two, watcher.address, LATER)
    assert watcher.told == []
    two.clock.pass_by(hours=1)
    go_round(two, watcher.address)
    assert len(watcher.told) == 2


def test_a_site_without_letters_is_not_told_of(desk: LetterDesk, watcher: Watcher) -> None:
    ping_complete(pinging(desk, watcher.address))
    assert watcher.told == []


def test_what_is_no_answer_of_the_web_is_none(desk: LetterDesk) -> None:
    with rude_server(lambda line: answers(line, b"220 mail.example ready\r\n")) as port:
        go_round(desk, f"http://127.0.0.1:{port}/")
    assert noted(desk) is None


def test_a_watcher_that_drips_keeps_nobody_waiting() -> None:
    """No single read of it ever times out."""
    with rude_server(drips) as port:
        address = f"http://127.0.0.1:{port}/"
        with pytest.raises(Unheard, match=r"^no answer within 0\.3 seconds\.$"):
            post(address, "NORTH", longest=0.3)
        with pytest.raises(Unheard, match=r"^the last try has not ended yet\.$"):
            post(address, "NORTH", longest=0.3)
