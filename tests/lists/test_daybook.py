"""The day book: read, and worked out again; a changed past shows."""

from __future__ import annotations

import hashlib
import json
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import text

from fleet.ledgers.daybook import enter
from fleet.lists.daybook import FirstAltered, Verified, chains, entries, seal, verify
from fleet.rules.daybook import FIRST, Seal
from fleet.rules.people import SETTING_UP
from tests.shop import NOON

if TYPE_CHECKING:
    from fleet.room import Room
    from tests.shop import Clock

CHAIN = 7
ABOUT = ("10427-2", "J-1", "10427-2", "J-2", "10438-8")


@pytest.fixture
def book(room: Room, clock: Clock) -> Room:
    """A chain of five entries, an hour apart, and one of another chain."""
    for at, about in enumerate(ABOUT, start=1):
        with room.act() as db:
            enter(db, CHAIN, by=SETTING_UP, now=clock(), act="issued", about=about, body={"no": at})
        clock.pass_by(hours=1)
    with room.act() as db:
        enter(db, 0, by=SETTING_UP, now=clock(), act="imported", about="models", body={})
    return room


def tamper(room: Room, *statements: str) -> None:
    """Change the past as somebody with the database in their hands would: the guards are taken off first."""
    with room.act() as db:
        if db.dialect.name == "postgresql":
            db.execute(text("ALTER TABLE daybook DISABLE TRIGGER USER"))
        else:
            guards = db.execute(text("SELECT name FROM sqlite_master WHERE type = 'trigger'")).scalars()
            for guard in [name for name in guards if "daybook" in name]:
                db.execute(text(f"DROP TRIGGER {guard}"))
        for statement in statements:
            db.execute(text(statement))


def checked(room: Room, printed: tuple[int, str] | None = None) -> Verified | FirstAltered:
    with room.look() as db:
        return verify(db, CHAIN, printed)


def newest(room: Room) -> Seal:
    with room.look() as db:
        return seal(db, CHAIN)


def test_an_untouched_book_verifies_up_to_its_seal(book: Room) -> None:
    assert checked(book) == Verified(CHAIN, 5, newest(book))
    assert newest(book).seq == 5


def test_the_hash_is_sha_256_of_what_the_entry_says(book: Room) -> None:
    """FIPS 180-4 through hashlib, over a content written out here by hand."""
    said = f'[7, 1, "2026-05-13T17:00:00.000000Z", "set-up", "issued", "10427-2", {json.dumps(json.dumps({"no": 1}, separators=(",", ":")))}]'  # noqa: E501  One entry, as it is sealed.
    by_hand = hashlib.sha256(b"\x00" + bytes(32) + said.encode()).hexdigest()

    with book.look() as db:
        assert entries(db, CHAIN)[-1].hash == by_hand


def test_an_empty_chain_has_seal_number_nought(room: Room) -> None:
    with room.look() as db:
        assert seal(db, CHAIN) == Seal(CHAIN, 0, FIRST)
        assert verify(db, CHAIN) == Verified(CHAIN, 0, Seal(CHAIN, 0, FIRST))
        assert chains(db) == []


def test_entries_come_newest_first_and_by_what_they_are_about(book: Room) -> None:
    with book.look() as db:
        assert [entry.seq for entry in entries(db, CHAIN)] == [5, 4, 3, 2, 1]
        assert [entry.seq for entry in entries(db, CHAIN, about="10427-2")] == [3, 1]
        assert [entry.seq for entry in entries(db, CHAIN, since=NOON + timedelta(hours=3))] == [5, 4]
        assert [entry.seq for entry in entries(db, CHAIN, most=2)] == [5, 4]
        assert chains(db) == [0, CHAIN]


@pytest.mark.parametrize(
    "change",
    [
        "about = 'J-9'",
        "act = 'returned'",
        "person_name = 'Somebody else'",
        "body = '{}'",
        "prev_hash = 'not a hash'",
        "hash = 'ff' || substr(hash, 3)",
        "recorded_at = '2026-05-13T17:00:00.000000Z'",
    ],
)
def test_a_changed_entry_is_named(book: Room, change: str) -> None:
    tamper(book, f"UPDATE daybook SET {change} WHERE chain = 7 AND seq = 3")

    found = checked(book)

    assert isinstance(found, FirstAltered)
    assert (found.chain, found.seq) == (CHAIN, 3)


def test_a_time_that_is_none_is_named_and_not_stumbled_over(book: Room) -> None:
    with book.look() as db:
        nonsense = "infinity" if db.dialect.name == "postgresql" else "half past nine"
    tamper(book, f"UPDATE daybook SET recorded_at = '{nonsense}' WHERE chain = 7 AND seq = 2")

    assert checked(book) == FirstAltered(CHAIN, 2, "no longer gives its hash")


