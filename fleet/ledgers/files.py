"""Files that belong to what was done: each content is kept once, named by its digest."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from sqlalchemy import bindparam, insert, select
from sqlalchemy.dialects import postgresql, sqlite

from fleet.records import FileOfRow, KeptFileRow
from fleet.records.base import rows_of

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.rules.people import Actor

_FILES = rows_of(KeptFileRow)
_KNOWN = select(KeptFileRow.id).where(KeptFileRow.sha256 == bindparam("digest"))
_ATTACH = insert(rows_of(FileOfRow))


def keep(db: Connection, content: bytes, media_type: str, *, by: Actor, now: datetime) -> int:
    """Keep one checked file and answer its number; the same content twice is kept once.

    ``media_type`` is one of image/jpeg, image/png, application/pdf, application/xml and text/csv. What is
    inside must have been checked: nothing is looked at here.
    """
    digest = hashlib.sha256(content).hexdigest()
    known = db.execute(_KNOWN, {"digest": digest}).scalar()
    if known is None:
        row = {
            "sha256": digest,
            "media_type": media_type,
            "content": content,
            "kept_at": now,
            "kept_by_id": by.id,
        }
        # Another desk may be keeping the same file just now.
        add = postgresql.insert if db.dialect.name == "postgresql" else sqlite.insert
        db.execute(add(_FILES).on_conflict_do_nothing(index_elements=[_FILES.c.sha256]), row)
        known = db.execute(_KNOWN, {"digest": digest}).scalar_one()
    return int(known)


def attach(
    db: Connection,
    file_id: int,
    *,
    caption: str | None = None,
    position: int | None = None,
    **of: int,
) -> None:
    """Say what a kept file shows or proves.

    ``of`` names exactly one of inspection_id, calibration_id, repair_id, proof_test_id, loan_line_id;
    ``position`` the checkpoint that it shows, if it is of one.
    """
    db.execute(_ATTACH, {"file_id": file_id, "caption": caption, "position": position} | of)
