"""Sessions and log-ins into the record."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import insert
from sqlalchemy.dialects import postgresql, sqlite

from fleet.records import LoginRow, SessionRow
from fleet.records.base import rows_of
from fleet.rules.secrets import digest_of, new_token

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

_LOGINS, _SESSIONS = rows_of(LoginRow), rows_of(SessionRow)
_LONGEST_BROWSER = 200


def begin_session(db: Connection, person: int, station: int | None, browser: str, now: datetime) -> str:
    """Begin a session of somebody who was let in; answers its token, which is kept nowhere."""
    token = new_token()
    row = {
        "token_sha256": digest_of(token),
        "person_id": person,
        "station_id": station,
        "begun_at": now,
        "seen_at": now,
        "confirmed_at": now,
        "browser": browser[:_LONGEST_BROWSER],
    }
    db.execute(insert(_SESSIONS), row)
    return token


def keep_login(db: Connection, person: int, values: dict[str, object]) -> None:
    """Set what somebody logs in with, whether they had a log-in before or not."""
    insert_or = postgresql.insert if db.dialect.name == "postgresql" else sqlite.insert
    statement = insert_or(_LOGINS).values(person_id=person, **values)
    db.execute(statement.on_conflict_do_update(index_elements=["person_id"], set_=values))
