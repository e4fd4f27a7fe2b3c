"""The invented scenario: it loads without a refusal on any day, and its stories are in it."""

from __future__ import annotations

import csv
import re
from collections import Counter, defaultdict
from datetime import date, timedelta
from typing import TYPE_CHECKING

import pytest

from fleet.bolting.findings import Severity
from fleet.bolting.loosening import CoverState
from fleet.bolting.threads import NutSeries, across_flats_mm, read_thread
from fleet.commands.seeding import (
    SHEETS,
    fill,
    moment_of,
    read_all,
    seed_folder,
    sheets_of,
    write_sheets,
)
from fleet.desk.returns import ReturnSlip, take_back
from fleet.lists.breakouts import measured_of
from fleet.lists.due import due
from fleet.lists.items import find_item, item_facts
from fleet.lists.jobs import find_job, find_joint
from fleet.lists.kits import KitCheck, check_kit, window_of
from fleet.lists.planned import planned_use
from fleet.lists.sites import find_site
from fleet.measures.quantities import Kind, read_measure
from fleet.measures.tags import make_tag, read_tag
from fleet.rules.kits import JointFacts
from fleet.rules.loans import Wish, judge

if TYPE_CHECKING:
    from pathlib import Path

    from sqlalchemy.engine import Connection

    from fleet.room import Room
    from tests.shop import Clock

# Kits that were kept and must never be put under pressure.
UNSAFE = {("NB-143", "K-3 cylinder head"), ("NB-144", "12 in flanges, class 300")}
# A plain Wednesday, a leap day, and a year's end.
DAYS = (date(2026, 5, 13), date(2028, 2, 29), date(2027, 12, 31))


def sheet(name: str) -> list[dict[str, str]]:
    with (seed_folder() / f"{name}.csv").open(newline="", encoding="utf-8") as rows:
        return list(csv.DictReader(rows))


def day_of(text: str) -> int:
    return int(text[1:] or 0)


KINDS = {row["Model"]: row["Kind"] for row in sheet("models")}


# --- What is written ----------------------------------------------------------------------------------------


def test_the_scenario_is_as_large_as_it_says() -> None:
    kinds = Counter(KINDS[row["Model"]] for row in sheet("items"))
    assert len(sheet("items")) >= 240
    assert kinds["wrench"] >= 60
    assert sum(kind == "wrench" for kind in KINDS.values()) >= 12
    assert sum(kind == "pump" for kind in KINDS.values()) >= 5
    assert len(sheet("jobs")) >= 30
    assert len(sheet("joints")) >= 60
    assert len(sheet("use")) >= 6000
    assert min(day_of(row["Used on"]) for row in sheet("use")) <= -700


def test_every_wrench_model_has_a_chart() -> None:
    charted = {row["Model"] for row in sheet("charts")}
    assert {model for model, kind in KINDS.items() if kind == "wrench"} == charted


def test_wrenches_reach_from_half_to_thirty_five_kilonewton_metres() -> None:
    top: dict[str, float] = defaultdict(float)
    for row in sheet("charts"):
        top[row["Model"]] = max(top[row["Model"]], read_measure(row["Torque"], Kind.TORQUE).base)
    assert min(top.values()) == pytest.approx(540)
    assert max(top.values()) == pytest.approx(34980, rel=0.001)


def test_every_tag_bears_its_check_digit_and_is_given_once() -> None:
    tags = [read_tag(row["Tag"]) for row in sheet("items")]
    assert all(tag == make_tag(int(tag[:-1])) for tag in tags)
    assert len(set(tags)) == len(tags)


def test_no_sheet_holds_a_date_of_the_calendar() -> None:
    absolute = re.compile(r"(19|20)[0-9]{2}-[0-9]{2}-[0-9]{2}")
    found = [name for name in SHEETS if absolute.search((seed_folder() / f"{name}.csv").read_text("utf-8"))]
    assert found == []


def test_text_is_plain_enough_for_any_spreadsheet() -> None:
    allowed = {"·"}
    odd = {
        char
        for name in SHEETS
        for char in (seed_folder() / f"{name}.csv").read_text("utf-8")
        if not char.isascii() and char not in allowed
    }
    assert odd == set()


