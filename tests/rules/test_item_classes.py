"""Classes of items: kept in words, read again as they were, and who belongs."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.bolting.parts import Kind
from fleet.refusals import NotPossible, Unreadable
from fleet.rules.item_classes import Member, Wanted, belongs, make_class, read_class, smallest_first

PUMP = Member(1, "10001", "pump", "PEL-11", 68.9, 70.0, None, None, ("Screw A 3/8 in", "NPT 1/2 in"))
LINK = Member(2, "10002", "wrench", "WRL-60", 5000.0, 70.0, None, 60.3, ())


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({}, "pump"),
        (
            {"at_least": "700 bar", "coupling": "Screw A  3/8 in"},
            "pump; at least 700 bar; coupling Screw A 3/8 in",
        ),
        (
            {"at_least": "10,000 psi", "model": "PEL; drive 11"},
            "pump; at least 10,000 psi; model PEL; drive 11",
        ),
    ],
)
def test_a_class_is_kept_in_words_and_read_again(asked: dict[str, str | None], words: str) -> None:
    wanted = make_class(Kind.PUMP, asked)
    assert str(wanted) == words
    assert read_class(words) == wanted


@given(st.text(min_size=1).map(lambda text: " ".join(text.split())).filter(bool))
def test_whatever_a_model_is_called_it_is_read_again(name: str) -> None:
    assert read_class(str(Wanted(Kind.HOSE, model=name))) == Wanted(Kind.HOSE, model=name)


@pytest.mark.parametrize(
    ("asked", "belongs_to_it"),
    [
        ({}, True),
        ({"at_least": "700 bar"}, True),
        ({"at_least": "70.1 MPa"}, False),
        ({"model": "pel-11"}, True),
        ({"model": "PEL-1"}, False),
        ({"coupling": "screw a 3/8 in"}, True),
        ({"coupling": "Screw A 1/4 in"}, False),
    ],
)
def test_a_pump_belongs_by_its_plate(asked: dict[str, str | None], *, belongs_to_it: bool) -> None:
    """The pressure class is the plate's; the relief valve of one pump may be set lower."""
    assert belongs(PUMP, make_class(Kind.PUMP, asked)) is belongs_to_it


@pytest.mark.parametrize(
    ("asked", "belongs_to_it"),
    [
        ({"at_least": "5000 N·m"}, True),
        ({"at_least": "5001 N·m"}, False),
        ({"across_flats": "2 3/8 in"}, True),
        ({"across_flats": "60 mm"}, True),
        ({"across_flats": "61 mm"}, False),
        ({"drive": "1 in"}, False),
    ],
)
def test_a_wrench_belongs_by_torque_and_nut(asked: dict[str, str | None], *, belongs_to_it: bool) -> None:
    assert belongs(LINK, make_class(Kind.WRENCH, asked)) is belongs_to_it


def test_what_is_not_on_record_is_not_met() -> None:
    unknown = replace(PUMP, rating_mpa=None)
    assert not belongs(unknown, make_class(Kind.PUMP, {"at_least": "1 bar"}))
    assert belongs(unknown, Wanted(Kind.PUMP))
    assert not belongs(unknown, Wanted(Kind.HOSE))


def test_the_weakest_comes_first_and_the_unknown_last() -> None:
    some = [
        replace(LINK, strength=None),
        replace(LINK, strength=9.0, tag="2"),
        replace(LINK, strength=9.0, tag="1"),
    ]
    assert [one.tag for one in sorted(some, key=smallest_first)] == ["1", "2", "10002"]


@pytest.mark.parametrize(
    ("kind", "asked", "said"),
    [
        (Kind.SOCKET, {"at_least": "700 bar"}, "A socket has no rating on record"),
        (Kind.PUMP, {"drive": "1 in"}, "A pump has neither a square drive nor a width across flats"),
    ],
)
def test_what_a_kind_does_not_have_is_refused(kind: Kind, asked: dict[str, str | None], said: str) -> None:
    with pytest.raises(NotPossible, match=said):
        make_class(kind, asked)


def test_a_pressure_is_no_torque() -> None:
    with pytest.raises(Unreadable):
        make_class(Kind.WRENCH, {"at_least": "700 bar"})
    with pytest.raises(Unreadable, match="says nothing about a class"):
        read_class("pump; yellow")
    with pytest.raises(Unreadable, match="is not a kind of equipment"):
        read_class("ladder")
