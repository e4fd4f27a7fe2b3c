"""The weekly letters: written, sent, looked at; and the rounds that see to them by the clock."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.door import door
from fleet.commands.grouping import Grouped
from fleet.commands.printing import Json, Site, print_json, print_table
from fleet.refusals import NotFound, NotPossible

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.letters import LetterLine
    from fleet.rounds import Round, Sent

letters = typer.Typer(help="Write, send and look at the weekly letters.", no_args_is_help=True, cls=Grouped)

Week = Annotated[str | None, typer.Option("--week", "-w", help="ISO week: 2026-W20.")]
To = Annotated[
    str | None, typer.Option("--to", help="Only the letter to this badge; spare: the spare address.")
]
AtOnce = Annotated[bool, typer.Option("--at-once", help="Not a weekly letter but one at once.")]
_WEEK_LONG = len("2026-W20")


def register(app: typer.Typer) -> None:
    """Put the commands of this module on the app."""
    app.add_typer(letters, name="letters", rich_help_panel="Letters")
    app.command(rich_help_panel="Letters")(rounds)


@letters.command()
def write(
    context: typer.Context,
    site: Site = None,
    week: Week = None,
    preview: Annotated[
        Path | None,
        typer.Option("--preview", help="Write nothing, and lay what would be sent into this new folder."),
    ] = None,
    *,
    as_json: Json = False,
) -> None:
    """Write this week's letters: one to everybody with a role, once. A second time writes nothing more."""
    if preview is not None:
        from fleet.commands.previews import show_preview

        return show_preview(door(context), site, week, preview, as_json=as_json)
    from fleet.commands.duty import say_when_off
    from fleet.desk.letters import write_letters
    from fleet.lists.sites import find_site
    from fleet.measures.times import last_letter_due, read_week, zone

    way = door(context)
    with way.room() as room, room.act() as db:
        by, now = room.sit(db, way.acting or room.settings.acting)
        where = find_site(db, site)
        due, _ = last_letter_due(now, zone(where.time_zone), where.letter_weekday, where.letter_hour)
        asked, sender = read_week(week) if week else due, room.settings.mail.sender
        done = write_letters(db, where, asked, sender=sender, pages=room.settings.pages, by=by, now=now)
    say_when_off(room.settings.mail)
    if as_json:
        return print_json(done)
    if not done.to:
        return typer.echo(f"Everybody at {done.site} has letter {done.number} of {done.week} already.")
    return typer.echo(
        f"Letter {done.number} of {done.site} for {done.week} is written, to {', '.join(done.to)}. "
        f"Send it with: fleet letters send"
    )


@letters.command()
def send(
    context: typer.Context,
    redirect_to: Annotated[
        str | None,
        typer.Option(
            "--redirect-to",
            help="Address that gets every letter of this run instead of its reader; it then counts as sent.",
        ),
    ] = None,
    *,
    as_json: Json = False,
) -> None:
    """Send what waits. Nothing is lost when the server says no: it is tried again for three days."""
    from fleet.mail.redirecting import post_for
    from fleet.rounds import send_waiting

    with door(context).room() as room:
        mail = room.settings.mail
        done = send_waiting(room, post_for(mail, redirect_to=redirect_to))
    if as_json:
        print_json(done)
    else:
        typer.echo(f"{done.sent} sent, {done.undeliverable} undeliverable, {done.waiting} waiting.")
        address = redirect_to or mail.redirect_to
        if address and done.sent:
            typer.echo(f"What was sent went to {address}, and not to its readers.")
    _stop_at_fault(done)


def _stop_at_fault(done: Sent) -> None:
    if done.stopped:
        raise NotPossible(f"Sending stopped, and no letter is lost. The answer was: {done.stopped}")


