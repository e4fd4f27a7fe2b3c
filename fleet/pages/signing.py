"""Whether somebody will be asked once more who they are before they may sign."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.rules.access import is_confirmed

if TYPE_CHECKING:
    from datetime import datetime

    from fleet.lists.access import Visitor


def is_asked_again(who: Visitor, now: datetime) -> bool:
    """Whether an act that has to be sure of the person would send them to prove it first.

    Said above a form, since whoever is sent away with a form filled in types it twice.
    """
    return who.station_id is not None or not is_confirmed(who.times, now)
