"""Make the history of the scenario: use.csv, upkeep_done.csv and holds.csv, from the other sheets here.

Run by hand with: python seed_data/make_history.py. The same sheets always give the same history. Days are
counted from the chosen day, which is 0; the history begins on day -730 and ends the day before.
"""

# Chances and days stand where they are used, and luck here guards nothing.
# ruff: noqa: INP001, PLR2004, S311

from __future__ import annotations

import random
from collections import defaultdict

from pieces import DAYS_IN_MONTH, MPA, NEWTON_METRES, Item, Task, day_of, number, relative, sheet, write
from stories import FOUND, LAST_DONE, METERS, NOTES, OPEN_HOLDS, REMARKS

FIRST, OPENING = -730, -731
LUCK = random.Random(720)
# Kept for the low-pressure cutters, never sent to bolting jobs.
OTHER_WORK = {"HTW-F20", "CPL-AF", "CPL-FA"}
# More joints than this make a turnaround.
MANY = 4
# From so many days before it is due, a task is done with this chance on any one day.
AHEAD, SOON = 32, 0.08


class Room:
    """Both tool rooms through two years."""

    def __init__(self) -> None:
        self.models = {row["Model"]: row for row in sheet("models")}
        self.ports = {
            (row["Model"], row["Line"], row["Faces"]): row["Series"] + row["Size"] for row in sheet("ports")
        }
        self.top: dict[str, float] = {}
        for row in sheet("charts"):
            torque = number(row["Torque"], NEWTON_METRES)
            self.top[row["Model"]] = max(torque, self.top.get(row["Model"], 0))
        self.items = {row["Tag"]: self.item(row) for row in sheet("items")}
        self.joints = defaultdict(list)
        for row in sheet("joints"):
            self.joints[row["Job"]].append(row)
        self.kept: dict[str, int] = {}
        for row in sheet("reservations"):
            self.kept[row["Tag"]] = min(max(self.kept.get(row["Tag"], 0), day_of(row["To"])), 30)
        self.holds: list[list[object]] = []
        self.stories: dict[int, list[tuple[Item, Task]]] = defaultdict(list)
        self.papers = 1000
        self.start()

    def item(self, row: dict[str, str]) -> Item:
        """One item, with its tasks as the upkeep sheet has them."""
        kind = self.models[row["Model"]]["Kind"]
        rows = [r for r in sheet("upkeep") if r["Kind"] == kind and r["Model"] in ("", row["Model"])]
        life = {r["Model"]: int(r["Months"]) * DAYS_IN_MONTH for r in rows if r["Counts from"] == "assembly"}
        tasks = [
            Task(
                r["Task"],
                int(r["Months"]) * DAYS_IN_MONTH if r["Months"] else None,
                int(r["Cycles"] or 0) or None,
                int(r["Pump hours"] or 0) * 60 or None,
            )
            for r in rows
            if r["Counts from"] != "assembly"
        ]
        expires = (
            day_of(row["Assembled"]) + life.get(row["Model"], life.get("", 0)) if row["Assembled"] else 9999
        )
        return Item(
            tag=row["Tag"],
            model=row["Model"],
            kind=kind,
            site=row["Site"],
            received=day_of(row["Received"]),
            retired=day_of(row["Retired"], 9999),
            expires=expires,
            tasks=tasks,
        )

    def start(self) -> None:
        """What was on the meters and in the files when the records begin, and what is away at the end."""
        for item in self.items.values():
            old = item.received < OPENING
            if old and item.kind != "socket":
                span = min(OPENING - item.received, 1500)
                pump = item.kind == "pump"
                item.cycles = 0 if pump else LUCK.randint(3, 6) * span
                item.minutes = LUCK.randint(6, 14) * span if pump else 0
                item.uses.append(
                    [OPENING, "", item.cycles, item.minutes, "", "reading of the old card index"]
                )
            for task in item.tasks:
                longest = int(task.days or 365)
                here = OPENING - item.received
                back = LUCK.randint(20, min(longest - 20, here)) if here > 20 else 0
                day = OPENING - back if old else item.received
                item.done[task.name].append((day, "" if old else "on delivery"))
                item.marks[task.name] = item.cycles, item.minutes
        for row in sheet("loans"):
            self.items[row["Tag"]].away.append((day_of(row["Issued on"]), 30))
        told = LAST_DONE | {(tag, task): day for tag, (day, task, _) in METERS.items()}
        for (tag, name), day in told.items():
            item = self.items[tag]
            # Away at the laboratory or on the bench, so no job can have it.
            item.away.append((day - 1, day))
            self.stories[day] += [(item, task) for task in item.tasks if task.name == name]
        for tag, cause, reason, day in OPEN_HOLDS:
            item = self.items[tag]
            item.away.append((day, 30))
            self.holds.append([tag, cause, reason, day, "", "", self.keeper(item.site, day), ""])

    def keeper(self, site: str, day: int) -> str:
        """Who was at the counter."""
        staff = {
            "NORTH": ["N11", "N11", "N12", "N13" if day < -250 else "N12"],
            "EAST": ["E11", "E11", "E12"],
        }
        return LUCK.choice(staff[site])

    def paper(self, site: str) -> str:
        """The number of the next certificate."""
        self.papers += 1
        return f"certificate {site[0]}C-{self.papers}"

    def look_after(self, item: Item, day: int) -> None:
        """Do what falls due soon, mostly in time; a finding puts the item on hold until it is put right."""
        # Before a job that it is kept for, everything that would fall due meanwhile is done.
        lead = self.kept.get(item.tag, -100) - day + 8 if day > -12 else 1
        for task in item.tasks:
            due_in = item.due_in(task, day)
            if item.settled(task.name, day):
                continue
            if due_in <= max(lead, 1) or (due_in < AHEAD and LUCK.random() < SOON):
                found = FOUND.get(f"{task.name} {item.kind}")
                if found and day < -40 and LUCK.random() < 0.08:
                    self.hold(item, task, day, LUCK.choice(found))
                    return
                self.do(item, task, day)

    def do(self, item: Item, task: Task, day: int, note: str = "") -> None:
        """The task is done."""
        if task.name == "calibration" and not note:
            note = f"{self.paper(item.site)}, as found {LUCK.uniform(-2.4, 1.9):+.1f} %"
        item.done[task.name].append((day, note or NOTES.get(task.name, "")))
        item.marks[task.name] = item.cycles, item.minutes

    def hold(self, item: Item, task: Task | None, day: int, found: tuple[str, str, str]) -> None:
        """Keep an item in from its finding until the work on it is done."""
        cause, reason, evidence = found
        until = day + LUCK.randint(3, 18)
        words = {"low": f"{LUCK.uniform(3.2, 6.5):.1f}", "paper": self.paper(item.site)}
        item.away.append((day, until))
        by, freed_by = self.keeper(item.site, day), self.keeper(item.site, until)
        said = reason.format(**words), day, until, evidence.format(**words)
        self.holds.append([item.tag, cause, *said, by, freed_by])
        if task:
            self.do(item, task, until, words["paper"] if task.name == "calibration" else "after repair")

    def work(self, job: dict[str, str]) -> None:
        """One job: a kit for each of its joints, out for the whole job, used on most of its days."""
        first, last = day_of(job["Start"]), min(day_of(job["End"]), -1)
        joints = self.joints[job["Job"]]
        # A turnaround opens more flanges than the plan names.
        for joint in joints + (joints[:3] if len(joints) > MANY else []):
            kit = self.kit(job["Site"], joint, first, last)
            for item in kit:
                item.away.append((first, last))
            for day in range(first, last + 1):
                if kit and (LUCK.random() < 0.93 or day == first):
                    self.use(kit, job, day)
            if kit and LUCK.random() < 0.04 and last < -60:
                worn = LUCK.choice([item for item in kit if item.kind in ("wrench", "coupler")])
                found = ("damaged", f"Came back damaged from {job['Job']}", "Repaired and inspected again")
                self.hold(worn, None, last + 1, found)

    def use(self, kit: list[Item], job: dict[str, str], day: int) -> None:
        """One day's use of a kit, booked in the evening; the pump counts minutes, the rest cycles."""
        cycles = LUCK.randint(50, 190)
        remark = LUCK.choice(REMARKS) if LUCK.random() < 0.03 else ""
        by = self.keeper(job["Site"], day)
        for item in kit:
            pump = item.kind == "pump"
            used = (0, round(cycles * 0.7 + LUCK.randint(25, 90))) if pump else (cycles, 0)
            noted = remark if item.kind == "wrench" else ""
            item.uses.append([day, job["Job"], *used, by, noted])
            item.cycles, item.minutes = item.cycles + used[0], item.minutes + used[1]

    def kit(self, site: str, joint: dict[str, str], first: int, last: int) -> list[Item]:
        """A wrench that is strong enough, pump, hose, gauge, and an adapter when hose and wrench differ."""
        torque = number(joint["Target torque"], NEWTON_METRES) * max(1, float(joint["Loosening factor"] or 1))
        here = [
            i
            for i in self.items.values()
            if i.site == site
            and i.free(first, last)
            and i.model not in OTHER_WORK
            and all(i.lasts(task, first, last) for task in i.tasks)
        ]
        here.sort(key=lambda item: (not self.wanted(item, first), LUCK.random()))
        for wrench in [i for i in here if i.kind == "wrench" and self.fits(i, joint, torque, first)]:
            for pump in [i for i in here if i.kind == "pump"]:
                rest = self.line(here, wrench, pump)
                if rest:
                    return [wrench, pump, *rest]
        return []

    def wanted(self, item: Item, day: int) -> bool:
        """Whether a story needs it used from this day on."""
        return item.tag in METERS and day > METERS[item.tag][0]

    def fits(self, wrench: Item, joint: dict[str, str], torque: float, day: int) -> bool:
        """Strong enough and of the right size; what a story needs also goes to flanges beside the plan."""
        model = self.models[wrench.model]
        top = self.top[wrench.model]
        if self.wanted(wrench, day):
            return True
        if model["Head"] == "ratchet link":
            return model["Across flats"] == joint["Across flats"] and top >= torque
        return torque <= top <= 6 * torque

    def line(self, here: list[Item], wrench: Item, pump: Item) -> list[Item]:
        """Hose, gauge and perhaps an adapter between this pump and this wrench, or nothing."""
        out = self.ports[pump.model, "advance", "tool"]
        ends = self.ports[wrench.model, "advance", "pump"]
        relief = number(self.models[pump.model]["Relief setting advance"], MPA)
        hose = self.first(here, "hose", out, out, relief)
        gauge = next(
            (
                i
                for i in here
                if i.kind == "gauge"
                and self.ports[i.model, "advance", "pump"] == self.ports[pump.model, "advance", "gauge"]
            ),
            None,
        )
        swivel = LUCK.random() < 0.12
        adapter = self.first(here, "coupler", out, ends, relief) if out != ends or swivel else None
        if not hose or not gauge or (out != ends and not adapter):
            return []
        return [hose, gauge, adapter] if adapter else [hose, gauge]

    def first(self, here: list[Item], kind: str, near: str, far: str, relief: float) -> Item | None:
        """The first hose or coupler between these two couplings that stands the relief setting."""
        for item in here:
            if item.kind == kind and self.ports[item.model, "advance", "pump"] == near:
                rated = number(self.models[item.model]["Maximum working pressure advance"], MPA)
                if self.ports[item.model, "advance", "tool"] == far and rated >= relief - 0.01:
                    return item
        return None

    def run(self) -> None:
        """Day by day: the keeper looks after what is in, then the jobs of the day take their kits."""
        starting = defaultdict(list)
        for job in sheet("jobs"):
            if day_of(job["End"]) < 0:
                starting[day_of(job["Start"])].append(job)
        for day in range(FIRST, 0):
            for item, task in self.stories[day]:
                self.do(item, task, day)
            for item in self.items.values():
                if item.received <= day < item.retired and item.free(day, day):
                    self.look_after(item, day)
            for job in starting[day]:
                self.work(job)
        for tag, (since, _, total) in METERS.items():
            self.level(self.items[tag], since, total)

    def level(self, item: Item, since: int, total: int) -> None:
        """Bring the use since a day to the total that the story needs, in even shares."""
        column = 3 if item.kind == "pump" else 2
        rows = [row for row in item.uses if int(str(row[0])) > since]
        before = sum(int(str(row[column])) for row in rows)
        reached = given = 0
        for row in rows:
            reached += int(str(row[column]))
            row[column] = round(total * reached / before) - given
            given += int(str(row[column]))


