"""The demo: two invented tool rooms with two years of history, built in a moment and shown at work."""

from __future__ import annotations

import shlex
import shutil
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.door import Door, door
from fleet.commands.serve import PORT
from fleet.refusals import NotPossible, Refusal

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import date, datetime

    from fleet.room import Room
    from fleet.settings import Settings

# Lines of a letter that give its sense.
_BEGINNING = 22
KEEPER, PLANNER = "N11", "N21"
# Rows; fewer are done before a line about them is read.
_WORTH_SAYING = 250
_FLUSH_FACE = "20103-0 20145-8 20199-2 20186-0 20201-6 20205-7 20225-8"
_COVERED = "kit check 20113-6 20138-8 20168-3 20203-2 20238-7 --job NB-142 --joint 'E-204 channel'"
_TOO_SMALL = "kit check 20115-2 20139-6 20156-2 20204-9 20240-0 --job NB-142 --joint 'E-204 shell cover'"
_DOUBTFUL = "hold 20162-6 --reason 'Another of its make was found leaking at the crimp'"
SHOWN: tuple[tuple[str, str, str], ...] = (
    ("What is due at North Basin this week", KEEPER, "due --site NORTH --within 7d"),
    ("A wrench comes back, and its use makes its calibration due", KEEPER, "return 20110-1 --as-planned"),
    ("The kit kept for a joint covers what its nuts may ask on the way off", PLANNER, _COVERED),
    ("This one tightens its joint, but could not loosen it again", PLANNER, _TOO_SMALL),
    ("A hose that is out turns out to be doubtful: whoever must know is told at once", KEEPER, _DOUBTFUL),
)
NEXT: tuple[tuple[str, str, str], ...] = (
    ("the pump of that wrench comes back too", KEEPER, "return 20141-5 --minutes 155"),
    ("a hose past its life, still on its shelf", KEEPER, "item 20164-2"),
    (
        "a kit that fits together and must never be put under pressure: flush-face couplings",
        PLANNER,
        f"kit check {_FLUSH_FACE} --job NB-143 --joint 'K-3 cylinder head'",
    ),
    (
        "a hose marked 10,000 psi on a pump relieved at 700 bar",
        PLANNER,
        "kit check 20106-4 20153-8 20179-8 20220-7 20225-8 --job NB-144 --joint '12 in flanges, class 300'",
    ),
    (
        "no wrench of the room would do: what to hire",
        PLANNER,
        "kit check 20119-3 20142-3 20183-5 20203-2 20247-5 --job NB-147 --joint 'T-4 steam chest cover'",
    ),
    ("the other site, in its own units", "E11", "due --site EAST --within 14d"),
)


def register(app: typer.Typer) -> None:
    """Put the command of this module on the app."""
    app.command(rich_help_panel="Care")(demo)


@dataclass(frozen=True, slots=True)
class DemoDoor(Door):
    """The way into the demo: its own database, its own day, and letters that never leave its folder."""

    folder: Path
    at: datetime

    def settings(self) -> Settings:
        """The user's settings, with database and letters in the demo's folder."""
        from dataclasses import replace

        from fleet.commands.seeding import LETTERS
        from fleet.settings import read_settings

        found = read_settings(database=self.database)
        mail = replace(found.mail, host=None, folder=self.folder / LETTERS)
        return replace(found, mail=replace(mail, allowed_domains=(), redirect_to=None))

    def open(self) -> Room:
        """Open the demo's room on the demo's day."""
        from fleet.room import open_room

        return open_room(self.settings(), clock=lambda: self.at)


def demo(
    context: typer.Context,
    day: Annotated[
        str | None, typer.Option("--day", help="The day it is in the demo: 2026-05-04. Else today.")
    ] = None,
    folder: Annotated[
        Path | None, typer.Option("--folder", help="Where to build it; an empty folder or an older demo.")
    ] = None,
    port: Annotated[
        int, typer.Option("--port", min=0, max=65535, help="Port of the pages; 0: any free one.")
    ] = PORT,
    *,
    serve: Annotated[
        bool, typer.Option("--serve", help="Open its pages, with a log-in for each role, until stopped.")
    ] = False,
) -> None:
    """Build an invented example in a folder of its own and show the main job; no other data is touched."""
    from datetime import UTC, datetime

    from fleet.commands.asking import asked_day
    from fleet.commands.seeding import DATABASE, moment_of

    if door(context).database:
        raise NotPossible("The demo makes a database of its own. Leave --database out; --folder says where.")
    today = datetime.now(UTC).date()
    chosen = asked_day(day, today)
    place = (folder or _own_folder()).expanduser().absolute()
    way = DemoDoor(str(place / DATABASE), None, place, moment_of(chosen))
    _build(way, chosen)
    for title, badge, words in SHOWN:
        _show(context, way, title, badge, words)
    _letters(way)
    _farewell(way, chosen, today)
    if serve:
        from fleet.commands.demoserving import serve_demo

        serve_demo(way.settings(), port)