def test_an_entry_that_was_sealed_again_is_given_away_by_the_next(book: Room) -> None:
    """Whoever changes an entry and works out its hash anew still has not changed the one after it."""
    with book.look() as db:
        third = next(entry for entry in entries(db, CHAIN) if entry.seq == 3)
        second = next(entry for entry in entries(db, CHAIN) if entry.seq == 2)
    said = json.dumps([7, 3, "2026-05-13T19:00:00.000000Z", "set-up", "issued", "J-9", third.body])
    forged = hashlib.sha256(b"\x00" + bytes.fromhex(second.hash) + said.encode()).hexdigest()
    tamper(book, f"UPDATE daybook SET about = 'J-9', hash = '{forged}' WHERE chain = 7 AND seq = 3")

    assert checked(book) == FirstAltered(CHAIN, 3, "bears another hash than the next entry was sealed with")


@pytest.mark.parametrize("gone", [1, 3, 4])
def test_a_missing_entry_is_named(book: Room, gone: int) -> None:
    tamper(book, f"DELETE FROM daybook WHERE chain = 7 AND seq = {gone}")

    assert checked(book) == FirstAltered(CHAIN, gone, f"is missing; after {gone - 1} comes {gone + 1}")


def test_closing_the_gap_does_not_help(book: Room) -> None:
    tamper(
        book,
        "DELETE FROM daybook WHERE chain = 7 AND seq = 3",
        "UPDATE daybook SET seq = 3 WHERE chain = 7 AND seq = 4",
        "UPDATE daybook SET seq = 4 WHERE chain = 7 AND seq = 5",
    )

    found = checked(book)

    assert isinstance(found, FirstAltered)
    assert found.seq == 3


def test_two_entries_that_changed_places_are_found(book: Room) -> None:
    tamper(
        book,
        "UPDATE daybook SET seq = 99 WHERE chain = 7 AND seq = 2",
        "UPDATE daybook SET seq = 2 WHERE chain = 7 AND seq = 4",
        "UPDATE daybook SET seq = 4 WHERE chain = 7 AND seq = 99",
    )

    found = checked(book)

    assert isinstance(found, FirstAltered)
    assert found.seq == 2


def test_only_paper_shows_that_the_newest_entries_were_cut_off(book: Room) -> None:
    printed = newest(book)
    tamper(book, "DELETE FROM daybook WHERE chain = 7 AND seq > 3")

    assert isinstance(checked(book), Verified)
    assert checked(book, (printed.seq, printed.hash[:16])) == FirstAltered(
        CHAIN, 4, "is missing: a seal of entry 5 was printed"
    )


def test_an_old_seal_fits_a_longer_chain(book: Room) -> None:
    with book.look() as db:
        second = entries(db, CHAIN)[-2]

    assert isinstance(checked(book, (2, second.hash[:16])), Verified)
    assert checked(book, (2, "0" * 16)) == FirstAltered(
        CHAIN, 2, f"bears a hash that does not begin with {'0' * 16}"
    )


def test_a_long_book_is_read_in_batches(room: Room, *, deep: bool) -> None:
    """One more entry than fits in a batch; the last is the altered one."""
    many = 20_001 if deep else 2001
    with room.act() as db:
        for at in range(1, many + 1):
            enter(db, CHAIN, by=SETTING_UP, now=NOON, act="issued", about=f"J-{at}", body={})
    tamper(room, f"UPDATE daybook SET about = 'J-0' WHERE chain = 7 AND seq = {many}")

    found = checked(room)

    assert isinstance(found, FirstAltered)
    assert found.seq == many


def test_every_change_of_one_letter_is_found(book: Room, *, deep: bool) -> None:
    """Each column that is sealed, at each of its places: none can be changed unseen."""
    columns = ("person_name", "act", "about", "body", "prev_hash", "hash")
    with book.look() as db:
        entry = db.execute(text("SELECT * FROM daybook WHERE chain = 7 AND seq = 3")).mappings().one()
    changes = [(column, at) for column in columns for at in range(len(entry[column])) if deep or at % 7 == 0]
    tamper(book)
    for column, at in changes:
        was = entry[column]
        became = was[:at] + ("a" if was[at] != "a" else "b") + was[at + 1 :]
        with book.act() as db:
            change = text(f"UPDATE daybook SET {column} = :value WHERE chain = 7 AND seq = 3")
            db.execute(change, {"value": became})
            found = verify(db, CHAIN)
            db.execute(change, {"value": was})
        assert isinstance(found, FirstAltered), (column, at)
        assert found.seq == 3, (column, at)
    assert isinstance(checked(book), Verified)
