"""What was answered to a program: kept with the act, so that the same request asked again acts once."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import bindparam, update
from sqlalchemy.dialects import postgresql, sqlite

from fleet.ledgers import daybook
from fleet.lists.tokens import kept_answer
from fleet.records import AnswerRow, TokenRow
from fleet.records.base import rows_of

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.tokens import Bearer, KeptAnswer

_ANSWERS, _TOKENS = rows_of(AnswerRow), rows_of(TokenRow)
_MINE = (_ANSWERS.c.person_id == bindparam("person")) & (_ANSWERS.c.request_key == bindparam("key"))
_KEEP = update(_ANSWERS).where(_MINE).values(status=bindparam("said"), body=bindparam("words"))
_USED = update(_TOKENS).where(_TOKENS.c.id == bindparam("token")).values(used_at=bindparam("at"))
# Never seen from outside the transaction: the act that follows fills it in, or all of it is undone.
_NOT_YET = {"status": 0, "body": ""}


def claim(db: Connection, by: Bearer, key: str, digest: str, *, now: datetime) -> KeptAnswer | None:
    """Take a key for one request, or answer what was said to the one that took it.

    Of two at once the second waits here until the first is done: on PostgreSQL at the key itself, on SQLite
    at the write lock.
    """
    insert_or = postgresql.insert if db.dialect.name == "postgresql" else sqlite.insert
    row = {"person_id": by.who.person_id, "request_key": key, "request_sha256": digest, "at": now}
    taking = insert_or(_ANSWERS).on_conflict_do_nothing().returning(_ANSWERS.c.id)
    taken = db.execute(taking, row | _NOT_YET).scalar()
    return None if taken is not None else kept_answer(db, by.who.person_id, key)


def keep(
    db: Connection, by: Bearer, key: str, said: tuple[int, str], *, site_id: int, path: str, now: datetime
) -> None:
    """Keep what is answered, and note in the site's day book by which token the act before it was asked."""
    status, words = said
    db.execute(_KEEP, {"person": by.who.person_id, "key": key, "said": status, "words": words})
    body = {"path": path, "request": key}
    daybook.enter(db, site_id, by=by.who.actor, now=now, act="asked by token", about=by.name, body=body)
    db.execute(_USED, {"token": by.token_id, "at": now})
