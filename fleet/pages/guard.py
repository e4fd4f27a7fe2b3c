"""Who is asking: cookies, sessions and the tokens of forms; and how a "no" is told.

A page is for whoever is logged in unless it says otherwise. What changes anything comes as a form with the
token of its session; a link never does.
"""

from __future__ import annotations

import json
import logging
from contextlib import contextmanager
from dataclasses import dataclass, field
from hmac import compare_digest
from typing import TYPE_CHECKING, Annotated
from urllib.parse import quote, unquote, urlsplit

from fastapi import Depends, Request
from fastapi.responses import RedirectResponse
from starlette.exceptions import HTTPException

from fleet.desk.access import is_to_be_noted, see
from fleet.lists.access import login_of, visitor
from fleet.refusals import NotAllowed, NotFound, NotPossible, Refusal, Unreadable
from fleet.rules.access import is_confirmed
from fleet.rules.register import Role
from fleet.rules.secrets import form_token, new_token

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from datetime import datetime

    from fastapi.responses import Response
    from sqlalchemy.engine import Connection

    from fleet.lists.access import Visitor
    from fleet.room import Room
    from fleet.rules.people import Actor

log = logging.getLogger("fleet.pages")

# The prefix keeps them from ever being set by, or sent to, another host or over plain HTTP (RFC 6265bis).
SESSION, FORM, STATION = "__Host-fleet", "__Host-fleet-form", "__Host-fleet-counter"
SAID = "__Host-fleet-said"
STATION_LASTS = 400 * 24 * 3600
LONGEST_FORM = 100_000
MOST_FIELDS = 500
# What is handed in: a workbook, some photographs from a telephone, a certificate.
LONGEST_UPLOAD, MOST_FILES = 40_000_000, 20
LONGEST_SAID = 1_500
# What no person types, and PostgreSQL keeps in no text.
_NOTHING = "\0"


class GoTo(Exception):  # noqa: N818  It is a way, not an error.
    """Somebody has to go to another page first."""

    def __init__(self, path: str) -> None:
        super().__init__(path)
        self.path = path


class Forged(Refusal):
    """A form that did not come from one of our own pages."""


@dataclass(frozen=True, slots=True)
class File:
    """What was handed in; its name is only ever shown, never a place."""

    name: str
    content: bytes


@dataclass(frozen=True, slots=True)
class Form:
    """What was typed into a form, and the files that came with it."""

    fields: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    files: Mapping[str, tuple[File, ...]] = field(default_factory=dict)

    def get(self, name: str) -> str:
        """One field, without blanks around it; empty when it is missing."""
        return self.raw(name).strip()

    def raw(self, name: str) -> str:
        """One field as it was typed: a password may begin with a blank."""
        return (self.fields.get(name) or ("",))[-1]

    def all(self, name: str) -> tuple[str, ...]:
        """A field that may be there several times, without its empty ones."""
        return tuple(value.strip() for value in self.fields.get(name, ()) if value.strip())

    def files_of(self, name: str) -> tuple[File, ...]:
        """The files of one field."""
        return self.files.get(name, ())


async def read_form(request: Request) -> Form:
    """The form of a request, when it came from one of our pages in this very session."""
    return await _read(request, LONGEST_FORM, files=0)


async def read_upload(request: Request) -> Form:
    """As ``read_form``, for one that carries files."""
    return await _read(request, LONGEST_UPLOAD, files=MOST_FILES)


async def _read(request: Request, longest: int, *, files: int) -> Form:
    length = request.headers.get("content-length", "")
    if not length.isdigit() or int(length) > longest:
        raise Forged(f"The form is longer than {longest / 1e6:g} MB, or does not say how long it is.")
    fields: dict[str, tuple[str, ...]] = {}
    found: dict[str, tuple[File, ...]] = {}
    try:
        async with request.form(max_fields=MOST_FIELDS, max_files=files) as typed:
            for name, value in typed.multi_items():
                if isinstance(value, str):
                    fields[name] = (*fields.get(name, ()), value)
                elif value.filename:
                    found[name] = (*found.get(name, ()), File(value.filename, await value.read()))
    except HTTPException:
        raise Forged(f"The form cannot be read, or holds more than {files} files. Send fewer.") from None
    form = Form(fields, found)
    cookie = request.cookies.get(SESSION) or request.cookies.get(FORM) or ""
    if not cookie or not compare_digest(form.raw("token").encode(), form_token(cookie).encode()):
        raise Forged("This form is out of date. Go back, load the page anew and send it again.")
    if any(_NOTHING in value for values in fields.values() for value in values):
        raise Unreadable("What was typed holds a sign that is none. Type it anew.")
    return form


Typed = Annotated[Form, Depends(read_form)]
Uploaded = Annotated[Form, Depends(read_upload)]

_STATUS = {NotFound: 404, NotAllowed: 403, Forged: 403, NotPossible: 409}


def status_of(refusal: Refusal) -> int:
    """The status that a refusal is told with."""
    return _STATUS.get(type(refusal), 422)