def main() -> None:
    """Live through it, then write it down by day."""
    room = Room()
    room.run()
    uses = sorted((int(str(use[0])), item.tag, use[1:]) for item in room.items.values() for use in item.uses)
    write(
        "use",
        "Tag|Used on|Job|Cycles|Pump minutes|By|Note|Entry",
        [
            [tag, relative(day), job, cycles, minutes or "", by, note, f"U-{at:05d}"]
            for at, (day, tag, (job, cycles, minutes, by, note)) in enumerate(uses, start=1)
        ],
    )
    done: list[tuple[int, str, str, list[object]]] = []
    for item in room.items.values():
        for task, times in item.done.items():
            for day, note in times:
                met = [use for use in item.uses if int(str(use[0])) < max(day, OPENING + 1)]
                cycles, minutes = (sum(int(str(use[at])) for use in met) for at in (2, 3))
                by = room.keeper(item.site, day)
                done.append((day, item.tag, task, [cycles or "", minutes or "", by, note]))
    done.sort(key=lambda row: row[:3])
    write(
        "upkeep_done",
        "Tag|Task|Done on|Cycles|Pump minutes|By|Note|Entry",
        [
            [tag, task, relative(day), *rest, f"K-{at:05d}"]
            for at, (day, tag, task, rest) in enumerate(done, 1)
        ],
    )
    room.holds.sort(key=lambda row: (int(str(row[3])), row[0]))
    write(
        "holds",
        "Tag|Cause|Reason|Opened on|Released on|Evidence|By|Released by",
        [[*row[:3], relative(row[3]), relative(row[4]), *row[5:]] for row in room.holds],
    )


if __name__ == "__main__":
    main()
