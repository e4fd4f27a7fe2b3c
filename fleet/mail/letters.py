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
from fleet.mail.templating import encoded, render
from fleet.mail.wording import log_in, moment_with_zone, one_line, state, weeks
from fleet.rules.letters import Content

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from fleet.mail.rows import Row
    from fleet.mail.snapshot import Snapshot

# A section shows so many rows and says how many more there are; a long letter is not read.
ROWS_SHOWN = 20
# Some mailboxes cut a letter off behind this; what is cut off is not read either.
LONGEST_LETTER = 100_000
# What the message needs around its two texts, and what its encoding may add to them at most.
_LONGEST_HEADERS = 4_000
# A subject line names so many sites.
_CODES_NAMED = 4


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


@dataclass(frozen=True, slots=True)
class Part:
    """What is told about one site: its facts, and the rows of every section."""

    facts: Snapshot
    filled: tuple[tuple[_Plan, tuple[Row, ...]], ...]


@dataclass(frozen=True, slots=True)
class Note:
    """What only some readers must know: that it is the spare address, or for whom else they are told.

    ``pages`` is where all of them log in.
    """

    spare: bool = False
    instead_of: tuple[str, ...] = ()
    pages: str | None = None


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


def part_of(facts: Snapshot) -> Part:
    """A site's part of the letters of one week: made once, for everybody who is told about the site."""
    filled = tuple((plan, tuple(plan.rows(facts))) for plan in _PLANS)
    return Part(facts, filled)


def weekly(parts: Sequence[Part], number: int, note: Note, calendar: str | None = None) -> Content:
    """The weekly letter about one or several sites: a full letter also when nothing is due.

    Everybody who answers for the same sites reads the same, so that nobody takes for granted that another
    was told. ``number`` counts the letters of the first site. The letter stays under 100 kB, with its
    ``calendar``: where people wrote much, each section shows fewer rows.
    """
    said = _said(parts, number, note)
    taken_up = _LONGEST_HEADERS + (encoded(calendar) if calendar else 0)
    shown = ROWS_SHOWN
    while True:
        shortened = [_shown(part, shown) for part in parts]
        content = Content(*render("weekly", said | {"parts": shortened}), calendar)
        texts = encoded(content.plain) + encoded(content.html)
        if shown == 1 or texts + taken_up <= LONGEST_LETTER:
            return content
        shown //= 2


def _shown(part: Part, shown: int) -> dict[str, object]:
    """A site's part with so many rows in each section."""
    code = one_line(part.facts.site.code)
    sections = [
        Section(
            plan.title,
            plan.none,
            plan.columns,
            len(rows),
            rows[:shown],
            max(len(rows) - shown, 0),
            f"{plan.command} --site {code}",
        )
        for plan, rows in part.filled
    ]
    return {
        "site": one_line(part.facts.site.name),
        "code": code,
        "state": state(part.facts),
        "missed": weeks(part.facts.missed) if part.facts.missed else "",
        "sections": sections,
        "taken_at": moment_with_zone(part.facts.taken_at, part.facts.site.time_zone),
        "seal": str(part.facts.seal),
    }


def _said(parts: Sequence[Part], number: int, note: Note) -> dict[str, object]:
    """Everything in the letter besides its parts."""
    codes = [one_line(part.facts.site.code) for part in parts]
    return {
        "codes": ", ".join(codes[:_CODES_NAMED]) + (" and others" if len(codes) > _CODES_NAMED else ""),
        "code": codes[0],
        "week": parts[0].facts.week,
        "number": number,
        "overdue": sum(len(part.facts.overdue) for part in parts),
        "coming": sum(len(part.facts.coming_due) for part in parts),
        "spare": note.spare,
        "instead_of": [one_line(name) for name in note.instead_of],
        "log_in": log_in(note.pages),
    }
