"""Certificates that are not taken in: one sentence each, and nothing changed."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta
from functools import partial
from typing import TYPE_CHECKING, Any

import pytest

from fleet import records
from fleet.desk.calibrations import Received
from fleet.desk.upkeep import retire
from fleet.refusals import NotAllowed, NotFound, NotPossible, OffTheChart, Refusal, Unreadable
from fleet.rules.calibrations import DecisionRule
from fleet.rules.dcc import read_dcc
from tests.commands.typed import everything
from tests.digital import HOSTILE, admin, dcc
from tests.laboratory import BAD, GOOD, LEFT, RULE, Laboratory, ago
from tests.shop import TODAY

if TYPE_CHECKING:
    from collections.abc import Callable

    from fleet.desk.calibrations import CertificateSlip
    from fleet.room import Room
    from tests.shop import Shop


@pytest.fixture
def laboratory(room: Room, shop: Shop) -> Laboratory:
    return Laboratory(room, shop).open()


def unchanged(laboratory: Laboratory, act: Callable[[], object], kind: type[Refusal], said: str) -> None:
    before = everything(laboratory.room)
    with pytest.raises(kind, match=said) as refusal:
        act()
    assert "\n" not in str(refusal.value)
    assert everything(laboratory.room) == before


@pytest.mark.parametrize(
    ("changed", "kind", "said"),
    [
        ({"serial": "HW-2"}, NotPossible, "another item's"),
        ({"calibrated_on": TODAY + timedelta(1)}, NotPossible, "still to come"),
        ({"calibrated_on": ago(401)}, NotPossible, "only received"),
        ({"number": None}, Unreadable, "--number"),
        ({"laboratory": None}, Unreadable, "--laboratory"),
        ({"calibrated_on": None}, Unreadable, "--on"),
        ({"reference": " "}, NotPossible, "--reference"),
        ({"traceability": ""}, NotPossible, "--traceability"),
        ({"gauge": "G-none"}, NotFound, "G-none"),
        ({"gauge": "HW-1"}, NotPossible, "paired with a gauge"),
        ({"task": "paint"}, NotFound, "no upkeep task"),
        ({"rule": None}, NotPossible, "say how this one is to be judged"),
        ({"tolerance_percent": None}, NotPossible, "say how this one is to be judged"),
        ({"coverage_factor": 1.0}, Unreadable, "not an expanded one"),
    ],
)
def test_what_a_certificate_must_say(
    laboratory: Laboratory, changed: dict[str, Any], kind: type[Refusal], said: str
) -> None:
    unchanged(laboratory, lambda: laboratory.take_in(**(RULE | changed)), kind, said)


@pytest.mark.parametrize(
    ("typed", "kind", "said"),
    [
        (("as found; 71 MPa; 2130 N·m; 9 N·m",), OffTheChart, "maximum working pressure"),
        (("as found; 10 MPa; 300 N·m; 9 N·m",), OffTheChart, "outside the chart"),
        (("as found; 40 MPa; 1200 N·m",), Unreadable, "expanded uncertainty"),
        (GOOD[:1], Unreadable, "2 pressures or more"),
        ((*BAD, LEFT[0]), Unreadable, "2 pressures or more"),
    ],
)
def test_points_that_cannot_serve(
    laboratory: Laboratory, typed: tuple[str, ...], kind: type[Refusal], said: str
) -> None:
    unchanged(laboratory, lambda: laboratory.take_in(*typed, **RULE), kind, said)


def test_the_rule_cannot_be_changed_once_it_was_sent(laboratory: Laboratory) -> None:
    laboratory.send()
    others: tuple[dict[str, Any], ...] = ({"rule": DecisionRule.SIMPLE}, {"tolerance_percent": 5.0})
    for other in others:
        slip = laboratory.slip(**other)
        unchanged(laboratory, partial(laboratory.hand_in, slip), NotPossible, "were chosen when")
    assert laboratory.take_in(**RULE).as_found == "pass"


def test_a_certificate_of_before_it_was_sent_is_refused(laboratory: Laboratory) -> None:
    laboratory.send()
    unchanged(laboratory, lambda: laboratory.take_in(calibrated_on=ago(1)), NotPossible, "only sent away")


def test_a_certificate_older_than_the_accepted_one_is_refused(laboratory: Laboratory) -> None:
    laboratory.good(on=ago(5))
    unchanged(laboratory, lambda: laboratory.take_in(calibrated_on=ago(6)), NotPossible, "changes nothing")


def test_the_same_certificate_twice(laboratory: Laboratory) -> None:
    kept = (Received(b"stage,pressure,torque", "text/csv", "a.csv"),)
    laboratory.take_in(number="C-9", **RULE, files=kept)
    same = {"number": "c-9", "laboratory": "BENCH LAB", **RULE}
    unchanged(laboratory, lambda: laboratory.take_in(**same), NotPossible, "was taken in before, as number 1")
    again = {"item": laboratory.gauge, "kind": "gauge", **RULE, "files": kept}
    typed = ("as found; 200 bar; 203 bar; 2 bar",)
    unchanged(
        laboratory, lambda: laboratory.take_in(*typed, **again), NotPossible, "belongs to certificate C-9"
    )


def test_a_digital_certificate_of_another_item_or_with_other_words_is_refused(laboratory: Laboratory) -> None:
    slip = laboratory.slip(**RULE)
    typed = replace(slip.typed, number=None, laboratory=None, calibrated_on=None, readings=())
    other = read_dcc(dcc(administrative=admin(serial="HW-9")), "wrench")
    unchanged(
        laboratory,
        lambda: laboratory.hand_in(replace(slip, typed=typed, digital=other)),
        NotPossible,
        "another item's",
    )
    ours = read_dcc(dcc(), "wrench")
    typos: tuple[dict[str, Any], ...] = (
        {"number": "DCC-78"},
        {"laboratory": "Other"},
        {"calibrated_on": ago(1)},
    )
    for typo in typos:
        wrong = replace(slip, typed=replace(typed, **typo), digital=ours)
        unchanged(
            laboratory, partial(laboratory.hand_in, wrong), NotPossible, "is not that of the certificate"
        )
    unchanged(
        laboratory,
        lambda: laboratory.hand_in(replace(slip, digital=replace(ours, number=slip.typed.number))),
        NotPossible,
        "leave --point out",
    )


def test_no_hostile_file_reaches_the_desk() -> None:
    for content, _ in HOSTILE.values():
        with pytest.raises(Unreadable):
            read_dcc(content, "wrench")


def test_retired_items_and_other_kinds(laboratory: Laboratory) -> None:
    hose = laboratory.shop.item(laboratory.shop.model("hose"), laboratory.site)[1]
    unchanged(
        laboratory, lambda: laboratory.take_in(item=hose, **RULE), NotPossible, "only wrenches and gauges"
    )
    with laboratory.room.act() as db:
        keeper = laboratory.shop.actor("K1")
        retire(db, laboratory.tag, "Body cracked at the lug", by=keeper, now=laboratory.room.now(db))
    unchanged(laboratory, lambda: laboratory.take_in(**RULE), NotPossible, "was retired")


@pytest.mark.parametrize("badge", ["P1", "F1"])
def test_planners_and_fitters_take_nothing_in(laboratory: Laboratory, badge: str) -> None:
    unchanged(laboratory, lambda: laboratory.take_in(by=badge, **RULE), NotAllowed, "role is needed")


def test_two_desks_that_take_the_same_certificate_in_at_once(laboratory: Laboratory) -> None:
    slips = [laboratory.slip(number="C-9", **RULE) for _ in range(4)]

    def hand_in(slip: CertificateSlip) -> str:
        try:
            return laboratory.hand_in(slip).certificate
        except NotPossible as refusal:
            return str(refusal)

    with ThreadPoolExecutor(4) as desks:
        said = sorted(desks.map(hand_in, slips))
    assert said[0] == "C-9"
    assert ["was taken in before" in one for one in said[1:]] == [True] * 3
    assert len(laboratory.rows(records.CalibrationRow)) == 1
