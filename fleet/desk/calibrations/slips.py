"""What is handed in with a certificate, and what is answered."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fleet.rules.calibrations import DecisionRule
    from fleet.rules.certificates import Certificate, JudgedPoint


@dataclass(frozen=True, slots=True)
class Received:
    """One file as it was received, checked by its kind already."""

    content: bytes
    media_type: str
    caption: str


@dataclass(frozen=True, slots=True)
class CertificateSlip:
    """What was typed, what a digital certificate says, and the files.

    Rule and tolerance only where none were chosen when the item was sent away.
    """

    client_id: str
    item: str
    typed: Certificate
    digital: Certificate | None
    reference: str
    traceability: str
    task: str | None = None
    rule: DecisionRule | None = None
    tolerance_percent: float | None = None
    gauge: str | None = None
    note: str | None = None
    files: tuple[Received, ...] = ()


@dataclass(frozen=True, slots=True)
class TakenIn:
    """A certificate on record, what it came to, and the hold and review that a failure opened."""

    number: int
    tag: str
    certificate: str
    decision_rule: str
    tolerance_percent: float
    as_found: str | None
    as_left: str | None
    sentences: tuple[str, ...] = ()
    points: tuple[JudgedPoint, ...] = ()
    hold: int | None = None
    review: int | None = None
    again: bool = False
