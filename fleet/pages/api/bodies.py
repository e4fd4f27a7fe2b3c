"""What comes in: never too long, always JSON; and what breaks goes out as a problem with a number only."""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING
from uuid import uuid4

from starlette.datastructures import Headers

from fleet.pages.api.problems import Problem, say_no

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

log = logging.getLogger("fleet.pages")

LONGEST_BODY = 100_000
_WITH_BODY = ("POST", "PUT", "PATCH")


class Bodies:
    """Reads a body as a whole before anything is done with it."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Hand the request on with its body, or answer why not."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        begun = False

        async def sending(message: Message) -> None:
            nonlocal begun
            begun = True
            await send(message)

        try:
            handed = await _read(scope, receive) if scope["method"] in _WITH_BODY else receive
            await self._app(scope, handed, sending)
        except Problem as problem:
            await say_no(problem.sort, str(problem), scope["path"])(scope, receive, sending)
        except Exception:
            number = uuid4().hex[:12]
            log.exception("%s %s broke, number %s.", scope["method"], scope["path"], number)
            if begun:
                raise
            said = f"Something broke, and nothing was changed. It is in the log under {number}."
            await say_no("broken", said, scope["path"])(scope, receive, sending)


async def _read(scope: Scope, receive: Receive) -> Receive:
    headers = Headers(scope=scope)
    length = headers.get("content-length", "0")
    if not length.isdigit() or int(length) > LONGEST_BODY:
        raise Problem("too-long")
    body, more = b"", True
    while more:
        message = await receive()
        if message["type"] == "http.disconnect":
            return receive
        body += message.get("body", b"")
        more = message.get("more_body", False)
        if len(body) > LONGEST_BODY:
            raise Problem("too-long")
    if body and not _is_json(headers.get("content-type", "")):
        raise Problem("not-json")
    handed = False

    async def again() -> Message:
        nonlocal handed
        if handed:
            return await receive()
        handed = True
        return {"type": "http.request", "body": body, "more_body": False}

    return again


def _is_json(content_type: str) -> bool:
    """RFC 8259: no other encoding than UTF-8."""
    kind, _, rest = content_type.lower().partition(";")
    return kind.strip() == "application/json" and rest.strip().replace('"', "") in ("", "charset=utf-8")
