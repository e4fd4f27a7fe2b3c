"""The demo: where it is built, what it shows, and that what it names can be typed."""

from __future__ import annotations

import re
import shlex
from typing import TYPE_CHECKING

import pytest

from fleet.commands import REFUSED
from fleet.commands.demo import NEXT
from fleet.commands.seeding import claim
from fleet.refusals import NotPossible
from tests.commands.typed import here

if TYPE_CHECKING:
    from pathlib import Path


def test_the_demo_moves_into_no_folder_of_anybody_else(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("mine")
    with pytest.raises(NotPossible, match="no demo made"):
        claim(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["letter.txt"]


def test_the_demo_leaves_a_database_that_was_named_alone(tmp_path: Path) -> None:
    mine = tmp_path / "mine.db"
    mine.write_text("mine")
    words = ["--database", str(mine), "demo", "--folder", str(tmp_path / "demo")]
    answer = here(*words)
    assert "a database of its own" in answer.err
    assert mine.read_text() == "mine"
    assert not (tmp_path / "demo").exists()


def test_a_folder_that_cannot_be_made_is_a_sentence(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(NotPossible, match="Nothing can be built"):
        claim(tmp_path / "file" / "demo")


def test_an_older_demo_is_built_anew_and_strangers_in_its_folder_stay(tmp_path: Path) -> None:
    folder = tmp_path / "demo"
    assert not claim(folder)
    (folder / "demo.db").write_text("old")
    (folder / "note.txt").write_text("mine")
    assert claim(folder)
    assert not (folder / "demo.db").exists()
    assert (folder / "note.txt").read_text() == "mine"


def test_the_demo_shows_the_main_job_and_names_commands_that_run(tmp_path: Path) -> None:
    folder = tmp_path / "demo"
    answer = here("demo", "--day", "2028-02-29", "--folder", str(folder))
    assert answer.code == 0, answer
    assert re.search("North Basin, 29 Feb 2028: [0-9]+ overdue, [0-9]+ due within 7d", answer.out)
    assert "Calibration is now due by use" in answer.out
    assert "This kit MAY be used on E-204 channel." in answer.out
    assert "Would do with the rest of this kit: 20116-9, WSQ-110" in answer.out
    letters = [path.name for path in (folder / "letters").glob("*.eml")]
    # A safety officer of both sites has one letter a week about both, which bears the number of EAST.
    assert sorted(name[-7:-4] for name in letters if name.startswith("NORTH-2028-W09-1-")) == [
        *("N11", "N12", "N21", "N22", "N31"),
    ]
    assert "URGENT, NORTH: on hold and still out: 20162-6" in answer.out
    assert {name[-7:-4] for name in letters if "T" in name} >= {"N11", "N12", "N31", "E31"}
    for _, badge, words in NEXT:
        assert f" --by {badge} {words}\n" in answer.out
        common = ["--database", str(folder / "demo.db"), "--by", badge]
        tried = here(*common, *shlex.split(words))
        assert tried.code in (0, REFUSED), (words, tried)
        assert tried.out + tried.err, words
