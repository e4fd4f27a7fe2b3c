"""Plans in the making: each in a thread of its own, with no transaction open while the solver works.

What runs is known to this process only. When the pages are started anew, a search that ran is lost.
"""

from __future__ import annotations

import atexit
import logging
import threading
import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fleet.desk.plans import propose
from fleet.lists.plan_kits import complete
from fleet.planning.plan import make_plan
from fleet.refusals import NotPossible, Refusal
from fleet.rules.plans import Draft

if TYPE_CHECKING:
    from datetime import datetime

    from fleet.lists.plan_facts import Ground
    from fleet.planning.answers import Aim, Progress
    from fleet.planning.facts import Limits
    from fleet.room import Room

log = logging.getLogger("fleet.pages")

# Each takes a processor or two; the pages need one as well.
MOST_AT_ONCE = 2
# How long the end of the program waits for a search that was told to stop.
_PATIENCE = 5.0


@dataclass(frozen=True, slots=True)
class Order:
    """What is to be planned: one site's jobs in a period, by whom, and under which id it is kept."""

    client_id: str
    badge: str
    name: str
    ground: Ground
    starts_at: datetime
    ends_at: datetime
    limits: Limits


@dataclass(frozen=True, slots=True)
class Seen:
    """A search as it stood at one moment."""

    runs: bool
    stopping: bool
    seconds: int
    most: int
    maker: str
    steps: tuple[Progress, ...]
    number: int | None
    error: str


@dataclass(eq=False)
class Search:
    """One search: how far it is, and what became of it."""

    order: Order
    begun: float = field(default_factory=time.monotonic)
    ended: float | None = None
    steps: dict[Aim, Progress] = field(default_factory=dict)
    number: int | None = None
    error: str = ""
    _stop: threading.Event = field(default_factory=threading.Event)

    @property
    def runs(self) -> bool:
        """Whether it is still searching."""
        return self.ended is None

    def seen(self) -> Seen:
        """How it stands. Whether it runs is looked at first: what it came to is there before it ends."""
        runs = self.runs
        seconds = int((self.ended or time.monotonic()) - self.begun)
        order, steps = self.order, tuple(self.steps.values())
        most = int(order.limits.seconds)
        return Seen(runs, self._stop.is_set(), seconds, most, order.name, steps, self.number, self.error)

    def stop(self) -> None:
        """End it soon, with the best plan found until then."""
        self._stop.set()

    def tell(self, step: Progress) -> None:
        """Note how far it is; called from the solver's threads."""
        self.steps[step.aim] = step

    def run(self, room: Room) -> None:
        """Search, and keep the plan; whatever goes wrong is told on the page."""
        order = self.order
        try:
            plan = make_plan(
                order.ground.facts, limits=order.limits, progress=self.tell, stop=self._stop.is_set
            )
            made = complete(order.ground, plan)
            grid = order.limits.start_grid.total_seconds() / 3600
            draft = Draft(order.starts_at, order.ends_at, grid, (made,))
            with room.act() as db:
                # Asked anew: somebody may have lost their role while the search ran.
                by, now = room.sit(db, order.badge)
                self.number = propose(db, order.client_id, draft, by=by, now=now)
        except Refusal as refusal:
            self.error = str(refusal)
        except Exception:
            log.exception("The search for a plan of %s broke.", order.ground.site.code)
            self.error = "The search broke, and no plan was kept. What happened is in the log."
        finally:
            self.ended = time.monotonic()


class Searches:
    """The searches of this process: at most one at a time for each site."""

    def __init__(self, room: Room) -> None:
        self._room = room
        self._lock = threading.Lock()
        self._of: dict[str, Search] = {}
        self._threads: list[threading.Thread] = []

    def of(self, site: str) -> Search | None:
        """The search of a site that runs, else the last one that ended."""
        return self._of.get(site)

    def start(self, order: Order) -> Search:
        """Begin to search; refused while another runs for the site, or as many as may run at a time."""
        site = order.ground.site.code
        with self._lock:
            before = self._of.get(site)
            if before and before.order.client_id == order.client_id:
                return before
            if before and before.runs:
                raise NotPossible(
                    f"A plan of {site} is being made by {before.order.name} already: wait for it, or stop it."
                )
            if sum(one.runs for one in self._of.values()) >= MOST_AT_ONCE:
                raise NotPossible(
                    f"{MOST_AT_ONCE} plans are being made at other sites, and more at a time would slow the "
                    "pages down. Try again in a few minutes."
                )
            search = self._of[site] = Search(order)
            if not self._threads:
                atexit.register(self.end)
            thread = threading.Thread(target=search.run, args=(self._room,), name=f"plan-{site}", daemon=True)
            # The last one stays, dead or not: it says that the end was seen to.
            self._threads = [one for one in self._threads if one.is_alive()] + [thread]
            thread.start()
        return search

    def end(self) -> None:
        """Stop whatever runs, and wait for it a while: the program ends."""
        for search in self._of.values():
            search.stop()
        ends = time.monotonic() + _PATIENCE
        for thread in self._threads:
            thread.join(max(0.0, ends - time.monotonic()))
