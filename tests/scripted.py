"""A mail server that follows a script: polite at every step for which the script has nothing else.

It counts a letter as arrived when its last byte came and the server did not say no, whether or not it lives
to say so: from then on a mail server answers for a letter (RFC 5321, section 4.2.5).
"""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Callable, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from email import message_from_bytes
from typing import TYPE_CHECKING

from tests.mailserver import HOST, free_port

if TYPE_CHECKING:
    import ssl
    from collections.abc import Iterator

END = b"\r\n.\r\n"


class Over(Exception):  # noqa: N818  It is no error: the talk is over.
    """Nothing more is said on this line."""


@dataclass
class Talk:
    """One line to a sender. ``said`` is its last command; ``came`` what came of a letter's content."""

    sock: socket.socket
    server: Scripted
    script: Script
    said: bytes = b""
    came: bytes = b""
    held: bytes = b""

    def say(self, words: bytes) -> None:
        self.sock.sendall(words + b"\r\n")

    def read(self) -> bytes:
        part = self.sock.recv(65536)
        if not part:
            raise Over
        return part

    def line(self) -> bytes:
        while b"\r\n" not in self.held:
            self.held += self.read()
        line, _, self.held = self.held.partition(b"\r\n")
        return line

    def content(self, enough: int = 1 << 60) -> bytes:
        """What comes until the final dot, or a part of it of this length."""
        while not self.came.endswith(END) and len(self.came) < enough:
            self.came += self.read()
        return self.came

    def do(self, step: str) -> None:
        self.script.get(step, _POLITELY[step])(self)

    def wait_for_the_end(self) -> None:
        """Say nothing more, and listen until the other side has gone."""
        while True:
            self.read()


Act = Callable[[Talk], None]
Script = Mapping[str, Act]


# --- What a server may do at any step -----------------------------------------------------------------------


def says(words: str) -> Act:
    return lambda talk: talk.say(words.encode())


def hangs_up(_talk: Talk) -> None:
    raise Over


def stalls(talk: Talk) -> None:
    talk.wait_for_the_end()


def accepts(then: Act) -> Act:
    """Answer for the letter from now on, and then say so, or not."""

    def accept(talk: Talk) -> None:
        talk.server.arrived.append(talk.came.removesuffix(b".\r\n"))
        then(talk)

    return accept


def slowly(words: str, seconds_a_byte: float) -> Act:
    def drip(talk: Talk) -> None:
        for at in range(len(words)):
            talk.sock.sendall(words[at : at + 1].encode())
            time.sleep(seconds_a_byte)
        talk.say(b"")

    return drip


def in_two_pieces(talk: Talk) -> None:
    talk.sock.sendall(b"25")
    time.sleep(0.01)
    talk.say(b"0 OK")


def hangs_up_in_the_middle(talk: Talk) -> None:
    talk.content(enough=100)
    raise Over


# --- Politely -----------------------------------------------------------------------------------------------


def _offer(talk: Talk) -> None:
    talk.say(b"250-mail.tool-room.example")
    if talk.server.certificate is not None:
        talk.say(b"250-STARTTLS")
        talk.say(b"250-AUTH PLAIN")
    talk.say(b"250 SIZE 20000000")


def _encrypt(talk: Talk) -> None:
    certificate = talk.server.certificate
    assert certificate is not None
    talk.say(b"220 Go ahead")
    talk.sock = certificate.wrap_socket(talk.sock, server_side=True)


def _take_letter(talk: Talk) -> None:
    talk.say(b"354 Go ahead")
    talk.came, talk.held = talk.held, b""
    talk.do("content")
    talk.do("answer")


def _take_content(talk: Talk) -> None:
    talk.content()


_POLITELY: Script = {
    "greeting": says("220 mail.tool-room.example ESMTP"),
    "EHLO": _offer,
    "STARTTLS": _encrypt,
    "AUTH": says("235 2.7.0 Welcome"),
    "MAIL": says("250 OK"),
    "RCPT": says("250 OK"),
    "RSET": says("250 OK"),
    "DATA": _take_letter,
    "content": _take_content,
    "answer": accepts(says("250 2.0.0 queued as 4711")),
}


@dataclass
class Scripted:
    """A server on a port of its own, which can be shut and opened again."""

    certificate: ssl.SSLContext | None = None
    script: Script = field(default_factory=dict)
    arrived: list[bytes] = field(default_factory=list)
    port: int = field(default_factory=free_port)
    _talks: list[tuple[Talk, threading.Thread]] = field(default_factory=list)
    _listener: socket.socket | None = None
    _doorman: threading.Thread | None = None

    def open(self) -> None:
        # Small pieces and little room: what a sender has not handed over yet is really still with it.
        listener = socket.socket()
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        listener.setsockopt(socket.IPPROTO_TCP, socket.TCP_MAXSEG, 536)
        listener.bind((HOST, self.port))
        listener.listen()
        self._listener = listener
        self._doorman = threading.Thread(target=self._let_in, args=[listener], daemon=True)
        self._doorman.start()

    def shut(self) -> None:
        if self._listener is not None and self._doorman is not None:
            self._listener.shutdown(socket.SHUT_RDWR)
            self._doorman.join()
            self._listener.close()
            self._listener = None
        for talk, thread in self._talks:
            with suppress(OSError):
                talk.sock.shutdown(socket.SHUT_RDWR)
            thread.join()
        self._talks.clear()

    def names(self) -> list[str]:
        """The Message-ID of each letter that arrived."""
        return [str(message_from_bytes(content)["Message-ID"]) for content in self.arrived]

    def _let_in(self, listener: socket.socket) -> None:
        while True:
            try:
                sock, _ = listener.accept()
            except OSError:
                return
            talk = Talk(sock, self, self.script)
            thread = threading.Thread(target=_serve, args=[talk], daemon=True)
            self._talks.append((talk, thread))
            thread.start()


def _serve(talk: Talk) -> None:
    with suppress(OSError, Over):
        talk.do("greeting")
        while True:
            talk.said = talk.line()
            verb = talk.said.split()[0].decode().upper() if talk.said else ""
            if verb == "QUIT":
                break
            if verb in _POLITELY:
                talk.do(verb)
            else:
                talk.say(b"502 5.5.1 Not known here")
    with suppress(OSError):
        talk.sock.shutdown(socket.SHUT_RDWR)
    talk.sock.close()


@contextmanager
def scripted_server(certificate: ssl.SSLContext | None = None) -> Iterator[Scripted]:
    server = Scripted(certificate)
    server.open()
    try:
        yield server
    finally:
        server.shut()
