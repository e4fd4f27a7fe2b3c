"""Reading what people type: kinds, conditions, causes, days; a wrong word gets the right ones named."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

from fleet.refusals import Unreadable

if TYPE_CHECKING:
    from datetime import date
    from enum import StrEnum

Word = TypeVar("Word", bound="StrEnum")


def one_of(words: type[Word], asked: str, what: str) -> Word:
    """The word meant, whatever its case and spacing; a beginning that only one word has will do."""
    typed = _loose(asked)
    exact = [word for word in words if _loose(word.value) == typed]
    begun = exact or [word for word in words if typed and _loose(word.value).startswith(typed)]
    if len(begun) == 1:
        return begun[0]
    known = ", ".join(word.value for word in words)
    raise Unreadable(f"{asked!r} is not a {what}. Known: {known}.")


def _loose(text: str) -> str:
    """Without case, and with a space for whatever may stand between words."""
    return " ".join(text.replace("-", " ").replace("_", " ").split()).casefold()


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
