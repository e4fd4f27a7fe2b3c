"""Strokes from the plates on record, as they are typed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from tests.commands.typed import Desk


@dataclass
class Plates:
    """A wrench and a pump with all on their plates, and a wrench and a pump with nothing."""

    desk: Desk
    wrench: str
    pump: str
    bare: str
    unknown: str

    def ask(self, *words: str) -> dict[str, Any]:
        job = ("calc", "strokes", "--bolts", "12", "--turn-degrees", "90")
        answer = self.desk.type(*job, *words, "--json")
        assert answer.code == 0, answer.err
        found: dict[str, Any] = answer.json
        return found

    def refused(self, *words: str) -> str:
        return self.desk.refused("calc", "strokes", "--bolts", "12", "--turn-degrees", "90", *words)


@pytest.fixture
def plates(desk: Desk) -> Plates:
    shop, site = desk.shop, desk.site
    full = shop.model("wrench", "W-30", stroke_degrees=30.0, advance_volume_cm3=70.0, return_volume_cm3=35.0)
    tags = [
        shop.item(model, site)[1]
        for model in (
            full,
            shop.model("pump", "P-12", flow_l_min=1.2, flow_written="1.2 L/min"),
            shop.model("wrench", "W-0"),
            shop.model("pump", "P-0"),
        )
    ]
    return Plates(desk, *tags)


# 3 strokes of 70 + 35 cm³ at 1.2 L/min are 15.75 s; 12 nuts are 36 strokes, 189 s: 4 whole minutes.
def test_strokes_by_the_plates_on_record(plates: Plates) -> None:
    found = plates.ask("--item", plates.wrench, "--pump", plates.pump)
    assert (found["strokes_per_nut"], found["cycles"], found["pump_minutes"]) == (3, 36, 4)
    assert found["seconds_per_nut"] == pytest.approx(15.75)
    assert found["seconds_total"] == pytest.approx(189)
    assert found["stroke_volume_estimated"] is False
    assert plates.ask("--item", plates.wrench, "--pump", plates.pump, "--passes", "2")["cycles"] == 72
    assert plates.ask("--model", "w-30", "--pump", plates.pump)["cycles"] == 36


def test_what_is_given_goes_before_the_plate(plates: Plates) -> None:
    on_record = ("--item", plates.wrench, "--pump", plates.pump)
    assert plates.ask(*on_record, "--turn-per-stroke", "45")["cycles"] == 24
    assert plates.ask(*on_record, "--flow", "2.4")["seconds_total"] == pytest.approx(94.5)
    # 1 US gal/min is 3.785412 L/min.
    gallon = plates.ask("--item", plates.wrench, "--flow", "1 US gal/min")
    assert gallon["seconds_total"] == pytest.approx(189 * 1.2 / 3.785412)
    own = plates.ask(*on_record, "--stroke-volume", "0.1 L")
    # A return volume on record belongs to the advance volume on record.
    assert (own["stroke_volume_cm3"], own["return_volume_cm3"]) == (100.0, 100.0)
    assert plates.ask(*on_record, "--return-volume", "3 in³")["return_volume_cm3"] == pytest.approx(
        49.16, abs=0.01
    )


# The chart gives 1,000 N·m at 33.33 MPa; over 30° that is 1000 · π/6 / 33.33 = 15.7 cm³.
def test_oil_that_is_not_on_record_is_estimated_and_marked_so(plates: Plates) -> None:
    words = ("--item", plates.bare, "--pump", plates.pump, "--turn-per-stroke", "30")
    found = plates.ask(*words, "--torque", "1000 N·m")
    assert found["stroke_volume_cm3"] == pytest.approx(1000 * math.pi / 6 / (100 / 3))
    assert found["stroke_volume_estimated"] is True
    assert any("estimated from the chart at 1,000 N·m" in said for said in found["assumptions"])
    shown = plates.desk.type("calc", "strokes", "--bolts", "12", "--turn-degrees", "90", *words).out
    assert "cm³ out, estimated" in shown
    assert "lies outside the chart" in plates.refused(*words, "--torque", "9000 N·m")


def test_what_is_missing_is_named(plates: Plates) -> None:
    assert "give them with --turn-per-stroke" in plates.refused("--item", plates.bare, "--pump", plates.pump)
    assert "give it with --flow" in plates.refused("--item", plates.wrench, "--pump", plates.unknown)
    assert "Name the pump with --pump" in plates.refused("--item", plates.wrench)
    assert "is a pump, not a wrench" in plates.refused("--item", plates.pump, "--pump", plates.pump)
    assert "is a wrench, not a pump" in plates.refused("--item", plates.wrench, "--pump", plates.wrench)
    assert "a flow was expected" in plates.refused("--item", plates.wrench, "--flow", "2 L")


def test_a_model_shows_its_stroke_and_flow(plates: Plates) -> None:
    assert "One stroke" in plates.desk.type("model", "W-30").out
    assert "1.2 L/min" in plates.desk.type("model", "P-12").out
