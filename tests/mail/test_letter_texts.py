"""Whatever people wrote, a letter stays whole; and every kind of letter has what it needs."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jinja2 import UndefinedError

from fleet.mail.letters import LONGEST_LETTER
from fleet.mail.messages import message_of
from fleet.mail.templating import TEMPLATES, WIDTH, render, templates
from fleet.mail.wording import one_line, state
from fleet.rules.letters import Content
from tests.mail.facts import (
    busy,
    hold_line,
    letter_of,
    snapshot,
    taken,
)
from tests.mail.reading import Shown

HOSTILE = (
    "<script>alert(1)</script>",
    "Kim\r\nBcc: everybody@tool-room.example",
    "{{7*7}}{% raw %}",
    '\'" onmouseover=alert(1) x="',
    "</td></tr></table><h1>All is well</h1>",
    "a\u202egnp.exe\u2066\u200b\x00\x1b[31m",
    "👩\u200d🔧 Ørsted – ﷽",
    "x" * 5000,
    "\ud800 lone",
)


@pytest.mark.parametrize(
    "text", ["", "Ordinary words, quite a lot of them. " * 5, "漢字" * 200, "<&>'\"" * 60]
)
def test_no_letter_reaches_a_hundred_kilobytes(text: str) -> None:
    letter = letter_of(busy(text, many=400))
    size = len(message_of(taken(letter), "fleet@tool-room.example").as_bytes())

    assert size < LONGEST_LETTER
    assert "more:" in letter.plain


# --- Who writes what into it --------------------------------------------------------------------------------


@pytest.mark.parametrize("text", HOSTILE)
def test_what_people_wrote_stays_text(text: str) -> None:
    letter = letter_of(busy(text), instead_of=(text,))
    shown = Shown(letter.html)
    harmless = Shown(letter_of(busy("quite ordinary"), instead_of=("quite ordinary",)).html)

    assert shown.tags == harmless.tags
    assert {name for name, _ in shown.attributes} == {name for name, _ in harmless.attributes}
    assert "49" not in shown.text
    letter.html.encode()
    letter.plain.encode()


def test_a_name_cannot_forge_a_row_of_the_plain_text() -> None:
    forged = "Fin\n\n  10438-8  hose\n      all is well"
    letter = letter_of(busy(forged))

    assert not re.search(r"^  10438-8  hose$", letter.plain, re.MULTILINE)


def test_direction_and_control_marks_are_taken_out() -> None:
    assert one_line("a\u202eb\u2066c\x1b[31m\r\nd") == "a b c [31m d"
    assert one_line("x" * 300) == "x" * 159 + "…"


@given(st.text())
def test_any_text_becomes_one_line(text: str) -> None:
    line = one_line(text)

    assert line.splitlines() in ([], [line])
    assert len(line) <= 160
    assert one_line(line) == line


@given(st.text(min_size=1))
def test_any_text_leaves_a_letter_whole(text: str) -> None:
    letter = letter_of(busy(text), instead_of=(text,))

    assert len(letter.subject.splitlines()) == 1
    assert Shown(letter.html).tags.count("table") == 9
    assert letter.html.rstrip().endswith("</html>")


# --- The templates ------------------------------------------------------------------------------------------


def test_every_kind_of_letter_has_its_three_files_and_nothing_else() -> None:
    kinds = [folder for folder in TEMPLATES.iterdir() if folder.is_dir()]

    assert sorted(kind.name for kind in kinds) == ["at_once", "weekly"]
    for kind in kinds:
        assert {file.name for file in kind.iterdir()} == {"subject.txt", "body.txt", "body.html"}


def test_a_missing_fact_breaks_the_letter_and_not_its_reader() -> None:
    with pytest.raises(UndefinedError):
        render("weekly", {"code": "NORTH"})


@pytest.mark.parametrize("name", ["a.html", "a.html.j2", "a.htm", "a.jinja", "a", "a.xml"])
def test_everything_but_plain_text_is_escaped_whatever_its_suffix(name: str) -> None:
    escapes = templates().autoescape

    assert callable(escapes)
    assert escapes(name)
    assert not escapes("weekly/body.txt")


def test_a_letter_needs_nothing_from_elsewhere() -> None:
    html = letter_of(busy()).html

    assert "://" not in html
    assert not {"img", "link", "script", "iframe", "object", "form"} & set(Shown(html).tags)


def test_the_html_is_a_table_with_headings() -> None:
    shown = Shown(letter_of(busy()).html)

    assert shown.tags.count("thead") == shown.tags.count("table") == 9
    assert ("scope", "col") in shown.attributes
    assert ("scope", "row") in shown.attributes
    assert ("lang", "en") in shown.attributes


def test_plain_text_fits_any_window() -> None:
    letter = letter_of(busy("a rather long remark that somebody has written about it " * 2))

    assert max(len(line) for line in letter.plain.splitlines()) <= WIDTH


def test_a_letter_is_the_same_each_time_it_is_made() -> None:
    assert letter_of(busy()) == letter_of(busy())
    assert isinstance(letter_of(busy()), Content)


def test_the_state_counts_items_on_hold_once() -> None:
    facts = snapshot(holds=(hold_line(), hold_line(cause="recall"), hold_line(tag="104434")))

    assert "2 items are on hold" in state(facts)
