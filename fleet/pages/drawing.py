"""Templates made into pages. Everything is escaped, whatever the template is called."""

from __future__ import annotations

import time
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING
from uuid import uuid4

from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from fleet.lists.duty import duty, in_short
from fleet.measures.tags import show_tag
from fleet.measures.times import show_day, show_moment, show_window, zone
from fleet.pages.areas import AREAS, area_of, page_of
from fleet.pages.guard import FORM, SAID, Form, drop_cookie, keep_cookie, said_before, token_for_forms
from fleet.pages.texts import as_written, with_texts

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date, datetime

    from fastapi import Request

    from fleet.lists.access import Visitor
    from fleet.room import Room

HERE = Path(__file__).parent
BANNER_LASTS_S = 3.0


def draw(
    request: Request, room: Room, name: str, who: Visitor | None, status: int = 200, **said: object
) -> HTMLResponse:
    """One page; ``said`` is what its template is told.

    ``error`` is the sentence above the page when something did not work, and ``typed`` the form shown again.
    """
    token, fresh = token_for_forms(request)
    before = said_before(request)
    path = request.scope["path"]
    told: dict[str, object] = {
        "who": who,
        "token": token,
        "path": path,
        "banner": _banner(request, room) if who else None,
        "said": before,
        "error": None,
        "typed": Form(),
        "basket": (),
        "part": area_of(path),
        "page": page_of(path),
    }
    environment = getattr(request.app.state, "templates", None) or templates()
    answer = HTMLResponse(environment.get_template(name).render(told | said), status)
    if fresh:
        keep_cookie(answer, FORM, fresh)
    if before:
        drop_cookie(answer, SAID)
    return answer


def _banner(request: Request, room: Room) -> str | None:
    """What is not in order with the letters; looked at every few seconds, as it is the same on every page."""
    kept: tuple[float, str | None] | None = getattr(request.app.state, "banner", None)
    moment = time.monotonic()
    if kept and moment - kept[0] < BANNER_LASTS_S:
        return kept[1]
    with room.look() as db:
        said = in_short(duty(db, room.settings.mail, clock=room.clock()))
    request.app.state.banner = (moment, said)
    return said


@cache
def templates(look_up: Callable[[str], str] = as_written, language: str = "en") -> Environment:
    """The templates, with the few things that they need to know; ``look_up`` finds their words."""
    found = Environment(
        loader=FileSystemLoader(HERE / "templates"),
        undefined=StrictUndefined,
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        # A template is looked for once; whoever changes one starts the pages anew.
        auto_reload=False,
    )
    found.filters |= {"tag": show_tag, "day": _day, "count": _count}
    found.globals |= {"moment": _moment, "window": _window, "fresh_id": _fresh_id, "areas": AREAS}
    found.globals["language"] = language
    with_texts(found, look_up)
    return found


def _day(day: date | None) -> str:
    return show_day(day) if day else ""


def _count(number: int | None) -> str:
    return "" if number is None else f"{number:,}"


def _moment(at: datetime | None, time_zone: str) -> str:
    return show_moment(at, zone(time_zone)) if at else ""


def _window(starts_at: datetime, ends_at: datetime, time_zone: str) -> tuple[str, str]:
    return show_window(starts_at, ends_at, zone(time_zone))


def _fresh_id() -> str:
    """For a form that acts: sent twice, it acts once."""
    return uuid4().hex
