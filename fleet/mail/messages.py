"""A letter as a mail message: the same bytes each time it is made."""

from __future__ import annotations

import re
from base64 import encodebytes
from collections import OrderedDict
from dataclasses import dataclass
from email.headerregistry import Address
from email.message import EmailMessage, MIMEPart
from email.policy import EmailPolicy
from email.utils import parseaddr
from typing import TYPE_CHECKING

from fleet.mail.wording import LONGEST_TEXT, one_line
from fleet.rules.letters import domain_of

if TYPE_CHECKING:
    from datetime import datetime


class _Policy(EmailPolicy):
    """As the standard library writes mail, but names by which letters are known are never folded or encoded.

    A name on a line of its own is allowed, and not every server and mail program knows that.
    """

    def fold_binary(self, name: str, value: str) -> bytes:
        if name in ("Message-ID", "List-Id"):
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
    message["From"] = Address(_words(name or letter.site_name), addr_spec=address)
    message["To"] = Address(_words(letter.reader), addr_spec=letter.address)
    message["Subject"] = _words(letter.subject, longest=300)
    # RFC 3834: no out-of-office answers, please; the second says so to those that do not read the first.
    message["Auto-Submitted"] = "auto-generated"
    message["X-Auto-Response-Suppress"] = "All"
    message["List-Id"] = f"<{_label(letter.kind)}.{_label(letter.site)}.{domain_of(sender)}>"
    return message


def _words(text: str, longest: int = LONGEST_TEXT) -> str:
    """On one line, and not to be read as an encoded word (RFC 2047), in which line ends could hide."""
    return one_line(text, longest).replace("=?", "= ?")


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
