"""Certificates: what is handed in (``slips``), judging it (``judging``), and taking it in (``taking``)."""

from __future__ import annotations

from fleet.desk.calibrations.slips import CertificateSlip, Received, TakenIn
from fleet.desk.calibrations.taking import take_in

__all__ = ["CertificateSlip", "Received", "TakenIn", "take_in"]
