"""The headers that every answer carries, also those that say no."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

# Nothing comes from elsewhere, nothing stands in a frame, and forms lead to ourselves only.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
ALWAYS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(self), microphone=(), geolocation=()",
}
_RAW = tuple((name.lower().encode(), value.encode()) for name, value in ALWAYS.items())
_RAW_TLS = (*_RAW, (b"strict-transport-security", b"max-age=31536000; includeSubDomains"))
_NEVER_KEPT = (b"cache-control", b"no-store")


class Headers:
    """Sets them as the answer begins."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Hand the request on, and the answer back with the headers."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                always = _RAW_TLS if scope["scheme"] == "https" else _RAW
                if not scope["path"].startswith("/static/"):
                    always = (*always, _NEVER_KEPT)
                said = {name for name, _ in message["headers"]}
                message["headers"] = [*message["headers"], *(one for one in always if one[0] not in said)]
            await send(message)

        await self._app(scope, receive, send_with_headers)
