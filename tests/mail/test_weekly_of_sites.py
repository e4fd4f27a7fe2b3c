"""The weekly letter of somebody who answers for several sites, or is told instead of others."""

from __future__ import annotations

from dataclasses import replace

from fleet.rules.daybook import Seal
from tests.mail.facts import SITE, due_line, letter_of, snapshot
from tests.mail.reading import Shown, in_one_line


def test_whoever_answers_for_several_sites_reads_one_letter_about_all_of_them() -> None:
    south = replace(SITE, id=2, code="SOUTH", name="South tool room", time_zone="America/Denver")
    calm = snapshot(site=south, seal=Seal(2, 7, "f" * 64), missed=("2026-W19",))
    letter = letter_of(snapshot(due=(due_line(),)), calm, number=12)

    assert letter.subject == (
        "NORTH, SOUTH tool rooms, 2026-W20: 1 overdue, nothing coming due (letter 12 of NORTH)"
    )
    for text in (in_one_line(letter.plain), Shown(letter.html).text):
        assert "NORTH: 1 task is overdue" in text
        assert "SOUTH: Nothing is overdue" in text
        assert "No letter was written for 2026-W19." in text
        assert text.index("North tool room (NORTH)") < text.index("South tool room (SOUTH)")
        assert "NORTH: taken from the record on 13 May 2026 12:00 (America/Chicago, UTC-05:00)." in text
        assert "SOUTH: taken from the record on 13 May 2026 11:00 (America/Denver, UTC-06:00)." in text
        assert "Day-book seal 120·0a1b2c3d4e5f6071." in text
        assert "Day-book seal 7·ffffffffffffffff." in text


def test_a_subject_line_names_no_more_than_four_sites() -> None:
    many = [snapshot(site=replace(SITE, id=at, code=f"S{at}")) for at in range(6)]

    assert letter_of(*many).subject.startswith("S0, S1, S2, S3 and others tool rooms, 2026-W20")


def test_who_is_told_for_somebody_away_reads_their_names() -> None:
    letter = letter_of(snapshot(), instead_of=("Pat Planner", "Sam Safety"))

    for text in (in_one_line(letter.plain), Shown(letter.html).text):
        assert "You are also told instead of Pat Planner, who is away." in text
        assert "You are also told instead of Sam Safety, who is away." in text
