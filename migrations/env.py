"""How migrations run: in one transaction, with foreign keys checked afterwards on SQLite."""

from __future__ import annotations

from typing import TYPE_CHECKING

from alembic import context

from fleet.records import Base
from fleet.room import begin, make_engine

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection


def main() -> None:
    """Migrate the database that the caller names in the main option ``sqlalchemy.url``."""
    url = context.config.get_main_option("sqlalchemy.url")
    if url is None:
        raise RuntimeError("no database was named")
    engine = make_engine(url)
    with engine.connect() as db:
        if engine.dialect.name == "sqlite":
            # A table rebuild drops the old table; with foreign keys on that would delete what refers to it.
            # The switch does nothing inside a transaction, so it stands before one.
            raw = db.connection.dbapi_connection
            raw.execute("PRAGMA foreign_keys=OFF")  # type: ignore[union-attr]
        migrate(db)
    engine.dispose()


def migrate(db: Connection) -> None:
    """Run every migration in one transaction, and leave no dangling reference behind."""
    context.configure(
        connection=db,
        target_metadata=Base.metadata,
        render_as_batch=True,
        compare_type=True,
        transaction_per_migration=False,
    )
    with context.begin_transaction():
        begin(db, "BEGIN IMMEDIATE")
        if db.dialect.name == "postgresql":
            # Two servers that start together must not migrate together.
            db.exec_driver_sql("SELECT pg_advisory_xact_lock(7001)")
        context.run_migrations()
        if db.dialect.name == "sqlite":
            broken = db.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
            if broken:
                raise RuntimeError(f"the migration would leave {len(broken)} dangling references")


main()
