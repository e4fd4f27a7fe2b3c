"""The rounds: what is due is written and sent once, whatever the clocks do, until a signal comes."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import select, update

from fleet import records
from fleet.mail.post import nobody_elses
from fleet.measures.tags import show_tag
from fleet.measures.times import iso_week, next_week
from fleet.rounds import tick
from fleet.rules.letters import Delivery, Outcome
from tests.letterdesk import LetterDesk, Outbox
from tests.shop import NOON

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from fleet.mail.messages import TakenLetter
    from fleet.mail.post import StillOurs
    from fleet.room import Room
    from tests.shop import Clock, Shop

PROJECT = Path(__file__).parent.parent.parent


@pytest.fixture
def desk(room: Room, shop: Shop, clock: Clock) -> LetterDesk:
    made = LetterDesk(room, shop, clock)
    made.hire("K1")
    return made


def heartbeat(room: Room) -> tuple[datetime, str] | None:
    row = records.HeartbeatRow
    with room.look() as db:
        found = db.execute(select(row.at, row.note).where(row.name == "rounds")).first()
    return (found.at, found.note) if found else None


# --- One round ----------------------------------------------------------------------------------------------


def test_a_round_writes_what_is_due_and_sends_it(desk: LetterDesk) -> None:
    outbox = Outbox()
    done = tick(desk.room, outbox)

    assert [(run.site, run.week, run.to) for run in done.written] == [("NORTH", "2026-W20", ("K1",))]
    assert done.sent.sent == 1
    assert outbox.badges == ["K1"]


def test_a_round_gives_up_what_was_not_fetched_and_the_letter_says_so(desk: LetterDesk, shop: Shop) -> None:
    item, tag = shop.item(shop.model("pump"), desk.site)
    job = shop.job(desk.site)
    shop.put(
        records.ReservationRow,
        client_id="r",
        item_id=item,
        job_id=job,
        starts_at=NOON,
        ends_at=NOON + timedelta(days=9),
        reserved_at=NOON - timedelta(days=2),
        reserved_by_id=1,
        expires_at=NOON,
    )
    outbox = Outbox()

    tick(desk.room, outbox)
    tick(desk.room, outbox)

    ended = select(records.ReservationRow.end_reason, records.ReservationRow.ended_by_id)
    with desk.room.look() as db:
        assert db.execute(ended).one() == ("not fetched by 13 May 2026 12:00", None)
    assert sorted(letter.kind for letter in outbox.taken) == ["at once", "weekly"]
    for letter in outbox.taken:
        assert f"{show_tag(tag)}" in letter.plain
        assert "Not fetched: given up 13 May 2026 12:00." in letter.plain


def test_the_next_round_finds_nothing_to_do(desk: LetterDesk) -> None:
    outbox = Outbox()
    tick(desk.room, outbox)
    desk.clock.pass_by(minutes=1)
    done = tick(desk.room, outbox)

    assert done.written == ()
    assert outbox.badges == ["K1"]


def test_each_round_leaves_a_sign_of_life_and_what_it_did(desk: LetterDesk) -> None:
    assert heartbeat(desk.room) is None
    tick(desk.room, Outbox())
    assert heartbeat(desk.room) == (desk.clock.now, "1 written, 1 sent, 0 waiting")
    desk.clock.pass_by(minutes=1)
    tick(desk.room, Outbox())
    assert heartbeat(desk.room) == (desk.clock.now, "0 written, 0 sent, 0 waiting")


def test_nothing_is_written_before_the_hour_at_the_site(desk: LetterDesk) -> None:
    """Six on Monday 18 May in Chicago is 11:00 UTC (UTC-5 in summer)."""
    tick(desk.room, Outbox())
    desk.clock.now = datetime(2026, 5, 18, 10, 59, 59, tzinfo=UTC)
    assert tick(desk.room, Outbox()).written == ()
    desk.clock.pass_by(seconds=1)
    assert [run.week for run in tick(desk.room, Outbox()).written] == ["2026-W21"]


def test_after_a_standstill_only_the_present_week_is_told_and_the_others_are_named(desk: LetterDesk) -> None:
    outbox = Outbox()
    tick(desk.room, outbox)
    desk.clock.pass_by(days=28)
    done = tick(desk.room, outbox)

    assert [run.week for run in done.written] == ["2026-W24"]
    assert len(outbox.taken) == 2
    assert "2026-W21, 2026-W22 and 2026-W23" in " ".join(outbox.taken[-1].plain.split())


def test_one_sites_trouble_leaves_the_others_their_letters(desk: LetterDesk, shop: Shop) -> None:
    shop.site("AAA", time_zone="Nowhere/Land")
    outbox = Outbox()
    done = tick(desk.room, outbox)

    assert outbox.badges == ["K1"]
    assert len(done.failed) == 1
    assert done.failed[0].startswith('AAA: "Nowhere/Land" is not a time zone')
    beat = heartbeat(desk.room)
    assert beat is not None
    assert "AAA: " in beat[1]


def test_a_round_sends_what_waited_before_it(desk: LetterDesk) -> None:
    desk.write()
    desk.hire("P1")
    outbox = Outbox()
    tick(desk.room, outbox)

    assert outbox.badges == ["K1", "P1"]


def test_a_server_that_keeps_everybody_waiting_does_not_keep_the_rounds_away(desk: LetterDesk) -> None:
    """Each letter takes a minute and is not taken: two a round, a sign of life after each, none forgotten."""

    class Slow(Outbox):
        def send(self, letter: TakenLetter, _still_ours: StillOurs = nobody_elses) -> Delivery:
            desk.clock.pass_by(minutes=1)
            tried.append(letter.badge)
            return Delivery(Outcome.TRY_AGAIN, "SMTPServerDisconnected: timed out")

    tried: list[str] = []
    for badge in ("P1", "S1"):
        desk.hire(badge)
    tick(desk.room, Slow())
    assert len(tried) == 2
    beat = heartbeat(desk.room)
    assert beat is not None
    assert beat[0] == desk.clock.now
    tick(desk.room, Slow())
    assert {"K1", "P1", "S1"} == set(tried)


def test_after_a_fault_of_ours_the_rounds_knock_every_quarter_of_an_hour(desk: LetterDesk) -> None:
    outbox = Outbox([Delivery(Outcome.OUR_CONFIGURATION, "535 5.7.8 Wrong password")])
    knocks = []
    for minute in range(16):
        before = len(outbox.answers) + len(outbox.taken)
        done = tick(desk.room, outbox)
        if len(outbox.answers) + len(outbox.taken) != before or minute == 0:
            knocks.append(minute)
        assert done.sent.stopped == ("535 5.7.8 Wrong password" if minute < 15 else None)
        desk.clock.pass_by(minutes=1)

    assert knocks == [0, 15]
    assert outbox.badges == ["K1"]


def test_when_every_letter_comes_back_the_spare_address_gets_it_in_the_next_round(desk: LetterDesk) -> None:
    outbox = Outbox([Delivery(Outcome.REFUSED, "550 5.1.1 No such user")])
    tick(desk.room, outbox)
    desk.clock.pass_by(minutes=1)
    tick(desk.room, outbox)

    assert outbox.badges == ["spare"]


# --- Every week, once ---------------------------------------------------------------------------------------


def moments(start: datetime, weeks: int) -> Iterator[datetime]:
    """Instants through some years: close to the hour of the letter, and far from it."""
    for week in range(weeks):
        monday = start + timedelta(weeks=week)
        for hours in (-30, -2, -1, 0, 0.5, 1, 2, 3, 40, 100):
            yield monday + timedelta(hours=hours)


@pytest.mark.parametrize(
    "time_zone",
    # Clocks change on Sundays in the first three (Lord Howe by half an hour), and never in the last.
    ["America/Chicago", "Europe/Berlin", "Australia/Lord_Howe", "Asia/Kolkata"],
)
def test_every_week_of_the_years_is_told_once_whatever_the_clocks_do(
    room: Room, shop: Shop, clock: Clock, time_zone: str, *, deep: bool
) -> None:
    """Through both changes of clocks and week 53, with the letter at two on Sunday, the worst of hours."""
    site = shop.site("EDGE", time_zone=time_zone)
    shop.person("K1", site, "keeper", address="kim@tool-room.example")
    change_letter_hour(room, weekday=6, hour=2)
    outbox = Outbox()
    # 2026 has 53 weeks (ISO 8601); Sunday of week 8 is 22 February.
    for moment in moments(datetime(2026, 2, 22, 2, 0, tzinfo=UTC), 520 if deep else 48):
        clock.now = moment
        tick(room, outbox)

    own = [letter for letter in outbox.taken if letter.badge == "K1"]
    weeks = [letter.week for letter in own]
    for one, following in pairwise(weeks):
        assert following == next_week(one)
    assert "2026-W53" in weeks
    assert weeks[-1] >= iso_week((clock.now - timedelta(days=7)).date())
    assert [letter.number for letter in own] == list(range(1, len(weeks) + 1))
    assert not any("No letter was written" in letter.plain for letter in outbox.taken)
    # Nobody ever says that a letter was read: each is passed on once; the first, a Saturday's, is overtaken.
    assert [letter.week for letter in outbox.taken if letter.badge == "spare"] == weeks[1:]


def change_letter_hour(room: Room, *, weekday: int, hour: int) -> None:
    with room.act() as db:
        db.execute(update(records.SiteRow).values(letter_weekday=weekday, letter_hour=hour))


# --- The process --------------------------------------------------------------------------------------------


@contextmanager
def rounds(desk: LetterDesk, folder: Path, story: str) -> Iterator[subprocess.Popen[str]]:
    database = desk.room.engine.url.render_as_string(hide_password=False)
    command = [sys.executable, "-m", "tests.rounds.going", database, str(folder), story]
    with subprocess.Popen(command, cwd=PROJECT, stderr=subprocess.PIPE, text=True) as process:
        try:
            yield process
        finally:
            process.kill()


def wait_for(happens: Callable[[], object], process: subprocess.Popen[str]) -> None:
    """Wait for something that the process is to do; the test's own time-out ends a wait in vain."""
    while not happens():
        assert process.poll() is None, process.communicate()[1]
        time.sleep(0.02)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_ends_the_rounds_in_peace(desk: LetterDesk, tmp_path: Path, number: signal.Signals) -> None:
    with rounds(desk, tmp_path, "folder") as process:
        wait_for(lambda: desk.states() == {"K1": "sent"}, process)
        process.send_signal(number)
        said = process.communicate()[1]

    assert process.returncode == 0
    assert "Traceback" not in said
    assert "The rounds end." in said
    assert [file.name for file in (tmp_path / "letters").iterdir()] == ["NORTH-2026-W20-1-K1.eml"]


def test_the_letter_in_hand_is_still_marked_and_no_further_one_is_taken(
    desk: LetterDesk, tmp_path: Path
) -> None:
    desk.hire("P1")
    with rounds(desk, tmp_path, "slow") as process:
        wait_for((tmp_path / "holding K1").exists, process)
        process.send_signal(signal.SIGTERM)
        time.sleep(0.3)
        assert process.poll() is None
        (tmp_path / "go on").touch()
        process.communicate()

    assert process.returncode == 0
    assert desk.states() == {"K1": "sent", "P1": "written"}


def test_a_round_that_fails_is_logged_and_the_next_one_still_comes(desk: LetterDesk, tmp_path: Path) -> None:
    """The letter that made it stumble stays in hand until its lease is over; the other one goes."""
    desk.hire("P1")
    with rounds(desk, tmp_path, "stumble") as process:
        wait_for(lambda: desk.states() == {"K1": "taken", "P1": "sent"}, process)
        process.send_signal(signal.SIGTERM)
        said = process.communicate()[1]

    assert process.returncode == 0
    assert "This round failed; the next one will come." in said
    assert "nobody thought of this" in said
    desk.clock.pass_by(minutes=15)
    assert desk.send(Outbox()).sent == 1
