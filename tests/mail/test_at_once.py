"""What stands in a letter at once."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.mail.at_once import Part, at_once
from fleet.mail.letters import LONGEST_LETTER
from fleet.mail.messages import message_of
from fleet.rules.matters import Matter, MatterKind, Telling
from fleet.rules.readers import Reader
from tests.mail.facts import NOON, SITE, taken
from tests.mail.reading import HOSTILE, Shown, in_one_line

if TYPE_CHECKING:
    from fleet.rules.letters import Content

KIM = Reader(1, "K1", "Kim Keeper", "kim@tool-room.example", frozenset({"keeper"}))
SPARE = Reader(0, "spare", "North tool room", "north@tool-room.example", frozenset())
SOUTH = replace(SITE, id=2, code="SOUTH", name="South tool room", time_zone="Europe/Berlin")


def matter(kind: MatterKind = MatterKind.HOLD, **said: Any) -> Matter:  # noqa: ANN401  Any field.
    one = Matter(
        kind,
        12,
        1,
        "10438-8",
        "hose H-20, serial S2",
        "On hold since 11 May 2026 (damaged): Cover cut",
        "with Fin Fitter for job J-1, due back 20 May 2026",
        date(2026, 5, 11),
        (4,),
        "Fin Fitter",
    )
    return replace(one, **said)


def telling(kind: MatterKind = MatterKind.HOLD, level: int = 0, reader: Reader = KIM, **said: Any) -> Telling:  # noqa: ANN401  As above.
    own, instead_of = said.pop("own", False), said.pop("instead_of", "")
    return Telling(matter(kind, **said), level, reader, own, instead_of)


def letter(*told: Telling, number: int = 3) -> Content:
    return at_once([Part(SITE, told)], number, NOON)


def test_the_top_says_what_is_the_matter_and_each_row_who_does_what() -> None:
    said = letter(telling(), telling(MatterKind.LATE, head="10441-8", sentence="2 days late"))

    assert (
        said.subject == "URGENT, NORTH: on hold and still out: 10438-8; late back: 10441-8 (letter at once 3)"
    )
    assert said.plain.splitlines()[0] == "Urgent. On hold and still out: 10438-8. Late back: 10441-8."
    assert in_one_line(said.plain).startswith(
        "Urgent. On hold and still out: 10438-8. Late back: 10441-8. "
        "North tool room (NORTH), 13 May 2026 12:00 (America/Chicago, UTC-05:00). "
        "10438-8 hose H-20, serial S2 On hold since 11 May 2026 (damaged): Cover cut "
        "with Fin Fitter for job J-1, due back 20 May 2026 "
        "!! Keeper: call it in now; it must not be used. "
        "10441-8 hose H-20, serial S2 2 days late"
    )
    assert "> Keeper: ask Fin Fitter for it, and book it back." in said.plain
    assert "letter at once 3" in said.subject


def test_plain_text_and_html_say_the_same() -> None:
    every = [telling(kind, head=f"1043{at}-8") for at, kind in enumerate(MatterKind)]
    said = at_once([Part(SITE, tuple(every)), Part(SOUTH, tuple(every))], 3, NOON)
    shown = Shown(said.html).text.replace("( ", "(").replace(" )", ")").split()
    assert set(said.plain.split()) - {"!!", ">", "--------", "========"} <= set(shown)
    assert shown.count("10430-8") == in_one_line(said.plain).split().count("10430-8") == 2


@pytest.mark.parametrize(
    ("one", "words"),
    [
        (telling(own=True), "!! You have it: stop its use now, and bring it back."),
        (telling(level=1), "!! Safety officer: still out after 7 days; stop its use, and get it in."),
        (
            telling(level=2, reader=SPARE),
            "!! Whoever answers for the site: still out after 14 days; stop its use, and get it in.",
        ),
        (
            telling(MatterKind.RECALL),
            "!! Keeper: call in what is out, keep the rest in: fleet recall show 12",
        ),
        (
            telling(MatterKind.FAILED),
            "!! Safety officer: decide what it means for each joint: fleet review show 12",
        ),
        (telling(MatterKind.LATE, 1), "> Safety officer: see that Fin Fitter brings it back."),
        (
            telling(MatterKind.LATE, 2, SPARE),
            "> Whoever answers for the site: see that Fin Fitter brings it back.",
        ),
        (telling(MatterKind.READY, own=True), "> You reserved it: have it fetched."),
        (telling(MatterKind.READY), "> Planner: have it fetched; Fin Fitter reserved it."),
        (telling(MatterKind.AGAINST, own=True), "> You reserved it: put it right, or swap it."),
        (
            telling(MatterKind.EXPIRES, own=True),
            "> You reserved it: have it fetched by then, or set it free.",
        ),
        (
            telling(MatterKind.ENDED),
            "> Planner: reserve it anew if it is still wanted; Fin Fitter reserved it.",
        ),
    ],
)
def test_each_matter_says_who_must_act(one: Telling, words: str) -> None:
    assert words in in_one_line(letter(one).plain)


def test_many_are_counted_on_top_and_in_the_subject() -> None:
    late = [telling(MatterKind.LATE, head=f"1044{at}-8") for at in range(9)]
    assert letter(*late[:2]).subject == "NORTH: late back: 10440-8, 10441-8 (letter at once 3)"
    assert letter(*late[:3]).subject == "NORTH: late back: 3 items (letter at once 3)"
    assert letter(*late[:4]).plain.startswith("Late back: 10440-8, 10441-8, 10442-8, 10443-8.\n")
    assert letter(*late).plain.startswith("Late back: 9 items.\n")


def test_what_can_wait_is_not_called_urgent() -> None:
    said = letter(telling(MatterKind.LATE))
    assert "urgent" not in (said.subject + said.plain).casefold()
    assert "!!" not in said.plain


def test_several_sites_stand_under_their_names_in_their_own_time() -> None:
    said = at_once([Part(SITE, (telling(),)), Part(SOUTH, (telling(head="20001-5"),))], 3, NOON)
    words = in_one_line(said.plain)

    assert said.subject.startswith("URGENT, NORTH, SOUTH: on hold and still out: 10438-8, 20001-5")
    assert said.subject.endswith("(letter at once 3 of NORTH)")
    assert "South tool room (SOUTH), 13 May 2026 19:00 (Europe/Berlin, UTC+02:00)." in words
    north, south = (words.index(f"======== {name} tool room") for name in ("North", "South"))
    assert north < words.index("10438-8 hose") < south < words.index("20001-5 hose")


def test_a_deputy_reads_for_whom_and_the_spare_address_why() -> None:
    assert (
        "You are also told instead of Sam Safety, who is away."
        in letter(telling(instead_of="Sam Safety"), telling(instead_of="Sam Safety")).plain
    )
    why = "You get this because nobody who has to see to it could be written to."
    assert why in in_one_line(letter(telling(reader=SPARE)).plain)
    assert why not in in_one_line(letter(telling(MatterKind.LATE, 2, SPARE)).plain)
    assert "also told" not in letter(telling()).plain


def test_it_says_how_to_acknowledge_and_what_happens_otherwise() -> None:
    command = "(fleet letters acknowledge 3 --at-once --site NORTH)"
    for text in (in_one_line(letter(telling()).plain), Shown(letter(telling()).html).text):
        assert command in text.replace("( ", "(").replace(" )", ")")
        assert "Otherwise it is passed on at noon of the next working day." in text
    spare = in_one_line(letter(telling(reader=SPARE)).plain)
    assert command in spare
    assert "passed on" not in spare


def test_the_cautions_stand_in_every_letter_and_nothing_in_it_acts() -> None:
    said = letter(telling(MatterKind.READY))
    for text in (in_one_line(said.plain), Shown(said.html).text):
        assert "What is on hold, recalled or has failed must not be used." in text
        assert (
            "The maker's manual, the joint procedure, site rules, local codes and a competent person" in text
        )
    shown = Shown(said.html)
    assert not {"a", "img", "form", "script", "link", "iframe"} & set(shown.tags)
    assert {"href", "src", "action"}.isdisjoint(name for name, _ in shown.attributes)
    assert set(re.findall(r"#[0-9a-f]{3,6}", said.html)) <= {"#111", "#999", "#fff"}


def test_the_same_matters_make_the_same_letter() -> None:
    every = [telling(kind) for kind in MatterKind]
    assert letter(*every) == letter(*every)


@pytest.mark.parametrize(
    "text", ["", "Ordinary words, quite a lot of them. " * 5, "漢字" * 200, "<&>'\"" * 60]
)
def test_no_letter_reaches_a_hundred_kilobytes_and_the_rest_is_counted(text: str) -> None:
    many = [telling(sentence=text, where=text, head=f"{at}-8") for at in range(400)]
    late = [telling(MatterKind.LATE, sentence=text, head=f"{at}-8") for at in range(400)]
    said = letter(*many, *late)
    size = len(message_of(taken(said), "fleet@tool-room.example").as_bytes())

    assert size < LONGEST_LETTER
    counted = re.search(
        r"And more: ([0-9]+) on hold and still out \(fleet holds --site NORTH\), "
        r"400 late back \(fleet out --site NORTH\)",
        in_one_line(said.plain),
    )
    assert counted
    assert int(counted[1]) + said.plain.count("!! Keeper") == 400


@pytest.mark.parametrize("text", HOSTILE)
def test_what_people_wrote_stays_text(text: str) -> None:
    said: dict[str, Any] = {"head": text, "what": text, "sentence": text, "where": text, "owner": text}
    site = replace(SITE, name=text)
    found = at_once([Part(site, (telling(MatterKind.READY, **said, instead_of=text),))], 3, NOON)
    shown = Shown(found.html)
    harmless: dict[str, Any] = dict.fromkeys(said, "quite ordinary")
    other = at_once([Part(SITE, (telling(MatterKind.READY, **harmless, instead_of="Kim"),))], 3, NOON)

    assert shown.tags == Shown(other.html).tags
    assert "49" not in shown.text
    assert "\n" not in found.subject
    found.html.encode()
    found.plain.encode()


@given(st.text(min_size=1))
def test_any_text_leaves_a_letter_whole(text: str) -> None:
    said = letter(telling(sentence=text, where=text, owner=text), telling(MatterKind.LATE, owner=text))
    message = message_of(taken(said), "fleet@tool-room.example").as_bytes()
    assert b"Subject: URGENT, NORTH" in message
    assert said.plain.rstrip().endswith("working day.")
