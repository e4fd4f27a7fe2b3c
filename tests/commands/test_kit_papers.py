"""Kit sheets as they are typed: the reserved kit or a named one, and what is refused."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest

from fleet import records
from tests.commands.typed import Answer, Keyboard
from tests.lists.rack import INCH, RUST, Rack, build
from tests.papers.test_kit_sheets import text_of

if TYPE_CHECKING:
    from pathlib import Path

    from fleet.room import Room
    from tests.shop import Clock, Shop


class Printer:
    """A rack with a planned joint, and a keyboard."""

    def __init__(self, rack: Rack, keyboard: Keyboard, folder: Path) -> None:
        self.rack, self.keyboard, self.folder = rack, keyboard, folder

    def type(self, *words: str) -> Answer:
        return self.keyboard.type(*words, by="P1")

    def sheet(self, *more: str, joint: str = "F-1") -> Answer:
        return self.type("paper", "kit", "--job", "J-1", "--joint", joint, *more, "--into", str(self.folder))

    @property
    def tags(self) -> list[str]:
        return [thing.tag for thing in self.rack.kit.values()]


@pytest.fixture
def printer(
    room: Room, shop: Shop, clock: Clock, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> Printer:
    # The program goes by the real clock.
    clock.now = datetime.now(UTC).replace(microsecond=0) - timedelta(minutes=5)
    rack = build(room, shop)
    for mark, factor in (("F-1", 1.5), ("F 2/b", 1.5), ("F-3", None)):
        shop.put(
            records.JointRow,
            job_id=1,
            mark=mark,
            bolts=24,
            torque_written="1,000 N·m",
            torque_nm=1000.0,
            across_flats_mm=2.375 * INCH,
            loosening_factor=factor,
            loosening_reason=factor and RUST,
        )
    return Printer(rack, Keyboard(room.settings.database, capsys), tmp_path)


def test_the_sheet_of_a_named_kit_is_laid_into_the_folder(printer: Printer) -> None:
    answer = printer.sheet(*printer.tags, "--percents", "50,100")
    assert answer.code == 0, answer
    (path,) = printer.folder.iterdir()
    assert answer.out.strip() == str(path)
    assert path.name == "kit-J-1-F-1.pdf"
    text = text_of(path.read_bytes())
    assert "Set pressure 5,077 psi" in text
    assert "50 %" in text
    assert "Printed by Pat Planner" in text
    again = printer.sheet(*printer.tags)
    assert (again.code, "is there already" in again.err) == (3, True)


def test_without_names_it_is_the_reserved_kit(printer: Printer) -> None:
    none = printer.sheet()
    assert (none.code, none.err.strip()) == (
        3,
        "Nothing is reserved for F-1 of J-1. Reserve its kit, or name it.",
    )
    assert printer.type("reserve", *printer.tags, "--job", "J-1", "--joint", "F-1").code == 0
    answer = printer.sheet()
    assert answer.code == 0, answer
    text = text_of((printer.folder / "kit-J-1-F-1.pdf").read_bytes())
    assert all(f"{tag[:-1]}-{tag[-1]}" in text for tag in printer.tags)


def test_a_kit_that_may_not_be_used_is_printed_as_such_and_refused(printer: Printer) -> None:
    tags = [tag for tag in printer.tags if tag != printer.rack.kit["gauge"].tag]
    answer = printer.sheet(*tags, joint="F 2/b")
    assert answer.code == 3
    assert answer.err.strip() == "This kit may not be used on F 2/b as it stands; the sheet says why."
    assert "DO NOT USE" in text_of((printer.folder / "kit-J-1-F-2-b.pdf").read_bytes())


def test_what_cannot_be_printed_is_one_sentence(printer: Printer) -> None:
    for answer, why in (
        (printer.sheet(*printer.tags, joint="F-9"), "has no joint 'F-9'"),
        (printer.sheet(*printer.tags, joint="F-3"), "No loosening factor is planned"),
        (printer.sheet("10009-9"), "10009"),
        (printer.sheet(*printer.tags, "--percents", "some"), "some"),
    ):
        assert answer.code == 3, answer
        assert why in answer.err
        assert answer.err.count("\n") == 1
    assert list(printer.folder.iterdir()) == []
