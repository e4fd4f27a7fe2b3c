"""The room: engine, clock and settings wired once; ``act()`` to do something, ``look()`` to ask something."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import create_engine, event, inspect, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DatabaseError, OperationalError

from fleet.lists.people import find_actor, newest_entry
from fleet.refusals import NotPossible, SettingsWrong
from fleet.settings import show_database

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from sqlalchemy.engine import Connection, Engine

    from fleet.rules.people import Actor
    from fleet.settings import Settings

# The newest migration. A test holds it equal to the migrations folder, so that opening need not load Alembic.
SCHEMA = "0005"
# SQLite releases before this one can lose committed writes when two connections checkpoint at once.
SAFE_SQLITE = (3, 51, 3)
BUSY_MS = 10_000


@dataclass(frozen=True, slots=True)
class Room:
    """One tool-room database and the clock on its wall."""

    engine: Engine
    settings: Settings
    clock: Callable[[], datetime]

    @contextmanager
    def act(self) -> Iterator[Connection]:
        """One writing transaction: committed when the block ends, undone when anything is raised in it."""
        # Deferred transactions that read and then write fail at once on SQLite, however long they may wait.
        with _said_plainly(self.engine), self.engine.begin() as db:
            begin(db, "BEGIN IMMEDIATE")
            yield db

    @contextmanager
    def look(self) -> Iterator[Connection]:
        """One reading transaction: a single picture of the database."""
        with _said_plainly(self.engine), self.engine.begin() as db:
            begin(db, "BEGIN")
            yield db

    def now(self, db: Connection) -> datetime:
        """The time, never earlier than the newest day-book entry.

        A clock that was set back can so not make an expired hose good.
        """
        return self._not_before(newest_entry(db))

    def sit(self, db: Connection, asked: str | None) -> tuple[Actor, datetime]:
        """Who is acting, by badge or name, and the time."""
        actor, newest = find_actor(db, asked)
        return actor, self._not_before(newest)

    def _not_before(self, newest: datetime | None) -> datetime:
        now = self.clock()
        return now if newest is None or newest <= now else newest

    def close(self) -> None:
        """Let go of every connection."""
        self.engine.dispose()


def utc_now() -> datetime:
    """The system's clock, aware."""
    return datetime.now(UTC)


def open_room(
    settings: Settings, *, clock: Callable[[], datetime] = utc_now, check_schema: bool = True
) -> Room:
    """Open a database that exists and fits this program; otherwise refuse with what to do."""
    url = make_url(settings.database)
    if check_schema and url.get_backend_name() == "sqlite" and not Path(url.database or "").exists():
        raise SettingsWrong(
            f"There is no database at {url.database} yet. Make one with: fleet database upgrade"
        )
    room = Room(make_engine(settings.database), settings, clock)
    if check_schema:
        try:
            _check_schema(room)
        except BaseException:
            room.close()
            raise
    return room


def make_engine(url: str) -> Engine:
    """An engine for either database, with the pragmas and transaction starts that keep records safe."""
    if make_url(url).get_backend_name() == "postgresql":
        return _postgres(url)
    import pysqlite3.dbapi2  # noqa: PLC0415  Only when SQLite is asked for.

    folder = Path(make_url(url).database or "").parent
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise SettingsWrong(f"The folder {folder} cannot be made: {error.strerror}.") from error
    engine = create_engine(url, module=pysqlite3.dbapi2, pool_reset_on_return=None)
    event.listen(engine, "connect", _prepare_sqlite)
    return engine


def _postgres(url: str) -> Engine:
    try:
        import psycopg  # noqa: F401, PLC0415  Only to say plainly that it is missing.
    except ImportError:
        raise SettingsWrong(
            "PostgreSQL needs one more package. Install it with: pip install 'psycopg[binary]'"
        ) from None
    # Parallel workers cost more to start than any of our questions take to answer.
    options = "-c timezone=UTC -c max_parallel_workers_per_gather=0"
    return create_engine(url, connect_args={"options": options})


def _prepare_sqlite(connection: Any, _record: object) -> None:  # noqa: ANN401  The driver's own class.
    connection.isolation_level = None
    for pragma in (
        f"busy_timeout={BUSY_MS}",
        "journal_mode=WAL",
        # FULL: an acknowledged return survives a power cut.
        "synchronous=FULL",
        "foreign_keys=ON",
        # Without this, INSERT OR REPLACE slips past the triggers that keep the ledgers append-only.
        "recursive_triggers=ON",
    ):
        connection.execute(f"PRAGMA {pragma}")


def begin(db: Connection, how: str) -> None:
    """Begin a transaction on SQLite, whose driver begins none by itself; that of PostgreSQL does.

    Straight on the driver: an engine with a listener for this asks about listeners at every statement.
    """
    if db.dialect.name == "sqlite":
        raw: Any = db.connection.dbapi_connection
        raw.execute(how)


