"""Whatever comes up and is mended in whatever order: each matter is told to each reader once, none in vain.

A rule-based machine of Hypothesis. It keeps on paper what stands and who answers for it, and after every
round holds what was told against that.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, precondition, rule, run_state_machine_as_test

from fleet import records
from tests.conftest import migrate
from tests.desk.machine_room import open_at
from tests.shop import ZONE, Clock, Shop
from tests.troubledesk import TroubleDesk

if TYPE_CHECKING:
    from datetime import date

    from tests.databases import Databases

ROLES = {"K1": "keeper", "K2": "keeper", "S1": "safety officer"}
# As in the shop: quiet from eight in the evening until six in the morning.
QUIET = {*range(20, 24), *range(6)}


class Troubles(RuleBasedStateMachine):
    """Items are lent, held and late; people lose and find their addresses; the rounds come by or do not."""

    def __init__(self, databases: Databases, engine: str) -> None:
        super().__init__()
        self.databases, self.address = databases, databases.copy(engine, migrate)
        self.clock = Clock()
        self.room = open_at(self.address, self.clock)
        self.desk = TroubleDesk(self.room, Shop(self.room), self.clock)
        self.people = {badge: self.desk.letters.hire(badge, role) for badge, role in ROLES.items()}
        self.reachable = dict.fromkeys(ROLES, True)
        self.out: dict[int, tuple[int, date, date]] = {}  # Item: line, day of issue, day to be back.
        self.held: dict[int, tuple[int, int, date]] = {}  # Hold: item, line, day opened.
        self.reviews: set[int] = set()
        self.told: set[tuple[str, str]] = set()  # Matter and badge.

    def teardown(self) -> None:
        self.room.close()
        self.databases.drop(self.address)

    @property
    def today(self) -> date:
        return self.clock.now.astimezone(ZoneInfo(ZONE)).date()

    # --- What happens ---------------------------------------------------------------------------------------

    @rule(days=st.integers(-16, 3))
    def lend(self, days: int) -> None:
        item, _ = self.desk.item()
        back_on = self.today + timedelta(days=days)
        line = self.desk.lend(item, back_on, issued_at=self.clock.now)
        self.out[item] = line, self.today, back_on

    @precondition(lambda self: self.out)
    @rule(data=st.data())
    def hold(self, data: st.DataObject) -> None:
        item = data.draw(st.sampled_from(sorted(self.out)))
        self.held[self.desk.hold(item)] = item, self.out[item][0], self.today

    @precondition(lambda self: self.held)
    @rule(data=st.data())
    def release(self, data: st.DataObject) -> None:
        hold = data.draw(st.sampled_from(sorted(self.held)))
        self.desk.release(hold)
        del self.held[hold]

    @precondition(lambda self: self.out)
    @rule(data=st.data())
    def take_back(self, data: st.DataObject) -> None:
        item = data.draw(st.sampled_from(sorted(self.out)))
        self.desk.take_back(self.out.pop(item)[0])

    @rule()
    def fail_a_calibration(self) -> None:
        self.reviews.add(self.desk.review(self.desk.item()[0]))

    @precondition(lambda self: self.reviews)
    @rule()
    def close_a_review(self) -> None:
        closed = {"closed_at": self.clock.now, "summary": "Nothing was out of tolerance"}
        self.desk.change(records.ImpactReviewRow, self.reviews.pop(), **closed)

    @rule(badge=st.sampled_from(sorted(ROLES)))
    def lose_or_find_an_address(self, badge: str) -> None:
        self.reachable[badge] = not self.reachable[badge]
        address = f"{badge.lower()}@tool-room.example" if self.reachable[badge] else None
        self.desk.letters.change(self.people[badge], address=address)

    @rule(hours=st.sampled_from([1, 5, 13, 24, 24 * 8]))
    def time_passes(self, hours: int) -> None:
        self.clock.pass_by(hours=hours)

    # --- What must hold -------------------------------------------------------------------------------------

    @rule()
    def the_rounds_come_by(self) -> None:
        self.clock.pass_by(minutes=1)
        before = self.desk.told()
        self.desk.tell()
        new = self.desk.told()[len(before) :]
        standing = self.standing()
        quiet = self.clock.now.astimezone(ZoneInfo(ZONE)).hour in QUIET
        for matter, level, badge in new:
            assert matter in standing
            assert level <= standing[matter][1]
            assert (matter, badge) not in self.told
            assert not quiet or (level == 0 and not matter.startswith("late"))
            self.told.add((matter, badge))
        for matter, (roles, level) in standing.items():
            for at in range(level + 1):
                if not quiet or (at == 0 and not matter.startswith("late")):
                    self.somebody_knows(matter, roles[at])

    def standing(self) -> dict[str, tuple[tuple[set[str], ...], int]]:
        """Every matter that stands: the roles of each level, and the level it has come to."""
        both, officers, nobody = {"keeper", "safety officer"}, {"safety officer"}, set[str]()
        found: dict[str, tuple[tuple[set[str], ...], int]] = {}
        for hold, (item, line, opened_on) in self.held.items():
            if item in self.out and self.out[item][0] == line:
                since = max(opened_on, self.out[item][1])
                found[f"hold {hold}"] = (both, officers, nobody), self.level(since)
        for line, _, back_on in self.out.values():
            if back_on < self.today:
                found[f"late {line}"] = ({"keeper"}, officers, nobody), self.level(back_on)
        for review in self.reviews:
            found[f"failed {review}"] = (both,), 0
        return found

    def level(self, since: date) -> int:
        days = (self.today - since).days
        return 2 if days >= 14 else 1 if days >= 7 else 0

    def somebody_knows(self, matter: str, roles: set[str]) -> None:
        """Everybody of the level who can be written to was told, and somebody at all, be it the spare one."""
        badges = [badge for badge, role in ROLES.items() if role in roles and self.reachable[badge]]
        for badge in badges or ["spare"]:
            assert (matter, badge) in self.told


def test_each_matter_is_told_to_each_reader_once_and_never_in_vain(
    databases: Databases, engine_name: str, *, deep: bool
) -> None:
    runs, steps = (300, 60) if deep else (12, 25)
    make: Any = lambda: Troubles(databases, engine_name)  # noqa: E731  Called with nothing, as a class is.
    run_state_machine_as_test(make, settings=settings(max_examples=runs, stateful_step_count=steps))
