"""Matters made into a letter at once: what is the matter on top, then each with who must do what."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.mail.letters import LONGEST_LETTER
from fleet.mail.rows import row
from fleet.mail.templating import encoded, render
from fleet.mail.wording import log_in, moment_with_zone, one_line
from fleet.rules.letters import Content
from fleet.rules.matters import PASSED_ON_AFTER, MatterKind
from fleet.rules.readers import SPARE

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime

    from fleet.lists.sites import SiteLine
    from fleet.mail.rows import Row
    from fleet.rules.matters import Telling

# A site shows so many matters and counts the others: everything urgent ought to be among them.
ROWS_SHOWN = 60
# What the message needs around its two texts at most.
_LONGEST_HEADERS = 4_000
# So many tags or jobs are named on top, and in the subject, before they are only counted.
_NAMED_ON_TOP, _NAMED_IN_SUBJECT = 4, 2


@dataclass(frozen=True, slots=True)
class _Said:
    """What a kind of matter is called on top of a letter, what many of it are, and where to see them all."""

    title: str
    many: str
    command: str


_KINDS = {
    MatterKind.RECALL: _Said("recalled", "recalls", "fleet recall list"),
    MatterKind.HOLD: _Said("on hold and still out", "items", "fleet holds --site {code}"),
    MatterKind.FAILED: _Said("failed, joints to review", "items", "fleet review list --site {code}"),
    MatterKind.LATE: _Said("late back", "items", "fleet out --site {code}"),
    MatterKind.AGAINST: _Said(
        "reserved, with something against it",
        "items",
        "fleet reservations --warnings --site {code}",
    ),
    MatterKind.EXPIRES: _Said(
        "soon given up unless fetched", "items", "fleet reservations --warnings --site {code}"
    ),
    MatterKind.READY: _Said("ready to fetch", "jobs", "fleet reservations --site {code}"),
    MatterKind.ENDED: _Said("given up, not fetched", "items", "fleet reservations --warnings --site {code}"),
}
_NOBODY_ELSE = "Whoever answers for the site"


@dataclass(frozen=True, slots=True)
class Part:
    """What one mailbox is told about one site: each matter once, the urgent first."""

    site: SiteLine
    tellings: tuple[Telling, ...]


def at_once(parts: Sequence[Part], number: int, now: datetime, pages: str | None = None) -> Content:
    """A letter about what cannot wait for the week, of one or several sites; under 100 kB.

    ``number`` counts such letters of the first site, ``pages`` is where one logs in. Where much is the
    matter, the last rows are counted.
    """
    every = [one for part in parts for one in part.tellings]
    codes = ", ".join(one_line(part.site.code) for part in parts)
    said = {
        "top": _top(every),
        "urgent": _urgent(every),
        "codes": codes,
        "subject": _subject(every),
        "number": number,
        "log_in": log_in(pages),
        "code": one_line(parts[0].site.code),
        "instead_of": sorted({one_line(one.instead_of) for one in every if one.instead_of}),
        "spare": any(one.reader.badge == SPARE and one.level < len(PASSED_ON_AFTER) for one in every),
        # What is at the spare address, which is nobody's, goes no further.
        "goes_on": any(one.reader.badge != SPARE for one in every),
    }
    shown = ROWS_SHOWN
    while True:
        shortened = [_shown(part, shown, now) for part in parts]
        content = Content(*render("at_once", said | {"parts": shortened}))
        size = encoded(content.plain) + encoded(content.html) + _LONGEST_HEADERS
        if shown == 1 or size <= LONGEST_LETTER:
            return content
        shown //= 2


def _urgent(every: Iterable[Telling]) -> bool:
    return any(one.matter.kind.urgent for one in every)


def _top(every: Sequence[Telling]) -> str:
    """``Urgent. On hold and still out: 10438-8. Late back: 10441-8``, on top of the letter."""
    told = [f"{title}: {heads}." for title, heads in _by_kind(every, _NAMED_ON_TOP)]
    sentences = [one[0].upper() + one[1:] for one in told]
    return " ".join((["Urgent."] if _urgent(every) else []) + sentences)


def _subject(every: Sequence[Telling]) -> str:
    return "; ".join(f"{title}: {heads}" for title, heads in _by_kind(every, _NAMED_IN_SUBJECT))


def _by_kind(every: Sequence[Telling], most: int) -> list[tuple[str, str]]:
    """Every kind that occurs, in order, with what it is about by name, or counted when they are many."""
    found = []
    for kind, said in _KINDS.items():
        heads = dict.fromkeys(one_line(one.matter.head) for one in every if one.matter.kind is kind)
        if heads:
            many = f"{len(heads):,} {said.many}"
            found.append((said.title, ", ".join(heads) if len(heads) <= most else many))
    return found


def _shown(part: Part, shown: int, now: datetime) -> dict[str, object]:
    """A site's part with so many rows, and what the others are."""
    code = one_line(part.site.code)
    rest = Counter(one.matter.kind for one in part.tellings[shown:])
    more = [
        f"{count:,} {_KINDS[kind].title} ({_KINDS[kind].command.format(code=code)})"
        for kind, count in rest.items()
    ]
    return {
        "site": one_line(part.site.name),
        "code": code,
        "rows": [_row(one) for one in part.tellings[:shown]],
        "rest": ", ".join(more),
        "written_at": moment_with_zone(now, part.site.time_zone),
    }


def _row(one: Telling) -> Row:
    matter = one.matter
    return row(matter.head, matter.what, matter.sentence, matter.where, _next(one), urgent=matter.kind.urgent)


def _next(one: Telling) -> str:
    """Who must do what."""
    match one.matter.kind:
        case MatterKind.HOLD:
            return _hold_next(one)
        case MatterKind.RECALL:
            return f"Keeper: call in what is out, keep the rest in: fleet recall show {one.matter.number}"
        case MatterKind.FAILED:
            number = one.matter.number
            return f"Safety officer: decide what it means for each joint: fleet review show {number}"
        case MatterKind.LATE:
            return _late_next(one)
        case _:
            return _reserved_next(one)


def _hold_next(one: Telling) -> str:
    if one.own:
        return "You have it: stop its use now, and bring it back."
    if one.level == 0:
        return "Keeper: call it in now; it must not be used."
    who = "Safety officer" if one.level == 1 else _NOBODY_ELSE
    return f"{who}: still out after {PASSED_ON_AFTER[one.level - 1]} days; stop its use, and get it in."


def _late_next(one: Telling) -> str:
    if one.level == 0:
        return f"Keeper: ask {one.matter.owner} for it, and book it back."
    who = "Safety officer" if one.level == 1 else _NOBODY_ELSE
    return f"{who}: see that {one.matter.owner} brings it back."


def _reserved_next(one: Telling) -> str:
    what = {
        MatterKind.AGAINST: "put it right, or swap it",
        MatterKind.EXPIRES: "have it fetched by then, or set it free",
        MatterKind.READY: "have it fetched",
    }.get(one.matter.kind, "reserve it anew if it is still wanted")
    if one.own:
        return f"You reserved it: {what}."
    return f"Planner: {what}; {one.matter.owner} reserved it."