@contextmanager
def _said_plainly(engine: Engine) -> Iterator[None]:
    """Trouble with the database, as one sentence; prepared statements raise the driver's own errors."""
    try:
        yield
    except (OperationalError, engine.dialect.loaded_dbapi.OperationalError) as error:
        reason = str(getattr(error, "orig", error)).strip().splitlines()[0]
        if "locked" in reason or "busy" in reason:
            raise NotPossible(
                "The database is busy with another writer. Nothing was saved; try again."
            ) from error
        if "full" in reason:
            raise NotPossible("The disk is full. Nothing was saved.") from error
        raise SettingsWrong(f"The database cannot be used: {reason}.") from error


def sqlite_version(db: Connection) -> tuple[int, ...] | None:
    """The version of SQLite in use, or nothing on another engine."""
    if db.dialect.name != "sqlite":
        return None
    return tuple(int(part) for part in db.exec_driver_sql("SELECT sqlite_version()").scalar_one().split("."))


def copy_database(room: Room, target: Path) -> None:
    """Write a consistent copy of an SQLite database; copying the live file would lose some of it."""
    if room.engine.dialect.name != "sqlite":
        raise NotPossible("A PostgreSQL database is copied with its own tool, pg_dump.")
    if target.exists():
        raise NotPossible(f"{target} exists already. Nothing was copied.")
    if not target.absolute().parent.is_dir():
        raise NotPossible(f"There is no folder {target.absolute().parent}. Nothing was copied.")
    with room.engine.connect() as db:
        raw: Any = db.connection.dbapi_connection
        try:
            raw.execute("VACUUM INTO ?", (str(target),))
        except room.engine.dialect.loaded_dbapi.Error as error:
            raise NotPossible(f"The copy {target} cannot be written: {error}.") from error


def schema_of(db: Connection) -> str | None:
    """The migration the database stands at, or nothing when it is empty."""
    if not inspect(db).has_table("alembic_version"):
        return None
    return db.execute(text("SELECT version_num FROM alembic_version")).scalar()


def _check_schema(room: Room) -> None:
    url = show_database(room.settings.database)
    try:
        with room.look() as db:
            found = schema_of(db)
    except (DatabaseError, room.engine.dialect.loaded_dbapi.DatabaseError) as error:
        raise SettingsWrong(f"{url} is not a database this program can read.") from error
    if found == SCHEMA:
        return
    if found is None:
        raise SettingsWrong(f"The database {url} is empty. Set it up with: fleet database upgrade")
    if found > SCHEMA:
        raise SettingsWrong(
            f"The database {url} was made by a newer version of this program (its schema is {found}, this "
            f"program knows up to {SCHEMA}). Install the newer version; nothing was changed."
        )
    raise SettingsWrong(
        f"The database {url} is from an older version (schema {found}). "
        f"Bring it up with: fleet database upgrade"
    )


def migrations_folder() -> Path:
    """The migrations: inside an installed package, or beside it in a working copy."""
    here = Path(__file__).parent
    packed = here / "_migrations"
    return packed if packed.is_dir() else here.parent / "migrations"


def upgrade_database(settings: Settings) -> tuple[str | None, str | None, Path | None]:
    """Create the database or bring it to this program's schema.

    Answers the schema before and after, and the copy that was made of an SQLite file before it was changed.
    """
    room = open_room(settings, check_schema=False)
    try:
        with room.look() as db:
            before = schema_of(db)
        if before is not None and before > SCHEMA:
            _check_schema(room)
        if before == SCHEMA:
            return before, before, None
        copy = _copy_before(room, before)
        _migrate(settings.database)
        with room.look() as db:
            return before, schema_of(db), copy
    except DatabaseError as error:
        raise SettingsWrong(
            f"{show_database(settings.database)} cannot be upgraded: {error.orig}. It was left as it was."
        ) from error
    finally:
        room.close()


def _copy_before(room: Room, before: str | None) -> Path | None:
    """A copy of an SQLite database that holds something."""
    if room.engine.dialect.name != "sqlite" or before is None:
        return None
    path = Path(room.engine.url.database or "")
    copy = path.with_name(f"{path.stem}-before-{SCHEMA}{path.suffix}")
    if not copy.exists():
        copy_database(room, copy)
    return copy


def _migrate(url: str) -> None:
    from alembic import command  # noqa: PLC0415  A quarter of a second that only an upgrade needs.
    from alembic.config import Config  # noqa: PLC0415  As above.

    config = Config()
    config.set_main_option("path_separator", "os")
    config.set_main_option("script_location", str(migrations_folder()).replace("%", "%%"))
    config.set_main_option("sqlalchemy.url", url.replace("%", "%%"))
    command.upgrade(config, "head")
