"""Papers as they are typed: where they are laid, by whom, and what is refused."""

from __future__ import annotations

from typing import TYPE_CHECKING

import openpyxl

from tests.commands.typed import Keyboard
from tests.papers.test_evidence import text_of
from tests.papers.told import Told, photograph

if TYPE_CHECKING:
    from pathlib import Path

    import pytest

    from fleet.room import Room
    from tests.commands.typed import Desk
    from tests.shop import Shop


def test_the_card_names_the_item_and_who_printed_it(desk: Desk, tmp_path: Path) -> None:
    tag = desk.wrench()

    answer = desk.type("paper", "card", tag, "--into", str(tmp_path))

    assert answer.code == 0, answer
    (path,) = tmp_path.iterdir()
    assert answer.out.strip() == str(path)
    said = " ".join(text_of(path.read_bytes()))
    assert f"{tag[:-1]}-{tag[-1]}" in said
    assert "Printed by Kim Keeper" in said
    assert "is there already" in desk.refused("paper", "card", tag, "--into", str(tmp_path))


def test_the_evidence_of_an_item_says_how_long_it_is_kept(desk: Desk, tmp_path: Path) -> None:
    tag = desk.wrench()
    assert desk.type("hold", tag, "--cause", "damaged", "--reason", "arm bent in use").code == 0

    assert desk.type("paper", "evidence", "--item", tag, "--into", str(tmp_path)).code == 0
    assert desk.type("paper", "evidence", "--item", tag, "--xlsx", "--into", str(tmp_path)).code == 0

    said = " ".join(text_of((tmp_path / f"evidence-item-{tag}.pdf").read_bytes()))
    assert "arm bent in use" in said
    assert "How long records are kept" in said
    book = openpyxl.load_workbook(tmp_path / f"evidence-item-{tag}" / "sheets.xlsx", read_only=True)
    assert {"Holds", "Certificates", "Day book"} <= set(book.sheetnames)
    holds = list(book["Holds"].iter_rows(values_only=True))
    assert "arm bent in use" in holds[1]
    assert any("hold opened" in row for row in book["Day book"].iter_rows(values_only=True))
    book.close()


def test_the_sheets_come_with_the_files_as_they_were_received(
    room: Room, shop: Shop, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told, keyboard = Told(shop), Keyboard(room.settings.database, capsys)
    answer = keyboard.type("paper", "evidence", "--item", told.tag, "--csv", "--into", str(tmp_path), by="S1")
    assert answer.code == 0, answer
    kept = {path.suffix: path.read_bytes() for path in tmp_path.rglob("0000*")}
    assert kept == {".csv": b"stage,pressure,torque\n", ".png": photograph()}
    assert all(str(path) in answer.out for path in tmp_path.rglob("0000*"))


def test_what_cannot_be_printed_is_one_sentence(desk: Desk, tmp_path: Path) -> None:
    tag = desk.wrench()
    into = ("--into", str(tmp_path))
    assert desk.refused("paper", "evidence", *into) == "Name one item (--item) or one job (--job)."
    assert "one job" in desk.refused("paper", "evidence", "--item", tag, "--job", "J", *into)
    assert "cannot be written" in desk.refused("paper", "card", tag, "--into", str(tmp_path / "none"))
    assert "NOPE" in desk.refused("paper", "evidence", "--job", "NOPE", *into)
    assert list(tmp_path.iterdir()) == []
