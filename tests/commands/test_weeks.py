"""The weeks as they are typed: a table, JSON, a picture, and what is refused."""

from __future__ import annotations

from typing import TYPE_CHECKING

from defusedxml.ElementTree import parse

from fleet import records

if TYPE_CHECKING:
    from pathlib import Path

    from tests.commands.typed import Desk


def fill(desk: Desk) -> tuple[str, str]:
    """A wrench kept for the job, one that is free, and a joint without one."""
    desk.shop.put(
        records.JointRow, job_id=desk.job, mark="F-1", bolts=8, torque_written="900 N·m", torque_nm=900.0
    )
    busy, free = desk.wrench(), desk.wrench()
    hose = desk.shop.item(desk.shop.model("hose", "H-6"), desk.site)[1]
    assert desk.type("reserve", hose, "--job", "J-1", by="P1").code == 0
    assert desk.type("hold", busy, "--cause", "damaged", "--reason", "arm bent in use").code == 0
    return busy, free


def shown(tag: str) -> str:
    return f"{tag[:-1]}-{tag[-1]}"


def test_the_weeks_as_a_table(desk: Desk) -> None:
    busy, free = fill(desk)
    answer = desk.type("plan", "weeks", "--weeks", "2")
    assert answer.code == 0, answer
    (held,) = [line for line in answer.out.splitlines() if line.strip().startswith(shown(busy))]
    assert held.count("on hold") == 2
    assert f"  nothing against {shown(free)}\n" in answer.out
    assert "J-1, F-1: 1 wrench short for 900 N·m" in answer.out
    assert "J-1" in answer.out.split("hose H-6\n")[1].split("wrench W-2000\n")[0]


def test_only_one_kind_and_the_same_in_json(desk: Desk) -> None:
    busy, free = fill(desk)
    found = desk.type("plan", "weeks", "--kind", "wrenches", "--from", "2027-01-01", "--json").json
    assert found["period"] == {"first_day": "2026-12-28", "weeks": 8}
    assert [item["tag"] for item in found["items"]] == [busy, free]
    assert found["items"][0]["stretches"][0]["sort"] == "on hold"
    assert found["shortages"] == []


def test_the_picture_is_drawn_into_a_file(desk: Desk, tmp_path: Path) -> None:
    fill(desk)
    answer = desk.type("plan", "weeks", "--picture", str(tmp_path / "weeks.svg"))
    assert answer.code == 0, answer
    assert f"Drawn into {tmp_path / 'weeks.svg'}." in answer.out
    root = parse(tmp_path / "weeks.svg").getroot()
    assert root is not None
    assert root.tag == "{http://www.w3.org/2000/svg}svg"


def test_what_cannot_be_shown_is_one_sentence(desk: Desk, tmp_path: Path) -> None:
    assert desk.refused("plan", "weeks", "--weeks", "0") == "0 weeks cannot be shown: ask for 1 to 53."
    assert "is not a day" in desk.refused("plan", "weeks", "--from", "soon")
    assert "is not a kind of equipment" in desk.refused("plan", "weeks", "--kind", "ladder")
    assert "cannot be written" in desk.refused("plan", "weeks", "--picture", str(tmp_path / "no" / "a.svg"))
    assert "NOPE" in desk.refused("plan", "weeks", "--site", "NOPE")


def test_an_empty_room_says_so(desk: Desk) -> None:
    answer = desk.type("plan", "weeks")
    assert "No item of this sort is on record at this site." in answer.out
