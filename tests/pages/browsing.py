"""A browser without scripts, and the pages served by the real server in a thread of the test."""

from __future__ import annotations

import re
import secrets
import threading
import time
from collections.abc import Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from html import unescape
from http.client import HTTPConnection
from http.cookies import SimpleCookie
from typing import TYPE_CHECKING
from urllib.parse import urlencode

import pyotp
import uvicorn

from fleet.commands.serve import config_of, listen
from fleet.pages import make_app
from fleet.pages.guard import SESSION

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fastapi import FastAPI

    from fleet.room import Room
    from tests.shop import Clock

Fields = Mapping[str, str | tuple[str, ...]]

PASSWORD = "vier Flansche im Regen 9"  # noqa: S105  Of people who do not exist.


@dataclass(frozen=True)
class Page:
    """What was answered."""

    status: int
    headers: Mapping[str, str]
    body: str
    cookies: tuple[str, ...]

    @property
    def text(self) -> str:
        """What a person reads."""
        bare = re.sub(r"<style.*?</style>|<[^>]*>", " ", self.body, flags=re.DOTALL)
        return " ".join(unescape(bare).split())

    @property
    def token(self) -> str:
        """That of the forms on it."""
        found = re.search(r'name="token" value="([0-9a-f]{64})"', self.body)
        assert found, self.text
        return found[1]


@dataclass
class Browser:
    """Keeps cookies and follows no way by itself."""

    port: int
    cookies: dict[str, str] = field(default_factory=dict)
    last: Page | None = None
    headers: dict[str, str] = field(default_factory=dict)

    def ask(
        self,
        method: str,
        path: str,
        form: Fields | None = None,
        files: Mapping[str, tuple[str, bytes]] | None = None,
    ) -> Page:
        body: str | bytes | None = None
        kind = ""
        if files is not None:
            body, kind = in_parts(form or {}, files)
        elif form is not None:
            body, kind = urlencode(form, doseq=True), "application/x-www-form-urlencoded"
        return self._sent(method, path, body, kind)

    def send(self, path: str, body: bytes, kind: str) -> Page:
        """A form exactly so, as no browser sends it."""
        return self._sent("POST", path, body, kind)

    def _sent(self, method: str, path: str, body: str | bytes | None, kind: str) -> Page:
        line = HTTPConnection("127.0.0.1", self.port, timeout=60)
        headers = {"Cookie": "; ".join(f"{name}={value}" for name, value in self.cookies.items())}
        headers |= self.headers
        if kind:
            headers["Content-Type"] = kind
        try:
            line.request(method, path, body, headers)
            answer = line.getresponse()
            set_cookies = tuple(answer.headers.get_all("Set-Cookie") or ())
            page = Page(answer.status, dict(answer.headers.items()), _decoded(answer.read()), set_cookies)
        finally:
            line.close()
        for said in set_cookies:
            for name, morsel in SimpleCookie(said).items():
                self.cookies[name] = morsel.value
                if morsel["max-age"] == "0":
                    del self.cookies[name]
        self.last = page
        return page

    def ask_raw(self, path: str) -> bytes:
        """A file, as it comes."""
        line = HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            line.request("GET", path, headers={"Cookie": f"__Host-fleet={self.cookies['__Host-fleet']}"})
            return line.getresponse().read()
        finally:
            line.close()

    def get(self, path: str) -> Page:
        return self.ask("GET", path)

    def post(self, path: str, **fields: str | tuple[str, ...]) -> Page:
        """Send a form with the token of the page that was seen last."""
        assert self.last is not None
        return self.ask("POST", path, {"token": self.last.token, **fields})

    def upload(self, path: str, files: Mapping[str, tuple[str, bytes]], **fields: str) -> Page:
        """Send a form with files, by field: the name each claims, and what is in it."""
        assert self.last is not None
        return self.ask("POST", path, files=files, form={"token": self.last.token, **fields})

    def follow(self, page: Page) -> Page:
        """Go where an answer sends."""
        assert page.status == 303, page.text
        return self.get(page.headers["location"])

    def log_in(self, badge: str, password: str = PASSWORD, **more: str) -> Page:
        self.get("/in")
        return self.post("/in", badge=badge, password=password, **more)


def in_parts(fields: Fields, files: Mapping[str, tuple[str, bytes]]) -> tuple[bytes, str]:
    """A form with files as RFC 7578 has it, and its media type."""
    mark = secrets.token_hex(16)
    said = [(f'name="{name}"', str(value).encode()) for name, value in fields.items()]
    said += [
        (f'name="{name}"; filename="{claimed}"\r\nContent-Type: application/octet-stream', content)
        for name, (claimed, content) in files.items()
    ]
    parts = [
        f"--{mark}\r\nContent-Disposition: form-data; {head}\r\n\r\n".encode() + content + b"\r\n"
        for head, content in said
    ]
    return b"".join(parts) + f"--{mark}--\r\n".encode(), f"multipart/form-data; boundary={mark}"


def _decoded(content: bytes) -> str:
    return content.decode(errors="replace")


@dataclass
class Pages:
    """The pages of a room, and who may visit them."""

    room: Room
    clock: Clock
    port: int
    secrets: dict[str, str] = field(default_factory=dict)
    tokens: dict[str, str] = field(default_factory=dict)

    def browser(self) -> Browser:
        return Browser(self.port)

    def as_(self, kind: str) -> Browser:
        """A browser in which a visitor of this kind is logged in (in the demo's room)."""
        return Browser(self.port, {} if kind == "nobody" else {SESSION: self.tokens[kind]})

    def code(self, badge: str) -> str:
        """The code that the second factor of this person shows now."""
        return str(pyotp.TOTP(self.secrets[badge]).at(self.clock.now))

    def accept(self, link: str, badge: str) -> Browser:
        """Set the password by a link, and the second factor where one is asked for."""
        browser = self.browser()
        browser.get(f"/invited/{link}")
        page = browser.post(f"/invited/{link}", password=PASSWORD, again=PASSWORD)
        assert (page.status, page.headers["location"]) == (303, "/"), page.text
        page = browser.get("/")
        if page.headers.get("location") == "/own/second-factor":
            page = browser.get("/own/second-factor")
            found = re.search(r'name="secret" value="([A-Z2-7]+)"', page.body)
            assert found
            self.secrets[badge] = found[1]
            page = browser.post("/own/second-factor", secret=found[1], code=self.code(badge))
            assert page.status == 303, page.text
            self.clock.pass_by(seconds=30)
        return browser


@contextmanager
def serving(
    room: Room, clock: Clock, app: FastAPI | None = None, proxy: str | None = None
) -> Iterator[Pages]:
    """The pages of this room, on a port of their own, until the test ends."""
    with listen("127.0.0.1", 0) as listener:
        server = uvicorn.Server(config_of(app or make_app(room), proxy))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
        thread.start()
        while not server.started:
            assert thread.is_alive()
            time.sleep(0.01)
        try:
            yield Pages(room, clock, listener.getsockname()[1])
        finally:
            server.should_exit = True
            thread.join()
