"""The post: hands one letter over and says what came of it. No transaction is open meanwhile."""

from __future__ import annotations

import hashlib
import os
import re
import ssl
from contextlib import nullcontext
from email.utils import parseaddr
from typing import TYPE_CHECKING, Protocol

from fleet.mail.line import NO_LONGER_OURS, MailLine
from fleet.mail.messages import Messages
from fleet.mail.wording import one_line
from fleet.refusals import SettingsWrong
from fleet.rules.letters import LONGEST_SEND, Delivery, Outcome
from fleet.rules.readers import usable_address
from fleet.settings import LETTERS_OFF

if TYPE_CHECKING:
    from collections.abc import Callable
    from contextlib import AbstractContextManager
    from datetime import timedelta
    from pathlib import Path

    from fleet.mail.messages import TakenLetter
    from fleet.settings import MailSettings

    StillOurs = Callable[[TakenLetter], bool]


class Post(Protocol):
    """Whatever carries letters. A letter handed over twice bears the same Message-ID both times."""

    def send(self, letter: TakenLetter, still_ours: StillOurs, /) -> Delivery:
        """Hand one letter over; never raises for what a server or a disk may answer.

        ``still_ours`` is asked once, just before the content is handed over; after a no nothing is.
        """

    def together(self) -> AbstractContextManager[None]:
        """While this lasts letters come one after the other, and may share a line."""


def nobody_elses(_letter: TakenLetter) -> bool:
    """The answer for a letter that only one sender knows of."""
    return True


def post_of(settings: MailSettings) -> Post:
    """The mail server that is set, or else the folder."""
    if not usable_address(parseaddr(settings.sender)[1]):
        raise SettingsWrong(
            f"mail.sender is {settings.sender!r}; write an address like fleet@tool-room.example."
        )
    return SmtpPost(settings) if settings.host else FolderPost(settings)


class FolderPost:
    """Puts letters as ``.eml`` files into a folder, for a room without a mail server."""

    def __init__(self, settings: MailSettings) -> None:
        if settings.folder is None:
            raise SettingsWrong(LETTERS_OFF)
        self._messages = Messages(settings.sender)
        self._folder = settings.folder

    def send(self, letter: TakenLetter, still_ours: StillOurs = nobody_elses) -> Delivery:
        """Write the file whole or not at all; a letter that lies there already is left as it is."""
        if not _reachable(letter):
            return _nowhere(letter)
        content = self._messages.bytes_of(letter)
        if not still_ours(letter):
            return NO_LONGER_OURS
        try:
            path = self._path(letter)
            if not path.exists():
                _write_whole(path, content)
        except OSError as error:
            answer = f"{self._folder} cannot be written to: {error.strerror}"
            return Delivery(Outcome.OUR_CONFIGURATION, answer)
        return Delivery(Outcome.SENT, str(path))

    def together(self) -> AbstractContextManager[None]:
        """Nothing is held between letters."""
        return nullcontext()

    def _path(self, letter: TakenLetter) -> Path:
        """Site, week, number and badge; with a digest where another letter bears that name already."""
        copy = f"-copy{letter.copy_no}" if letter.copy_no > 1 else ""
        parts = (letter.site, letter.week, str(letter.number), letter.badge)
        stem = "-".join(re.sub(r"[^A-Za-z0-9_-]+", "_", part) for part in parts)[:120] + copy
        path = self._folder / f"{stem}.eml"
        if path.exists() and f"Message-ID: {letter.message_id}\r\n".encode() not in path.read_bytes():
            digest = hashlib.sha256(letter.message_id.encode()).hexdigest()[:12]
            return path.with_name(f"{stem}-{digest}.eml")
        return path


def _write_whole(path: Path, content: bytes) -> None:
    """Under another name first: what bears the name is complete, also after a power cut."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    with part.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    part.replace(path)
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)


class SmtpPost:
    """Hands letters to a mail server: one envelope and one recipient per letter.

    Certificates are verified; ``context`` is for a room that trusts an authority of its own. ``longest``
    bounds a whole send, however slowly the server drips, so that it always ends before the letter's lease.
    One post is for one sender: two at once each need their own.
    """

    def __init__(
        self,
        settings: MailSettings,
        *,
        context: ssl.SSLContext | None = None,
        longest: timedelta = LONGEST_SEND,
    ) -> None:
        if settings.security == "none" and settings.user:
            raise SettingsWrong(
                "mail.user is set but mail.security is none: the password would travel in clear. "
                "Set mail.security to starttls or tls, or leave mail.user out."
            )
        self._sender = parseaddr(settings.sender)[1]
        self._messages = Messages(settings.sender)
        self._line = MailLine(settings, context or ssl.create_default_context(), longest.total_seconds())

    def send(self, letter: TakenLetter, still_ours: StillOurs = nobody_elses) -> Delivery:
        """Hand one letter over; what the server or the line answers is classified, not raised."""
        if not _reachable(letter):
            return _nowhere(letter)
        content = self._messages.bytes_of(letter)
        return self._line.send(self._sender, letter.address, content, lambda: still_ours(letter))

    def together(self) -> AbstractContextManager[None]:
        """The line to the server is kept for the next letter, as long as nothing goes wrong on it."""
        return self._line.kept_open()


def _reachable(letter: TakenLetter) -> bool:
    return usable_address(letter.address) and letter.address == letter.address.strip()


def _nowhere(letter: TakenLetter) -> Delivery:
    return Delivery(Outcome.REFUSED, f"{one_line(letter.address)!r} is not a usable address")
