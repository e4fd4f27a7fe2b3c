"""How a command gets into the room."""

from __future__ import annotations

import uuid
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.room import Room
    from fleet.rules.people import Actor
    from fleet.settings import Settings


@dataclass(frozen=True, slots=True)
class Sitting:
    """One transaction of one person: the connection, who is acting, and the time."""

    db: Connection
    by: Actor
    now: datetime


@dataclass(frozen=True, slots=True)
class Door:
    """What stands before every command: which database, and who is acting."""

    database: str | None
    acting: str | None

    def settings(self) -> Settings:
        """Read the settings."""
        from fleet.settings import read_settings

        return read_settings(database=self.database)

    @contextmanager
    def room(self) -> Iterator[Room]:
        """Open the room for as long as the command runs."""
        from fleet.room import open_room

        room = open_room(self.settings())
        try:
            yield room
        finally:
            room.close()

    @contextmanager
    def act(self) -> Iterator[Sitting]:
        """One writing transaction by whoever is acting."""
        with self.room() as room, room.act() as db:
            yield Sitting(db, *room.sit(db, self.acting or room.settings.acting))

    @contextmanager
    def look(self) -> Iterator[tuple[Connection, datetime]]:
        """One reading transaction, and the time."""
        with self.room() as room, room.look() as db:
            yield db, room.now(db)

    @contextmanager
    def look_as(self) -> Iterator[Sitting]:
        """One reading transaction by whoever is asking, whose name goes on what is printed."""
        with self.room() as room, room.look() as db:
            yield Sitting(db, *room.sit(db, self.acting or room.settings.acting))


def door(context: typer.Context) -> Door:
    """The door that ``begin`` left in the context."""
    found = context.obj
    if not isinstance(found, Door):  # pragma: no cover  Typer always runs the callback first.
        raise TypeError("the command was started without its callback")
    return found


def new_id() -> str:
    """A client-made id: a request that is repeated with it is carried out once."""
    return str(uuid.uuid4())
