"""Files of a certificate as they are received: each is told by what stands in it, never by its name."""

from fleet.refusals import Unreadable
from fleet.rules.certificate_points import MOST_BYTES, read_points
from fleet.rules.certificates import Certificate, Reading
from fleet.rules.dcc import looks_like_xml, read_dcc

MOST_SCANNED = 20_000_000
_SCANS = ((b"%PDF-", "application/pdf"), (b"\xff\xd8\xff", "image/jpeg"), (b"\x89PNG\r\n\x1a\n", "image/png"))


def read_file(content: bytes, kind: str) -> tuple[str, Certificate | None, tuple[Reading, ...]]:
    """Its media type, the digital certificate if it is one, and the points of a CSV file if it is one.

    ``kind`` is that of the item. Raises ``Unreadable`` in one sentence for whatever cannot be read.
    """
    if not content.strip():
        raise Unreadable("The file of the certificate is empty.")
    if len(content) > MOST_BYTES:
        raise Unreadable(f"The file has {len(content):,} bytes; at most {MOST_BYTES:,} are read.")
    if scan_type(content):
        raise Unreadable(
            "A scan holds no points that can be read: give it with --scan, and the points apart."
        )
    if looks_like_xml(content):
        return "application/xml", read_dcc(content, kind), ()
    return "text/csv", None, read_points(content, kind)


def scan_type(content: bytes) -> str | None:
    """The media type of a scanned certificate, by its first bytes; nothing when it is none."""
    return next((media_type for start, media_type in _SCANS if content.startswith(start)), None)


def check_scan(content: bytes) -> str:
    """The media type of a scan; raises ``Unreadable`` for what is no PDF, JPEG or PNG, or too large."""
    if len(content) > MOST_SCANNED:
        raise Unreadable(f"The scan has {len(content):,} bytes; at most {MOST_SCANNED:,} are kept.")
    media_type = scan_type(content)
    if media_type is None:
        raise Unreadable("The scan is no PDF, JPEG or PNG file.")
    return media_type
