"""A letter as a mail message: the same bytes each time it is made."""

from __future__ import annotations

import re
from base64 import encodebytes
from dataclasses import dataclass
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import EmailPolicy
from email.utils import parseaddr
from quopri import encodestring
from typing import TYPE_CHECKING

from fleet.mail.wording import one_line
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


def message_of(letter: TakenLetter, sender: str) -> EmailMessage:
    """Plain text first, then HTML; nothing remote. Names from the register are made fit for headers."""
    message = EmailMessage(_POLICY)
    name, address = parseaddr(sender)
    message["Message-ID"] = letter.message_id
    message["Date"] = letter.written_at
    message["From"] = Address(one_line(name or letter.site_name), addr_spec=address)
    message["To"] = Address(one_line(letter.reader), addr_spec=letter.address)
    message["Subject"] = one_line(letter.subject, longest=300)
    # RFC 3834: no out-of-office answers, please; the second says so to those that do not read the first.
    message["Auto-Submitted"] = "auto-generated"
    message["X-Auto-Response-Suppress"] = "All"
    message["List-Id"] = f"<{letter.kind}.{_label(letter.site)}.{domain_of(sender)}>"
    message.set_content(letter.plain, cte=_encoding(letter.plain))
    message.add_alternative(letter.html, subtype="html", cte=_encoding(letter.html))
    # Otherwise made up anew each time: a second try must be the same letter to the last byte.
    message.set_boundary(f"=_{letter.sha256[:40]}")
    return message


def _label(code: str) -> str:
    """The site's code as a label of a list name (RFC 2919)."""
    return re.sub(r"[^A-Za-z0-9]+", "-", code).strip("-").lower()[:20] or "site"


def _encoding(text: str) -> str:
    """Readable as it stands where that is shorter; Base64 where most letters are beyond ASCII."""
    raw = text.encode()
    return "quoted-printable" if len(encodestring(raw)) <= len(encodebytes(raw)) else "base64"
