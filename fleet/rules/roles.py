"""Who may give and take roles, and who may make people inactive."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.refusals import NotAllowed
from fleet.rules.people import SETTING_UP
from fleet.rules.register import Role

if TYPE_CHECKING:
    from collections.abc import Collection

    from fleet.rules.people import Actor

# Whoever answers for a site gives roles there, as by a sheet of people.
GIVERS = (Role.KEEPER, Role.SAFETY)


@dataclass(frozen=True, slots=True)
class Held:
    """What is known about roles: sites with somebody who may give one, and sites with a safety officer."""

    manned: frozenset[int]
    officers: frozenset[int]


def givers(site: int, role: str, held: Held) -> tuple[int | None, tuple[Role, ...]]:
    """At which site, or anywhere, and in which roles somebody may give this role at a site.

    Only a safety officer makes another: a concession needs two people, and a keeper who could become the
    second one would need nobody. The first roles of a new site are given from elsewhere.
    """
    if role == Role.SAFETY and held.officers:
        return (site if site in held.officers else None), (Role.SAFETY,)
    return (site if site in held.manned else None), GIVERS


def check_giver(  # What is asked, and what is known of whoever asks.
    by: Actor, person: int, site: tuple[int, str], role: str, held: Held, *, administrator: bool
) -> None:
    """Refuse whoever may not give or take this role; an administrator gives none to themself."""
    where, roles = givers(site[0], role, held)
    if by is SETTING_UP or _holds(by, where, roles):
        return
    if administrator and by.id != person:
        return
    if administrator:
        raise NotAllowed(
            f"{by.name} cannot change a role of their own as an administrator; another administrator must."
        )
    place = f"at {site[1]}" if where is not None else "at any site"
    raise NotAllowed(
        f"{by.name} is neither an administrator nor a {' or '.join(roles)} {place}; one of these must do it."
    )


def check_keeper_of_people(
    by: Actor, person: tuple[int, str], roles: Collection[tuple[int, str]], *, administrator: bool
) -> None:
    """Refuse whoever may not make this person, with these roles, active or inactive."""
    if by.id == person[0] and by is not SETTING_UP:
        raise NotAllowed(f"{by.name} cannot do this for themself; somebody else must.")
    if by is SETTING_UP or administrator:
        return
    # Of a safety officer only another one says so, for the same reason as above.
    wanted = (Role.SAFETY,) if any(role == Role.SAFETY for _, role in roles) else GIVERS
    places = {site for site, _ in roles}
    if any(role in wanted and (site in places or not places) for site, role in by.roles):
        return
    raise NotAllowed(
        f"{by.name} is neither an administrator nor a {' or '.join(wanted)} where {person[1]} has a role; "
        "one of these must do this."
    )


def _holds(by: Actor, where: int | None, roles: tuple[Role, ...]) -> bool:
    return any(role in roles and where in (None, site) for site, role in by.roles)
