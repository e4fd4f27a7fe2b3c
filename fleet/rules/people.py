"""Who may do what: a person, their roles per site, and the refusal when a role is missing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fleet.refusals import NotAllowed

if TYPE_CHECKING:
    from fleet.rules.register import Role


@dataclass(frozen=True, slots=True)
class Actor:
    """Who is acting. ``id`` is empty only for setting up an empty room and for what runs by the clock."""

    id: int | None
    name: str
    roles: frozenset[tuple[int, str]] = frozenset()


SETTING_UP = Actor(None, "set-up")
THE_CLOCK = Actor(None, "the clock")


def require(actor: Actor, site_id: int, site_name: str, *roles: Role) -> None:
    """Refuse unless the actor holds one of the roles at the site, or sets the room up."""
    if actor is SETTING_UP or any((site_id, role) in actor.roles for role in roles):
        return
    wanted = " or ".join(roles)
    raise NotAllowed(f"{actor.name} is not a {wanted} at {site_name}; that role is needed for this.")


def require_anywhere(actor: Actor, *roles: Role) -> None:
    """Refuse unless the actor holds one of the roles at any site, or sets the room up."""
    if actor is SETTING_UP or any(held in roles for _, held in actor.roles):
        return
    raise NotAllowed(f"{actor.name} is not a {' or '.join(roles)} at any site; that role is needed for this.")
