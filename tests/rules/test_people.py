"""Who may do what: a role counts at the site where it is held."""

from __future__ import annotations

from itertools import combinations

import pytest

from fleet.refusals import NotAllowed
from fleet.rules.people import SETTING_UP, THE_CLOCK, Actor, require, require_anywhere
from fleet.rules.register import Role

NORTH, SOUTH = 1, 2
ROLES = tuple(Role)


def refused(actor: Actor, site: int, *roles: Role) -> str:
    try:
        require(actor, site, "NORTH", *roles)
    except NotAllowed as refusal:
        return str(refusal)
    return ""


@pytest.mark.parametrize("held", ROLES)
def test_a_role_opens_its_own_doors_at_its_own_site(held: Role) -> None:
    person = Actor(7, "Kim Keeper", frozenset({(NORTH, held)}))
    for wanted in (pair for number in (1, 2) for pair in combinations(ROLES, number)):
        assert bool(refused(person, NORTH, *wanted)) == (held not in wanted)
        assert refused(person, SOUTH, *wanted)


def test_the_refusal_names_the_person_the_roles_and_the_site() -> None:
    nobody = Actor(7, "Kim Keeper")
    assert refused(nobody, NORTH, ROLES[0], ROLES[1]) == (
        f"Kim Keeper is not a {ROLES[0]} or {ROLES[1]} at NORTH; that role is needed for this."
    )
    with pytest.raises(NotAllowed) as refusal:
        require_anywhere(nobody, ROLES[0], ROLES[1])
    assert str(refusal.value) == (
        f"Kim Keeper is not a {ROLES[0]} or {ROLES[1]} at any site; that role is needed for this."
    )


def test_a_role_at_any_site_is_enough_where_no_site_is_asked() -> None:
    person = Actor(7, "Kim Keeper", frozenset({(NORTH, ROLES[0]), (SOUTH, ROLES[1])}))
    require_anywhere(person, ROLES[1])
    with pytest.raises(NotAllowed):
        require_anywhere(person, ROLES[2])


def test_an_empty_room_can_be_set_up_and_the_clock_has_no_role() -> None:
    require(SETTING_UP, NORTH, "NORTH", *ROLES)
    require_anywhere(SETTING_UP, *ROLES)
    assert refused(THE_CLOCK, NORTH, *ROLES).startswith("the clock is not a ")
    with pytest.raises(NotAllowed):
        require_anywhere(THE_CLOCK, *ROLES)


def test_to_be_called_set_up_is_not_to_set_up() -> None:
    assert refused(Actor(SETTING_UP.id, SETTING_UP.name), NORTH, *ROLES)
