"""The application: its pages, how a "no" is shown, and how many are answered at a time."""

from __future__ import annotations

import logging
from contextlib import asynccontextmanager
from typing import TYPE_CHECKING
from uuid import uuid4

from anyio.to_thread import current_default_thread_limiter
from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import PlainTextResponse, Response
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException

from fleet.pages import health
from fleet.pages.api import api
from fleet.pages.bench import Bench
from fleet.pages.drawing import HERE, draw, templates
from fleet.pages.entering import Entering
from fleet.pages.fair import Fair
from fleet.pages.feeds import Feeds
from fleet.pages.guard import GoTo, Guard, go, status_of
from fleet.pages.headers import ALWAYS, Headers
from fleet.pages.keeping import KEEPING
from fleet.pages.officer import OFFICER
from fleet.pages.over_the_counter import OVER_THE_COUNTER
from fleet.pages.own import Own
from fleet.pages.planner import PLANNER
from fleet.pages.texts import in_language
from fleet.pages.tokens import Tokens
from fleet.refusals import Refusal, SettingsWrong

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable

    from fleet.room import Room

log = logging.getLogger("fleet.pages")

# A page holds a connection to the database, of which there are fifteen; the rounds need one too.
AT_A_TIME = 12
_NO_PAGE = {404: "There is no such page.", 405: "This page cannot be used like that."}


def make_app(room: Room, look_up: Callable[[str], str] | None = None) -> FastAPI:
    """The pages of one room, in the language that is set, or in the words of ``look_up``."""
    # The usual pages about an interface load scripts from elsewhere; nothing here does.
    app = FastAPI(
        title="fleet", docs_url=None, redoc_url=None, openapi_url=None, lifespan=_with_enough_connections
    )
    app.add_middleware(Fair)
    app.add_middleware(Headers)
    app.state.templates = templates(look_up or in_language(room.settings.language), room.settings.language)
    guard = Guard(room)
    app.mount("/static", StaticFiles(directory=HERE / "static"))
    app.router.routes.append(api(room))
    app.include_router(health.pages(room))
    for part in (*OVER_THE_COUNTER, *KEEPING, *OFFICER, *PLANNER, Entering, Own, Tokens, Feeds, Bench):
        # One row of ways, the busiest first: part by part, looking through them took longer than answering.
        app.router.routes.extend(part(guard).routes().routes)
    _say_no(app, guard)
    return app


def _say_no(app: FastAPI, guard: Guard) -> None:
    """Every "no" is a page of our own with a sentence; nothing that broke is shown, only where to find it."""

    def page(request: Request, status: int, sentence: str) -> Response:
        try:
            return draw(request, guard.room, "no.html", guard.anybody(request), status, sentence=sentence)
        except Refusal:
            return plainly(status, sentence)

    @app.exception_handler(GoTo)
    def elsewhere(_request: Request, way: GoTo) -> Response:
        return go(way.path)

    @app.exception_handler(Refusal)
    def refused(request: Request, refusal: Refusal) -> Response:
        return page(request, status_of(refusal), str(refusal))

    @app.exception_handler(RequestValidationError)
    def unreadable(request: Request, _error: RequestValidationError) -> Response:
        return page(request, 404, _NO_PAGE[404])

    @app.exception_handler(HTTPException)
    def no_page(request: Request, error: HTTPException) -> Response:
        return page(request, error.status_code, _NO_PAGE.get(error.status_code, "This cannot be read."))

    @app.exception_handler(SettingsWrong)
    def out_of_order(request: Request, error: SettingsWrong) -> Response:
        return _in_the_log(request, error, 503, "The program is out of order")

    @app.exception_handler(Exception)
    def broken(request: Request, error: Exception) -> Response:
        return _in_the_log(request, error, 500, "Something broke")


def _in_the_log(request: Request, error: Exception, status: int, what: str) -> Response:
    """What went wrong is for whoever keeps the program, who finds it by a number."""
    number = uuid4().hex[:12]
    # Not the address itself: that of a calendar or an invitation is a secret.
    place = getattr(request.scope.get("route"), "path", "unknown")
    log.error("Page %s broke, number %s.", place, number, exc_info=error)
    return plainly(status, f"{what}, and nothing was changed. It is in the log under {number}.")


def plainly(status: int, sentence: str) -> Response:
    """A page that needs no database; with the headers, since what broke passed the place that sets them."""
    return PlainTextResponse(f"{sentence}\n", status, headers=ALWAYS | {"Cache-Control": "no-store"})


@asynccontextmanager
async def _with_enough_connections(_app: FastAPI) -> AsyncIterator[None]:
    current_default_thread_limiter().total_tokens = AT_A_TIME
    yield
