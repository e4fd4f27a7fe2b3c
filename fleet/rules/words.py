"""Reading a word out of a closed list as people write it; a wrong one gets the right ones named."""

from enum import StrEnum
from typing import TypeVar

from fleet.refusals import Unreadable

Word = TypeVar("Word", bound=StrEnum)


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
