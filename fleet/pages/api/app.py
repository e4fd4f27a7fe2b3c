"""The interface for programs as an application of its own, so that every "no" in it is a problem."""

from __future__ import annotations

import json
import logging
import re
from functools import cache
from typing import TYPE_CHECKING, Any
from uuid import uuid4

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, JSONResponse, Response
from starlette.exceptions import HTTPException
from starlette.routing import Mount

from fleet.pages.api.acts_counter import CounterActs
from fleet.pages.api.acts_upkeep import UpkeepActs
from fleet.pages.api.bearer import Gate, Pace
from fleet.pages.api.bodies import Bodies
from fleet.pages.api.calculations import Calculations
from fleet.pages.api.checks import Checks
from fleet.pages.api.describing import describe, methods_of
from fleet.pages.api.ledgers import Ledgers
from fleet.pages.api.lists import Lists
from fleet.pages.api.problems import SORTS, Problem, say_no, sort_of
from fleet.pages.drawing import templates
from fleet.refusals import NotAllowed, Refusal, SettingsWrong

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from fastapi.routing import APIRoute

    from fleet.room import Room

log = logging.getLogger("fleet.pages")

_ABOUT = (
    "Acts and lists of a tool room for hydraulic torque equipment. A planning and record aid: it approves no "
    "tool, joint or torque. Measures and days are written as people write them: 3400 psi, 2026-05-04."
)
_USUAL = Pace()
MOST_ERRORS, LONGEST_ERROR = 20, 200


def api(room: Room, pace: Pace = _USUAL) -> Mount:
    """The interface of one room, in its place: whatever begins with ``/api/`` is answered by it."""
    placed = Mount("/api", make_api(room, pace))
    # As it comes, a line break in an address would lead out of it.
    placed.path_regex = re.compile(placed.path_regex.pattern, re.DOTALL)
    return placed


def make_api(room: Room, pace: Pace = _USUAL) -> FastAPI:
    """The interface by itself."""
    app = FastAPI(
        title="Tool room",
        version="1",
        description=_ABOUT,
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
        redirect_slashes=False,
        generate_unique_id_function=_name,
    )
    gate = Gate(room, pace)
    for part in (Lists, Ledgers, Checks, Calculations, CounterActs, UpkeepActs):
        app.include_router(part(gate).routes())
    # Made when it is first asked for: it takes longer than all else that starts here.
    made = cache(lambda: describe(app))
    _show(app, made)
    _say_no(app, gate, made)
    app.add_middleware(Bodies)
    return app


def _name(route: APIRoute) -> str:
    return route.name


def _show(app: FastAPI, made: Callable[[], Mapping[str, Any]]) -> None:
    """What anybody may read: the description, as a file and as a page, and what each problem means."""

    def description() -> Response:
        return JSONResponse(made())

    def page() -> Response:
        said = {"who": None, "banner": None, "error": None, "said": "", "made": made(), "sorts": SORTS}
        return HTMLResponse(templates().get_template("api.html").render(said))

    def problem(sort: str) -> Response:
        if sort not in SORTS:
            raise Problem("not-found")
        found = SORTS[sort]
        return JSONResponse({"title": found.title, "status": found.status, "meaning": found.meaning})

    for path, answer in (("/openapi.json", description), ("/", page), ("/problems/{sort}", problem)):
        app.add_api_route(path, answer, methods=["GET"], include_in_schema=False, response_model=None)


def _say_no(app: FastAPI, gate: Gate, made: Callable[[], Mapping[str, Any]]) -> None:
    @app.exception_handler(Problem)
    def problem(request: Request, said: Problem) -> Response:
        if said.sort == "not-for-this":
            _denied(request, str(said))
        return say_no(said.sort, str(said), request.url.path, errors=said.errors, headers=said.headers)

    @app.exception_handler(Refusal)
    def refused(request: Request, refusal: Refusal) -> Response:
        if isinstance(refusal, NotAllowed):
            _denied(request, str(refusal))
        return say_no(sort_of(refusal), str(refusal), request.url.path)

    @app.exception_handler(SettingsWrong)
    def out_of_order(request: Request, error: SettingsWrong) -> Response:
        number = uuid4().hex[:12]
        log.error("%s is out of order, number %s.", request.url.path, number, exc_info=error)
        return say_no("out-of-order", f"It is in the log under {number}.", request.url.path)

    @app.exception_handler(RequestValidationError)
    def invalid(request: Request, error: RequestValidationError) -> Response:
        """Whoever has no token is told that first."""
        try:
            with gate.look(request, None):
                pass
        except Problem as said:
            return problem(request, said)
        errors = [_error(one) for one in error.errors()[:MOST_ERRORS]]
        return say_no("invalid", SORTS["invalid"].meaning, request.url.path, errors=errors)

    @app.exception_handler(HTTPException)
    def no_way(request: Request, error: HTTPException) -> Response:
        path = request.url.path
        methods = methods_of(made(), path.removeprefix(request.scope.get("root_path", "")))
        if error.status_code == 405:  # noqa: PLR2004  As the web names it.
            allowed = ", ".join(methods or ("GET",))
            return say_no("wrong-method", SORTS["wrong-method"].meaning, path, headers={"Allow": allowed})
        sort = "not-found" if error.status_code == 404 else "invalid"  # noqa: PLR2004  As above.
        return say_no(sort, SORTS[sort].meaning, path)


def _denied(request: Request, sentence: str) -> None:
    """In one line, whatever names are in it."""
    log.warning("Denied to a token at %s: %s", json.dumps(request.url.path), json.dumps(sentence))


def _error(one: Mapping[str, Any]) -> dict[str, str]:
    """Where it is wrong and how, and never what was sent."""
    place = "/".join(map(str, one["loc"]))
    return {"at": place[:LONGEST_ERROR], "says": str(one["msg"])[:LONGEST_ERROR]}
