"""The day book: who did what, when; and the proof that nothing in it was changed."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.door import door
from fleet.commands.grouping import Grouped
from fleet.commands.printing import Json, Site, print_json, print_table
from fleet.refusals import NotPossible, Unreadable

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection

daybook = typer.Typer(
    help="Read the day book, and prove that it was not changed.", no_args_is_help=True, cls=Grouped
)

# As it stands in the footer of a letter; people may type the dot as they like.
_SEAL = re.compile(r"\s*([0-9]+)\s*[·.:, -]\s*([0-9a-f]{8,64})\s*", re.IGNORECASE)
ROOM = "the room"


def register(app: typer.Typer) -> None:
    """Put the commands of this module on the app."""
    app.add_typer(daybook, name="daybook", rich_help_panel="Care")


@daybook.command()
def show(
    context: typer.Context,
    site: Site = None,
    about: Annotated[
        str | None, typer.Option("--about", help="Only what this is about: an item's tag, a job, a week.")
    ] = None,
    since: Annotated[str | None, typer.Option("--since", help="From this day on: 2026-05-04.")] = None,
    most: Annotated[int, typer.Option("--last", help="How many of the newest entries.")] = 50,
    *,
    room: Annotated[
        bool, typer.Option("--room", help="The room's own book: models, people, what belongs to no site.")
    ] = False,
    as_json: Json = False,
) -> None:
    """The newest entries of a site's day book, the newest first."""
    from fleet.commands.showing import moment
    from fleet.lists.daybook import entries
    from fleet.lists.sites import find_site
    from fleet.measures.times import read_moment, zone
    from fleet.rules.daybook import ROOM_CHAIN

    with door(context).look() as (db, _now):
        where = None if room else find_site(db, site)
        time_zone = where.time_zone if where else "UTC"
        first = read_moment(since, zone(time_zone)) if since else None
        chain = where.id if where else ROOM_CHAIN
        found = entries(db, chain, about=_bare(about), since=first, most=max(most, 1))
    if as_json:
        return print_json(found)
    rows = [
        (
            entry.seq,
            moment(entry.recorded_at, time_zone),
            entry.person_name,
            entry.act,
            entry.about,
            entry.body,
        )
        for entry in found
    ]
    title = f"Day book of {where.name if where else ROOM}"
    return print_table(("Entry", "When", "Who", "What", "About", "Details"), rows, title=title)


def _bare(about: str | None) -> str | None:
    """A tag as it is kept, however it was typed; anything else as it stands."""
    from fleet.measures.tags import read_tag

    if about is None:
        return None
    try:
        return read_tag(about)
    except Unreadable:
        return about.strip()


@daybook.command()
def verify(
    context: typer.Context,
    site: Site = None,
    seal: Annotated[
        str | None, typer.Option("--seal", help="A seal as printed in a letter: 120·0a1b2c3d4e5f6071.")
    ] = None,
    *,
    as_json: Json = False,
) -> None:
    """Work every hash out again and name the first entry that was changed. Exit code 3 when there is one."""
    from fleet.lists.daybook import FirstAltered
    from fleet.lists.daybook import verify as work_out

    with door(context).look() as (db, _now):
        books = _books(db, site, one=seal is not None)
        found = {name: work_out(db, chain, _printed(seal)) for name, chain in books.items()}
    altered = {name: one for name, one in found.items() if isinstance(one, FirstAltered)}
    if as_json:
        print_json([{"book": name, "altered": name in altered, "found": one} for name, one in found.items()])
    else:
        for name, one in found.items():
            if not isinstance(one, FirstAltered):
                typer.echo(f"{name}: {one.entries:,} entries as they were sealed, seal {one.seal}")
    if altered:
        raise NotPossible(
            " ".join(
                f"The day book of {name} was changed: entry {a.seq} {a.what}." for name, a in altered.items()
            )
        )


def _books(db: Connection, site: str | None, *, one: bool) -> dict[str, int]:
    """The chains by name: one site's, or every one there is."""
    from fleet.lists.daybook import chains
    from fleet.lists.sites import find_site, sites
    from fleet.rules.daybook import ROOM_CHAIN

    if site or one:
        where = find_site(db, site)
        return {where.code: where.id}
    codes = {line.id: line.code for line in sites(db)} | {ROOM_CHAIN: ROOM}
    return {codes.get(chain, f"site {chain}"): chain for chain in {ROOM_CHAIN, *codes, *chains(db)}}


def _printed(seal: str | None) -> tuple[int, str] | None:
    if seal is None:
        return None
    found = _SEAL.fullmatch(seal)
    if not found:
        raise Unreadable(f'"{seal[:80]}" is not a seal; write it as printed, like 120·0a1b2c3d4e5f6071.')
    return int(found[1]), found[2].lower()