class Guard:
    """Knows who is asking."""

    def __init__(self, room: Room) -> None:
        self.room = room

    @contextmanager
    def act(self, who: Visitor) -> Iterator[tuple[Connection, Actor, datetime]]:
        """One transaction of this visitor: the connection, who is acting, and the time."""
        try:
            with self.room.act() as db:
                yield db, who.actor, self.room.now(db)
        except NotAllowed as refusal:
            # What somebody may not do is kept for whoever watches; in one line, whatever was typed.
            log.warning("Denied to %s: %s", json.dumps(who.badge), json.dumps(str(refusal)))
            raise

    @contextmanager
    def look(self) -> Iterator[tuple[Connection, datetime]]:
        """Look without changing anything: the connection, and the time."""
        with self.room.look() as db:
            yield db, self.room.now(db)

    def anybody(self, request: Request) -> Visitor | None:
        """Who is logged in, if anybody is."""
        with self.room.look() as db:
            return visitor(db, request.cookies.get(SESSION), self.room.now(db))

    def known(self, request: Request) -> Visitor:
        """Who is logged in; whoever is not goes to the door and comes back. Their session stays awake."""
        with self.room.look() as db:
            found, now = self._known(db, request)
        self._note(found, now)
        return found

    def sure(self, request: Request) -> Visitor:
        """Who is logged in, with the second factor that officers and administrators have to set up."""
        with self.sure_look(request) as (found, _db, _now):
            return found

    @contextmanager
    def sure_look(self, request: Request) -> Iterator[tuple[Visitor, Connection, datetime]]:
        """As ``sure``, and a look with the same connection: for pages that are asked for most."""
        with self.room.look() as db:
            found, now = self._known(db, request)
            if found.station_id is None and needs_second_factor(found):
                facts = login_of(db, found.badge)
                if facts is None or facts.totp_secret is None:
                    raise GoTo("/own/second-factor")
            yield found, db, now
        self._note(found, now)

    def _known(self, db: Connection, request: Request) -> tuple[Visitor, datetime]:
        if _NOTHING in request.scope["path"] or b"%00" in request.scope["query_string"]:
            raise NotFound("There is no such page.")
        now = self.room.now(db)
        found = visitor(db, request.cookies.get(SESSION), now)
        if found is None:
            raise GoTo(f"/in?next={quote(here(request))}")
        return found, now

    def _note(self, found: Visitor, now: datetime) -> None:
        # Only now: what is written waits for every other writer.
        if is_to_be_noted(found, now):
            with self.room.act() as db:
                see(db, found, self.room.now(db))

    def confirmed(self, request: Request) -> Visitor:
        """As ``sure``, and it was proved a moment ago that it is still them."""
        found = self.sure(request)
        with self.room.look() as db:
            now = self.room.now(db)
        if found.station_id is not None or not is_confirmed(found.times, now):
            raise GoTo(f"/again?next={quote(here(request))}")
        return found


def needs_second_factor(who: Visitor) -> bool:
    """Whether a password alone is too little for what they may do."""
    return who.administrator or any(role == Role.SAFETY for _, role in who.roles)


def here(request: Request) -> str:
    """Where to come back to: the page itself; of a form the page that it stood on, as the browser tells."""
    if request.method != "GET":
        stood = urlsplit(request.headers.get("referer", ""))
        own = stood.netloc == request.headers.get("host", "")
        return way_back(stood.path + (f"?{stood.query}" if stood.query else "")) if own else "/"
    return request.url.path + (f"?{request.url.query}" if request.url.query else "")


def way_back(asked: str) -> str:
    """A path of our own; anything else, which could lead elsewhere, is the start."""
    parts = urlsplit(asked)
    own = not parts.scheme and not parts.netloc and asked.startswith("/") and "\\" not in asked
    plain = own and not asked.startswith("//") and asked.isprintable()
    return asked if plain else "/"


def seen_from(request: Request) -> str:
    """From where somebody tries to get in: the address of the line, and nothing that a header claims."""
    return request.client.host if request.client else "unknown"


def browser_of(request: Request) -> str:
    """What the browser calls itself."""
    return request.headers.get("user-agent", "")


def keep_cookie(answer: Response, name: str, value: str, lasts: int | None = None) -> None:
    """Set a cookie that only this host gets, only over HTTPS or on this machine, and no script reads."""
    answer.set_cookie(name, value, max_age=lasts, path="/", secure=True, httponly=True, samesite="lax")


def drop_cookie(answer: Response, name: str) -> None:
    """Take a cookie away."""
    answer.delete_cookie(name, path="/", secure=True, httponly=True, samesite="lax")


def token_for_forms(request: Request) -> tuple[str, str | None]:
    """The token that this visitor's forms carry, and the cookie it needs when there is none yet."""
    cookie = request.cookies.get(SESSION) or request.cookies.get(FORM)
    fresh = None if cookie else new_token()
    return form_token(cookie or fresh or ""), fresh


def go(path: str, said: str = "") -> RedirectResponse:
    """After an act: to a page that may be loaded anew without doing it twice; ``said`` is told there once.

    It travels in a cookie and not in the address, where anybody could make us say anything.
    """
    answer = RedirectResponse(path, status_code=303)
    if said:
        keep_cookie(answer, SAID, quote(said[:LONGEST_SAID]))
    return answer


def said_before(request: Request) -> str:
    """What the act before this page had to say."""
    return unquote(request.cookies.get(SAID, ""))