def _own_folder() -> Path:
    import platformdirs

    return Path(platformdirs.user_data_path("fleet-demo"))


def _build(way: DemoDoor, day: date) -> None:
    from fleet.commands.seeding import WRITTEN, claim, fill, read_all, write_sheets
    from fleet.measures.times import show_day
    from fleet.room import upgrade_database

    again = claim(way.folder)
    typer.echo(f"{'Building the demo anew' if again else 'Building the demo'} in {way.folder}")
    typer.echo("Everything in it is invented; its figures are for no real equipment.")
    paths = write_sheets(way.folder / WRITTEN, day)
    typer.echo(f"  {len(paths)} sheets written, with their days around {show_day(day)}")
    upgrade_database(way.settings())
    with way.room() as room:
        report = fill(room, read_all(paths), _teller())
    rows = sum(table.accepted for table in report.tables)
    typer.echo(f"  {rows:,} rows imported, none refused")


def _teller() -> Callable[[str, int, int], None]:
    """Say once each thing that takes longer than a blink."""
    said: set[str] = set()

    def tell(what: str, _done: int, of: int) -> None:
        if of >= _WORTH_SAYING and what not in said:
            said.add(what)
            typer.echo(f"  {what}, {of:,}")

    return tell


def _show(context: typer.Context, way: DemoDoor, title: str, badge: str, words: str) -> None:
    """Run a command as if it had been typed, with its real output."""
    typer.echo(f"\n=== {title}\n$ fleet {words}\n")
    _run(context, DemoDoor(way.database, badge, way.folder, way.at), shlex.split(words))


def _run(context: typer.Context, way: DemoDoor, words: Sequence[str]) -> None:
    group = context.find_root().command
    root = type(context)(group, info_name="fleet", obj=way)
    command = group.get_command(root, words[0])  # type: ignore[attr-defined]
    with command.make_context(words[0], list(words[1:]), parent=root) as inner:
        try:
            command.invoke(inner)
        except Refusal as refusal:
            typer.echo(str(refusal))


def _letters(way: DemoDoor) -> None:
    """Write this week's letters and those at once, lay them into the folder, and show the keeper's."""
    from email import message_from_bytes, policy

    from fleet.commands.seeding import LETTERS
    from fleet.mail.redirecting import post_for
    from fleet.rounds import tick

    with way.room() as room:
        done = tick(room, post_for(room.settings.mail))
    typer.echo(f"\n=== This week's letters, and what could not wait for them: {done}")
    paths = sorted((way.folder / LETTERS).glob("*.eml"))
    for path in paths:
        typer.echo(f"  {path}")
    for path in (path for path in paths if KEEPER in path.name):
        message = message_from_bytes(path.read_bytes(), policy=policy.default)
        text = message.get_body(("plain",))
        beginning = text.get_content().splitlines()[:_BEGINNING] if text else []
        typer.echo("\n    ".join(["\nThe keeper's begins:", message["Subject"], *beginning, "…"]))


def _program() -> str:
    """How the program was started, since a fresh environment is on nobody's path."""
    if shutil.which("fleet"):
        return "fleet"
    if Path(sys.argv[0]).name == "__main__.py":
        return f"{shlex.quote(sys.executable)} -m fleet"
    return shlex.quote(sys.argv[0])


def _farewell(way: DemoDoor, day: date, today: date) -> None:
    """Where everything is, and what to try next, ready to be copied."""
    from fleet.commands.seeding import LETTERS, WRITTEN
    from fleet.measures.times import show_day

    typer.echo("\n=== The demo is ready")
    typer.echo(f"  database  {way.database}")
    typer.echo(f"  sheets    {way.folder / WRITTEN}")
    typer.echo(f"  letters   {way.folder / LETTERS}")
    if day > today:
        typer.echo(f"  The room stays at {show_day(day)} until the clock gets there.")
    elif day < today:
        typer.echo(f"  From here on the room goes by the clock: {show_day(today)}.")
    typer.echo("\nTry next:")
    typer.echo(f"  export FLEET_DATABASE={shlex.quote(str(way.database))}")
    program = _program()
    for what, badge, words in NEXT:
        typer.echo(f"  # {what}\n  {program} --by {badge} {words}")
    typer.echo(f"  # its pages in a browser, with a log-in for each role\n  {program} demo --serve")
