"""Who is told."""

from __future__ import annotations

import pytest

from fleet.rules.readers import Addressee, Reader, addressees, still_to_write, usable_address

SPARE = Addressee(None, "spare", "North tool room", "north@tool-room.example", frozenset({"keeper"}))


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
        "kim@" + "a." * 130 + "example",
    ],
)
def test_an_address_that_could_mean_something_else_is_not_used(address: str | None) -> None:
    assert not usable_address(address)


def test_those_without_an_address_are_named_and_not_forgotten() -> None:
    wanted, unreached = addressees(
        [
            reader("K1", "kim@tool-room.example", "keeper"),
            reader("K2", None, "keeper"),
            reader("K3", "?", "planner"),
        ]
    )

    assert [to.badge for to in wanted] == ["K1"]
    assert [person.badge for person in unreached] == ["K2", "K3"]


def test_a_shared_mailbox_gets_one_letter_with_what_both_answer_for() -> None:
    (one,), unreached = addressees(
        [
            reader("K1", "desk@tool-room.example", "keeper"),
            reader("P1", "Desk@tool-room.example", "planner"),
        ]
    )

    assert unreached == []
    assert one.roles == {"keeper", "planner"}
    assert one.name == "Person K1 and Person P1"
    assert (one.person_id, one.address) == (1, "desk@tool-room.example")


def test_whoever_has_a_letter_gets_no_second_one() -> None:
    wanted, _ = addressees(
        [reader("K1", "kim@tool-room.example", "keeper"), reader("P1", "pat@tool-room.example", "planner")]
    )

    assert still_to_write(wanted, SPARE, {}) == wanted
    assert still_to_write(wanted, SPARE, {"Kim@Tool-Room.example": "sent"}) == [wanted[1]]
    both = {"kim@tool-room.example": "sent", "pat@tool-room.example": "undeliverable"}
    assert still_to_write(wanted, SPARE, both) == []


def test_silence_is_not_possible() -> None:
    wanted, _ = addressees([reader("K1", "kim@tool-room.example", "keeper")])

    assert still_to_write([], SPARE, {}) == [SPARE]
    assert still_to_write([], SPARE, {SPARE.address: "written"}) == []
    assert still_to_write(wanted, SPARE, {"kim@tool-room.example": "undeliverable"}) == [SPARE]
    gone = {"kim@tool-room.example": "undeliverable", SPARE.address: "undeliverable"}
    assert still_to_write(wanted, SPARE, gone) == []
