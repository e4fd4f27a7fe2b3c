"""Items: by their tag, or by model and serial number where a file has no tags."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

from sqlalchemy import bindparam, select

from fleet.bolting.parts import Kind
from fleet.desk.imports.piles import Laid, Pile, only_once, same
from fleet.ledgers.numbers import take_numbers
from fleet.ledgers.recalls import hold_matching
from fleet.measures.tags import make_tag, read_tag, show_tag
from fleet.measures.times import read_day, show_day
from fleet.records import ItemRow
from fleet.rules.cells import CellRefused, Field, day, maybe, needed, not_after, rated, text
from fleet.rules.register import Role

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from fleet.desk.imports.tables import Table
    from fleet.desk.imports.work import Line, Work
    from fleet.lists.rows import AnyRow

_WHO = (Role.KEEPER,)
FIRST_TAG = 1000
_NEWER = select(ItemRow.id).where(ItemRow.id > bindparam("newest"))
# A change of one of these moves an item's due lines.
_MOVES_DUE = ("site_id", "received_on", "assembled_on", "retired_on", "bulk_made_on")


def take_items(work: Work, tables: Sequence[Table]) -> None:
    """Items, new and known. New ones without a tag get the next free one."""
    fields = _fields(work)
    items = _Items(work, fields)
    lines = []
    for line in work.lines(tables, fields):
        with work.judging(line):
            lines.append((line, items.key(line)))
    tags = Counter(line.values.get("tag") for line, _ in lines)
    for line, key in only_once(work, lines):
        with work.judging(line):
            if line.values.get("tag") and tags[line.values["tag"]] > 1:
                raise CellRefused("duplicate", f"More than one row bears the tag {line.cell('Tag')}.", "Tag")
            items.take(line, key)
    items.write()


def _fields(work: Work) -> tuple[Field, ...]:
    sites, models = work.known.sites_by_id, work.known.models_by_id
    return (
        Field("Tag", ("tag",), lambda cell, _unit: (read_tag(cell),), (None,), keeps=True),
        Field(
            "Model",
            ("model_id",),
            lambda cell, _unit: (work.known.models.find(cell).id,),
            show=lambda number: models[number].designation,
        ),
        needed("Serial", "serial", text),
        Field(
            "Site",
            ("site_id",),
            lambda cell, _unit: (work.known.sites.find(cell).id,),
            show=lambda number: sites[number].code,
        ),
        maybe("Shelf", "shelf", text),
        Field(
            "Received",
            ("received_on",),
            lambda cell, _unit: (read_day(cell),),
            (None,),
            keeps=True,
            dated=True,
        ),
        day("Assembled", "assembled_on", may_be_blank=True),
        rated("Relief setting advance", "relief_advance_written", "relief_advance_mpa"),
        rated("Relief setting retract", "relief_retract_written", "relief_retract_mpa"),
        day("Retired", "retired_on", may_be_blank=True),
        maybe("Retired because", "retired_reason", text),
        day("Bulk made on", "bulk_made_on", may_be_blank=True),
    )


class _Items:
    """The items sheet against the items on record."""

    def __init__(self, work: Work, fields: Sequence[Field]) -> None:
        self.work = work
        self.pile = Pile(work, ItemRow, fields, lambda row: row.id, filled={"cycles": 0, "minutes": 0})
        self.by_tag = {row.tag: number for number, row in self.pile.kept.items()}
        self.by_serial: dict[tuple[int, str], list[Any]] = {}
        for row in self.pile.kept.values():
            self.by_serial.setdefault((row.model_id, row.serial.casefold()), []).append(row)
        self.untagged: list[dict[str, Any]] = []

    def key(self, line: Line) -> object:
        """The id of the item on record, or for a new one its model and serial number."""
        values = line.values
        tag, serial = values.get("tag"), (values["model_id"], values["serial"].casefold())
        known = self.by_tag.get(tag) if tag else None
        if known is not None and same(self.pile.kept[known].serial, values["serial"]):
            return known
        alike = self.by_serial.get(serial, [])
        bearer = next((row for row in alike if row.serial == values["serial"]), None)
        bearer = bearer or (alike[0] if len(alike) == 1 else None)
        if tag is None:
            if bearer is None and alike:
                raise CellRefused("unclear", "Several items have this serial number; give the tag.", "Serial")
            return bearer.id if bearer else serial
        if bearer is not None and bearer.id != known:
            raise CellRefused(
                "other tag",
                f"The {line.cell('Model')} with the serial number {bearer.serial} has the tag "
                f"{show_tag(bearer.tag)} on record; a tag stays with its piece.",
                "Tag",
            )
        return known if known is not None else serial

    def take(self, line: Line, key: object) -> None:
        """Judge one item and lay it on the pile."""
        values, site = line.values, self.work.known.sites_by_id[line.values["site_id"]]
        for column, name in (
            ("Received", "received_on"),
            ("Assembled", "assembled_on"),
            ("Retired", "retired_on"),
            ("Bulk made on", "bulk_made_on"),
        ):
            if values.get(name):
                not_after(values[name], site.today, column)
        kept = self.pile.kept.get(key)
        if kept is None:
            values.setdefault("received_on", site.today)
        tag = kept.tag if kept else values.get("tag")
        about = show_tag(tag) if tag else f"{line.cell('Model')} {values['serial']}"
        what = self.pile.lay(line, Laid(key, about, site.id, _WHO), self.judge)
        if what == "new" and tag is None:
            self.untagged.append(self.pile.new[-1])
        elif what == "changed" and kept is not None:
            self._follow(kept, self.pile.changed[-1])

    def _follow(self, kept: AnyRow, item: Mapping[str, Any]) -> None:
        """What a change brings with it: other due days, and an entry where the item has left."""
        before = dict(zip(self.pile.columns, kept[1:], strict=True))
        if any(item[name] != before[name] for name in _MOVES_DUE):
            self.work.due_again.add(kept.id)
        if item["site_id"] != before["site_id"]:
            self.work.written[before["site_id"]]["items, moved away"] += 1
            self.work.changes[before["site_id"]].append(self.work.changes[item["site_id"]][-1])

    def judge(self, item: Mapping[str, Any], before: Mapping[str, Any] | None) -> None:
        """What holds for one item on record."""
        model = self.work.known.models_by_id[item["model_id"]]
        relief = item["relief_advance_written"] or item["relief_retract_written"]
        if relief and model.kind != Kind.PUMP:
            raise CellRefused(
                "plate", f"A {model.kind} has no relief setting; check the column.", "Relief setting advance"
            )
        if item["bulk_made_on"] and model.kind != Kind.HOSE:
            raise CellRefused("plate", f"A {model.kind} has no bulk hose; check the column.", "Bulk made on")
        if item["bulk_made_on"] and item["assembled_on"] and item["bulk_made_on"] > item["assembled_on"]:
            raise CellRefused(
                "ends first", "A hose cannot be assembled before its bulk hose was made.", "Assembled"
            )
        if (item["retired_on"] is None) != (item["retired_reason"] is None):
            column = "Retired because" if item["retired_reason"] is None else "Retired"
            raise CellRefused("half a retirement", "Give the day and the reason, or neither.", column)
        if before:
            self._judge_change(item, before)

    def _judge_change(self, item: Mapping[str, Any], before: Mapping[str, Any]) -> None:
        shown = show_tag(before["tag"])
        known = self.work.known
        if item["model_id"] != before["model_id"]:
            model = known.models_by_id[before["model_id"]].designation
            raise CellRefused(
                "other model", f"{shown} is a {model} on record; a tag stays with its piece.", "Model"
            )
        if before["retired_on"] and item["retired_on"] != before["retired_on"]:
            raise CellRefused(
                "retired",
                f"{shown} was retired on {show_day(before['retired_on'])} and stays so; leave its row out.",
                "Retired",
            )
        moved = item["site_id"] != before["site_id"]
        if not moved and not (item["retired_on"] and not before["retired_on"]):
            return
        if self.by_tag[before["tag"]] in known.items_out:
            raise CellRefused(
                "out", f"{shown} is out on loan; take it back first.", "Site" if moved else "Retired"
            )
        if moved:
            self.work.allow(before["site_id"], *_WHO)

    def write(self) -> None:
        """Hand out tags, then write, and note whose due lines must be worked out."""
        given = {record["tag"] for record in self.pile.new if record["tag"]}
        for record, tag in zip(self.untagged, self._free_tags(len(self.untagged), given), strict=True):
            record["tag"] = tag
        newest = max((row.id for row in self.pile.kept.values()), default=0)
        self.pile.write("items")
        self.work.known.forget("items")
        written = [record["of_id"] for record in self.pile.changed]
        if self.pile.new:
            added = self.work.db.execute(_NEWER, {"newest": newest}).scalars().all()
            self.work.due_again.update(added)
            written += added
        self.work.items_to_rate.update(written)
        held = hold_matching(self.work.db, written, by=self.work.by, now=self.work.now)
        if held:
            many = "1 item is" if len(held) == 1 else f"{len(held)} items are"
            self.work.notes.append(f"{many} on hold: an open recall is about them. See: fleet holds")

    def _free_tags(self, wanted: int, given: set[str]) -> list[str]:
        free: list[str] = []
        while len(free) < wanted:
            numbers = take_numbers(self.work.db, "tag", wanted - len(free), start=FIRST_TAG)
            tags = (make_tag(number) for number in numbers)
            free += [tag for tag in tags if tag not in self.by_tag and tag not in given]
        return free
