"""Facts made into a letter: one subject line, a plain text and an HTML that say the same."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.mail.rows import (
    concession_rows,
    due_rows,
    hold_rows,
    out_rows,
    review_rows,
    silence_rows,
    warning_rows,
)
from fleet.mail.templating import render
from fleet.mail.wording import moment_with_zone, one_line, state, weeks
from fleet.rules.letters import Content

if TYPE_CHECKING:
    from collections.abc import Callable

    from fleet.mail.rows import Row
    from fleet.mail.snapshot import Snapshot
    from fleet.rules.readers import Addressee

# A section shows so many rows and says how many more there are; a long letter is not read.
ROWS_SHOWN = 20
# Some mailboxes cut a letter off behind this; what is cut off is not read either.
LONGEST_LETTER = 100_000
# What the message needs around its two texts, and what its encoding may add to them at most.
_ROOM_FOR_HEADERS = 4_000


@dataclass(frozen=True, slots=True)
class Section:
    """One heading with its rows; ``rest`` rows more are shown by ``command``."""

    title: str
    none: str
    columns: tuple[str, str, str]
    count: int
    rows: tuple[Row, ...]
    rest: int
    command: str


@dataclass(frozen=True, slots=True)
class _Plan:
    """A section before it is filled, and where its rows come from."""

    title: str
    none: str
    columns: tuple[str, str, str]
    rows: Callable[[Snapshot], list[Row]]
    command: str


_PLANS = (
    _Plan(
        "Overdue",
        "Nothing is overdue.",
        ("Item", "Task", "Where it is, and what to do"),
        lambda facts: due_rows(facts, overdue=True),
        "fleet due",
    ),
    _Plan(
        "On hold",
        "Nothing is on hold.",
        ("Item", "Why", "Where it is, and what to do"),
        hold_rows,
        "fleet holds",
    ),
    _Plan(
        "Concessions",
        "None is in force, and none was granted in the last seven days.",
        ("Item", "Why", "For what, and what to do"),
        concession_rows,
        "fleet concessions",
    ),
    _Plan(
        "Impact reviews",
        "None is open.",
        ("Item", "Why", "What to decide, and until when"),
        review_rows,
        "fleet review list",
    ),
    _Plan(
        "Reserved, with something against it",
        "Nothing stands against what is reserved for the coming four weeks.",
        ("Item", "What is the matter", "For what, and what to do"),
        warning_rows,
        "fleet reservations --warnings",
    ),
    _Plan(
        "Late back",
        "Nothing is late back.",
        ("Item", "When", "Who has it, and what to do"),
        lambda facts: out_rows(facts, late=True),
        "fleet out",
    ),
    _Plan(
        "Out on loan",
        "Nothing else is out.",
        ("Item", "When", "Who has it"),
        lambda facts: out_rows(facts, late=False),
        "fleet out",
    ),
    _Plan(
        "Due in the coming four weeks",
        "Nothing comes due.",
        ("Item", "Task", "Where it is, and what to do"),
        lambda facts: due_rows(facts, overdue=False),
        "fleet due --within 4w",
    ),
    _Plan(
        "Not told",
        "Every letter since the last one arrived or is on its way, and everybody with a role has an address.",
        ("Person", "What did not arrive", "What to do"),
        silence_rows,
        "fleet letters list",
    ),
)


def weekly(facts: Snapshot, to: Addressee, number: int) -> Content:
    """The weekly letter to one addressee: a full letter also when nothing is due.

    Everybody reads the same, so that nobody takes for granted that another was told. It stays under 100 kB:
    where people wrote much, each section shows fewer rows.
    """
    filled = [(plan, plan.rows(facts)) for plan in _PLANS]
    said = _said(facts, to, number)
    shown = ROWS_SHOWN
    while True:
        sections = [_section(plan, rows, shown, facts) for plan, rows in filled]
        letter = Content(*render("weekly", said | {"sections": sections}))
        if shown == 1 or _encoded(letter) <= LONGEST_LETTER - _ROOM_FOR_HEADERS:
            return letter
        shown //= 2


def _section(plan: _Plan, rows: list[Row], shown: int, facts: Snapshot) -> Section:
    hidden, command = max(len(rows) - shown, 0), _command(plan, facts)
    return Section(plan.title, plan.none, plan.columns, len(rows), tuple(rows[:shown]), hidden, command)


def _command(plan: _Plan, facts: Snapshot) -> str:
    return f"{plan.command} --site {one_line(facts.site.code)}"


def _said(facts: Snapshot, to: Addressee, number: int) -> dict[str, object]:
    """Everything in the letter besides its sections."""
    return {
        "site": one_line(facts.site.name),
        "code": one_line(facts.site.code),
        "week": facts.week,
        "number": number,
        "overdue": len(facts.overdue),
        "coming": len(facts.coming_due),
        "state": state(facts),
        "missed": weeks(facts.missed) if facts.missed else "",
        "reader": one_line(to.name),
        "roles": " and ".join(sorted(to.roles)),
        "spare": to.person_id is None,
        "taken_at": moment_with_zone(facts.taken_at, facts.site.time_zone),
        "seal": str(facts.seal),
    }


def _encoded(letter: Content) -> int:
    """What the two texts take up at most in a message: as Base64, in lines of 76."""
    return sum(len(text.encode()) * 4 * 78 // (3 * 76) + 80 for text in (letter.plain, letter.html))
