"""The post: hands one letter over and says what came of it. No transaction is open meanwhile."""

from __future__ import annotations

import hashlib
import os
import re
import smtplib
import socket
import ssl
import threading
from contextlib import contextmanager, suppress
from email.utils import parseaddr
from typing import TYPE_CHECKING, Protocol

from fleet.mail.messages import message_of
from fleet.mail.wording import one_line
from fleet.refusals import SettingsWrong
from fleet.rules.letters import LONGEST_SEND, Delivery, Outcome, Stage, classify
from fleet.rules.readers import usable_address
from fleet.settings import LETTERS_OFF

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import timedelta
    from pathlib import Path

    from fleet.mail.messages import TakenLetter
    from fleet.settings import MailSettings

# Reply codes of RFC 5321, section 4.2.3.
_READY, _DONE, _WILL_FORWARD = 220, 250, 251


class Post(Protocol):
    """Whatever carries letters. A letter handed over twice bears the same Message-ID both times."""

    def send(self, letter: TakenLetter) -> Delivery:
        """Hand one letter over; never raises for what a server or a disk may answer."""


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
        self._settings = settings
        self._folder = settings.folder

    def send(self, letter: TakenLetter) -> Delivery:
        """Write the file whole or not at all; a letter that lies there already is left as it is."""
        if not usable_address(letter.address):
            return _nowhere(letter)
        content = message_of(letter, self._settings.sender).as_bytes()
        try:
            path = self._path(letter)
            if not path.exists():
                _write_whole(path, content)
        except OSError as error:
            answer = f"{self._folder} cannot be written to: {error.strerror}"
            return Delivery(Outcome.OUR_CONFIGURATION, answer)
        return Delivery(Outcome.SENT, str(path))

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
    """Hands letters to a mail server: one connection, one envelope and one recipient per letter.

    Certificates are verified; ``context`` is for a room that trusts an authority of its own. ``longest``
    bounds a whole send, however slowly the server drips, so that it always ends before the letter's lease.
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
        self._settings = settings
        self._context = context or ssl.create_default_context()
        self._longest = longest.total_seconds()

    def send(self, letter: TakenLetter) -> Delivery:
        """Hand one letter over; what the server or the line answers is classified, not raised."""
        if not usable_address(letter.address):
            return _nowhere(letter)
        content = message_of(letter, self._settings.sender).as_bytes()
        stage = Stage.GREETING
        try:
            with self._line() as server:
                self._greet(server)
                stage = Stage.LOGIN
                if self._settings.user:
                    server.login(self._settings.user, self._settings.password or "")
                stage = Stage.CONTENT
                return _hand_over(server, parseaddr(self._settings.sender)[1], letter.address, content)
        except (OSError, ValueError) as error:
            return _broken(error, stage)

    @contextmanager
    def _line(self) -> Iterator[smtplib.SMTP]:
        """A line to the server, cut from outside when the whole send takes too long."""
        timeout = min(self._settings.timeout_seconds, self._longest)
        if self._settings.security == "tls":
            server: smtplib.SMTP = smtplib.SMTP_SSL(timeout=timeout, context=self._context)
        else:
            server = smtplib.SMTP(timeout=timeout)
        watch = threading.Timer(self._longest, _cut, [server])
        watch.daemon = True
        watch.start()
        try:
            yield server
        finally:
            watch.cancel()
            server.close()

    def _greet(self, server: smtplib.SMTP) -> None:
        host = self._settings.host or ""
        # smtplib checks the certificate against this name, but only learns it when it connects at once.
        server._host = host  # type: ignore[attr-defined]  # noqa: SLF001  smtplib checks the certificate against it.
        code, words = server.connect(host, self._settings.port)
        if code != _READY:
            raise smtplib.SMTPConnectError(code, words)
        server.ehlo_or_helo_if_needed()
        if self._settings.security == "starttls":
            server.starttls(context=self._context)
            server.ehlo_or_helo_if_needed()


def _hand_over(server: smtplib.SMTP, sender: str, address: str, content: bytes) -> Delivery:
    """One envelope with one recipient: a refusal among several would not be raised, and so be overlooked."""
    size = [f"SIZE={len(content)}"] if server.has_extn("size") else []
    code, words = server.mail(sender, size)
    if code != _DONE:
        return _replied(Stage.SENDER, code, words)
    code, words = server.rcpt(address)
    if code not in (_DONE, _WILL_FORWARD):
        return _replied(Stage.RECIPIENT, code, words)
    code, words = server.data(content)
    if code != _DONE:
        return _replied(Stage.CONTENT, code, words)
    with suppress(OSError):
        # The letter is with the server, and nothing it answers to a farewell would change that.
        server.putcmd("QUIT")
    return Delivery(Outcome.SENT, _reply(code, words))


def _cut(server: smtplib.SMTP) -> None:
    """End a connection from outside, below any encryption: whoever waits for it wakes up."""
    if server.sock is not None:
        with suppress(OSError):
            socket.socket.shutdown(server.sock, socket.SHUT_RDWR)


def _broken(error: OSError | ValueError, stage: Stage) -> Delivery:
    """What an error means for the letter, with the words of the server or the machine."""
    match error:
        case smtplib.SMTPResponseException():
            return _replied(stage, error.smtp_code, error.smtp_error)
        case smtplib.SMTPServerDisconnected() | ssl.SSLEOFError() | ssl.SSLZeroReturnError():
            outcome = _broken_off(stage)
        case smtplib.SMTPException() | ssl.SSLError():
            # Not offered what we demand (encryption, a login), or a certificate that does not hold.
            outcome = Outcome.OUR_CONFIGURATION
        case OSError():
            outcome = _broken_off(stage)
        case _:
            # A host, user or password that cannot even be said in SMTP; the letter's address was looked at.
            outcome = Outcome.OUR_CONFIGURATION
    return Delivery(outcome, one_line(f"{type(error).__name__}: {error}", longest=300))


def _broken_off(stage: Stage) -> Outcome:
    """A line that breaks while a letter is handed over may concern that letter; before, it concerns all."""
    return Outcome.TRY_AGAIN if stage is Stage.CONTENT else Outcome.NOT_REACHED


def _replied(stage: Stage, code: int, words: bytes | str) -> Delivery:
    answer = _reply(code, words)
    return Delivery(classify(stage, code, answer), answer)


def _reply(code: int, words: bytes | str) -> str:
    text = words.decode("utf-8", "replace") if isinstance(words, bytes) else words
    return one_line(f"{code} {text}", longest=300)


def _nowhere(letter: TakenLetter) -> Delivery:
    return Delivery(Outcome.REFUSED, f"{one_line(letter.address)!r} is not a usable address")