def test_the_nut_of_every_joint_has_the_width_its_standard_gives() -> None:
    # ASME B18.2.2, ISO 4032, DIN 934 and ASME B18.2.4.6M, as held in the table of nuts and tested there.
    for row in sheet("joints"):
        standard = across_flats_mm(read_thread(row["Thread"]), NutSeries(row["Nut series"]))
        assert read_measure(row["Across flats"], Kind.LENGTH).base == pytest.approx(standard), row["Joint"]


def test_loosening_factors_have_reasons_of_more_than_a_word() -> None:
    for row in sheet("joints"):
        assert bool(row["Loosening factor"]) == (len(row["Loosening reason"]) >= 10), row["Joint"]


# --- The history --------------------------------------------------------------------------------------------


def test_use_lies_within_its_job_and_nothing_was_at_two_jobs_at_once() -> None:
    windows = {row["Job"]: (day_of(row["Start"]), day_of(row["End"])) for row in sheet("jobs")}
    places: dict[tuple[str, str], set[str]] = defaultdict(set)
    for row in sheet("use"):
        if row["Job"]:
            first, last = windows[row["Job"]]
            assert first <= day_of(row["Used on"]) <= min(last, -1), row
            places[row["Tag"], row["Used on"]].add(row["Job"])
    assert [place for place, met in places.items() if len(met) > 1] == []


def test_nothing_happened_to_a_piece_before_it_came() -> None:
    came = {row["Tag"]: day_of(row["Received"]) for row in sheet("items")}
    for name, column in (("use", "Used on"), ("upkeep_done", "Done on"), ("holds", "Opened on")):
        early = [row for row in sheet(name) if day_of(row[column]) < came[row["Tag"]]]
        assert early == [], name


def test_nothing_was_used_while_it_was_on_hold() -> None:
    used = defaultdict(set)
    for row in sheet("use"):
        used[row["Tag"]].add(day_of(row["Used on"]))
    for row in sheet("holds"):
        last = day_of(row["Released on"]) if row["Released on"] else 0
        assert not used[row["Tag"]] & set(range(day_of(row["Opened on"]), last)), row


def test_nothing_was_used_more_than_a_year_after_its_calibration() -> None:
    done = defaultdict(list)
    for row in sheet("upkeep_done"):
        if row["Task"] == "calibration":
            done[row["Tag"]].append(day_of(row["Done on"]))
    for row in sheet("use"):
        if row["Job"] and row["Tag"] in done:
            day = day_of(row["Used on"])
            assert day - max(one for one in done[row["Tag"]] if one <= day) <= 365, row


# --- Rendered and loaded ------------------------------------------------------------------------------------


def test_days_count_from_the_chosen_one() -> None:
    text = dict(sheets_of(date(2028, 2, 29)))["jobs.csv"]
    assert "NB-141,Reactor R-12 top manway,NORTH,2028-02-27,2028-03-03" in text


@pytest.mark.parametrize("day", DAYS, ids=str)
def test_the_scenario_loads_without_a_refusal_and_its_stories_hold(
    room: Room, clock: Clock, day: date, tmp_path: Path
) -> None:
    clock.now = moment_of(day)
    report = fill(room, read_all(write_sheets(tmp_path, day)), lambda *_: None)
    assert report.rejected == 0
    assert sum(table.new for table in report.tables) == sum(len(sheet(name)) for name in SHEETS)
    with room.look() as db:
        the_week_has_all_three_sorts_of_due(db, day)
        one_kit_covers_its_joint_and_the_other_needs_a_larger_wrench(db)
        for_one_joint_a_wrench_must_be_hired(db)
        a_hose_past_its_life_stays_in(db, day)
        flush_faces_fit_and_fail(db)
        a_hose_marked_in_psi_is_too_weak_for_700_bar(db)
        every_kept_kit_fits_together(db)
        what_was_measured_is_offered_the_next_time(db)
        strokes_are_worked_out_where_no_cycles_were_planned(db)
    a_return_makes_a_calibration_due(room)


def the_week_has_all_three_sorts_of_due(db: Connection, day: date) -> None:
    found = due(db, find_site(db, "NORTH").id, until=day + timedelta(days=7), today=day)
    overdue = {line.tag: line for line in found if line.overdue(day)}
    coming = Counter(line.by for line in found if not line.overdue(day))
    # By calendar, by calendar of its assembly, by cycles, by pump hours, and one that is out with somebody.
    assert {"201144", "201642", "201056", "201440", "201290"} <= set(overdue)
    assert overdue["201290"].holder == "Lonnie Crabtree-Moss"
    assert coming["calendar"] >= 5
    assert coming["use"] >= 1
    assert len(found) <= 40


