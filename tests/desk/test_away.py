"""Items at a laboratory or workshop: how a certificate will be judged is chosen before it is seen."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import pytest
from sqlalchemy import select

from fleet import records
from fleet.desk.loans import IssueSlip, issue
from fleet.desk.upkeep import retire
from fleet.lists.away import away
from fleet.lists.items import item_facts
from fleet.lists.sites import find_site
from fleet.refusals import NotAllowed, NotFound, NotPossible
from fleet.rules.calibrations import DecisionRule
from fleet.rules.evidence import Errand
from fleet.rules.loans import Wish, judge
from tests.laboratory import Laboratory
from tests.shop import TODAY

if TYPE_CHECKING:
    from fleet.lists.away import AwayLine
    from fleet.room import Room
    from tests.shop import Clock, Shop


@pytest.fixture
def laboratory(room: Room, shop: Shop) -> Laboratory:
    return Laboratory(room, shop).open()


def listed(laboratory: Laboratory) -> list[AwayLine]:
    with laboratory.room.look() as db:
        return away(db, find_site(db, "NORTH"), now=laboratory.room.now(db))


def entries(laboratory: Laboratory, act: str) -> int:
    with laboratory.room.look() as db:
        asked = select(records.EntryRow.seq).where(records.EntryRow.act == act)
        return len(db.execute(asked).all())


def test_what_is_away_stays_in_until_it_is_back(laboratory: Laboratory) -> None:
    sent = laboratory.send(gauge=laboratory.gauge)

    assert (sent.decision_rule, sent.tolerance_percent) == ("guard band U", 3.0)
    assert sent.paired_gauge == laboratory.gauge
    with laboratory.room.look() as db:
        facts = item_facts(db, [laboratory.item], now=laboratory.room.now(db))[laboratory.item]
    verdict = judge(facts, Wish("J-1", "NORTH", TODAY, TODAY))
    assert not verdict.goes_out
    assert "away" in [one.code for one in verdict.findings]
    (line,) = listed(laboratory)
    assert (line.tag, line.sent_to, line.paired_gauge) == (laboratory.tag, "Bench Lab", laboratory.gauge)

    back = laboratory.back()

    assert (back.days_away, back.certificate_missing) == (0, True)
    assert listed(laboratory) == []
    assert entries(laboratory, "sent away") == entries(laboratory, "back from away") == 1


def test_sent_twice_with_one_id_is_sent_once(laboratory: Laboratory) -> None:
    first = laboratory.send(client_id="one")
    again = laboratory.send(client_id="one")
    assert (first.again, again.again) == (False, True)
    assert again.decision_rule == first.decision_rule
    assert len(laboratory.rows(records.AwayRow)) == 1
    with pytest.raises(NotPossible, match="used before"):
        laboratory.send(client_id="one", sent_to="Other Lab")


def test_what_is_late_stands_first_then_what_is_away_longest(laboratory: Laboratory, clock: Clock) -> None:
    model = laboratory.shop.model("wrench")
    tags = [laboratory.shop.item(model, laboratory.site)[1] for _ in range(3)]
    for tag, wanted in zip(tags, (None, 20, 2), strict=True):
        laboratory.send(item=tag, wanted_on=TODAY + timedelta(wanted) if wanted else None)
        clock.pass_by(hours=1)
    clock.pass_by(days=5)

    found = listed(laboratory)

    assert [(one.tag, one.overdue) for one in found] == [(tags[2], True), (tags[0], False), (tags[1], False)]
    assert [one.age_days for one in found] == [5, 5, 5]


def test_the_rule_is_that_of_the_last_certificate_unless_another_is_chosen(laboratory: Laboratory) -> None:
    laboratory.good()
    assert laboratory.send(rule=None, tolerance_percent=None).decision_rule == "guard band U"
    laboratory.back()
    sent = laboratory.send(rule=DecisionRule.SIMPLE, tolerance_percent=4.0)
    assert (sent.decision_rule, sent.tolerance_percent) == ("simple acceptance", 4.0)


def test_a_gauge_goes_by_its_class(laboratory: Laboratory) -> None:
    sent = laboratory.send(item=laboratory.gauge, tolerance_percent=None)
    assert sent.tolerance_percent == 1.6


def test_a_rule_has_to_be_chosen_before(laboratory: Laboratory) -> None:
    missings: tuple[dict[str, Any], ...] = ({"rule": None}, {"tolerance_percent": None})
    for missing in missings:
        with pytest.raises(NotPossible, match="Choose now how the certificate"):
            laboratory.send(**missing)
    assert laboratory.rows(records.AwayRow) == []


def test_a_repair_is_not_judged_by_a_rule(laboratory: Laboratory) -> None:
    sent = laboratory.send(errand=Errand.REPAIR, rule=None, tolerance_percent=None)
    assert (sent.decision_rule, laboratory.back().certificate_missing) == (None, False)
    choices: tuple[dict[str, Any], ...] = ({"tolerance_percent": None}, {"rule": None})
    for chosen in choices:
        with pytest.raises(NotPossible, match="for a calibration only"):
            laboratory.send(errand=Errand.REPAIR, **chosen)


def test_only_what_is_here_can_be_sent(laboratory: Laboratory) -> None:
    laboratory.shop.job(laboratory.site)
    laboratory.shop.did(laboratory.item, laboratory.task, TODAY)
    keeper = laboratory.shop.actor("K1")
    with laboratory.room.act() as db:
        issue(
            db, IssueSlip("i", (laboratory.tag,), "F1", "J-1", TODAY), by=keeper, now=laboratory.room.now(db)
        )
    with pytest.raises(NotPossible, match="out with Fin Fitter"):
        laboratory.send()

    other = laboratory.shop.item(laboratory.shop.model("wrench"), laboratory.site)[1]
    laboratory.send(item=other)
    with pytest.raises(NotPossible, match="already away, at Bench Lab"):
        laboratory.send(item=other)
    laboratory.back(other)
    with pytest.raises(NotPossible, match="is not away"):
        laboratory.back(other)
    with laboratory.room.act() as db:
        retire(db, other, "Body cracked at the lug", by=keeper, now=laboratory.room.now(db))
    with pytest.raises(NotPossible, match="was retired"):
        laboratory.send(item=other)


def test_the_paired_gauge_is_a_gauge_in_service(laboratory: Laboratory) -> None:
    with pytest.raises(NotFound):
        laboratory.send(gauge="G-none")
    with pytest.raises(NotPossible, match="is a wrench; name the gauge"):
        laboratory.send(gauge=laboratory.tag)
    with pytest.raises(NotPossible, match="paired with a wrench"):
        laboratory.send(item=laboratory.gauge, gauge=laboratory.gauge)


def test_nonsense_is_refused(laboratory: Laboratory) -> None:
    with pytest.raises(NotPossible, match="--to"):
        laboratory.send(sent_to="  ")
    with pytest.raises(NotPossible, match="already passed"):
        laboratory.send(wanted_on=date(2026, 5, 12))


@pytest.mark.parametrize("badge", ["P1", "F1"])
def test_planners_and_fitters_send_nothing(laboratory: Laboratory, badge: str) -> None:
    with pytest.raises(NotAllowed):
        laboratory.send(by=badge)
    laboratory.send()
    with pytest.raises(NotAllowed):
        laboratory.back(by=badge)
