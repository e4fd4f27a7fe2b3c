"""Looking after the program itself: the database, and what is set, missing or unsafe."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.door import door
from fleet.commands.grouping import Grouped
from fleet.commands.printing import Json, print_json, print_line, print_table
from fleet.refusals import NotPossible, Refusal

if TYPE_CHECKING:
    from collections.abc import Iterator

    from fleet.lists.health import HealthLine
    from fleet.settings import Settings

database = typer.Typer(help="Create, upgrade and copy the database.", no_args_is_help=True, cls=Grouped)


def register(app: typer.Typer) -> None:
    """Put the commands of this module on the app."""
    panel = "Care"
    app.add_typer(database, name="database", rich_help_panel=panel)
    app.command(rich_help_panel=panel)(doctor)


@database.command()
def upgrade(context: typer.Context) -> None:
    """Create the database, or bring it to this version's schema; a copy is made before anything changes."""
    from fleet.room import upgrade_database
    from fleet.settings import show_database

    settings = door(context).settings()
    before, after, copy = upgrade_database(settings)
    if before == after:
        return print_line(f"{show_database(settings.database)} is up to date (schema {after}).")
    if copy:
        print_line(f"Copied as it was to {copy}.")
    return print_line(f"{show_database(settings.database)} is at schema {after}.")


@database.command("copy")
def copy_to(
    context: typer.Context,
    target: Annotated[Path, typer.Argument(help="File to write; must not exist yet.")],
) -> None:
    """Write a consistent copy of an SQLite database while it is in use."""
    from fleet.room import copy_database

    with door(context).room() as room:
        copy_database(room, target)
    print_line(f"Copied to {target}. Check it with: fleet --database {target} daybook verify")


def doctor(context: typer.Context, *, as_json: Json = False) -> None:
    """What is set, what is missing and what is unsafe. Exit code 3 when something is unsafe."""
    from fleet.lists.health import Health

    settings = door(context).settings()
    found = [*_settings(settings), *_retention(settings), *_database(context)]
    if as_json:
        print_json({"settings": settings.origins, "looked_at": found})
    else:
        rows = [(line.health.value.upper(), line.what, line.sentence) for line in found]
        print_table(("", "What", "How it stands"), rows)
    unsafe = sum(line.health is Health.UNSAFE for line in found)
    if unsafe:
        raise NotPossible(f"{unsafe} of these {'is' if unsafe == 1 else 'are'} unsafe.")


def _settings(settings: Settings) -> Iterator[HealthLine]:
    from fleet.lists.health import Health, HealthLine
    from fleet.settings import show_database

    there = "is there" if settings.file.exists() else "is not there; defaults are used"
    yield HealthLine("settings", Health.FINE, f"{settings.file} {there}.")
    for key, origin in sorted(settings.origins.items()):
        if key != "database":
            yield HealthLine(key, Health.FINE, f"Set by {origin}.")
    origin = settings.origins["database"]
    where = "the usual place" if origin == "default" else f"set by {origin}"
    yield HealthLine("database", Health.FINE, f"{show_database(settings.database)} ({where}).")
    if not settings.acting:
        yield HealthLine("acting", Health.MISSING, "Nobody is set to act; give --by, or set FLEET_ACTING.")
    mail = settings.mail
    if not mail.on:
        return
    if not mail.host:
        sentence = f"Letters are laid into {mail.folder}. Set mail.host to send them."
        yield HealthLine("mail", Health.MISSING, sentence)
    elif mail.security == "none":
        sentence = f"Letters go to {mail.host} unencrypted. Set mail.security to starttls or tls."
        yield HealthLine("mail", Health.UNSAFE, sentence)
    else:
        yield HealthLine("mail", Health.FINE, f"Letters go to {mail.host}:{mail.port} by {mail.security}.")


def _retention(settings: Settings) -> Iterator[HealthLine]:
    from fleet.lists.health import Health, HealthLine
    from fleet.rules.retention import read_years, retention

    try:
        years = {kind: read_years(kind, text) for kind, text in settings.retention_years.items()}
    except Refusal as refusal:
        yield HealthLine("retention", Health.UNSAFE, str(refusal))
        return
    kept = ", ".join(f"{one.records} {one.years} years" for one in retention(years))
    yield HealthLine("retention", Health.FINE, f"Kept at least: {kept}. This program deletes nothing.")


def _database(context: typer.Context) -> Iterator[HealthLine]:
    from fleet.lists.duty import duty
    from fleet.lists.health import Health, HealthLine, health
    from fleet.room import SAFE_SQLITE, SCHEMA, sqlite_version, utc_now

    try:
        with door(context).room(remark=False) as room, room.look() as db:
            yield HealthLine("schema", Health.FINE, f"The database is at schema {SCHEMA}.")
            version = sqlite_version(db)
            if version:
                shown = ".".join(map(str, version))
                safe = version >= SAFE_SQLITE
                sentence = f"SQLite {shown}."
                if not safe:
                    least = ".".join(map(str, SAFE_SQLITE))
                    sentence = f"SQLite {shown} can lose committed writes; {least} or newer is needed."
                yield HealthLine("SQLite", Health.FINE if safe else Health.UNSAFE, sentence)
            yield from health(db, clock=utc_now())
            for line in duty(db, room.settings.mail, clock=utc_now()):
                stands = Health.UNSAFE if line.begun else Health.MISSING
                yield HealthLine(line.what, Health.FINE if line.ok else stands, line.sentence)
    except Refusal as refusal:
        yield HealthLine("schema", Health.UNSAFE, str(refusal))
