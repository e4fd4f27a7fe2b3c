"""The letters of whoever is logged in: to read again, and to say with a button that they were read."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.desk.acknowledging import acknowledge
from fleet.lists.letters import letter_text, letters_for
from fleet.pages.drawing import draw
from fleet.pages.guard import Guard, Typed, go
from fleet.refusals import NotFound

if TYPE_CHECKING:
    from fleet.lists.access import Visitor
    from fleet.lists.letters import LetterLine


class Letters:
    """The list, one letter, and the button."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/", self.start, methods=["GET"], response_model=None)
        router.add_api_route("/letters", self.show_letters, methods=["GET"], response_model=None)
        router.add_api_route("/letters/{letter}", self.show_letter, methods=["GET"], response_model=None)
        router.add_api_route(
            "/letters/{letter}/acknowledge", self.say_it_was_read, methods=["POST"], response_model=None
        )
        return router

    def start(self, request: Request) -> Response:
        who = self._guard.sure(request)
        return draw(
            request, self._room, "start.html", who, open=[line for line in self._mine(who) if is_open(line)]
        )

    def show_letters(self, request: Request) -> Response:
        who = self._guard.sure(request)
        return draw(request, self._room, "letters.html", who, letters=self._mine(who))

    def show_letter(self, request: Request, letter: int) -> Response:
        who = self._guard.sure(request)
        line = self._one_of(who, letter)
        with self._room.look() as db:
            text = letter_text(db, letter)
        return draw(request, self._room, "letter.html", who, letter=line, text=text, open=is_open(line))

    def say_it_was_read(self, request: Request, letter: int, _form: Typed) -> Response:
        who = self._guard.sure(request)
        self._one_of(who, letter)
        with self._room.act() as db:
            acknowledge(db, [letter], by=who.actor, now=self._room.now(db))
        return go(f"/letters/{letter}")

    def _mine(self, who: Visitor) -> list[LetterLine]:
        with self._room.look() as db:
            return letters_for(db, who.person_id)

    def _one_of(self, who: Visitor, letter: int) -> LetterLine:
        for line in self._mine(who):
            if line.id == letter:
                return line
        raise NotFound("There is no such letter of yours.")


def is_open(line: LetterLine) -> bool:
    """Whether a letter arrived and nobody has said yet that it was read."""
    return line.state == "sent" and line.read_at is None
