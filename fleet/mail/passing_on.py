"""A letter for somebody else: the letter as it was, with a paragraph on top that says why it comes."""

from __future__ import annotations

import re
from html import escape
from typing import TYPE_CHECKING

from fleet.mail.templating import fold
from fleet.mail.wording import log_in, moment, one_line
from fleet.rules.letters import WEEKLY, Content, LetterState

if TYPE_CHECKING:
    from fleet.lists.passing_on import Heir, Passing

# Where the first paragraph of a letter stands: in the first division of its body, if it has one.
_TOP = re.compile(r"<body\b[^>]*>(?:\s*<div\b[^>]*>)?\n?", re.IGNORECASE)
# What the paragraph adds must leave the longest letter under 100 kB, in any alphabet.
_LONGEST_NAME, _LONGEST_ANSWER = 50, 80


def passed_on(
    original: Content, passing: Passing, heir: Heir, number: int, pages: str | None = None
) -> Content:
    """The letter as ``heir`` gets it. ``original`` is what the first of the chain says.

    A paragraph says to whom it went before, what became of it there, and what to do.
    """
    said, asked = _reason(passing, heir), _request(passing, number, pages)
    top = _TOP.search(original.html)
    at = top.end() if top else 0
    note = (
        '<p style="margin:0 0 12px;padding:10px 14px;border:2px dashed #111">'
        f"<strong>{escape(said)}</strong> {escape(asked[0])} <code>{escape(asked[1])}</code></p>\n"
    )
    return Content(
        f"For {_short(passing.names[0])}: {original.subject}",
        f"{fold(said)}\n\n{fold(asked[0])}\n  {asked[1]}\n\n{original.plain}",
        original.html[:at] + note + original.html[at:],
        original.calendar,
    )


def _reason(passing: Passing, heir: Heir) -> str:
    """To whom the letter went, why that is not enough, and why this reader gets it."""
    links = list(zip(reversed(passing.step.chain), passing.names, strict=True))
    sent = [
        f"to {_short(name)} on {moment(link.sent_at, passing.site.time_zone)}"
        for link, name in links
        if link.state == LetterState.SENT and link.sent_at
    ]
    said = (
        [f"This letter went {' and '.join(sent)}, and nobody has said yet that it was read."] if sent else []
    )
    for link, name in links:
        if link.state != LetterState.SENT:
            what = "It" if said else "This letter"
            answer = one_line(link.last_answer or "none", _LONGEST_ANSWER).rstrip(".")
            to = f"{_short(name)} <{link.address}>"
            said.append(f"{what} could not be delivered to {to}; the last answer was: {answer}.")
    if heir.person_id is None:
        said.append(f"You get it because this is the spare address of {_short(heir.name)}.")
        said.append("Pass on what it says, and see to it that somebody reads these letters.")
    else:
        said.append(f"You get it as the deputy of {_short(passing.names[0])}.")
    return " ".join(said)


def _request(passing: Passing, number: int, pages: str | None) -> tuple[str, str]:
    """What whoever reads it is asked to do, and the command for it."""
    more = "" if passing.step.first.kind == WEEKLY else " --at-once"
    which = f"{number} --for {_short(passing.whose)} --site {_short(passing.site.code)}"
    command = f"fleet letters acknowledge {which}{more}"
    return f"Whoever has read it says so: {log_in(pages)}, or type it:", command


def _short(name: str) -> str:
    return one_line(name, _LONGEST_NAME)
