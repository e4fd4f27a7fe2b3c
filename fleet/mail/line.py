"""The line to a mail server (RFC 5321): several letters one after the other, and what each came to.

A line that breaks before the last byte of a letter was given to the machine has not delivered it. After that
byte only the server knows, and until it has answered the letter may have arrived.
"""

from __future__ import annotations

import re
import smtplib
import socket
import ssl
import threading
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING

from fleet.mail.wording import one_line
from fleet.rules.letters import Delivery, Outcome, Stage, classify

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from fleet.settings import MailSettings

# Reply codes of RFC 5321, section 4.2.3.
_READY, _DONE, _WILL_FORWARD, _GO_AHEAD, _CLOSING = 220, 250, 251, 354, 421
# Some servers count; and a line that lasts for ever is one that nobody has looked at for long.
LETTERS_PER_LINE = 20
# How often somebody who talks for too long is interrupted, until it is noticed.
_INSIST_SECONDS = 0.1
NO_LONGER_OURS = Delivery(Outcome.NOT_OURS, "It was no longer this sender's letter, and was not handed over.")


class MailLine:
    """Opened when needed, and closed after each letter unless it is kept open; after any fault always.

    ``longest`` bounds a whole send, in seconds, however slowly the server drips.
    """

    def __init__(self, settings: MailSettings, context: ssl.SSLContext, longest: float) -> None:
        self._settings, self._context, self._longest = settings, context, longest
        self._patience = min(settings.timeout_seconds, longest)
        self._server: smtplib.SMTP | None = None
        self._carried = 0
        self._kept = False
        self._stage = Stage.GREETING

    @contextmanager
    def kept_open(self) -> Iterator[None]:
        """While this lasts the line stays open from one letter to the next."""
        self._kept = True
        try:
            yield
        finally:
            self._kept = False
            self._hang_up()

    def send(self, sender: str, address: str, content: bytes, still_ours: Callable[[], bool]) -> Delivery:
        """One envelope with one recipient; what the server or the line answers is classified, not raised.

        ``still_ours`` is asked when the server is ready for the content; after a no nothing is handed over.
        """
        whole = False
        try:
            with self._watched():
                delivery = self._hand_over(self._ready(), sender, address, content, still_ours)
            whole = True
        except (OSError, ValueError) as error:
            return _broken(error, self._stage)
        finally:
            # Also when ``still_ours`` could not be answered.
            if not whole:
                self._close()
        if not self._kept:
            self._hang_up()
        return delivery

    def _hang_up(self) -> None:
        """Say goodbye, if anybody is there, and close: nothing that is answered would change anything."""
        if self._server is not None:
            with suppress(OSError):
                self._server.putcmd("QUIT")
        self._close()

    def _close(self) -> None:
        server, self._server = self._server, None
        if server is not None:
            server.close()

    def _ready(self) -> smtplib.SMTP:
        """The line of the letter before, if it still stands, and a new one otherwise."""
        self._stage = Stage.GREETING
        if self._server is not None and self._carried < LETTERS_PER_LINE and _reset(self._server):
            return self._server
        self._hang_up()
        return self._open()

    def _open(self) -> smtplib.SMTP:
        settings = self._settings
        if settings.security == "tls":
            server: smtplib.SMTP = smtplib.SMTP_SSL(timeout=self._patience, context=self._context)
        else:
            server = smtplib.SMTP(timeout=self._patience)
        self._server, self._carried = server, 0
        host = settings.host or ""
        # smtplib checks the certificate against this name, but only learns it when it connects at once.
        server._host = host  # type: ignore[attr-defined]  # noqa: SLF001  smtplib checks the certificate against it.
        code, words = server.connect(host, settings.port)
        if code != _READY:
            raise smtplib.SMTPConnectError(code, words)
        server.ehlo_or_helo_if_needed()
        if settings.security == "starttls":
            server.starttls(context=self._context)
            server.ehlo_or_helo_if_needed()
        self._stage = Stage.LOGIN
        if settings.user:
            server.login(settings.user, settings.password or "")
        return server

    def _hand_over(
        self,
        server: smtplib.SMTP,
        sender: str,
        address: str,
        content: bytes,
        still_ours: Callable[[], bool],
    ) -> Delivery:
        """A refusal of one among several recipients would not be raised, and so be overlooked."""
        self._stage = Stage.SENDER
        code, words = server.mail(sender, [f"SIZE={len(content)}"] if server.has_extn("size") else [])
        if code != _DONE:
            return self._answered(code, words)
        self._stage = Stage.RECIPIENT
        code, words = server.rcpt(address)
        if code not in (_DONE, _WILL_FORWARD):
            return self._answered(code, words)
        if not still_ours():
            self._hang_up()
            return NO_LONGER_OURS
        self._stage = Stage.CONTENT
        code, words = server.docmd("DATA")
        if code != _GO_AHEAD:
            return self._answered(code, words)
        server.send(_with_dots(content))
        self._stage = Stage.ANSWER
        return self._await_answer(server)

    def _await_answer(self, server: smtplib.SMTP) -> Delivery:
        """Wait as long as a letter may take at all: less makes doubles (RFC 5321, section 4.5.3.2.6)."""
        if server.sock is not None:
            server.sock.settimeout(self._longest)
        code, words = server.getreply()
        if code != _DONE:
            return self._answered(code, words)
        if server.sock is not None:
            server.sock.settimeout(self._patience)
        self._carried += 1
        return Delivery(Outcome.SENT, _reply(code, words))

    def _answered(self, code: int, words: bytes) -> Delivery:
        """An answer that says no leaves the line as it is; one that makes no sense is a fault of the line."""
        if code == _CLOSING or not 400 <= code <= 599:  # noqa: PLR2004  The codes that say no.
            self._close()
        return _replied(self._stage, code, words)

    @contextmanager
    def _watched(self) -> Iterator[None]:
        """Cut the line from outside when the whole send takes too long."""
        ended = threading.Event()
        watch = threading.Thread(target=self._watch, args=[ended], daemon=True)
        watch.start()
        try:
            yield
        finally:
            ended.set()
            watch.join()

    def _watch(self, ended: threading.Event) -> None:
        if ended.wait(self._longest):
            return
        # Again and again: a line that is just being opened cannot be cut yet.
        while not ended.wait(_INSIST_SECONDS):
            sock = self._server.sock if self._server is not None else None
            if sock is not None:
                with suppress(OSError):
                    # Below any encryption: whoever waits for the line wakes up.
                    socket.socket.shutdown(sock, socket.SHUT_RDWR)


