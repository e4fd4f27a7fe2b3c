"""How long records are kept: the room's own years, and nothing less than one."""

from __future__ import annotations

import pytest

from fleet.refusals import SettingsWrong
from fleet.rules.retention import COUNTED_FROM, read_years, retention
from fleet.settings import KEYS, read_settings


def test_every_kind_of_record_has_its_years_and_can_be_set() -> None:
    kept = {one.records: one.years for one in retention({"calibrations": 25})}
    assert kept.pop("calibrations") == 25
    assert set(kept.values()) == {10}
    assert {f"retention.{kind}" for kind in COUNTED_FROM} == {key for key in KEYS if "retention" in key}


def test_the_years_come_from_the_settings() -> None:
    settings = read_settings({"FLEET_SETTINGS": "/nowhere", "FLEET_RETENTION_REPAIRS": "7"}, database="x.db")
    assert settings.retention_years == {"repairs": "7"}


@pytest.mark.parametrize("text", ["0", "-1", "2.5", "ten", "", "101", "²"])
def test_years_that_cannot_be_meant_are_refused(text: str) -> None:
    with pytest.raises(SettingsWrong, match=r"retention\.repairs must be whole years from 1 to 100"):
        read_years("repairs", text)


@pytest.mark.parametrize("text", ["1", "100"])
def test_the_bounds_are_allowed(text: str) -> None:
    assert read_years("repairs", text) == int(text)
