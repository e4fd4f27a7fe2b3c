"""Who is told."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fleet.rules.readers import (
    Mailbox,
    Mailboxes,
    Reader,
    Told,
    mailboxes,
    still_to_write,
    usable_address,
)

NORTH, SOUTH = 1, 2
SPARE = Mailbox(None, "spare", "North tool room", "north@tool-room.example", (NORTH,))


def reader(badge: str, address: str | None, *roles: str) -> Reader:
    return Reader(int(badge[1:]), badge, f"Person {badge}", address, frozenset(roles))


@pytest.mark.parametrize(
    "address",
    ["kim@tool-room.example", " kim@tool-room.example ", "k.k+shift-1@a-b.tool-room.example", "kim@host"],
)
def test_an_ordinary_address_is_used(address: str) -> None:
    assert usable_address(address)


@pytest.mark.parametrize(
    "address",
    [
        None,
        "",
        "kim",
        "kim@",
        "@tool-room.example",
        "kim@tool-room.example, pat@tool-room.example",
        "Kim <kim@tool-room.example>",
        "kim@tool-room.example\r\nBcc: all@tool-room.example",
        "kim keeper@tool-room.example",
        "kim@tool..example",
        "kim@-tool.example",
        "kïm@tool-room.example",
        "k" * 65 + "@tool-room.example",
        ".kim@tool-room.example",
        "kim.@tool-room.example",
        "kim..keeper@tool-room.example",
        "=?utf-8?b?DQpCY2M6IHhAeQ==?=@tool-room.example",
        "kim@" + "a." * 130 + "example",
    ],
)
def test_an_address_that_could_mean_something_else_is_not_used(address: str | None) -> None:
    assert not usable_address(address)


def boxes(*readers: tuple[int, Reader], instead: dict[int, Reader] | None = None) -> Mailboxes:
    return mailboxes(readers, instead or {})


def test_those_without_an_address_are_named_and_not_forgotten() -> None:
    found = boxes(
        (NORTH, reader("K1", "kim@tool-room.example", "keeper")),
        (NORTH, reader("K2", None, "keeper")),
        (SOUTH, reader("K3", "?", "planner")),
    )

    assert [box.badge for box in found.all] == ["K1"]
    assert {site: [one.badge for one in ones] for site, ones in found.unreached.items()} == {
        NORTH: ["K2"],
        SOUTH: ["K3"],
    }


def test_a_shared_mailbox_gets_one_letter() -> None:
    (one,) = boxes(
        (NORTH, reader("K1", "desk@tool-room.example", "keeper")),
        (NORTH, reader("P1", "Desk@tool-room.example", "planner")),
        (SOUTH, reader("P1", "Desk@tool-room.example", "planner")),
    ).all

    assert one.name == "Person K1 and Person P1"
    assert (one.person_id, one.address, one.sites) == (1, "desk@tool-room.example", (NORTH, SOUTH))


def test_whoever_answers_for_several_sites_has_one_mailbox_and_the_first_as_home() -> None:
    kim = reader("K1", "kim@tool-room.example", "keeper")
    (one,) = boxes((NORTH, kim), (SOUTH, kim)).all

    assert (one.sites, one.home) == ((NORTH, SOUTH), NORTH)


def test_who_is_away_is_stood_in_for() -> None:
    kim, pat = reader("K1", "kim@tool-room.example", "keeper"), reader("K2", "pat@tool-room.example")
    (one,) = boxes((NORTH, kim), (SOUTH, pat), instead={kim.person_id: pat}).all
    assert (one.badge, one.sites, one.instead_of) == ("K2", (NORTH, SOUTH), ("Person K1",))

    (two,) = boxes((NORTH, kim), (SOUTH, kim), instead={kim.person_id: pat}).all
    assert two.instead_of == ("Person K1",)


def test_a_deputy_who_cannot_be_written_to_stands_in_for_nobody() -> None:
    kim, pat = reader("K1", "kim@tool-room.example", "keeper"), reader("K2", None)
    found = boxes((NORTH, kim), instead={kim.person_id: pat})

    assert [box.badge for box in found.all] == ["K1"]
    assert found.unreached == {}


def told(address: str, *sites: int, state: str = "sent", person: int | None = None) -> Told:
    return Told(address, person, state, frozenset(sites or (NORTH,)))


def test_whoever_has_a_letter_gets_no_second_one() -> None:
    both = boxes(
        (NORTH, reader("K1", "kim@tool-room.example", "keeper")),
        (NORTH, reader("P2", "pat@tool-room.example", "planner")),
    ).all

    assert still_to_write(both, SPARE, []) == list(both)
    assert still_to_write(both, SPARE, [told("Kim@Tool-Room.example")]) == [both[1]]
    lost = told("pat@tool-room.example", state="undeliverable")
    assert still_to_write(both, SPARE, [told("kim@tool-room.example"), lost]) == []


def test_a_letter_of_another_site_is_theirs_too() -> None:
    """Whoever answers for a second site in the middle of the week hears of it in the next letter."""
    kim = reader("K1", "kim@tool-room.example", "keeper")
    both = boxes((NORTH, kim), (SOUTH, kim)).all

    assert still_to_write(both, SPARE, [told(kim.address or "", NORTH, SOUTH)]) == []
    assert still_to_write(both, replace(SPARE, sites=(SOUTH,)), []) == []
    assert still_to_write(both, SPARE, []) == list(both)


def test_who_has_a_new_address_gets_their_letter_there_only_when_the_first_was_lost() -> None:
    now = boxes((NORTH, reader("K1", "new@tool-room.example", "keeper"))).all

    assert still_to_write(now, SPARE, [told("old@tool-room.example", person=1)]) == []
    lost = told("old@tool-room.example", person=1, state="undeliverable")
    assert still_to_write(now, SPARE, [lost]) == list(now)


def test_silence_is_not_possible() -> None:
    assert still_to_write([], SPARE, []) == [SPARE]
    assert still_to_write([], SPARE, [told(SPARE.address, state="written")]) == []
    # Their only reader has a letter of this week already, which said nothing of this site.
    kim = reader("K1", "kim@tool-room.example", "keeper")
    both = boxes((NORTH, kim), (SOUTH, kim)).all
    spare = replace(SPARE, sites=(SOUTH,))
    assert still_to_write(both, spare, [told(kim.address or "", NORTH)]) == [spare]
