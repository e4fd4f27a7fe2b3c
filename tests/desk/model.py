"""A tool room on paper: plain dictionaries that say by themselves what may be done.

Nothing here is taken from the program's rules. Months are counted by ``dateutil.relativedelta``, whose
documentation gives 31 January + 1 month = 28 February; the day at the site by the standard library's zones.
The figures of the tasks are the room's own, laid down in ``tests/desk/machine_room.py``.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from dateutil.relativedelta import relativedelta

THERE = ZoneInfo("America/Chicago")
A_DAY = timedelta(days=1)

# task: months, cycles, minutes, whether it counts from assembly (then nobody can lift it)
TASKS: dict[str, dict[str, tuple[int, int | None, int | None, bool]]] = {
    "hose": {
        "inspection": (6, None, None, False),
        "proof test": (12, None, None, False),
        "life": (72, None, None, True),
    },
    "wrench": {"calibration": (12, 60, None, False), "service": (3, None, 300, False)},
    "gauge": {"calibration": (12, None, None, False)},
}
UNDOES = {"coupling changed": ("hose", "proof test"), "seal kit": ("wrench", "service")}
STORAGE = relativedelta(months=24)
SERVES = {
    "damaged": {"inspection"},
    "inspection": {"inspection", "proof test"},
    "calibration": {"certificate"},
    "recall": {"inspection", "proof test", "repair", "certificate"},
    "other": {"inspection", "proof test", "repair", "certificate"},
}
# badge: kind and task, and the last day on which it counts
Competences = dict[tuple[str, str, str], date]


def day_at(instant: datetime) -> date:
    return instant.astimezone(THERE).date()


def new_item(**known: Any) -> dict[str, Any]:  # noqa: ANN401  What is on its label.
    lists: dict[str, Any] = {name: [] for name in ("uses", "done", "repairs", "holds", "evidence", "kept")}
    return lists | {"out": None, "away": None, "retired": False} | known


# --- Meters and due days ------------------------------------------------------------------------------------


def meter(item: dict[str, Any], *, until: date = date.max, before: float = float("inf")) -> tuple[int, int]:
    """What the ledger comes to, of entries that stand, made before that order and for no later day."""
    chosen = [u for u in item["uses"] if not u["gone"] and u["used_on"] <= until and u["order"] < before]
    return sum(u["cycles"] for u in chosen), sum(u["minutes"] for u in chosen)


def last_done(item: dict[str, Any], task: str) -> dict[str, Any] | None:
    standing = [d for d in item["done"] if d["task"] == task and not d["gone"]]
    return max(standing, key=lambda d: (d["done_on"], d["order"]), default=None)


def due(item: dict[str, Any], task: str) -> dict[str, Any]:
    """When a task is due by each of its clocks, and how much of a meter is left, from 1 to 0 and below."""
    months, cycles, minutes, assembly = TASKS[item["kind"]][task]
    last = last_done(item, task)
    if assembly:
        due_on = item["assembled"] + relativedelta(months=months)
    elif last:
        due_on = last["done_on"] + relativedelta(months=months)
    else:
        due_on = item["received"] - A_DAY
    due_on = min(due_on, _undone(item, task, last) or due_on)
    since, now = (0, 0), meter(item)
    if last:
        since = last["meter"]
        if any(use["gone"] for use in item["uses"]):
            # Less than what was written then, where part of it was taken back.
            standing = [use for use in item["uses"] if not use["gone"] and use["at"] < last["at"]]
            then = meter(item | {"uses": standing}, until=last["done_on"])
            since = min(since[0], then[0]), min(since[1], then[1])
    limits = [start + every if every else None for start, every in zip(since, (cycles, minutes), strict=True)]
    left = [
        (limit - reads) / every
        for limit, reads, every in zip(limits, now, (cycles, minutes), strict=True)
        if limit is not None and every
    ]
    return {
        "last": last["done_on"] if last else None,
        "due_on": due_on,
        "cycles": limits[0],
        "minutes": limits[1],
        "left": min(left, default=None),
    }


def _undone(item: dict[str, Any], task: str, last: dict[str, Any] | None) -> date | None:
    undoing = [r for r in item["repairs"] if UNDOES.get(r["work"]) == (item["kind"], task)]
    newest = max(undoing, key=lambda r: (r["done_on"], r["at"]), default=None)
    if newest is None or (last and (last["done_on"], last["at"]) > (newest["done_on"], newest["at"])):
        return None
    day: date = newest["done_on"]
    return day - A_DAY


def overdue(item: dict[str, Any], task: str, today: date) -> bool:
    found = due(item, task)
    return found["due_on"] < today or (found["left"] is not None and found["left"] <= 0)


# --- The gate -----------------------------------------------------------------------------------------------


def newest(item: dict[str, Any], what: str) -> dict[str, Any] | None:
    standing = [e for e in item["evidence"] if e["what"] == what and not e.get("gone")]
    return max(standing, key=lambda e: (e["done_on"], e["number"]), default=None)


def unsound(item: dict[str, Any], today: date) -> list[str]:
    """What nobody can lift, apart from who has it or waits for it."""
    proof = newest(item, "proof test")
    never_out = item["kind"] == "hose" and item["first_out"] is None
    checks = {
        "retired": item["retired"],
        "away": item["away"] is not None,
        "on hold": any(h["open"] for h in item["holds"]),
        "proof failed": proof is not None and not proof["good"],
        "stored too long": never_out and item["assembled"] + STORAGE < today,
        "life over": item["kind"] == "hose" and overdue(item, "life", today),
    }
    return [why for why, so in checks.items() if so]


def stops(
    item: dict[str, Any], job: str, now: datetime, back_on: date, granted: list[dict[str, Any]]
) -> list[str]:
    """Every reason why it stays in."""
    today = day_at(now)
    why = unsound(item, today) + (["out"] if item["out"] else [])
    for kept in item["kept"]:
        first, last = day_at(kept["from"]), day_at(kept["to"] - timedelta(microseconds=1))
        if kept["live"] and kept["job"] != job and first <= back_on and today <= last:
            why.append("reserved")
    for task, (*_, assembly) in TASKS[item["kind"]].items():
        if overdue(item, task, today):
            if assembly or not covered(item, task, job, now, back_on, granted):
                why.append(f"{task} overdue")
        elif due(item, task)["due_on"] < back_on:
            why.append(f"{task} due while out")
    return why


def covered(
    item: dict[str, Any],
    task: str,
    job: str,
    now: datetime,
    back_on: date,
    granted: list[dict[str, Any]],
) -> bool:
    """Whether an exception for this very item, task and job is in force, and until it is to be back."""
    return any(
        (g["tag"], g["task"], g["job"]) == (item["tag"], task, job)
        and g["from"] <= now < g["to"]
        and day_at(g["to"] - timedelta(microseconds=1)) >= back_on
        for g in granted
    )


# --- Other permissions --------------------------------------------------------------------------------------


def may_grant(item: dict[str, Any], task: str, now: datetime, asker: str, granter: str) -> bool:
    today = day_at(now)
    return (
        granter.startswith("S")
        and asker != granter
        and task in TASKS[item["kind"]]
        and not TASKS[item["kind"]][task][3]
        and not unsound(item, today)
        and overdue(item, task, today)
    )


def may_reserve(item: dict[str, Any], start: datetime, end: datetime, now: datetime) -> bool:
    if item["retired"] or end <= now or end <= start:
        return False
    if any(k["live"] and k["from"] < end and start < k["to"] for k in item["kept"]):
        return False
    if item["kind"] != "hose":
        return True
    # Its life must last through the window, and may end on its last day.
    last_day = day_at(end - timedelta(microseconds=1))
    return bool(due(item, "life")["due_on"] >= max(day_at(now), last_day))


def may_release(
    item: dict[str, Any], hold: dict[str, Any], shown: dict[str, Any], by: str, *, accepted: bool = True
) -> bool:
    """Good evidence, made and written down after the hold was opened, of a sort that serves its cause."""
    same_certificate = hold["cause"] == "calibration" and shown.get("came_at") == hold["at"]
    if not accepted or not shown["good"] or shown.get("gone"):
        return False
    if shown["at"] <= hold["at"] or (shown["done_on"] < day_at(hold["at"]) and not same_certificate):
        return False
    if hold["cause"] == "recall" and not by.startswith("S"):
        return False
    ways = SERVES[hold["cause"]]
    if hold["cause"] not in ("damaged", "calibration"):
        inspected, proved = newest(item, "inspection"), newest(item, "proof test")
        if proved and not proved["good"]:
            ways = {"proof test"}
        elif inspected and not inspected["good"]:
            ways = {"inspection"}
    return shown["what"] in ways


def competent(known: Competences, badge: str, kind: str, task: str, today: date) -> bool:
    return known.get((badge, kind, task), date.min) >= today
