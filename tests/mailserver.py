"""Mail servers for tests: a real one that keeps what arrives, and rude ones that break off or say nothing."""

from __future__ import annotations

import ipaddress
import socket
import ssl
import threading
from collections import Counter, deque
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from email import message_from_bytes
from email.policy import default
from typing import TYPE_CHECKING, Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from fleet.settings import read_settings

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from email.message import EmailMessage
    from pathlib import Path

    from aiosmtpd.smtp import SMTP, Envelope, LoginPassword, Session

    from fleet.settings import MailSettings

HOST = "127.0.0.1"
SENDER = "fleet@tool-room.example"
USER, PASSWORD = "fleet", "open sesame"


def mail_settings(port: int, security: str = "none", **more: str) -> MailSettings:
    """Settings as a keeper would write them, for a server on this machine."""
    said = {
        "FLEET_SETTINGS": "/nowhere",
        "FLEET_MAIL_HOST": "localhost",
        "FLEET_MAIL_PORT": str(port),
        "FLEET_MAIL_SECURITY": security,
        "FLEET_MAIL_SENDER": SENDER,
        "FLEET_MAIL_TIMEOUT_SECONDS": "10",
    }
    said |= {f"FLEET_MAIL_{name.upper()}": value for name, value in more.items()}
    return read_settings(said, database="unused.db").mail


@dataclass
class Mailbox:
    """What arrived, and what the server is told to answer instead of taking the next letters."""

    arrived: list[bytes] = field(default_factory=list)
    recipients: list[str] = field(default_factory=list)
    logged_in: list[str] = field(default_factory=list)
    encrypted: list[bool] = field(default_factory=list)
    answers: dict[str, deque[str]] = field(default_factory=dict)
    sessions: list[Session] = field(default_factory=list)

    def answer(self, verb: str, *replies: str) -> None:
        self.answers.setdefault(verb, deque()).extend(replies)

    # Methods and not properties: the library reads every attribute at every connection.

    def untouched(self) -> bool:
        """Whether nobody has logged in, named a sender or left a letter."""
        return not (self.logged_in or self.encrypted or self.arrived)

    def lines(self) -> list[int]:
        """How many letters arrived by each line, in the order of the first."""
        return list(Counter(map(id, self.sessions)).values())

    def letters(self) -> list[EmailMessage]:
        return [message_from_bytes(content, policy=default) for content in self.arrived]

    def plain(self) -> list[str]:
        """The plain texts, with the line ends they were written with."""
        bodies = [letter.get_body(("plain",)) for letter in self.letters()]
        return [body.get_content().replace("\r\n", "\n") for body in bodies if body]

    def message_ids(self) -> list[str]:
        return [str(letter["Message-ID"]) for letter in self.letters()]

    def _next(self, verb: str) -> str | None:
        waiting = self.answers.get(verb)
        return waiting.popleft() if waiting else None

    async def handle_MAIL(  # noqa: N802  Named by the server library.
        self, server: SMTP, _session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        reply = self._next("MAIL")
        if reply:
            return reply
        line = server.transport
        self.encrypted.append(line is not None and line.get_extra_info("sslcontext") is not None)
        envelope.mail_from = address
        envelope.mail_options.extend(options)
        return "250 OK"

    async def handle_RCPT(  # noqa: N802  As above.
        self, _server: SMTP, _session: Session, envelope: Envelope, address: str, _options: list[str]
    ) -> str:
        reply = self._next("RCPT")
        if reply:
            return reply
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, _server: SMTP, session: Session, envelope: Envelope) -> str:  # noqa: N802  The library calls it so.
        reply = self._next("DATA")
        if reply:
            return reply
        content = envelope.content
        assert isinstance(content, bytes)
        assert len(envelope.rcpt_tos) == 1, "one recipient per envelope"
        self.arrived.append(content)
        self.sessions.append(session)
        self.recipients += envelope.rcpt_tos
        return "250 2.0.0 queued as 4711"


@dataclass
class Served:
    """A running server: its port, and its mailbox."""

    port: int
    box: Mailbox


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        return int(probe.getsockname()[1])


@contextmanager
def mail_server(
    *, context: ssl.SSLContext | None = None, security: str = "none", login: bool = False
) -> Iterator[Served]:
    """A real mail server with the security asked for."""
    box = Mailbox()

    def authenticate(
        _server: object, _session: object, _envelope: object, _kind: str, data: LoginPassword
    ) -> AuthResult:
        right = (data.login, data.password) == (USER.encode(), PASSWORD.encode())
        if right:
            box.logged_in.append(data.login.decode())
        return AuthResult(success=right, handled=False)

    options: dict[str, Any] = {"authenticator": authenticate} if login else {}
    if security == "starttls":
        options |= {"tls_context": context, "require_starttls": True, "auth_required": login}
    if security == "tls":
        # This server library counts a login as encrypted only after STARTTLS.
        options |= {"ssl_context": context, "auth_require_tls": False}
    port = free_port()
    # Named, because the library otherwise looks its own name up for every connection.
    controller = Controller(
        box, hostname=HOST, port=port, server_hostname="mail.tool-room.example", **options
    )
    controller.start()
    try:
        yield Served(port, box)
    finally:
        controller.stop()


