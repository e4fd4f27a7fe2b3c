"""Labels as they are typed: written, noted, and neither when something is wrong."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tests.pages.test_labels import codes

if TYPE_CHECKING:
    from pathlib import Path

    from tests.commands.typed import Desk


def test_labels_are_written_and_noted(desk: Desk, tmp_path: Path) -> None:
    tag = desk.wrench()
    answer = desk.type("paper", "labels", tag, tag, "--size", "60", "--out", str(tmp_path))
    assert answer.code == 0, answer
    (path,) = tmp_path.iterdir()
    assert answer.out.strip() == str(path)
    assert codes(path.read_bytes()) == [tag]
    assert "label printed" in desk.type("daybook", "show").out
    # What could not be written was not printed.
    before = desk.type("daybook", "show").out
    assert "is there already" in desk.refused("paper", "labels", tag, "--out", str(tmp_path))
    assert desk.type("daybook", "show").out == before


def test_what_is_wrong_is_said(desk: Desk, tmp_path: Path) -> None:
    tag = desk.wrench()
    for words in ((tag, "--size", "12"), (tag, "--begin", "22"), ("777",)):
        assert desk.refused("paper", "labels", *words, "--out", str(tmp_path))
    assert list(tmp_path.iterdir()) == []
