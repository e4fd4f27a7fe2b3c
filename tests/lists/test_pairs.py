"""A wrench and the gauge it was calibrated with, when a kit is checked."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import pytest

from fleet import records
from fleet.measures.tags import show_tag
from fleet.rules.pairs import pair_findings
from tests.lists.rack import Rack, build
from tests.shop import NOON, TODAY

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Shop


@pytest.fixture
def rack(room: Room, shop: Shop) -> Rack:
    return build(room, shop)


def certify(rack: Rack, gauge: int | None, days_ago: int, standing: str = "accepted") -> None:
    rack.shop.put(
        records.CalibrationRow,
        client_id=f"c-{next(rack.shop.numbers)}",
        item_id=rack.kit["wrench"].item,
        task_id=rack.task,
        certificate_no=f"C-{next(rack.shop.numbers)}",
        laboratory="Bench Lab",
        calibrated_on=TODAY - timedelta(days=days_ago),
        reference="Torque transducer",
        traceability="National standard",
        paired_gauge_id=gauge,
        decision_rule="simple acceptance",
        tolerance_percent=3.0,
        coverage_factor=2.0,
        as_found="pass",
        cycles_at=0,
        minutes_at=0,
        received_at=NOON,
        standing=standing,
        decided_at=None if standing == "received" else NOON,
    )


def test_a_kit_with_another_gauge_than_the_paired_one_is_told_so_and_may_be_used(rack: Rack) -> None:
    other = rack.thing("gauge", mwp_advance_mpa=100.0, graduation_mpa=0.5)
    certify(rack, rack.kit["gauge"].item, 30)

    assert [found.code for found in rack.check().kit.findings] == []
    check = rack.check(gauge=other)

    assert check.usable
    (note,) = check.kit.findings
    assert (note.code, note.severity) == ("gauge-not-paired", "note")
    assert f"calibrated with gauge {show_tag(rack.kit['gauge'].tag)}" in note.sentence
    assert f"this kit has gauge {show_tag(other.tag)}" in note.sentence


def test_the_last_accepted_certificate_says_which_gauge(rack: Rack) -> None:
    other = rack.thing("gauge", mwp_advance_mpa=100.0, graduation_mpa=0.5)
    certify(rack, other.item, 60)
    certify(rack, other.item, 1, "received")
    certify(rack, other.item, 2, "refused")
    assert [found.code for found in rack.check().kit.findings] == ["gauge-not-paired"]
    certify(rack, None, 30)
    assert rack.check().kit.findings == ()


def test_a_kit_without_a_gauge_breaks_no_pair() -> None:
    assert pair_findings("wrench 1", "gauge 2", []) == ()
    assert pair_findings("wrench 1", None, ["gauge 3"]) == ()
    assert pair_findings("wrench 1", "gauge 2", ["gauge 3", "gauge 2"]) == ()
