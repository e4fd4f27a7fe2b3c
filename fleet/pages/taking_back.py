"""A mistaken entry about an item, as the form shows it that takes it back by a second one."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.lists.upkeep import upkeep_done
from fleet.lists.usage import usage
from fleet.measures.times import show_day, show_hours
from fleet.refusals import NotFound

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from sqlalchemy.engine import Connection

    from fleet.lists.items import ItemLine
    from fleet.lists.sites import SiteLine

    Told = Callable[[Connection, ItemLine, SiteLine, datetime], dict[str, object]]

# An entry is looked for among so many of the newest; older ones are taken back by the command.
_AMONG = 10_000


def entry_of_upkeep(entry: int) -> Told:
    """What the form says about an entry of upkeep; whether it may be withdrawn the act decides."""

    def told(db: Connection, item: ItemLine, _site: SiteLine, _now: datetime) -> dict[str, object]:
        for line in upkeep_done(db, item, most=_AMONG):
            if line.entry == entry:
                said = f"{line.task} done on {show_day(line.done_on)}, noted by {line.by or 'the set-up'}"
                return {"entry": entry, "title": "Withdraw upkeep of", "of": said, "kind": "done"}
        raise NotFound(f"This item has no entry {entry} of upkeep.")

    return told


def entry_of_use(entry: int) -> Told:
    """What the form says about an entry of use."""

    def told(db: Connection, item: ItemLine, _site: SiteLine, _now: datetime) -> dict[str, object]:
        for line in usage(db, item, most=_AMONG):
            if line.entry == entry:
                use = f"{line.cycles:,} cycles, {show_hours(line.minutes)} pump hours"
                job = f" on {line.job}" if line.job else ""
                said = f"{use}{job}, {show_day(line.used_on)}, noted by {line.by or 'the set-up'}"
                return {"entry": entry, "title": "Correct use of", "of": said, "kind": "use"}
        raise NotFound(f"This item has no entry {entry} of use.")

    return told
