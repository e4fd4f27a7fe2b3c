"""The application: its pages, and how many are answered at a time."""

from __future__ import annotations

from contextlib import asynccontextmanager
from typing import TYPE_CHECKING

from anyio.to_thread import current_default_thread_limiter
from fastapi import FastAPI

from fleet.pages import health

if TYPE_CHECKING:
    from collections.abc import AsyncIterator

    from fleet.room import Room

# A page holds a connection to the database, of which there are fifteen; the rounds need one too.
AT_A_TIME = 12


def make_app(room: Room) -> FastAPI:
    """The pages of one room."""
    # The usual pages about an interface load scripts from elsewhere; nothing here does.
    app = FastAPI(
        title="fleet", docs_url=None, redoc_url=None, openapi_url=None, lifespan=_with_enough_connections
    )
    app.include_router(health.pages(room))
    return app


@asynccontextmanager
async def _with_enough_connections(_app: FastAPI) -> AsyncIterator[None]:
    current_default_thread_limiter().total_tokens = AT_A_TIME
    yield
