"""Calendar files as they are typed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from icalendar import Calendar

if TYPE_CHECKING:
    from pathlib import Path

    from tests.commands.typed import Desk


def test_a_site_and_a_job_each_have_a_calendar(desk: Desk, tmp_path: Path) -> None:
    tag = desk.wrench()
    assert desk.type("reserve", tag, "--job", "J-1", by="P1").code == 0
    into = tmp_path / "north.ics"

    answer = desk.type("calendar", "--into", str(into))
    assert answer.out.strip() == f"Written into {into}: 1 due day, 1 job, 1 reservation."
    assert len(Calendar.from_ical(into.read_bytes()).walk("VEVENT")) == 3
    # An older one is replaced.
    answer = desk.type("calendar", "--job", "j-1", "--into", str(into))
    assert answer.out.strip() == f"Written into {into}: 0 due days, 1 job, 1 reservation."


def test_a_reservation_set_free_is_called_off(desk: Desk, tmp_path: Path) -> None:
    tag = desk.wrench()
    assert desk.type("reserve", tag, "--job", "J-1", by="P1").code == 0
    assert desk.type("set-free", tag, "--job", "J-1", "--reason", "not needed any more", by="P1").code == 0
    assert desk.type("calendar", "--job", "J-1", "--into", str(tmp_path / "a.ics")).code == 0
    read = Calendar.from_ical((tmp_path / "a.ics").read_bytes())
    assert [one["status"] for one in read.walk("VEVENT") if "status" in one] == ["CANCELLED"]


def test_what_cannot_be_written_is_one_sentence(desk: Desk, tmp_path: Path) -> None:
    into = ("--into", str(tmp_path / "a.ics"))
    assert "a job has its site" in desk.refused("calendar", "--site", "NORTH", "--job", "J-1", *into)
    assert "NOPE" in desk.refused("calendar", "--job", "NOPE", *into)
    assert "cannot be written" in desk.refused("calendar", "--into", str(tmp_path / "no" / "a.ics"))
    assert desk.type("calendar").code == 2
    assert list(tmp_path.iterdir()) == []