# --- Rude servers -------------------------------------------------------------------------------------------


@contextmanager
def rude_server(talk: Callable[[socket.socket], None]) -> Iterator[int]:
    """A server whose every connection is handled by ``talk``; answers its port."""
    listener = socket.create_server((HOST, 0))
    lines: list[socket.socket] = []

    def serve() -> None:
        while True:
            try:
                line, _ = listener.accept()
            except OSError:
                return
            lines.append(line)
            with suppress(OSError):
                talk(line)

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    try:
        yield int(listener.getsockname()[1])
    finally:
        listener.shutdown(socket.SHUT_RDWR)
        listener.close()
        for line in lines:
            with suppress(OSError):
                line.shutdown(socket.SHUT_RDWR)
            line.close()
        thread.join()


def says_nothing(line: socket.socket) -> None:
    """Accept, and never answer."""
    while line.recv(1024):
        pass


def hangs_up(line: socket.socket) -> None:
    line.close()


def answers(line: socket.socket, banner: bytes) -> None:
    line.sendall(banner)
    line.close()


def drips(line: socket.socket) -> None:
    """A banner that never ends, a byte at a time: no single read ever times out."""
    wait = threading.Event()
    while True:
        line.sendall(b"2")
        wait.wait(0.05)


def takes_letter(line: socket.socket, *, until: bytes, then: bytes = b"") -> bytes:
    """Be polite until this much of the letter has come, say ``then``, and break off; answers what came."""
    file = line.makefile("rb")
    line.sendall(b"220 ready\r\n")
    for command in iter(file.readline, b""):
        if command.upper().startswith(b"DATA"):
            line.sendall(b"354 go ahead\r\n")
            break
        line.sendall(b"250 OK\r\n")
    came = b""
    while until not in came and (part := file.readline()):
        came += part
    line.sendall(then)
    # Both ends must see it: the file keeps the socket open otherwise.
    line.shutdown(socket.SHUT_RDWR)
    file.close()
    line.close()
    return came


# --- Certificates -------------------------------------------------------------------------------------------


@dataclass
class Authority:
    """A certificate authority for one test, which nobody else trusts."""

    folder: Path

    def __post_init__(self) -> None:
        self.key = ec.generate_private_key(ec.SECP256R1())
        self.name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Test authority")])
        self.certificate = self._certificate(self.name, self.key, authority=True)
        self.file = self.folder / "authority.pem"
        self.file.write_bytes(self.certificate.public_bytes(serialization.Encoding.PEM))

    def server_context(self, host: str = "localhost", *, days: int = 1) -> ssl.SSLContext:
        """What a server named ``host`` shows; with negative ``days`` it has run out."""
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(self.server_file(host, days=days))
        return context

    def server_file(self, host: str = "localhost", *, days: int = 1) -> Path:
        """The same as a file: the server's key and its certificate."""
        key = ec.generate_private_key(ec.SECP256R1())
        name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, host)])
        certificate = self._certificate(name, key, host=host, days=days)
        file = self.folder / f"{host}{days}.pem"
        file.write_bytes(
            key.private_bytes(
                serialization.Encoding.PEM,
                serialization.PrivateFormat.PKCS8,
                serialization.NoEncryption(),
            )
            + certificate.public_bytes(serialization.Encoding.PEM)
        )
        return file

    def client_context(self) -> ssl.SSLContext:
        """What somebody who trusts this authority would use."""
        return ssl.create_default_context(cafile=str(self.file))

    def _certificate(
        self,
        name: x509.Name,
        key: ec.EllipticCurvePrivateKey,
        *,
        host: str | None = None,
        authority: bool = False,
        days: int = 1,
    ) -> x509.Certificate:
        now = datetime.now(UTC)
        made = (
            x509.CertificateBuilder()
            .subject_name(name)
            .issuer_name(self.name)
            .public_key(key.public_key())
            .serial_number(x509.random_serial_number())
            .not_valid_before(now - timedelta(days=5))
            .not_valid_after(now + timedelta(days=days))
            .add_extension(x509.BasicConstraints(ca=authority, path_length=None), critical=True)
        )
        if host:
            names = [x509.DNSName(host), x509.IPAddress(ipaddress.ip_address(HOST))]
            made = made.add_extension(
                x509.SubjectAlternativeName(names if host == "localhost" else names[:1]), critical=False
            )
        return made.sign(self.key, hashes.SHA256())
