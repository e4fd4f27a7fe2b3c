"""What would be sent, laid into a folder: letters are written and taken as ever, and all that is undone."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

import typer

from fleet.commands.printing import print_json, print_table
from fleet.refusals import NotPossible

if TYPE_CHECKING:
    from pathlib import Path

    from fleet.commands.door import Door
    from fleet.desk.letters import Written
    from fleet.mail.messages import TakenLetter
    from fleet.room import Room
    from fleet.settings import MailSettings

# Longer than anybody's quiet hours.
_LATER = timedelta(days=30)
_ALL = 100_000


@dataclass(frozen=True, slots=True)
class Previewed:
    """One letter: whose it is, where it would go, and the file it lies in; or why it would not go."""

    badge: str
    reader: str
    address: str
    subject: str
    file: str | None
    refused: str | None


def show_preview(way: Door, site: str | None, week: str | None, folder: Path, *, as_json: bool) -> None:
    """Lay the letters into the folder, and say who would get what."""
    if folder.exists() and not (folder.is_dir() and not any(folder.iterdir())):
        raise NotPossible(f"{folder} is not an empty folder; name a new one for the preview.")
    with way.room() as room:
        done, letters = _rehearse(room, way.acting or room.settings.acting, site, week)
        found = _lay(letters, room.settings.mail, folder)
    if as_json:
        return print_json(found)
    if not found:
        return typer.echo(
            f"Everybody at {done.site} has letter {done.number} of {done.week} already; "
            f"none more would be written."
        )
    rows = [(one.badge, one.reader, one.address, one.subject, one.file or one.refused) for one in found]
    title = f"Letters of {done.site} for {done.week}, as they would be sent; none was written"
    return print_table(("Badge", "Reader", "Address", "Subject", "File"), rows, title=title)


def _rehearse(
    room: Room, acting: str | None, site: str | None, week: str | None
) -> tuple[Written, list[TakenLetter]]:
    """Write and take the letters in a transaction of which nothing stays."""
    from fleet.desk.letters import write_letters
    from fleet.desk.sending import take_letter
    from fleet.lists.letters import letters
    from fleet.lists.sites import find_site
    from fleet.measures.times import last_letter_due, read_week, zone

    with room.act() as db:
        undo = db.begin_nested()
        by, now = room.sit(db, acting)
        where = find_site(db, site)
        due, _ = last_letter_due(now, zone(where.time_zone), where.letter_weekday, where.letter_hour)
        asked, sender = read_week(week) if week else due, room.settings.mail.sender
        before = {line.id for line in letters(db, site=where.code, week=asked, most=_ALL)}
        done = write_letters(db, where, asked, sender=sender, pages=room.settings.pages, by=by, now=now)
        new = {line.id for line in letters(db, site=where.code, week=asked, most=_ALL)} - before
        taken = []
        while new and (letter := take_letter(db, "preview", now + _LATER)):
            if letter.id in new:
                taken.append(letter)
        undo.rollback()
    return done, taken


def _lay(letters: list[TakenLetter], mail: MailSettings, folder: Path) -> list[Previewed]:
    """Each as a file, by the post that would lay it there, with its limits."""
    from fleet.mail.post import nobody_elses
    from fleet.mail.redirecting import post_for
    from fleet.rules.letters import Outcome
    from fleet.settings import REDIRECTED

    post = post_for(replace(mail, host=None, folder=folder))
    prefix = f"{REDIRECTED}{mail.redirect_to}: "
    found = []
    for letter in letters:
        delivery = post.send(letter, nobody_elses)
        if delivery.outcome is Outcome.OUR_CONFIGURATION:
            raise NotPossible(delivery.answer)
        sent = delivery.outcome is Outcome.SENT
        address = f"{mail.redirect_to} instead of {letter.address}" if mail.redirect_to else letter.address
        file = delivery.answer.removeprefix(prefix) if sent else None
        refused = None if sent else f"not sent: {delivery.answer}"
        found.append(Previewed(letter.badge, letter.reader, address, letter.subject, file, refused))
    return sorted(found, key=lambda one: one.badge)
