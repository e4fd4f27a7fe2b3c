"""For a monitor outside: is the process alive, and is the duty done. No name, no address, nothing kept."""

from __future__ import annotations

import logging
from dataclasses import asdict
from typing import TYPE_CHECKING

from fastapi import APIRouter
from fastapi.responses import JSONResponse, PlainTextResponse, Response

from fleet.lists.duty import DutyLine, duty

if TYPE_CHECKING:
    from fleet.room import Room

log = logging.getLogger("fleet.pages")

FRESH = {"Cache-Control": "no-store"}
_SHUT = DutyLine("database", ok=False, sentence="The database cannot be used.")


def pages(room: Room) -> APIRouter:
    """Both pages, which also answer HEAD: some monitors ask for no more."""
    router = APIRouter()

    @router.api_route("/healthz", methods=["GET", "HEAD"])
    def alive() -> Response:
        return PlainTextResponse("The process is alive.\n", headers=FRESH)

    @router.api_route("/healthz/duty", methods=["GET", "HEAD"])
    def done() -> Response:
        lines = _look(room)
        status = 200 if all(line.ok for line in lines) else 503
        return JSONResponse([asdict(line) for line in lines], status, headers=FRESH)

    return router


def _look(room: Room) -> list[DutyLine]:
    try:
        with room.look() as db:
            return duty(db, room.settings.mail, clock=room.clock())
    except Exception:
        # Why, is for whoever keeps the room, and may name its server; a monitor must be answered anyhow.
        log.exception("The duty could not be looked at.")
        return [_SHUT]