def _reset(server: smtplib.SMTP) -> bool:
    """Whether the server is there and ready for another letter; it may have closed a line that was idle."""
    with suppress(OSError):
        return server.rset()[0] == _DONE
    return False


def _with_dots(content: bytes) -> bytes:
    """The content as it travels: lines that begin with a dot get another, a dot alone ends it (4.5.2)."""
    end = b"" if content.endswith(b"\r\n") else b"\r\n"
    return re.sub(rb"(?m)^\.", b"..", content) + end + b".\r\n"


def _broken(error: OSError | ValueError, stage: Stage) -> Delivery:
    """What an error means for the letter, with the words of the server or the machine."""
    match error:
        case smtplib.SMTPResponseException() if isinstance(error.smtp_error, bytes):
            return _replied(stage, error.smtp_code, error.smtp_error)
        case smtplib.SMTPResponseException() | smtplib.SMTPServerDisconnected():
            # The first is smtplib's own complaint about a reply that never ends.
            outcome = _broken_off(stage)
        case ssl.SSLEOFError() | ssl.SSLZeroReturnError():
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
    if stage is Stage.ANSWER:
        return Outcome.NO_ANSWER
    return Outcome.NOT_REACHED if stage in (Stage.GREETING, Stage.LOGIN) else Outcome.TRY_AGAIN


def _replied(stage: Stage, code: int, words: bytes) -> Delivery:
    answer = _reply(code, words)
    return Delivery(classify(stage, code, answer), answer)


def _reply(code: int, words: bytes) -> str:
    said = words.decode("utf-8", "replace")
    return one_line(f"{code} {said}" if code >= 0 else f"Not a reply of SMTP: … {said}", longest=300)
