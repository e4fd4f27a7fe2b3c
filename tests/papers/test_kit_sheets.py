"""The kit sheet: the same figures as the kit check, and no setting for a kit that may not be used."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

import pypdfium2
import pytest
from sqlalchemy import update

from fleet import records
from fleet.lists.jobs import find_job, find_joint
from fleet.lists.kit_sheets import KitSheet, kept_kit, kit_sheet
from fleet.lists.sites import find_site
from fleet.measures.times import show_day, zone
from fleet.papers.evidence import Printed
from fleet.papers.kit_sheets import kit_paper
from fleet.records.base import rows_of
from fleet.refusals import NotPossible, Unreadable
from fleet.rules.cautions import FOR_A_KIT
from fleet.rules.daybook import Seal
from tests.lists.rack import INCH, JOINT, PSI_10_000, Rack, Thing, build
from tests.papers.told import HOSTILE
from tests.shop import NOON, TODAY, ZONE

if TYPE_CHECKING:
    from fleet.room import Room
    from fleet.rules.kits import JointFacts
    from tests.shop import Shop

PRINTED = Printed("Pat Planner", NOON, zone(ZONE), (Seal(0, 0, "0" * 64), Seal(1, 7, "ab" * 32)))
SOURCES = ("ISO 16028 and others",)


def text_of(pdf: bytes) -> str:
    with pypdfium2.PdfDocument(pdf) as document:
        pages = [page.get_textpage().get_text_bounded() for page in document]
    text = "\n".join(pages).replace("\u200b", "").replace("\ufffe", "")
    return " ".join(text.split()).replace("’", "'")


@dataclass
class Bench:
    """A kit on the rack, and a planned joint of 24 bolts."""

    rack: Rack
    joint: int

    def sheet(
        self,
        asked: JointFacts = JOINT,
        percents: tuple[float, ...] = (30.0, 60.0, 100.0),
        left_out: str = "",
        **swapped: Thing,
    ) -> KitSheet:
        kit = {kind: thing for kind, thing in (self.rack.kit | swapped).items() if kind != left_out}
        with self.rack.room.look() as db:
            job = find_job(db, "J-1")
            site, planned = find_site(db, job.site), find_joint(db, job, "F-1")
            ids = [thing.item for thing in kit.values()]
            return kit_sheet(db, site, job, planned, asked, ids, percents, now=self.rack.room.now(db))

    def change(self, entity: type[records.Base], key: int, **values: object) -> None:
        table = rows_of(entity)
        with self.rack.room.act() as db:
            db.execute(update(table).where(table.c.id == key).values(**values))

    def keep(self, *things: Thing, joint: int | None = None, **values: object) -> None:
        for thing in things:
            kept = {
                "client_id": f"r{next(self.rack.shop.numbers)}",
                "item_id": thing.item,
                "job_id": 1,
                "joint_id": joint,
                "starts_at": NOON,
                "ends_at": NOON + timedelta(days=3),
                "reserved_at": NOON,
                "reserved_by_id": 1,
            }
            self.rack.shop.put(records.ReservationRow, **(kept | values))


@pytest.fixture
def bench(room: Room, shop: Shop) -> Bench:
    rack = build(room, shop)
    joint = shop.put(
        records.JointRow,
        job_id=1,
        mark="F-1",
        bolts=24,
        thread="1 1/2-8 UN",
        torque_written="1,000 N·m",
        torque_nm=1000.0,
        across_flats_mm=2.375 * INCH,
    )
    return Bench(rack, joint)


def said(sheet: KitSheet) -> str:
    return text_of(kit_paper(sheet, PRINTED, SOURCES))


def test_the_settings_are_those_of_the_kit_check(bench: Bench) -> None:
    sheet = bench.sheet()
    assert sheet.check == bench.rack.check()
    assert sheet.check.usable
    # The wrench gives 2,000 N·m at 70 MPa on a straight chart from 200 N·m at 7 MPa.
    at = [one.plan.reading and one.plan.reading.pressure_mpa for one in sheet.passes]
    assert at == pytest.approx([10.5, 21.0, 35.0, 35.0])
    last = sheet.passes[-1]
    assert (last.setting, last.plan.circular) == (sheet.check.kit.gauge_setting, True)
    assert sheet.uncertainty is not None
    assert sheet.uncertainty.pressure_mpa == pytest.approx(35.0)
    assert sheet.no_passes is None


def test_the_paper_says_it_all_and_each_page_its_place(bench: Bench) -> None:
    pdf = kit_paper(bench.sheet(replace(JOINT, tolerance_percent=5.0)), PRINTED, SOURCES)
    text = text_of(pdf)
    # 35 MPa are 5,076.3 psi and 1,000 N·m are 737.56 lbf·ft (NIST SP 811, B.8).
    for words in (
        "Kit sheet: J-1, F-1",
        "24 bolts 1 1/2-8 UN, 60.32 mm (2 3/8 in) across flats",
        "Set pressure 5,077 psi",
        "Target torque 737.6 lbf·ft",
        "Cross order, bolts numbered round the flange: 1, 13, 7, 19, 4, 16, 10, 22,",
        "Pass 4: Repeat until no nut turns.",
        "covered, margin 25 %",
        "± 5 %",
        "the wrench taken as within ±3 %",
        "no gauge on record",
        "the reaction arm of the wrench is not on record",
        "Advance line",
        "Retract line",
        "male A 3/8 in to female A 3/8 in",
        "limits the line",
        "Page 1 of 2",
        "Page 2 of 2",
        "Printed by Pat Planner, 13 May 2026 12:00 (CDT)",
        "chain 1: 7 · abababababababab",
        "ISO 16028 and others",
    ):
        assert words in text, words
    assert all(caution.replace("’", "'") in text for caution in FOR_A_KIT)
    assert "DO NOT USE" not in text
    with pypdfium2.PdfDocument(pdf) as document:
        assert document.is_tagged()


def test_the_percentages_are_the_planners(bench: Bench) -> None:
    shares = [one.plan.percent for one in bench.sheet(percents=(50.0, 100.0)).passes]
    assert shares == [50.0, 100.0, 100.0]
    refused = bench.sheet(percents=(50.0, 40.0))
    assert refused.passes == ()
    assert "must rise and end at 100 %" in said(refused)


def test_a_pass_below_the_chart_has_no_setting(bench: Bench) -> None:
    sheet = bench.sheet(percents=(10.0, 100.0))
    assert sheet.passes[0].setting is None
    assert "Pass 1: Below the lowest point of the chart" in said(sheet)


def test_a_joint_of_two_bolts_has_no_pattern_and_says_so(bench: Bench) -> None:
    bench.change(records.JointRow, bench.joint, bolts=2)
    sheet = bench.sheet()
    assert sheet.check.usable
    assert "A flange with 2 bolts" in said(sheet)


def test_metric_sites_read_bar_and_newton_metres(bench: Bench) -> None:
    bench.change(records.SiteRow, bench.rack.site, pressure_unit="bar", torque_unit="N·m")
    text = said(bench.sheet())
    assert "Set pressure 350 bar" in text
    assert "Target torque 1,000 N·m" in text
    assert "psi" not in text


def test_the_force_at_the_reaction_point_is_torque_over_arm(bench: Bench) -> None:
    with bench.rack.room.look() as db:
        model = db.execute(
            rows_of(records.ItemRow).select().where(records.ItemRow.id == bench.rack.kit["wrench"].item)
        ).one()
    bench.change(records.ModelRow, model.model_id, arm_mm=200.0, arm_written="200 mm")
    sheet = bench.sheet()
    assert sheet.reaction is not None
    # Statics: 1,000 N·m over 0.2 m, and 2,000 N·m over it.
    assert sheet.reaction.at_target_n == pytest.approx(5000.0)
    assert sheet.reaction.at_most_n == pytest.approx(10000.0)
    assert "5 kN (1,124 lbf) at the target torque" in said(sheet)
    assert "arm 200 mm" in said(sheet)


@pytest.mark.parametrize("fault", ["weak", "misfit", "relief", "no gauge"])
def test_a_kit_that_may_not_be_used_says_do_not_use_and_no_setting(bench: Bench, fault: str) -> None:
    rack = bench.rack
    if fault == "weak":
        sheet, why = bench.sheet(wrench=rack.wrench(1200.0)), "take a larger wrench, never more pressure"
    elif fault == "misfit":
        rack.coupling("B")
        sheet, why = bench.sheet(hose=rack.thing("hose", "B")), "DOES NOT FIT"
    elif fault == "relief":
        weaker = rack.thing("hose", mwp_advance_mpa=PSI_10_000)
        sheet, why = bench.sheet(hose=weaker), "lower the relief setting"
    else:
        sheet, why = bench.sheet(left_out="gauge"), "no gauge on the advance line"

    pdf = kit_paper(sheet, PRINTED, SOURCES)
    text = text_of(pdf)
    with pypdfium2.PdfDocument(pdf) as document:
        assert text.count("DO NOT USE") == 1 + len(document)  # On each page, and once large.
    assert why in text
    assert (sheet.passes, sheet.uncertainty) == ((), None)
    assert "Set pressure" not in text
    assert "On the gauge" not in text
    assert "Passes" not in text
    assert "Cover " not in text


def test_an_item_that_stays_in_is_a_reason_by_its_tag(bench: Bench) -> None:
    hose = bench.rack.kit["hose"]
    bench.rack.shop.put(
        records.HoldRow, item_id=hose.item, cause="damaged", reason="cover is cut", opened_at=NOON
    )
    text = said(bench.sheet())
    assert "DO NOT USE" in text
    assert f"{hose.tag[:-1]}-{hose.tag[-1]}: On hold" in text


def test_what_falls_due_inside_the_job_is_said(bench: Bench) -> None:
    task = bench.rack.shop.task("inspection", "hose", every_months=6)
    hose = bench.rack.kit["hose"]
    bench.rack.shop.did(hose.item, task, TODAY - timedelta(days=178))
    sheet = bench.sheet()
    due = {item.kind: item.due for item in sheet.items}["hose"]
    assert due is not None
    assert due.inside
    # Six months after 16 Nov 2025.
    assert f"inspection {show_day(due.on)}, INSIDE THE JOB" in said(sheet)
    assert show_day(due.on) == "16 May 2026"


def test_the_gauge_it_was_calibrated_with_is_named(bench: Bench) -> None:
    sheet = bench.sheet()
    gauge = f"gauge {bench.rack.kit['gauge'].tag[:-1]}-{bench.rack.kit['gauge'].tag[-1]}"
    assert f"{gauge}, which is in this kit" in said(replace(sheet, paired=gauge))
    assert "gauge 9999-9, NOT in this kit" in said(replace(sheet, paired="gauge 9999-9"))


def test_words_of_people_are_never_read_as_markup(bench: Bench) -> None:
    sheet = bench.sheet()
    long = f"{HOSTILE} {'very-long-designation-' * 12}"
    text = said(
        replace(
            sheet,
            site_name=HOSTILE,
            items=tuple(replace(item, model=long, serial=long) for item in sheet.items),
            pieces=tuple(replace(piece, model=long) for piece in sheet.pieces),
        )
    )
    assert text.count('#panic("x") *bold* <a>') >= 3


def test_the_same_record_gives_the_same_paper(bench: Bench) -> None:
    sheet = bench.sheet()
    assert kit_paper(sheet, PRINTED, SOURCES) == kit_paper(sheet, PRINTED, SOURCES)


def test_the_kit_is_what_is_kept_for_the_joint_or_for_its_job(bench: Bench) -> None:
    kit = bench.rack.kit
    other = bench.rack.shop.put(
        records.JointRow, job_id=1, mark="F-2", bolts=8, torque_written="900 N·m", torque_nm=900.0
    )
    with bench.rack.room.look() as db:
        job = find_job(db, "J-1")
        joint = find_joint(db, job, "F-1")
        with pytest.raises(NotPossible, match=r"Nothing is reserved for F-1 of J-1\."):
            kept_kit(db, job, joint)
    bench.keep(kit["wrench"], joint=bench.joint)
    bench.keep(kit["pump"])
    bench.keep(kit["hose"], joint=other)
    bench.keep(kit["gauge"], joint=bench.joint, ended_at=NOON, ended_by_id=1, end_reason="another is taken")
    with bench.rack.room.look() as db:
        found = kept_kit(db, find_job(db, "J-1"), find_joint(db, find_job(db, "J-1"), "F-1"))
    assert sorted(found) == sorted([kit["wrench"].item, kit["pump"].item])


def test_of_several_reserved_kits_one_has_to_be_named(bench: Bench) -> None:
    bench.keep(bench.rack.kit["wrench"], bench.rack.wrench(3000.0), joint=bench.joint)
    with bench.rack.room.look() as db, pytest.raises(NotPossible) as refused:
        kept_kit(db, find_job(db, "J-1"), find_joint(db, find_job(db, "J-1"), "F-1"))
    assert str(refused.value) == (
        "2 wrenches are reserved for F-1 of J-1. A sheet is for one kit: name its items."
    )


def test_a_factor_that_makes_no_sense_is_refused(bench: Bench) -> None:
    with pytest.raises(Unreadable, match="lies outside"):
        bench.sheet(replace(JOINT, loosening_factor=50.0))
