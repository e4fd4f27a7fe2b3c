"""What somebody proves who they are with, after OWASP ASVS 5.0 chapters 6 and 7."""

from __future__ import annotations

import logging
import time
from statistics import median
from typing import TYPE_CHECKING

import pytest
from argon2 import PasswordHasher
from sqlalchemy import select, update
from zxcvbn.frequency_lists import FREQUENCY_LISTS

from fleet import records
from fleet.pages.guard import SESSION
from fleet.records.base import rows_of
from fleet.refusals import NotPossible
from fleet.room import open_room
from fleet.rules.access import check_password
from fleet.rules.secrets import is_secret
from fleet.settings import read_settings
from tests.commands.typed import here
from tests.pages.browsing import PASSWORD, serving
from tests.pages.chromium import on_sqlite
from tests.pages.conftest import first_link, link_for
from tests.pages.ways import all_ways

if TYPE_CHECKING:
    from pathlib import Path

    from tests.pages.browsing import Pages

COMMON = 3_000
CANARY = "canary-zq7-swordfish"


def test_none_of_the_commonest_passwords_will_do() -> None:
    """The 3,000 commonest of the list of breached passwords that zxcvbn 4.5 brings along."""
    for password in list(FREQUENCY_LISTS["passwords"])[:COMMON]:
        with pytest.raises(NotPossible):
            check_password(password, ())


@pytest.mark.parametrize("length", [8, 64, 128, 256])
@on_sqlite
def test_a_password_counts_to_its_last_character(pages: Pages, length: int) -> None:
    long = ("Zx9!qLm2#vT7 grün " * 20)[: length - 1] + "7"
    link = first_link(pages, "K1")
    browser = pages.browser()
    browser.get(f"/invited/{link}")
    assert browser.post(f"/invited/{link}", password=long, again=long).status == 303
    with pages.room.look() as db:
        kept = db.scalar(select(rows_of(records.LoginRow).c.password_hash))
    assert is_secret(kept, long)
    assert not is_secret(kept, f"{long[:-1]}8")
    assert not is_secret(kept, long[:-1])


def test_a_password_kept_more_weakly_than_today_is_kept_anew_at_the_next_log_in(pages: Pages) -> None:
    pages.accept(first_link(pages, "K1"), "K1")
    pages.accept(link_for(pages, "P1", "K1"), "P1")
    logins = rows_of(records.LoginRow)
    weak = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1).hash(PASSWORD)
    with pages.room.act() as db:
        db.execute(update(logins).values(password_hash=weak))
    assert pages.browser().log_in("P1").status == 303
    with pages.room.look() as db:
        kept = db.scalars(select(logins.c.password_hash).order_by(logins.c.person_id)).all()
    assert kept.count(weak) == 1
    assert any(one.startswith("$argon2id$v=19$m=19456,t=2,p=1$") for one in kept)


@on_sqlite
def test_whether_somebody_is_known_shows_in_no_time(pages: Pages) -> None:
    """A ratio of the two in the same run; within a factor of 1.5, where no hash at all would be a tenth."""
    pages.accept(first_link(pages, "K1"), "K1")
    took: dict[str, list[float]] = {"K1": [], "nobody": []}
    for turn in range(16):
        for badge, times in took.items():
            begun = time.perf_counter()
            assert pages.browser().log_in(badge, f"wrong one {turn}").status == 403
            times.append(time.perf_counter() - begun)
        pages.clock.pass_by(minutes=6)
    ratio = median(took["K1"]) / median(took["nobody"])
    assert 1 / 1.5 < ratio < 1.5


def test_a_session_that_somebody_else_chose_is_never_taken_over(pages: Pages) -> None:
    pages.accept(first_link(pages, "K1"), "K1")
    pages.clock.pass_by(seconds=30)
    browser = pages.browser()
    browser.cookies[SESSION] = "chosen-by-a-stranger"
    browser.get("/in")
    assert browser.post("/in", badge="K1", password=PASSWORD, code=pages.code("K1")).status == 303
    assert browser.cookies[SESSION] != "chosen-by-a-stranger"


