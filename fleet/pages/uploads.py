"""Files that were handed in to be tried, kept for an hour so that the very same can be taken in.

They lie in a private folder under names of our own: nothing that a browser says decides where. What it names
them is only shown. They are known to this process only; when the pages are started anew they are gone.
"""

from __future__ import annotations

import secrets
import shutil
import tempfile
import threading
import weakref
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from fleet.desk.imports import read_file
from fleet.refusals import NotFound, NotPossible

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from fleet.desk.imports import ReadFile, Report
    from fleet.pages.guard import File

KEPT_FOR = timedelta(hours=1)
# Enough for everybody who takes in sheets at the same time; the oldest go first.
MOST_BYTES = 400_000_000
MOST_BATCHES = 50
_LONGEST_NAME = 100


@dataclass(frozen=True, slots=True)
class Batch:
    """What one person handed in together, and what a dry run made of it; ``saved`` once it was taken in."""

    key: str
    person_id: int
    kept_at: datetime
    names: tuple[str, ...]
    digests: tuple[str, ...]
    size: int
    report: Report
    saved: bool = False


class Uploads:
    """The batches of this process."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._batches: dict[str, Batch] = {}
        self._folder: Path | None = None

    def keep(self, person_id: int, files: Sequence[ReadFile], report: Report, now: datetime) -> Batch:
        """Keep files that were read, with their report."""
        size = sum(len(file.content) for file in files)
        key = secrets.token_urlsafe(24)
        names, digests = tuple(file.name for file in files), tuple(file.sha256 for file in files)
        with self._lock:
            self._make_room(size, now)
            place = self._place() / key
            place.mkdir(mode=0o700)
            for number, file in enumerate(files):
                (place / str(number)).write_bytes(file.content)
            self._batches[key] = Batch(key, person_id, now, names, digests, size, report)
            return self._batches[key]

    def find(self, key: str, person_id: int, now: datetime) -> Batch:
        """What this person handed in under this key within the hour."""
        found = self._batches.get(key)
        if found is None or found.person_id != person_id or now - found.kept_at > KEPT_FOR:
            raise NotFound(
                "What was handed in is no longer kept: an hour has passed, or the pages were started anew. "
                "Hand the files in again."
            )
        return found

    def files(self, batch: Batch) -> list[ReadFile]:
        """The very files again, byte for byte."""
        place = self._place() / batch.key
        try:
            read = [
                read_file(name, (place / str(number)).read_bytes()) for number, name in enumerate(batch.names)
            ]
        except FileNotFoundError:
            raise NotPossible("The files are no longer kept. Hand them in again.") from None
        if tuple(file.sha256 for file in read) != batch.digests:
            raise NotPossible("The files are not what was tried. Hand them in again.")
        return read

    def saved(self, batch: Batch, report: Report) -> None:
        """Note that it was taken in; the files themselves are on record now."""
        with self._lock:
            self._batches[batch.key] = replace(batch, report=report, saved=True)
            shutil.rmtree(self._place() / batch.key, ignore_errors=True)

    def _make_room(self, size: int, now: datetime) -> None:
        old = [one.key for one in self._batches.values() if now - one.kept_at > KEPT_FOR]
        for key in old:
            self._drop(key)
        while self._batches and (
            len(self._batches) >= MOST_BATCHES
            or sum(one.size for one in self._batches.values()) + size > MOST_BYTES
        ):
            self._drop(min(self._batches.values(), key=lambda one: one.kept_at).key)

    def _drop(self, key: str) -> None:
        del self._batches[key]
        shutil.rmtree(self._place() / key, ignore_errors=True)

    def _place(self) -> Path:
        """The folder, made when it is first needed and gone with the program."""
        if self._folder is None:
            self._folder = Path(tempfile.mkdtemp(prefix="fleet-sheets-"))
            weakref.finalize(self, shutil.rmtree, self._folder, ignore_errors=True)
        return self._folder


def read_upload(file: File) -> ReadFile:
    """One file that was handed in, read by what is in it; its name says at most which sheet it may be."""
    return read_file(plain_name(file.name), file.content)


def plain_name(claimed: str) -> str:
    """The last part of a name, without anything that cannot be seen."""
    last = claimed.replace("\\", "/").rpartition("/")[2]
    shown = "".join(sign for sign in last if sign.isprintable()).strip()
    if len(shown) > _LONGEST_NAME:
        stem, dot, kind = shown.rpartition(".")
        shown = f"{(stem or kind)[: _LONGEST_NAME - 10]}{dot}{kind[:9]}" if dot else shown[:_LONGEST_NAME]
    return shown or "file without a name"
