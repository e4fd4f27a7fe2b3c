"""Fresh databases for tests, on SQLite and PostgreSQL: empty ones, and copies of one migrated once."""

import os
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from itertools import count
from pathlib import Path

import psycopg
import sqlalchemy

from tests import postgres

ENGINES = ("sqlite", "postgres")
SAYS_HOW_IT_COPIES = 150000  # PostgreSQL's own number for its version 15
Migrate = Callable[[str], None]


class Databases:
    """Makes databases for one test process and drops them again.

    ``migrate`` takes an address and brings the empty database there to the newest schema, leaving no
    connection open. It is called once for each engine; every test works on a copy.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.numbers = count(1)
        self.templates: dict[tuple[str, Migrate], str] = {}

    def empty(self, engine: str) -> str:
        """Answer the address of a fresh empty database."""
        return self.new_file() if engine == "sqlite" else self.new_on_server("template0")

    def copy(self, engine: str, migrate: Migrate) -> str:
        """Answer the address of a fresh copy of the database that ``migrate`` made."""
        if (engine, migrate) not in self.templates:
            template = self.empty(engine)
            migrate(template)
            self.templates[engine, migrate] = template
        template = self.templates[engine, migrate]
        if engine == "postgres":
            return self.new_on_server(database_of(template))
        address = self.new_file()
        settle(database_of(template))
        shutil.copyfile(database_of(template), database_of(address))
        return address

    def drop(self, address: str) -> None:
        """Remove the database at ``address``, whoever is still connected to it."""
        if address.startswith("postgresql"):
            self.on_server(f'DROP DATABASE IF EXISTS "{database_of(address)}" WITH (FORCE)')
            return
        for tail in ("", "-wal", "-shm"):
            Path(database_of(address) + tail).unlink(missing_ok=True)

    def drop_templates(self) -> None:
        """Remove what the copies were made from."""
        for template in self.templates.values():
            self.drop(template)

    def new_name(self) -> str:
        return f"test_{os.getpid()}_{next(self.numbers)}"

    def new_file(self) -> str:
        return f"sqlite:///{self.folder / self.new_name()}.db"

    def new_on_server(self, template: str) -> str:
        name = self.new_name()
        self.on_server(f'CREATE DATABASE "{name}" TEMPLATE "{template}"', since_15=" STRATEGY FILE_COPY")
        server = sqlalchemy.make_url(self.server())
        return server.set(database=name).render_as_string(hide_password=False)

    def on_server(self, statement: str, since_15: str = "") -> None:
        """Carry out ``statement``; copying by files, at a fifth of the cost, is asked for in ``since_15``."""
        server = sqlalchemy.make_url(self.server()).set(drivername="postgresql")
        address = server.render_as_string(hide_password=False)
        with psycopg.connect(address, autocommit=True) as connection:
            says_how = connection.info.server_version >= SAYS_HOW_IT_COPIES
            connection.execute((statement + since_15 * says_how).encode())

    def server(self) -> str:
        """Answer the address of the PostgreSQL server; the run's own, unless the caller named another."""
        if postgres.NAMED not in os.environ:
            os.environ[postgres.NAMED] = postgres.ask(os.environ[postgres.DOOR])
        return os.environ[postgres.NAMED]


def database_of(address: str) -> str:
    """Answer the database's own name in ``address``: a file's path, or a name on the server."""
    return str(sqlalchemy.make_url(address).database)


def settle(file: str) -> None:
    """Bring everything that was written to the SQLite database into its one file."""
    with closing(sqlite3.connect(file)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
