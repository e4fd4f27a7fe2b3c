"""A letter as a mail message: the same bytes each time it is made."""

from __future__ import annotations

import re
from base64 import encodebytes
from collections import OrderedDict
from dataclasses import dataclass
from email.header import Header
from email.message import EmailMessage, MIMEPart
from email.policy import EmailPolicy
from email.utils import parseaddr
from typing import TYPE_CHECKING, Any

from fleet.mail.wording import one_line
from fleet.rules.letters import domain_of
from fleet.rules.readers import usable_address

if TYPE_CHECKING:
    from datetime import datetime


_WHOLE = ("Message-ID", "List-Id")
_WRITTEN_HERE = ("From", "To", "Subject")
_LONGEST_LINE = 76
# Words that need neither quotes nor encoding (RFC 5322, section 3.2.3), with single spaces between them.
_PLAIN_NAME = re.compile(r"[A-Za-z0-9!#$%&'*+/=?^_`{|}~ -]{1,60}")


class _Policy(EmailPolicy):
    """As the standard library writes mail, but names by which letters are known are never folded or encoded.

    A name on a line of its own is allowed, and not every server and mail program knows that. What people
    may have written is encoded here: the library loses the quotes of long names when it folds them, so that
    a part of a name could become a recipient.
    """

    def header_store_parse(self, name: str, value: Any) -> tuple[str, Any]:  # noqa: ANN401  As the library has it.
        return (name, value) if name in _WRITTEN_HERE else super().header_store_parse(name, value)

    def fold_binary(self, name: str, value: str) -> bytes:
        if name in (*_WHOLE, *_WRITTEN_HERE):
            return f"{name}: {value}{self.linesep}".encode("ascii")
        return super().fold_binary(name, value)


# Seven bits throughout: not every server on the way takes eight.
_POLICY = _Policy(linesep="\r\n", cte_type="7bit")


@dataclass(frozen=True, slots=True)
class TakenLetter:
    """A letter in the hands of one sender, for one turn."""

    id: int
    turn: int
    message_id: str
    kind: str
    site: str
    site_name: str
    week: str
    number: int
    copy_no: int
    badge: str
    reader: str
    address: str
    subject: str
    plain: str
    html: str
    calendar: str | None
    sha256: str
    written_at: datetime
    unanswered: int = 0


class Messages:
    """Makes letters into mail, and keeps the bodies of the last ones: letters that say the same share one."""

    def __init__(self, sender: str, *, most: int = 16) -> None:
        self._sender, self._most = sender, most
        self._bodies: OrderedDict[str, bytes] = OrderedDict()

    def bytes_of(self, letter: TakenLetter) -> bytes:
        """The same bytes as of ``message_of``."""
        return _heading(letter, self._sender).as_bytes().removesuffix(b"\r\n") + self._body(letter)

    def _body(self, letter: TakenLetter) -> bytes:
        """From its Content-Type on, by the digest that names what is said; the oldest is let go."""
        body = self._bodies.pop(letter.sha256, None)
        if body is None:
            message = EmailMessage(_POLICY)
            _fill(message, letter)
            body = message.as_bytes()
        self._bodies[letter.sha256] = body
        if len(self._bodies) > self._most:
            self._bodies.popitem(last=False)
        return body


def message_of(letter: TakenLetter, sender: str) -> EmailMessage:
    """Plain text first, then HTML, and the calendar as a file beside them; nothing remote."""
    message = _heading(letter, sender)
    _fill(message, letter)
    return message


def _heading(letter: TakenLetter, sender: str) -> EmailMessage:
    """The headers that differ from letter to letter. Names from the register are made fit for headers."""
    message = EmailMessage(_POLICY)
    name, address = parseaddr(sender)
    message["Message-ID"] = letter.message_id
    message["Date"] = letter.written_at
    message["From"] = _mailbox("From", name or letter.site_name, address)
    message["To"] = _mailbox("To", letter.reader, letter.address)
    message["Subject"] = _words("Subject", one_line(letter.subject, longest=300))
    # RFC 3834: no out-of-office answers, please; the second says so to those that do not read the first.
    message["Auto-Submitted"] = "auto-generated"
    message["X-Auto-Response-Suppress"] = "All"
    message["List-Id"] = f"<{_label(letter.kind)}.{_label(letter.site)}.{domain_of(sender)}>"
    return message


def _mailbox(header: str, name: str, address: str) -> str:
    """A name and an address: the name plain, or in encoded words (RFC 2047), out of which nothing breaks."""
    if not usable_address(address):
        raise ValueError(f"{address!r} is not a usable address")
    tidy = one_line(name)
    if not tidy:
        return address
    plain = _PLAIN_NAME.fullmatch(tidy) and "=?" not in tidy
    said = tidy if plain else Header(tidy, "utf-8", _LONGEST_LINE, header).encode(linesep="\r\n")
    whole = f"{said} <{address}>"
    return whole if plain and len(header) + len(whole) < _LONGEST_LINE else f"{said}\r\n <{address}>"


def _words(header: str, text: str) -> str:
    """Plain where it is ASCII, else in encoded words; what looks like one and is none is encoded as well."""
    charset = "us-ascii" if text.isascii() and "=?" not in text else "utf-8"
    return Header(text, charset, _LONGEST_LINE, header).encode(linesep="\r\n")


def _fill(message: EmailMessage, letter: TakenLetter) -> None:
    message.set_content(letter.plain, cte=_encoding(letter.plain))
    message.add_alternative(letter.html, subtype="html", cte=_encoding(letter.html))
    # Boundaries are otherwise made up anew each time: a second try must be the same letter to the last byte.
    outer, inner = f"=_{letter.sha256[:40]}", f"=_texts_{letter.sha256[:40]}"
    if letter.calendar is not None:
        message.set_boundary(inner)
        message.add_attachment(
            letter.calendar,
            subtype="calendar",
            cte=_encoding(letter.calendar),
            filename="due.ics",
            params={"method": "PUBLISH"},
        )
    message.set_boundary(outer)


def _label(name: str) -> str:
    """A kind of letter or a site's code as a label of a list name (RFC 2919)."""
    return re.sub(r"[^A-Za-z0-9]+", "-", name).strip("-").lower()[:20] or "site"


def _encoding(text: str) -> str:
    """Readable as it stands where that is shorter and arrives unchanged; Base64 elsewhere.

    Mailboxes that are one file tell messages apart by lines that begin with ``From `` (RFC 4155), and many a
    server puts a ``>`` before such a line of a letter.
    """
    trial = MIMEPart(_POLICY)
    trial.set_content(text, cte="quoted-printable")
    quoted = f"\n{trial.get_payload()}"
    too_long = len(quoted) > len(encodebytes(text.encode()))
    return "base64" if too_long or "\nFrom " in quoted else "quoted-printable"
