"""Every address of the pages, on the demo's room, and what each kind of visitor is answered there.

Each subject lists its own in a module beside this one, as ``WAYS``. The tests walk all of them: each address
for each visitor, what a link changes, what a scan does, axe, the checker of HTML. An address that is listed
nowhere fails a test.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from importlib import import_module
from pkgutil import iter_modules
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

# Somebody without a log-in; those with one role at NORTH; whoever has every role, at EAST only; an
# administrator without any role.
VISITORS = ("nobody", "keeper", "planner", "officer", "elsewhere", "administrator")
# Where somebody is sent: to log in, to prove anew that it is them, to set up a second factor.
DOOR, AGAIN = "/in", "/again"

Answer = int | str
"""A status, or the path (without what is asked for in it) that somebody is sent on to."""


@dataclass(frozen=True)
class Way:
    """One address, asked for with ``form`` when it is a POST, and the answer to each of ``VISITORS``."""

    method: str
    address: str
    answers: tuple[Answer, ...]
    form: Mapping[str, str | tuple[str, ...]] = field(default_factory=dict)
    roleless: Answer | None = None
    """To somebody without a role who is no administrator, where that is another answer."""
    is_page: bool = True
    """Whether what is answered is a page of ours, as opposed to a file."""


def page(
    address: str, status: int = 200, *, elsewhere: int = 0, nobody: Answer = DOOR, roleless: int = 0
) -> Way:
    """A page that answers everybody alike, but for those elsewhere and those without a role."""
    here = (status,) * 3
    return Way("GET", address, (nobody, *here, elsewhere or status, roleless or status))


def own_page(address: str) -> Way:
    """A page about something of NORTH: whoever has no role there is told that it is not there."""
    return page(address, elsewhere=404, roleless=404)


def file(address: str, answers: tuple[Answer, ...]) -> Way:
    """Something to download."""
    return Way("GET", address, answers, is_page=False)


def post(address: str, *answers: Answer, nobody: Answer = DOOR, **form: str | tuple[str, ...]) -> Way:
    """An act: the answers to keeper, planner, officer, one from elsewhere and an administrator."""
    return Way("POST", address, (nobody, *answers), form)


def all_ways() -> list[Way]:
    """Those of every subject."""
    return [
        way
        for found in sorted(iter_modules(__path__), key=lambda one: one.name)
        for way in import_module(f"{__name__}.{found.name}").WAYS
    ]
