"""What is on record, read once per import and looked up in memory: a query per row would take minutes."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Generic, TypeVar

from sqlalchemy import select

from fleet.measures.tags import read_tag, show_tag
from fleet.measures.times import local_day, zone
from fleet.records import (
    CouplingRow,
    ItemRow,
    JobRow,
    JointRow,
    JointTemplateRow,
    LoanLineRow,
    ModelRow,
    PersonRow,
    SiteRow,
    TaskRow,
)
from fleet.records.base import rows_of
from fleet.rules.cells import CellRefused
from fleet.rules.nearest import hint

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date, datetime
    from zoneinfo import ZoneInfo

    from sqlalchemy.engine import Connection, RowMapping

Thing = TypeVar("Thing")

# Whoever has more wrong names than this in one file has the wrong file; comparing them all takes minutes.
MOST_HINTS = 200


@dataclass(frozen=True, slots=True)
class KnownSite:
    """A site, with the day it is there."""

    id: int
    code: str
    name: str
    zone: ZoneInfo
    today: date


@dataclass(frozen=True, slots=True)
class KnownModel:
    """A model and its kind."""

    id: int
    designation: str
    kind: str


@dataclass(frozen=True, slots=True)
class KnownItem:
    """An item: where it belongs and what its meter reads."""

    id: int
    tag: str
    model_id: int
    serial: str
    site_id: int
    retired_on: date | None
    cycles: int
    minutes: int


@dataclass(frozen=True, slots=True)
class KnownPerson:
    """A person, named by badge."""

    id: int
    badge: str
    name: str


@dataclass(frozen=True, slots=True)
class KnownJob:
    """A job and its site."""

    id: int
    code: str
    site_id: int


@dataclass(frozen=True, slots=True)
class KnownTask:
    """An upkeep task of a kind or of one model."""

    id: int
    name: str
    kind: str
    model_id: int | None
    counts_from: str


class Named(Generic[Thing]):
    """Things by their name: as written first, and whatever the case where that leaves no doubt."""

    def __init__(self, what: str, things: Iterable[tuple[str, Thing]]) -> None:
        self.what = what
        self.hints = MOST_HINTS
        self.exact: dict[str, Thing] = {}
        self.folded: dict[str, list[Thing]] = {}
        for name, thing in things:
            self.exact[name] = thing
            self.folded.setdefault(name.casefold(), []).append(thing)

    def get(self, name: str) -> Thing | None:
        """The thing of this name, if there is exactly one."""
        found = self.exact.get(name)
        if found is None:
            alike = self.folded.get(name.casefold(), [])
            return alike[0] if len(alike) == 1 else None
        return found

    def find(self, name: str) -> Thing:
        """The thing of this name, or a refusal with the nearest name there is."""
        found = self.get(name)
        if found is None:
            self.hints -= 1
            near = hint(name, self.exact) if self.hints >= 0 else ""
            raise CellRefused("unknown", f'There is no {self.what} "{name}" on record.{near}')
        return found


class Known:
    """Everything that rows of a file refer to. Each part is read when first asked for."""

    def __init__(self, db: Connection, now: datetime) -> None:
        self.db = db
        self.now = now

    def forget(self, *parts: str) -> None:
        """Read these parts again when they are next asked for, because rows were written."""
        for part in parts:
            self.__dict__.pop(part, None)

    @cached_property
    def sites(self) -> Named[KnownSite]:
        """Sites by code."""
        return Named("site", ((site.code, site) for site in self.sites_by_id.values()))

    @cached_property
    def sites_by_id(self) -> dict[int, KnownSite]:
        """Sites by id."""
        rows = self.db.execute(select(SiteRow.id, SiteRow.code, SiteRow.name, SiteRow.time_zone))
        return {
            row.id: KnownSite(
                row.id, row.code, row.name, zone(row.time_zone), local_day(self.now, zone(row.time_zone))
            )
            for row in rows
        }

    @cached_property
    def people(self) -> Named[KnownPerson]:
        """People by badge."""
        return Named("person with the badge", ((one.badge, one) for one in self.people_by_id.values()))

    @cached_property
    def people_by_id(self) -> dict[int, KnownPerson]:
        """People by id."""
        rows = self.db.execute(select(PersonRow.id, PersonRow.badge, PersonRow.name))
        return {row.id: KnownPerson(*row) for row in rows}

    @cached_property
    def couplings(self) -> dict[tuple[str, str], int]:
        """Couplings by series and size, whatever the case."""
        rows = self.db.execute(select(CouplingRow.id, CouplingRow.series, CouplingRow.size))
        return {(row.series.casefold(), row.size.casefold()): row.id for row in rows}

    @cached_property
    def models(self) -> Named[KnownModel]:
        """Models by designation."""
        return Named("model", ((model.designation, model) for model in self.models_by_id.values()))

    @cached_property
    def models_by_id(self) -> dict[int, KnownModel]:
        """Models by id."""
        rows = self.db.execute(select(ModelRow.id, ModelRow.designation, ModelRow.kind))
        return {row.id: KnownModel(*row) for row in rows}

    @cached_property
    def items(self) -> dict[str, KnownItem]:
        """Items by tag."""
        rows = self.db.execute(
            select(
                ItemRow.id,
                ItemRow.tag,
                ItemRow.model_id,
                ItemRow.serial,
                ItemRow.site_id,
                ItemRow.retired_on,
                ItemRow.cycles,
                ItemRow.minutes,
            )
        )
        return {row.tag: KnownItem(*row) for row in rows}

    def item(self, text: str) -> KnownItem:
        """The item with this tag, or a refusal."""
        tag = read_tag(text)
        found = self.items.get(tag)
        if found is None:
            # The check digit fits, so this is no slip of the pen, and another item must not be suggested.
            raise CellRefused("unknown", f"There is no item with the tag {show_tag(tag)} on record.")
        return found

    @cached_property
    def items_out(self) -> set[int]:
        """Items that are out now."""
        rows = self.db.execute(select(LoanLineRow.item_id).where(LoanLineRow.returned_at.is_(None)))
        return set(rows.scalars())

    @cached_property
    def jobs(self) -> Named[KnownJob]:
        """Jobs by code."""
        rows = self.db.execute(select(JobRow.id, JobRow.code, JobRow.site_id))
        return Named("job", ((row.code, KnownJob(*row)) for row in rows))

    @cached_property
    def joints(self) -> dict[tuple[int, str], int]:
        """Joints by job and mark, whatever the case."""
        rows = self.db.execute(select(JointRow.id, JointRow.job_id, JointRow.mark))
        return {(row.job_id, row.mark.casefold()): row.id for row in rows}

    @cached_property
    def templates(self) -> Named[RowMapping]:
        """Joint templates by name, with all they say."""
        rows = self.db.execute(select(rows_of(JointTemplateRow))).mappings()
        return Named("joint template", ((row["name"], row) for row in rows))

    @cached_property
    def tasks(self) -> list[KnownTask]:
        """Upkeep tasks."""
        columns = (TaskRow.id, TaskRow.name, TaskRow.kind, TaskRow.model_id, TaskRow.counts_from)
        return [KnownTask(*row) for row in self.db.execute(select(*columns))]

    def tasks_of(self, model_id: int) -> dict[str, KnownTask]:
        """The tasks of a model's items by name: its own go before its kind's."""
        known: dict[int, dict[str, KnownTask]] = self._tasks_of
        if model_id not in known:
            kind = self.models_by_id[model_id].kind
            kinds = [task for task in self.tasks if task.kind == kind and task.model_id is None]
            own = [task for task in self.tasks if task.model_id == model_id]
            known[model_id] = {task.name.casefold(): task for task in (*kinds, *own)}
        return known[model_id]

    @cached_property
    def _tasks_of(self) -> dict[int, dict[str, KnownTask]]:
        return {}
