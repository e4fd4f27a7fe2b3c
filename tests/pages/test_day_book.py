"""The day book as pages: looked through, proved, and compared with a printed seal."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import TYPE_CHECKING
from urllib.parse import quote

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import text

from fleet.ledgers import daybook
from fleet.lists.book_pages import Sought, acts_of, look_through
from fleet.lists.daybook import FirstAltered, Verified, compare_seal, seal, verify, verify_part
from fleet.rules.daybook import Seal
from fleet.rules.entry_words import LONGEST, about_words, details, sentence
from fleet.rules.people import Actor
from tests.pages.busy import WRENCH, make_busy
from tests.shop import NOON

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.pages.browsing import Browser, Pages
    from tests.shop import Clock

CHAIN = 7


def tamper(room: Room, statement: str) -> None:
    """Change the past as somebody with the database in their hands would: the guards are taken off first."""
    with room.act() as db:
        if db.dialect.name == "postgresql":
            db.execute(text("ALTER TABLE daybook DISABLE TRIGGER USER"))
        else:
            guards = db.execute(text("SELECT name FROM sqlite_master WHERE type = 'trigger'")).scalars()
            for guard in [name for name in guards if "daybook" in name]:
                db.execute(text(f"DROP TRIGGER {guard}"))
        db.execute(text(statement))


@pytest.fixture
def book(room: Room, clock: Clock) -> Room:
    """Twelve entries of two people, an hour apart, about three things; and one of another chain."""
    for at in range(12):
        with room.act() as db:
            by, act = Actor(None, "Kim" if at % 2 else "Sam"), "returned" if at % 3 else "issued"
            daybook.enter(db, CHAIN, by=by, now=clock(), act=act, about=f"1042{at % 3}", body={"no": at})
        clock.pass_by(hours=1)
    with room.act() as db:
        daybook.enter(db, 0, by=Actor(None, "Kim"), now=clock(), act="imported", about="10420", body={})
    return room


def found(room: Room, **asked: object) -> list[int]:
    with room.look() as db:
        sought = Sought(**asked)  # type: ignore[arg-type]
        return [entry.seq for entry in look_through(db, CHAIN, sought, most=50)]


def test_entries_are_looked_through_by_each_filter_and_by_all(book: Room) -> None:
    hour = timedelta(hours=1)
    assert found(book) == list(range(12, 0, -1))
    assert found(book, person="Kim") == [12, 10, 8, 6, 4, 2]
    assert found(book, act="issued") == [10, 7, 4, 1]
    assert found(book, about="10420") == [10, 7, 4, 1]
    assert found(book, since=NOON + 3 * hour) == list(range(12, 3, -1))
    assert found(book, until=NOON + 3 * hour) == [3, 2, 1]
    assert found(book, since=NOON + 3 * hour, until=NOON + 5 * hour) == [5, 4]
    assert found(book, since=NOON + 40 * hour) == []
    assert found(book, before=3) == [2, 1]
    assert found(book, person="Kim", act="issued", about="10420", since=NOON, before=9) == [4]
    with book.look() as db:
        assert acts_of(db, CHAIN) == ["issued", "returned"]
        assert [one.seq for one in look_through(db, CHAIN, Sought(), most=2)] == [12, 11]


def part(room: Room, after: int, most: int = 5) -> Verified | FirstAltered:
    with room.look() as db:
        return verify_part(db, CHAIN, after=after, most=most)


def test_parts_of_a_chain_come_to_the_same_as_the_whole(book: Room) -> None:
    with book.look() as db:
        whole = verify(db, CHAIN)
    seen, after = 0, 0
    while True:
        proof = part(book, after)
        assert isinstance(proof, Verified)
        if not proof.entries:
            break
        seen, after = seen + proof.entries, proof.seal.seq
    assert isinstance(whole, Verified)
    assert (seen, part(book, 10)) == (12, Verified(CHAIN, 2, whole.seal))


@pytest.mark.parametrize("seq", [1, 5, 6, 10, 11])
def test_a_changed_entry_is_found_in_its_part_or_by_the_next(book: Room, seq: int) -> None:
    tamper(book, f"UPDATE daybook SET person_name = 'Eve' WHERE chain = {CHAIN} AND seq = {seq}")
    altered = [one for one in (part(book, 0), part(book, 5), part(book, 10)) if isinstance(one, FirstAltered)]
    assert [one.seq for one in altered] == [seq]


def test_a_hash_that_was_changed_with_its_entry_shows_at_the_next_even_over_an_edge(book: Room) -> None:
    tamper(book, f"UPDATE daybook SET hash = '{'ab' * 32}' WHERE chain = {CHAIN} AND seq = 5")
    assert isinstance(part(book, 0), FirstAltered)
    assert isinstance(part(book, 5), FirstAltered)


def test_a_part_that_begins_at_nothing_is_said(book: Room) -> None:
    assert part(book, 99) == FirstAltered(CHAIN, 99, "is missing")


def test_a_printed_seal_is_compared_with_its_entry(book: Room) -> None:
    with book.look() as db:
        newest = seal(db, CHAIN)
        assert compare_seal(db, CHAIN, 12, newest.hash[:16]) == newest
        assert isinstance(compare_seal(db, CHAIN, 12, "0" * 16), FirstAltered)
        assert isinstance(compare_seal(db, CHAIN, 13, newest.hash[:16]), FirstAltered)
        assert isinstance(compare_seal(db, 99, 1, "0" * 16), FirstAltered)
    assert str(Seal(CHAIN, 12, newest.hash)) == f"12·{newest.hash[:16]}"


# --- In words -----------------------------------------------------------------------------------------------


def test_an_entry_is_said_in_plain_words() -> None:
    assert sentence("returned", "201101") == "Returned: 20110-1"
    assert about_words("NB-142") == "NB-142"
    body = json.dumps(
        {
            "cycles": 1120,
            "tight": True,
            "note": None,
            "usage": "c0ffee",
            "lines": [{"job": "J-1", "joint": "A"}, {"job": "J-2", "joint": None}],
            "sha256": "ab" * 32,
        }
    )
    assert details(body) == (
        "cycles: 1,120; tight: yes; lines: (job: J-1; joint: A), (job: J-2); sha256: abababababababab"
    )
    assert details("not json") == "not json"


@given(
    st.recursive(st.none() | st.booleans() | st.integers() | st.text(), st.lists, max_leaves=5) | st.text()
)
def test_any_body_can_be_said_and_is_never_long(value: object) -> None:
    assert len(details(json.dumps({"a": value}))) <= LONGEST


# --- The pages ----------------------------------------------------------------------------------------------


@pytest.fixture
def officer(demo: Pages) -> Browser:
    make_busy(demo.room)
    return demo.as_("officer")


def test_it_is_read_by_whoever_has_a_role_there(demo: Pages, officer: Browser) -> None:
    page = officer.get("/day-book")
    assert "Use reversed: 20110-1" in page.text
    assert "reason: It was another wrench" in page.text
    with demo.room.look() as db:
        newest = seal(db, 1)
    assert f"{newest}" in page.text
    assert "Imported: 18 files" in page.text
    assert "20110-1" not in demo.as_("elsewhere").get("/day-book").text
    assert demo.as_("elsewhere").get("/day-book?site=NORTH").status == 404
    assert demo.as_("administrator").get("/day-book?site=room").status == 404
    assert "Invited to log in" in officer.get("/day-book?site=room").text


def test_it_is_looked_through_by_the_form(officer: Browser) -> None:
    text = officer.get("/day-book?about=20110-1&act=use+noted&person=Marla+Quistgard").text
    assert "Use noted: 20110-1" in text
    assert "Use reversed: 20110-1" not in text
    assert "No entry is like that." in officer.get("/day-book?person=Nobody").text
    assert "Use noted" in officer.get("/day-book?since=13+May+2026&through=2026-05-13").text
    assert "No entry is like that." in officer.get("/day-book?through=2026-05-12").text
    wrong = officer.get("/day-book?since=soon&person=Kim")
    assert (wrong.status, '"soon" is not a day' in wrong.text) == (422, True)
    assert 'value="soon"' in wrong.body
    assert 'value="Kim"' in wrong.body


def test_a_long_book_is_read_page_by_page(demo: Pages) -> None:
    with demo.room.act() as db:
        for at in range(70):
            by = Actor(None, "Kim")
            daybook.enter(db, 1, by=by, now=demo.room.now(db), act="issued", about="J", body={"no": at})
    officer = demo.as_("officer")
    page = officer.get("/day-book?act=issued")
    assert page.body.count('<th scope="row">') == 50
    way = page.body.split('">Older ones')[0].rsplit('href="', 1)[1].replace("&amp;", "&")
    older = officer.get(way)
    assert older.body.count('<th scope="row">') == 20
    assert "no: 0" in older.text
    assert "The newest" in older.text
    assert "There is nothing older." in officer.get("/day-book?act=issued&before=1").text


def test_corrections_and_late_entries_stand_apart(officer: Browser) -> None:
    text = officer.get("/day-book/late").text
    assert "Use reversed: 20110-1 correction" in text
    assert "Use noted: 20110-1 entered 5 days late" in text
    assert text.count("Use noted") == 1


def test_the_proof_names_the_first_entry_that_was_changed(demo: Pages, officer: Browser) -> None:
    good = officer.get("/day-book/proof")
    assert "were worked out again just now: each is as it was sealed" in good.text
    assert "That is the newest entry there is." in good.text
    tamper(demo.room, "UPDATE daybook SET about = '999999' WHERE chain = 1 AND seq = 2")
    bad = officer.get("/day-book/proof")
    assert "The day book was changed" in bad.text
    assert "Entry 2 no longer gives its hash." in bad.text


def test_a_printed_seal_is_typed_in_and_compared(demo: Pages, officer: Browser) -> None:
    with demo.room.look() as db:
        newest = seal(db, 1)
    for written in (
        str(newest),
        f" {newest.seq} - {newest.hash[:16].upper()} ",
        f"{newest.seq} · {newest.hash}",
    ):
        page = officer.get(f"/day-book/proof?site=NORTH&seal={quote(written)}")
        assert f"It fits. Entry {newest.seq} still bears" in page.text, written
    wrong = officer.get(f"/day-book/proof?site=NORTH&seal={quote(f'{newest.seq}·' + '0' * 16)}")
    assert "The printed seal does not fit" in wrong.text
    gone = officer.get(f"/day-book/proof?site=NORTH&seal={quote(f'{newest.seq + 5}·' + '0' * 16)}")
    assert "is missing, although a seal of it was printed" in gone.text
    unreadable = officer.get("/day-book/proof?seal=%3Cb%3E")
    assert (unreadable.status, "is not a seal" in unreadable.text) == (422, True)
    assert "<b>" not in unreadable.body.split("That did not work")[1]


def test_an_item_leads_to_its_entries(officer: Browser) -> None:
    assert officer.get(f"/day-book?about={WRENCH}").text.count("20110-1") > 3
