"""Templates made into pages. Everything is escaped, whatever the template is called."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from fleet.lists.duty import duty, in_short
from fleet.measures.tags import show_tag
from fleet.measures.times import show_day, show_moment, zone
from fleet.pages.guard import FORM, keep_cookie, token_for_forms

if TYPE_CHECKING:
    from fastapi import Request

    from fleet.lists.access import Visitor
    from fleet.room import Room

HERE = Path(__file__).parent


def draw(
    request: Request, room: Room, name: str, who: Visitor | None, status: int = 200, **said: object
) -> HTMLResponse:
    """One page; ``said`` is what its template is told."""
    token, fresh = token_for_forms(request)
    with room.look() as db:
        banner = in_short(duty(db, room.settings.mail, clock=room.clock())) if who else None
    told = {"who": who, "token": token, "path": request.url.path, "banner": banner, "error": None} | said
    answer = HTMLResponse(templates().get_template(name).render(told), status)
    if fresh:
        keep_cookie(answer, FORM, fresh)
    return answer


@cache
def templates() -> Environment:
    """The templates, with the few things that they need to know."""
    found = Environment(
        loader=FileSystemLoader(HERE / "templates"),
        undefined=StrictUndefined,
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    found.filters |= {"tag": show_tag, "day": show_day}
    found.globals["moment"] = lambda at, time_zone: show_moment(at, zone(time_zone))
    return found
