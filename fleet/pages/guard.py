"""Who is asking: cookies, sessions and the tokens of forms; and how a "no" is told.

A page is for whoever is logged in unless it says otherwise. What changes anything comes as a form with the
token of its session; a link never does.
"""

from __future__ import annotations

from dataclasses import dataclass
from hmac import compare_digest
from typing import TYPE_CHECKING, Annotated
from urllib.parse import quote, urlsplit

from fastapi import Depends, Request
from fastapi.responses import RedirectResponse

from fleet.desk.access import see
from fleet.lists.access import login_of, visitor
from fleet.refusals import Refusal
from fleet.rules.access import is_confirmed
from fleet.rules.register import Role
from fleet.rules.secrets import form_token, new_token

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fastapi.responses import Response

    from fleet.lists.access import Visitor
    from fleet.room import Room

# The prefix keeps them from ever being set by, or sent to, another host or over plain HTTP (RFC 6265bis).
SESSION, FORM, STATION = "__Host-fleet", "__Host-fleet-form", "__Host-fleet-counter"
STATION_LASTS = 400 * 24 * 3600
LONGEST_FORM = 100_000
MOST_FIELDS = 500


class GoTo(Exception):  # noqa: N818  It is a way, not an error.
    """Somebody has to go to another page first."""

    def __init__(self, path: str) -> None:
        super().__init__(path)
        self.path = path


class Forged(Refusal):
    """A form that did not come from one of our own pages."""


@dataclass(frozen=True, slots=True)
class Form:
    """What was typed into a form."""

    fields: Mapping[str, str]

    def get(self, name: str) -> str:
        """One field, without blanks around it; empty when it is missing."""
        return self.fields.get(name, "").strip()

    def raw(self, name: str) -> str:
        """One field as it was typed: a password may begin with a blank."""
        return self.fields.get(name, "")


async def read_form(request: Request) -> Form:
    """The form of a request, when it came from one of our pages in this very session."""
    length = request.headers.get("content-length", "")
    if not length.isdigit() or int(length) > LONGEST_FORM:
        raise Forged("The form is too long, or does not say how long it is.")
    typed = await request.form(max_fields=MOST_FIELDS)
    fields = {name: value for name, value in typed.items() if isinstance(value, str)}
    cookie = request.cookies.get(SESSION) or request.cookies.get(FORM) or ""
    if not cookie or not compare_digest(fields.get("token", "").encode(), form_token(cookie).encode()):
        raise Forged("This form is out of date. Go back, load the page anew and send it again.")
    return Form(fields)


Typed = Annotated[Form, Depends(read_form)]


class Guard:
    """Knows who is asking."""

    def __init__(self, room: Room) -> None:
        self.room = room

    def anybody(self, request: Request) -> Visitor | None:
        """Who is logged in, if anybody is."""
        with self.room.look() as db:
            return visitor(db, request.cookies.get(SESSION), self.room.now(db))

    def known(self, request: Request) -> Visitor:
        """Who is logged in; whoever is not goes to the door and comes back. Their session stays awake."""
        found = self.anybody(request)
        if found is None:
            raise GoTo(f"/in?next={quote(here(request))}")
        with self.room.act() as db:
            see(db, found, self.room.now(db))
        return found

    def sure(self, request: Request) -> Visitor:
        """Who is logged in, with the second factor that officers and administrators have to set up."""
        found = self.known(request)
        if found.station_id is None and needs_second_factor(found):
            with self.room.look() as db:
                facts = login_of(db, found.badge)
            if facts is None or facts.totp_secret is None:
                raise GoTo("/own/second-factor")
        return found

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
    """Where to come back to: the page itself, or the start when it was no page that one can come back to."""
    if request.method != "GET":
        return "/"
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


def go(path: str) -> RedirectResponse:
    """After an act: to a page that may be loaded anew without doing it twice."""
    return RedirectResponse(path, status_code=303)