@letters.command("list")
def list_letters(
    context: typer.Context,
    site: Site = None,
    week: Week = None,
    state: Annotated[
        str | None, typer.Option("--state", help="written, taken, sent or undeliverable.")
    ] = None,
    most: Annotated[int, typer.Option("--last", help="How many of the newest.")] = 50,
    *,
    unread: Annotated[
        bool, typer.Option("--unread", help="Only those that nobody has said yet they have read.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Letters, the newest week first: to whom, and what became of each."""
    from fleet.commands.asking import one_of
    from fleet.commands.duty import say_when_off
    from fleet.commands.showing import moment
    from fleet.lists.letters import letters as list_all
    from fleet.lists.sites import find_site
    from fleet.measures.times import read_week
    from fleet.rules.letters import LetterState

    asked_state = one_of(LetterState, state, "state of a letter") if state else None
    asked_week = read_week(week) if week else None
    with door(context).room() as room, room.look() as db:
        code = find_site(db, site).code if site else None
        found = list_all(db, site=code, week=asked_week, state=asked_state, most=max(most, 1))
        if unread:
            found = [
                line
                for line in _unread(db, site, room.now(db))
                if line.week.startswith(asked_week or "") and asked_state in (None, line.state)
            ][:most]
    say_when_off(room.settings.mail)
    if as_json:
        return print_json(found)
    rows = [
        (
            line.site,
            f"{line.week[:_WEEK_LONG]} at once" if _is_at_once(line) else line.week,
            line.number,
            _to(line),
            line.address,
            _state(line),
            line.attempts,
            moment(line.written_at, line.time_zone),
            None if line.state == "sent" else line.last_answer,
        )
        for line in found
    ]
    columns = ("Site", "Week", "No.", "To", "Address", "State", "Tries", "Written", "Last answer")
    return print_table(columns, rows, title="Letters")


def _unread(db: Connection, site: str | None, now: datetime) -> list[LetterLine]:
    """What nobody has said yet they have read, at one site or all of them."""
    from fleet.lists.letters import unacknowledged
    from fleet.lists.sites import find_site, sites

    places = [find_site(db, site)] if site else sites(db)
    return [line for place in places for line in unacknowledged(db, place, now=now)]


def _to(line: LetterLine) -> str:
    """The badge that a letter went to; for whom, when it was passed on; else which copy it is."""
    if line.whose:
        return f"{line.badge}, for {line.whose}"
    return line.badge if line.copy_no == 1 else f"{line.badge}, copy {line.copy_no}"


def _state(line: LetterLine) -> str:
    """What became of it, and of what was sent whether and when it was read."""
    from fleet.commands.showing import moment

    if line.state != "sent" or line.sent_at is None:
        return line.state
    if line.read_at is None:
        return f"sent {moment(line.sent_at, line.time_zone)}, unread"
    return f"sent, read {moment(line.read_at, line.time_zone)}"


@letters.command()
def show(
    context: typer.Context,
    numbers: Annotated[list[int], typer.Argument(metavar="NUMBER…", help="Numbers from: fleet letters list")],
    site: Site = None,
    to: To = None,
    *,
    at_once: AtOnce = False,
    as_json: Json = False,
) -> None:
    """Print letters as plain text, as they were written."""
    from fleet.commands.showing import moment
    from fleet.lists.letters import attempts, letter_text

    with door(context).look() as (db, _now):
        found = [line for number in numbers for line in _find(db, site, number, to, at_once=at_once)]
        texts = [letter_text(db, line.id) for line in found]
        tries = [attempts(db, line.id) for line in found]
    if as_json:
        parts = zip(found, texts, tries, strict=True)
        return print_json([{"letter": line, "text": text, "attempts": own} for line, text, own in parts])
    for line, text in zip(found, texts, strict=True):
        sent = f", {moment(line.sent_at, line.time_zone)}" if line.sent_at else ""
        typer.echo(
            f"=== To {line.reader} <{line.address}>: {line.state}{sent}\n{line.subject}\n\n{text.plain}"
        )
    return None


@letters.command()
def resend(
    context: typer.Context,
    number: Annotated[int, typer.Argument(help="Number from: fleet letters list")],
    to: Annotated[str, typer.Option("--to", help="Badge of the reader; spare: the spare address.")],
    reason: Annotated[str, typer.Option("--reason", "-r", help="Why it is sent again, in a sentence.")],
    site: Site = None,
    *,
    at_once: AtOnce = False,
    as_json: Json = False,
) -> None:
    """Write a further copy of a letter, to the reader's present address."""
    from fleet.commands.duty import say_when_off
    from fleet.desk.letters import resend as write_again

    way = door(context)
    with way.room() as room, room.act() as db:
        by, now = room.sit(db, way.acting or room.settings.acting)
        letter = max(_find(db, site, number, to, at_once=at_once), key=lambda line: line.copy_no)
        sender = room.settings.mail.sender
        address, copy = write_again(db, letter.id, reason, sender=sender, by=by, now=now)
    say_when_off(room.settings.mail)
    if as_json:
        return print_json({"number": number, "site": letter.site, "copy": copy, "address": address})
    return typer.echo(f"Copy {copy} of letter {number} to {address} waits. Send it with: fleet letters send")


def _is_at_once(line: LetterLine) -> bool:
    """A letter at once bears its minute instead of a week."""
    return len(line.week) > _WEEK_LONG


def _find(
    db: Connection, site: str | None, number: int, to: str | None, *, at_once: bool
) -> list[LetterLine]:
    """The letters of a number and kind at a site, or the one to a badge."""
    from fleet.lists.letters import letters as list_all
    from fleet.lists.sites import find_site

    where = find_site(db, site)
    lines = list_all(db, site=where.code, number=number)
    found = [line for line in lines if _is_at_once(line) is at_once]
    if not found:
        kind = "letter at once" if at_once else "weekly letter"
        raise NotFound(f"{where.code} has no {kind} {number}. See: fleet letters list --site {where.code}")
    if to is None:
        return found
    chosen = [line for line in found if line.badge.casefold() == to.strip().casefold()]
    if not chosen:
        badges = ", ".join(dict.fromkeys(line.badge for line in found))
        raise NotFound(f"Letter {number} of {where.code} went to {badges}, not to {to!r}.")
    return chosen


def rounds(
    context: typer.Context,
    *,
    once: Annotated[
        bool, typer.Option("--once", help="Go one round and end, for another scheduler.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Write and send what is due, every minute until it is stopped."""
    import logging

    from fleet.commands.duty import say_when_off
    from fleet.mail.redirecting import post_for
    from fleet.rounds import tick
    from fleet.ticking import run_rounds

    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(message)s")
    # The ticker's own remarks say nothing that the rounds do not say better.
    logging.getLogger("apscheduler").setLevel(logging.WARNING)
    with door(context).room() as room:
        mail = room.settings.mail
        post = post_for(mail) if mail.on else None
        if not once:
            return run_rounds(room, post)
        done = tick(room, post)
    say_when_off(mail)
    if as_json:
        print_json(done)
    else:
        typer.echo(f"{done}.")
    return _stop_at_failure(done)


def _stop_at_failure(done: Round) -> None:
    if done.failed:
        raise NotPossible(f"Not every letter could be written: {'; '.join(done.failed)}")
    _stop_at_fault(done.sent)