def test_a_fresh_proof_gives_a_fresh_session_and_the_old_one_is_worth_nothing(pages: Pages) -> None:
    kim = pages.accept(first_link(pages, "K1"), "K1")
    before = pages.browser()
    before.cookies = dict(kim.cookies)
    kim.get("/again")
    assert kim.post("/again", password=PASSWORD, code=pages.code("K1"), next="/own").status == 303
    assert kim.get("/own").status == 200
    assert before.get("/own").headers["location"].startswith("/in")


def test_one_ends_ones_other_sessions_and_nobody_elses(pages: Pages) -> None:
    kim = pages.accept(first_link(pages, "K1"), "K1")
    pat = pages.accept(link_for(pages, "P1", "K1"), "P1")
    other = pages.browser()
    other.log_in("P1")
    sessions = rows_of(records.SessionRow)
    with pages.room.look() as db:
        ids = db.execute(select(sessions.c.id, sessions.c.person_id).order_by(sessions.c.id)).all()
    kims, pats = ids[0].id, ids[-1].id
    pat.get("/own")
    assert pat.post("/out", session=str(kims)).status == 303
    assert kim.get("/own").status == 200
    pat.get("/own")
    assert pat.post("/out", session=str(pats)).status == 303
    assert other.get("/own").headers["location"].startswith("/in")
    assert pat.get("/own").status == 200


def test_a_new_password_does_not_get_around_the_second_factor(pages: Pages) -> None:
    kim = pages.accept(first_link(pages, "K1"), "K1")
    link = link_for(pages, "K1", "K1")
    browser = pages.browser()
    browser.get(f"/invited/{link}")
    page = browser.post(f"/invited/{link}", password="Seven other flanges 4", again="Seven other flanges 4")  # noqa: S106  Of nobody.
    assert (page.status, SESSION in browser.cookies) == (200, False)
    assert browser.get("/own").headers["location"].startswith("/in")
    assert kim.get("/own").headers["location"].startswith("/in")
    assert pages.browser().log_in("K1", "Seven other flanges 4").status == 403


def test_nobody_chooses_the_password_of_somebody_else(pages: Pages) -> None:
    """No form of ours takes both a badge that is not the visitor's and a new password."""
    forms = [way.form for way in all_ways() if way.method == "POST"]
    assert not [form for form in forms if {"again", "badge"} <= set(form)]
    kim = pages.accept(first_link(pages, "K1"), "K1")
    kim.get("/own")
    page = kim.post("/invitations", badge="P1", password="chosen for you", again="chosen for you")  # noqa: S106  It has no effect.
    assert page.status == 200
    assert pages.browser().log_in("P1", "chosen for you").status == 403


@on_sqlite
def test_no_secret_of_the_settings_is_shown_or_logged(
    demo: Pages, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    said = {
        "FLEET_SETTINGS": "/nowhere",
        "FLEET_MAIL_HOST": "mail.example",
        "FLEET_MAIL_USER": "fleet",
        "FLEET_MAIL_PASSWORD": CANARY,
        "FLEET_MAIL_SENDER": "fleet@tool-room.example",
    }
    database = demo.room.settings.database
    settings = read_settings(said, database=database)
    assert settings.mail.password == CANARY
    assert CANARY not in repr(settings)
    room = open_room(settings, clock=demo.clock)
    with caplog.at_level(logging.DEBUG), serving(room, demo.clock) as pages:
        pages.tokens |= demo.tokens
        for who in ("officer", "administrator"):
            for way in all_ways():
                if way.method == "GET":
                    assert CANARY not in pages.as_(who).get(way.address).body, way.address
    room.close()
    assert CANARY not in caplog.text
    for words in (("doctor",), ("duty",), ("--help",), ("serve", "--help")):
        answer = (
            here(*words, "--database", database, folder=tmp_path, **said)
            if words[-1] != "--help"
            else here(*words)
        )
        assert CANARY not in answer.out + answer.err, words
