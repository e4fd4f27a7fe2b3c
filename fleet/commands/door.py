"""How a command gets into the room."""

from __future__ import annotations

import sys
import uuid
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
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
    remarks: list[str] = field(default_factory=list, kw_only=True)
    """What is said when the command has ended."""

    def settings(self) -> Settings:
        """Read the settings."""
        from fleet.settings import read_settings

        return read_settings(database=self.database)

    def open(self) -> Room:
        """Open the room."""
        from fleet.room import open_room

        return open_room(self.settings())

    @contextmanager
    def room(self, *, remark: bool = True) -> Iterator[Room]:
        """The room while the command runs; then, at a terminal, a remark when the duty is not done."""
        room = self.open()
        try:
            yield room
        finally:
            if remark and sys.stderr.isatty():
                self._look_at_duty(room)
            room.close()

    def _look_at_duty(self, room: Room) -> None:
        from fleet.lists.duty import duty, in_short
        from fleet.refusals import Refusal

        # What cannot be looked at now has made the command itself fail, and that is said.
        with suppress(Refusal), room.look() as db:
            amiss = in_short(duty(db, room.settings.mail, clock=room.clock()))
            if amiss and amiss not in self.remarks:
                self.remarks.append(amiss)

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
