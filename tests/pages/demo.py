"""The demo's room with somebody of each kind logged in, made once per engine and copied for each test."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import pyotp
from sqlalchemy import insert, select

from fleet import records
from fleet.commands.seeding import fill, sheets_of
from fleet.desk.imports import read_file
from fleet.desk.logins import invite, invite_first, set_password, set_second_factor
from fleet.lists.access import visitor
from fleet.lists.people import find_actor
from fleet.records.base import rows_of
from fleet.room import open_room, upgrade_database
from fleet.rules.people import SETTING_UP
from fleet.rules.secrets import new_totp_secret
from fleet.settings import read_settings
from tests.pages.browsing import PASSWORD
from tests.pages.history import add_history
from tests.pages.ways import VISITORS
from tests.shop import NOON, Clock

if TYPE_CHECKING:
    from fleet.room import Room

BADGES = {"keeper": "N11", "planner": "N21", "officer": "N31", "elsewhere": "E12", "administrator": "N41"}
ENV = {"FLEET_SETTINGS": "/nowhere"}


@dataclass(eq=False)
class DemoMaker:
    """Fills an empty database; ``tokens`` are the sessions of the visitors, by engine and kind."""

    tokens: dict[str, dict[str, str]] = field(default_factory=dict)
    secrets: dict[str, dict[str, str]] = field(default_factory=dict)

    def __call__(self, address: str) -> None:
        settings = read_settings(ENV, database=address)
        upgrade_database(settings)
        room = open_room(settings, clock=Clock())
        try:
            day = NOON.date()
            fill(room, [read_file(name, text.encode()) for name, text in sheets_of(day)], lambda *_: None)
            with room.act() as db:
                add_history(db)
            self._let_in(room, address.partition(":")[0].partition("+")[0])
        finally:
            room.close()

    def _let_in(self, room: Room, engine: str) -> None:
        tokens, secrets = self.tokens.setdefault(engine, {}), self.secrets.setdefault(engine, {})
        with room.act() as db:
            people, places = rows_of(records.PersonRow), rows_of(records.SiteRow)
            person = db.scalar(select(people.c.id).where(people.c.badge == BADGES["elsewhere"]))
            east = db.scalar(select(places.c.id).where(places.c.code == "EAST"))
            roles = [
                {"person_id": person, "site_id": east, "role": role} for role in ("planner", "safety officer")
            ]
            db.execute(insert(rows_of(records.RoleRow)), roles)
            link = invite_first(db, BADGES["administrator"], by=SETTING_UP, now=NOON)
            tokens["administrator"] = set_password(db, link, PASSWORD, "test", now=NOON).token or ""
            administrator, _ = find_actor(db, BADGES["administrator"])
            for kind in VISITORS[1:-1]:
                link = invite(db, BADGES[kind], by=administrator, now=NOON)
                tokens[kind] = set_password(db, link, PASSWORD, "test", now=NOON).token or ""
            for kind in ("officer", "elsewhere", "administrator"):
                secret = secrets[kind] = new_totp_secret()
                found = visitor(db, tokens[kind], NOON)
                assert found
                set_second_factor(db, found, secret, pyotp.TOTP(secret).at(NOON), now=NOON, clock=NOON)


MADE = DemoMaker()
