"""Reading what people type: kinds, conditions, causes, days; a wrong word gets the right ones named."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.rules.words import one_of

if TYPE_CHECKING:
    from datetime import date

__all__ = ["asked_day", "known_kind", "one_of"]


def known_kind(asked: str | None) -> str | None:
    """A kind of equipment, also in the plural."""
    from fleet.bolting.parts import Kind

    if asked is None:
        return None
    singular = {"wrenches": "wrench"}.get(asked.strip().casefold(), asked.strip().rstrip("s"))
    return one_of(Kind, singular, "kind of equipment").value


def asked_day(text: str | None, otherwise: date) -> date:
    """A day as typed, or the other one when none was."""
    from fleet.measures.times import read_day

    return read_day(text) if text else otherwise
