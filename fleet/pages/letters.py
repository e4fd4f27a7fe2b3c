"""Letters: one's own, to read and to acknowledge; and how those of a site stand, for who answers for it."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from fastapi.responses import Response

from fleet.desk.acknowledging import acknowledge
from fleet.desk.letters import resend
from fleet.lists.deputies import instead_of
from fleet.lists.letters import attempts, letter_about, letter_text, letters_about, letters_for
from fleet.lists.passing_on import unread
from fleet.measures.times import iso_week
from fleet.pages.drawing import draw
from fleet.pages.finding import own_site, own_sites
from fleet.pages.guard import Guard, Typed, go, status_of
from fleet.refusals import NotAllowed, NotFound, Refusal
from fleet.rules.letters import LetterState
from fleet.rules.readers import SPARE
from fleet.rules.register import Role

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.access import Visitor
    from fleet.lists.letters import LetterLine
    from fleet.lists.sites import SiteLine

# Whoever may send a letter again sees how the letters of the site stand.
_ANSWERS = (Role.KEEPER, Role.SAFETY)
_SHOWN_FOR = timedelta(weeks=5)


class Letters:
    """The list, one letter, and the buttons."""

    def __init__(self, guard: Guard) -> None:
        self._guard, self._room = guard, guard.room

    def routes(self) -> APIRouter:
        """Which address leads to what."""
        router = APIRouter(include_in_schema=False)
        router.add_api_route("/letters", self.show_letters, methods=["GET"], response_model=None)
        router.add_api_route("/letters/site", self.show_site, methods=["GET"], response_model=None)
        router.add_api_route("/letters/{letter}", self.show_letter, methods=["GET"], response_model=None)
        router.add_api_route(
            "/letters/{letter}/acknowledge", self.say_it_was_read, methods=["POST"], response_model=None
        )
        router.add_api_route(
            "/letters/{letter}/resend", self.send_again, methods=["POST"], response_model=None
        )
        return router

    def show_letters(self, request: Request) -> Response:
        who = self._guard.sure(request)
        with self._guard.look() as (db, _now):
            mine = letters_for(db, who.person_id)
            answers = bool(_answered_for(db, who))
        return draw(request, self._room, "letters.html", who, letters=mine, answers=answers)

    def show_site(self, request: Request, site: str = "") -> Response:
        who = self._guard.sure(request)
        with self._guard.look() as (db, now):
            chosen = own_site(db, who, site)
            if not any((chosen.id, role) in who.roles for role in _ANSWERS):
                raise NotAllowed(
                    f"{who.name} is not a keeper or safety officer at {chosen.name}; that role is needed to "
                    "see how everybody's letters stand."
                )
            found = letters_about(db, chosen, since=iso_week(chosen.today(now - _SHOWN_FOR)))
            told = {
                "sites": _answered_for(db, who),
                "site": chosen,
                "letters": found,
                "unread": unread(db, now),
                "counts": _counts(found),
            }
        return draw(request, self._room, "letters_of_site.html", who, 200, **told)

    def show_letter(self, request: Request, letter: int) -> Response:
        return self._letter_page(request, self._guard.sure(request), letter)

    def _letter_page(
        self, request: Request, who: Visitor, letter: int, status: int = 200, **said: object
    ) -> Response:
        with self._guard.look() as (db, now):
            line = _one_of(db, who, letter)
            told = {
                "letter": line,
                "text": letter_text(db, letter),
                "tries": attempts(db, letter),
                "open": is_open(line) and _is_theirs(db, who, line, now),
                "again": line.state not in (LetterState.WRITTEN, LetterState.TAKEN)
                and letter_of_sites(db, who, letter) is not None,
            }
        return draw(request, self._room, "letter.html", who, status, **(told | said))

    def say_it_was_read(self, request: Request, letter: int, form: Typed) -> Response:
        who = self._guard.sure(request)
        with self._guard.act(who) as (db, by, now):
            _one_of(db, who, letter)
            acknowledge(db, [letter], by=by, now=now)
        return go(
            "/" if form.get("from") == "start" else f"/letters/{letter}", said="It is noted that you read it."
        )

    def send_again(self, request: Request, letter: int, form: Typed) -> Response:
        who = self._guard.sure(request)
        try:
            with self._guard.act(who) as (db, by, now):
                _one_of(db, who, letter)
                sender = self._room.settings.mail.sender
                address, copy = resend(db, letter, form.get("reason"), sender=sender, by=by, now=now)
        except NotFound:
            raise
        except Refusal as refusal:
            return self._letter_page(request, who, letter, status_of(refusal), error=str(refusal), typed=form)
        return go(f"/letters/{letter}", said=f"Copy {copy} is written to {address} and waits to be sent.")


def is_open(line: LetterLine) -> bool:
    """Whether a letter arrived and nobody has said yet that it was read."""
    return line.state == LetterState.SENT and line.read_at is None


def _one_of(db: Connection, who: Visitor, letter: int) -> LetterLine:
    """A letter of theirs, or one about a site that they answer for."""
    own = next((line for line in letters_for(db, who.person_id, most=1000) if line.id == letter), None)
    found = own or letter_of_sites(db, who, letter)
    if found is None:
        raise NotFound("There is no such letter of yours.")
    return found


def letter_of_sites(db: Connection, who: Visitor, letter: int) -> LetterLine | None:
    """A letter about a site whose letters they may see and send again."""
    found = (letter_about(db, site, letter) for site in _answered_for(db, who))
    return next((line for line in found if line), None)


def _answered_for(db: Connection, who: Visitor) -> list[SiteLine]:
    return [site for site in own_sites(db, who) if any((site.id, role) in who.roles for role in _ANSWERS)]


def _is_theirs(db: Connection, who: Visitor, line: LetterLine, now: datetime) -> bool:
    """Whether it is theirs to acknowledge: their own, a spare one, or that of whom they stand in for."""
    if line.badge in (who.badge, SPARE):
        return True
    with_deputy = instead_of(db, own_sites(db, who)[0].today(now))
    people = [person for person, deputy in with_deputy.items() if deputy == who.person_id]
    return any(line.id in {one.id for one in letters_for(db, person)} for person in people)


def _counts(found: list[LetterLine]) -> list[tuple[str, int]]:
    """How the letters stand, in few words."""
    states = [line.state for line in found]
    return [
        ("Sent", states.count(LetterState.SENT)),
        ("Waiting", states.count(LetterState.WRITTEN) + states.count(LetterState.TAKEN)),
        ("Not delivered", states.count(LetterState.UNDELIVERABLE)),
        ("Acknowledged", sum(line.read_at is not None for line in found)),
        ("Passed on", sum(line.whose is not None for line in found)),
    ]
