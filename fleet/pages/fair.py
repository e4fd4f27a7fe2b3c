"""Nobody takes the place of everybody else: only so many requests of one visitor are answered at a time.

Printing an evidence pack or a search over years takes a while; whoever asks for a dozen at once waits for
their own, and the counter goes on.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import PlainTextResponse

from fleet.pages.api.problems import say_no
from fleet.pages.guard import SESSION

if TYPE_CHECKING:
    from starlette.responses import Response
    from starlette.types import ASGIApp, Receive, Scope, Send

# A third of what is answered at a time in all.
EACH_AT_A_TIME = 4
_SENTENCE = "You have asked for too much at once. Wait a moment, then try again.\n"


class Fair:
    """Counts what is in hand for each visitor of this process."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app
        self._in_hand: Counter[str] = Counter()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Hand the request on, or say that it is one too many."""
        if scope["type"] != "http" or scope["path"].startswith(("/static/", "/healthz")):
            await self._app(scope, receive, send)
            return
        visitor = _visitor(Request(scope))
        if self._in_hand[visitor] >= EACH_AT_A_TIME:
            await _one_too_many(scope["path"])(scope, receive, send)
            return
        self._in_hand[visitor] += 1
        try:
            await self._app(scope, receive, send)
        finally:
            self._in_hand[visitor] -= 1
            if not self._in_hand[visitor]:
                del self._in_hand[visitor]


def _one_too_many(path: str) -> Response:
    """To a program a problem, as every "no" that it is told."""
    headers = {"Retry-After": "1"}
    if path.startswith("/api/"):
        return say_no("too-often", _SENTENCE.rstrip(), path, headers=headers)
    return PlainTextResponse(_SENTENCE, 429, headers=headers)


def _visitor(request: Request) -> str:
    """By session or token, so that several who share an address do not wait for each other."""
    shown = request.cookies.get(SESSION) or request.headers.get("authorization")
    if shown:
        return shown
    return request.client.host if request.client else "unknown"
