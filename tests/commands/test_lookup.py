"""Looking things up, as it is typed: sites, people, models, items, jobs."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest

from fleet import records
from fleet.measures.tags import show_tag
from fleet.measures.times import show_day

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tests.commands.typed import Desk

# Figures that have no unit: shares and ratios.
BARE = {"use_left", "burst_ratio", "loosening_factor"}
UNITS = ("_mpa", "_nm", "_mm", "_percent")
MEASURE = re.compile(r"[0-9][0-9.,/ ]* ?(psi|bar|MPa|N·m|lbf·ft|mm|in)\b.*")


@pytest.fixture
def full(desk: Desk) -> Desk:
    """One thing of every sort on record."""
    shop, put = desk.shop, desk.shop.put
    coupling = put(
        records.CouplingRow, series="A", size="3/8 in", mwp_written="700 bar", mwp_mpa=70.0, flush_face=False
    )
    for line in ("advance", "retract"):
        put(records.PortRow, model_id=desk.model, line=line, faces="pump", coupling_id=coupling, half="male")
    for kind in ("pump", "hose", "coupler", "gauge", "socket"):
        shop.item(shop.model(kind, f"M-{kind}"), desk.site)
    joint: dict[str, Any] = {"mark": "F-1", "bolts": 8, "torque_written": "1000 lbf·ft", "torque_nm": 1355.8}
    reason = {"loosening_factor": 1.5, "loosening_reason": "Rusted studs"}
    put(records.JointRow, job_id=desk.job, thread="1-8 UNC", across_flats_mm=41.3, **joint, **reason)
    tag = desk.wrench()
    desk.type("reserve", tag, "--job", "J-1", "--joint", "f-1")
    desk.type("note-use", tag, "--cycles", "40", "--note", "Test run after repair")
    return desk


LISTS = [
    "sites",
    "people",
    "models",
    "model W-2000",
    "model M-pump",
    "model M-gauge",
    "items",
    "item {tag}",
    "jobs",
    "job J-1",
    "reservations",
    "due --within 60w",
    "usage {tag}",
]


def figures(value: Any, key: str = "") -> Iterator[tuple[str, Any]]:  # noqa: ANN401  Any JSON.
    """Every plain value with its key."""
    if isinstance(value, dict):
        for name, inner in value.items():
            yield from figures(inner, name)
    elif isinstance(value, list):
        for inner in value:
            yield from figures(inner, key)
    else:
        yield key, value


def test_every_measure_in_json_names_its_unit_and_what_is_written_says_so(full: Desk) -> None:
    tag = full.type("items", "--kind", "wrenches", "--json").json[0]["tag"]
    written = set()
    for words in LISTS:
        answer = full.type(*words.format(tag=tag).split(), "--json")
        assert answer.code == 0, answer
        for key, value in figures(answer.json):
            if isinstance(value, float):
                assert key in BARE or key.endswith(UNITS), (words, key)
            elif isinstance(value, str) and MEASURE.fullmatch(value):
                assert key.endswith("_written") or key == "size", (words, key, value)
                written.add(key)
    assert {"mwp_advance_written", "torque_written", "pressure_written", "relief_advance_written"} <= written


def test_every_list_is_a_table_with_headings(full: Desk) -> None:
    tag = full.type("items", "--kind", "wrench", "--json").json[0]["tag"]
    for words in LISTS:
        answer = full.type(*words.format(tag=tag).split())
        assert (answer.code, answer.err) == (0, ""), words
        assert len(answer.out.splitlines()) >= 2, words
        assert "None" not in answer.out, words
        assert "{" not in answer.out, words


def test_a_site_shows_its_day_and_its_units(desk: Desk) -> None:
    shown = " ".join(desk.type("sites").out.splitlines()[1].split())
    assert shown == f"NORTH North tool room America/Chicago {show_day(desk.today)} psi lbf·ft"


def test_a_model_shows_its_plate_as_printed_and_its_chart(full: Desk) -> None:
    shown = " ".join(full.type("model", "w-2000").out.split())
    assert "Maximum working pressure, advance 700 bar / 10,000 psi" in shown
    assert "pump advance male A 3/8 in 700 bar" in shown
    assert "all 70.0 MPa 2100.0 N·m plate" in shown


def test_an_items_own_chart_stands_under_its_tag(full: Desk) -> None:
    item, tag = full.shop.item(full.model, full.site)
    full.shop.chart(full.model, [(70.0, 1900.0)], item=item)
    assert f"{show_tag(tag)}  70.0 MPa" in full.type("model", "W-2000").out


def test_an_item_says_whether_it_may_go_out_today(desk: Desk) -> None:
    good, late, kept = desk.wrench(), desk.wrench(400), desk.wrench()
    desk.type("reserve", kept, "--job", "J-1", by="P1")

    def today(tag: str) -> str:
        lines = desk.type("item", tag).out.splitlines()
        return next(line for line in lines if line.strip().startswith("Today"))

    assert today(good).endswith("may go out")
    assert today(late).endswith("stays in")
    assert today(kept).endswith("may go out for J-1 only")
    assert desk.type("item", late, "--json").json["goes_out"] is False


def test_items_say_where_they_are(desk: Desk) -> None:
    out, held, _ = desk.wrench(), desk.wrench(), desk.wrench(shelf=None)
    desk.type("issue", out, "--to", "F1", "--job", "J-1", "--back", str(desk.day(1)), "--yes")
    desk.type("hold", held, "--reason", "Crack at the drive")

    shown = desk.type("items", "--site", "north", "--kind", "WRENCHES").out

    where = sorted(line.split("NORTH")[1].strip() for line in shown.splitlines()[1:])
    assert where == ["A1, on hold", "in", "out: Fin Fitter, J-1"]
    assert desk.type("items", "--about", show_tag(out), "--json").json[0]["tag"] == out
    assert desk.type("items", "--about", "nothing like it").out == "Nothing.\n"


def test_a_job_shows_its_joints_and_what_is_kept_for_it(full: Desk) -> None:
    shown = full.type("job", "j-1").out
    assert "F-1" in shown
    assert "1,000 lbf·ft" in shown
    assert "1.5 × (Rusted studs)" in shown
    assert full.type("job", "J-1", "--json").json["reservations"][0]["joint"] == "F-1"


def test_past_jobs_are_shown_when_asked_for(desk: Desk) -> None:
    desk.shop.job(desk.site, "OLD-1", days=2, starts_at=desk.shop.room.clock() - timedelta(days=30))
    assert [job["code"] for job in desk.type("jobs", "--json").json] == ["J-1"]
    assert [job["code"] for job in desk.type("jobs", "--past", "--json").json] == ["OLD-1", "J-1"]


NOT_THERE = [
    ("item 10427-2", "No item has the tag 10427-2."),
    ("item scrap", "Nor does any item have the serial number 'scrap'."),
    ("model W-9", "There is no model 'W-9'. See: fleet models"),
    ("models --kind valve", "'valve' is not a kind of equipment. Known: wrench, pump, hose"),
    ("items --kind valves", "is not a kind of equipment"),
    ("items --site EAST", "There is no site 'EAST'. Known: NORTH."),
    ("job J-9", "There is no job 'J-9'. See: fleet jobs"),
    ("reservations --job J-9", "There is no job 'J-9'. See: fleet jobs"),
    ("usage 99999", "its last figure does not fit"),
]


def test_what_is_not_there_is_named(desk: Desk, subtests: pytest.Subtests) -> None:
    for words, said in NOT_THERE:
        with subtests.test(words):
            assert said in desk.refused(*words.split())
