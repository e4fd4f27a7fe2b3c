"""The rounds tell at once what cannot wait: in the next minute, once, and nothing while letters are off."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest

from fleet.rounds import tick
from tests.letterdesk import Outbox
from tests.shop import TODAY
from tests.troubledesk import TroubleDesk

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Clock, Shop


@pytest.fixture
def desk(room: Room, shop: Shop, clock: Clock) -> TroubleDesk:
    made = TroubleDesk(room, shop, clock)
    for badge in ("K1", "S1"):
        made.letters.hire(badge)
    tick(room, Outbox())  # The weekly letters are out.
    clock.pass_by(minutes=1)
    return made


def held(desk: TroubleDesk) -> None:
    item, _ = desk.item()
    desk.lend(item)
    desk.hold(item)


def test_the_next_round_tells_what_cannot_wait_and_sends_it(desk: TroubleDesk) -> None:
    held(desk)
    outbox = Outbox()
    done = tick(desk.room, outbox)

    assert [(one.site, one.to) for one in done.told] == [("NORTH", "F1"), ("NORTH", "K1"), ("NORTH", "S1")]
    assert str(done) == "3 at once, 0 written, 3 sent, 0 waiting"
    assert outbox.badges == ["F1", "K1", "S1"]
    assert {letter.kind for letter in outbox.taken} == {"at once"}


def test_the_rounds_after_it_tell_nothing_more(desk: TroubleDesk) -> None:
    held(desk)
    tick(desk.room, Outbox())
    for _ in range(3):
        desk.clock.pass_by(minutes=1)
        assert str(tick(desk.room, Outbox())) == "0 written, 0 sent, 0 waiting"


def test_what_cannot_wait_is_sent_before_the_weekly_letter(desk: TroubleDesk) -> None:
    desk.clock.now = datetime(2026, 5, 18, 11, 0, tzinfo=UTC)  # Monday, six in the morning in Chicago.
    held(desk)
    outbox = Outbox()
    tick(desk.room, outbox)
    kinds = [letter.kind for letter in outbox.taken]
    assert kinds == ["at once"] * 3 + ["weekly"] * 2


def test_a_night_is_quiet_and_the_first_round_after_it_is_not(desk: TroubleDesk) -> None:
    item, _ = desk.item()
    line = desk.lend(item, TODAY)
    told = []
    # From eight in the evening until seven in the morning in Chicago (UTC-5).
    desk.clock.now = datetime(2026, 5, 14, 1, 0, tzinfo=UTC)
    for _ in range(11 * 6):
        told += [(desk.clock.now, one.to, one.matters) for one in tick(desk.room, Outbox()).told]
        desk.clock.pass_by(minutes=10)
    assert told == [(datetime(2026, 5, 14, 11, 0, tzinfo=UTC), "K1", (f"late {line}",))]


def test_one_sites_trouble_leaves_the_others_told(desk: TroubleDesk, shop: Shop) -> None:
    shop.site("AAA", time_zone="Nowhere/Land")
    held(desk)
    done = tick(desk.room, Outbox())
    assert len(done.told) == 3
    assert len(done.failed) == 1
    assert done.failed[0].startswith('AAA: "Nowhere/Land" is not a time zone')


def test_while_letters_are_off_nothing_is_told_and_it_is_when_they_are_on(desk: TroubleDesk) -> None:
    held(desk)
    assert tick(desk.room, None).told == ()
    desk.clock.pass_by(days=1)
    assert [one.to for one in tick(desk.room, Outbox()).told] == ["F1", "K1", "S1"]


def test_sixty_matters_make_one_letter_to_each(desk: TroubleDesk) -> None:
    for _ in range(30):
        held(desk)
        item, _ = desk.item()
        desk.lend(item, TODAY - timedelta(days=20))
    outbox = Outbox()
    tick(desk.room, outbox)
    assert outbox.badges == ["F1", "K1", "S1", "spare"]