def check(db: Connection, job: str, mark: str, *, of: str = "") -> KitCheck:
    """The kit kept for a joint, or for another one, held against the joint."""
    found = find_job(db, job)
    joint = find_joint(db, found, mark)
    assert joint.loosening_factor is not None
    assert joint.loosening_reason is not None
    asked = JointFacts(
        joint.mark,
        joint.torque_nm,
        joint.loosening_factor,
        joint.loosening_reason,
        joint.across_flats_mm,
        joint.tolerance_percent,
    )
    kept = [row["Tag"] for row in sheet("reservations") if (row["Job"], row["Joint"]) == (job, of or mark)]
    ids = [find_item(db, tag).id for tag in kept]
    return check_kit(db, ids, asked, window_of(found, find_site(db, found.site)), now=found.starts_at)


def codes(answer: KitCheck) -> set[str]:
    return {finding.code for finding in answer.kit.findings if finding.severity is Severity.HARD}


def one_kit_covers_its_joint_and_the_other_needs_a_larger_wrench(db: Connection) -> None:
    covered = check(db, "NB-142", "E-204 channel")
    assert covered.usable, covered
    assert covered.kit.covered is CoverState.COVERED
    small = check(db, "NB-142", "E-204 shell cover")
    assert small.kit.tightening is not None
    assert small.kit.tightening.state is CoverState.COVERED
    assert codes(small) == {"not-covered"}
    assert small.instead is not None
    assert small.instead.model == "WSQ-110"


def for_one_joint_a_wrench_must_be_hired(db: Connection) -> None:
    answer = check(db, "NB-147", "T-4 steam chest cover")
    assert answer.instead is None
    assert answer.hire is not None
    assert "2 1/2 in square drive" in answer.hire


def a_hose_past_its_life_stays_in(db: Connection, day: date) -> None:
    hose = find_item(db, "20164-2")
    facts = item_facts(db, [hose.id], now=moment_of(day))[hose.id]
    verdict = judge(facts, Wish("NB-143", "NORTH", day, day + timedelta(days=5)))
    assert hose.holder is None
    assert any(f.severity is Severity.HARD and "Replacement" in f.sentence for f in verdict.findings)


def flush_faces_fit_and_fail(db: Connection) -> None:
    answer = check(db, "NB-143", "K-3 cylinder head")
    assert all(joint.fits for joint in answer.kit.circuit.connections)
    assert "flush-face" in codes(answer)
    assert not answer.usable


def a_hose_marked_in_psi_is_too_weak_for_700_bar(db: Connection) -> None:
    answer = check(db, "NB-144", "12 in flanges, class 300")
    assert codes(answer) == {"relief-above-rating"}
    assert any("10,000 psi is 689.5 bar" in finding.sentence for finding in answer.kit.findings)


def every_kept_kit_fits_together(db: Connection) -> None:
    for job, mark in sorted({(row["Job"], row["Joint"]) for row in sheet("reservations")}):
        answer = check(db, job, mark)
        assert all(one.fits for one in answer.kit.circuit.connections), (job, mark)
        if (job, mark) not in UNSAFE:
            assert codes(answer) <= {"not-covered"}, (job, mark, codes(answer))


def what_was_measured_is_offered_the_next_time(db: Connection) -> None:
    before = measured_of(db, find_job(db, "NB-142"))["e-204 channel"]
    # The highest that counts was read at 4,900 psi: 4,018 lbf·ft; the one at 5,900 psi was withdrawn.
    assert before.count == 5
    assert before.highest_nm == pytest.approx(read_measure("4,018 lbf·ft", Kind.TORQUE).base)


def strokes_are_worked_out_where_no_cycles_were_planned(db: Connection) -> None:
    job = find_job(db, "NB-145")
    use = planned_use(db, [job.id])
    # 390 degrees in strokes of 28 are 14 for each of 30 nuts.
    assert use[find_item(db, "20132-9").id, job.id].cycles == 420
    assert use[find_item(db, "20138-8").id, job.id].minutes


def a_return_makes_a_calibration_due(room: Room) -> None:
    with room.act() as db:
        slip = ReturnSlip("story", "20110-1", None, None, "fine")
        by, now = room.sit(db, "N11")
        receipt = take_back(db, slip, by=by, now=now)
    assert receipt.cycles == 336
    assert receipt.due_by_use == ("calibration",)
