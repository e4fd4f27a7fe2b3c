"""A letter passed on: one paragraph more on top, fit for every mail program, and nothing else changed."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from fleet.lists.passing_on import Heir, Passing
from fleet.mail.letters import LONGEST_LETTER
from fleet.mail.messages import message_of
from fleet.mail.passing_on import passed_on
from fleet.rules.letters import Content, LetterState
from fleet.rules.passing_on import Link, Step, Why
from fleet.settings import LONGEST_ADDRESS
from tests.mail.facts import NOON, SITE, busy, letter_of, taken
from tests.mail.reading import HOSTILE, Shown, in_one_line

PAGES = "https://" + "x" * (LONGEST_ADDRESS - 8)

KIM = Link(
    id=1,
    forwards_id=None,
    kind="weekly",
    site_id=1,
    week="2026-W20",
    person_id=1,
    address="kim@tool-room.example",
    sha256="a",
    state=LetterState.SENT,
    sent_at=NOON - timedelta(days=1),
    last_answer="250 OK",
    set_aside=False,
    read=False,
    until=NOON,
)
PAT = Heir(2, "P1", "Pat Planner", "pat@tool-room.example", (1,))
SPARE = Heir(None, "spare", "North tool room", "north@tool-room.example", (1,))


def passing(*names: str, letter: Link = KIM, whose: str = "K1", **site: Any) -> Passing:  # noqa: ANN401  Any field.
    step = Step((letter,), Why.UNREAD if letter.state == LetterState.SENT else Why.LOST)
    return Passing(step, replace(SITE, **site), whose, names or ("Kim Keeper",), (PAT,))


def test_one_paragraph_stands_on_top_and_all_else_stays_as_it_was() -> None:
    original = replace(letter_of(busy(), number=12), calendar="BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n")
    letter = passed_on(original, passing(), PAT, 12)
    assert letter.calendar == original.calendar
    said = "This letter went to Kim Keeper on 12 May 2026 12:00, and nobody has said yet that it was read."
    assert letter.subject == f"For Kim Keeper: {original.subject}"
    assert in_one_line(letter.plain).startswith(said)
    assert letter.plain.endswith(f"\n\n{original.plain}")
    before, after = Shown(original.html), Shown(letter.html)
    assert len(after.tags) == len(before.tags) + 3
    assert after.texts[-1] == before.texts[-1]
    shown = after.text
    assert said in shown
    assert shown.index(said) < shown.index("overdue")
    # Inside the first division, which gives the letter its width.
    assert after.tags[after.tags.index("div") + 1] == "p"
    assert "fleet letters acknowledge 12 --for K1 --site NORTH" in shown


def test_plain_lines_are_as_short_as_all_others() -> None:
    lost = replace(
        KIM, state=LetterState.UNDELIVERABLE, sent_at=None, last_answer="550 5.1.1 No such user " * 40
    )
    letter = passed_on(letter_of(busy(), number=12), passing(letter=lost), SPARE, 12, PAGES)
    assert max(map(len, letter.plain.splitlines())) <= 78


@pytest.mark.parametrize("text", HOSTILE)
def test_whatever_people_and_servers_write_stays_text(text: str) -> None:
    original = letter_of(busy(), number=12)
    lost = replace(KIM, state=LetterState.UNDELIVERABLE, sent_at=None, last_answer=text)
    letter = passed_on(original, passing(text, letter=lost, code=text, whose=text), SPARE, 12, PAGES)
    before, after = Shown(original.html), Shown(letter.html)
    assert sorted(after.tags) == sorted([*before.tags, "p", "strong", "code"])
    assert not {name for name, _ in after.attributes} - {name for name, _ in before.attributes}
    message = message_of(taken(letter), "fleet@tool-room.example")
    assert "Bcc" not in message
    assert message.as_bytes().isascii()


@pytest.mark.parametrize("text", ["Ordinary words, quite a lot of them. " * 5, "漢字" * 200, "<&>'\"" * 60])
def test_even_the_longest_letter_stays_under_a_hundred_kilobytes_when_passed_on(text: str) -> None:
    original = letter_of(busy(text, many=400))
    lost = replace(KIM, state=LetterState.UNDELIVERABLE, sent_at=None, last_answer=text)
    letter = passed_on(original, passing(text, letter=lost, code=text, whose=text), SPARE, 12, PAGES)
    size, before = (
        len(message_of(taken(one), "fleet@tool-room.example").as_bytes()) for one in (letter, original)
    )
    assert size < LONGEST_LETTER
    # However long the letter was before: the room that is kept for headers holds the paragraph too.
    assert size - before < 3_600


@pytest.mark.parametrize(
    "html",
    ["<html><body><p>Text</p></body></html>", "<p>Text</p>", "", "<BODY class='x'>\n<DIV>\nText</DIV>"],
)
def test_html_without_a_division_or_a_body_gets_the_paragraph_first(html: str) -> None:
    letter = passed_on(Content("S", "Text\n", html), passing(), PAT, 1)
    text = Shown(letter.html).text
    assert text.startswith("This letter went to Kim Keeper")
    assert text.endswith("Text") or not html
