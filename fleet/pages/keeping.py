"""The parts about items and their upkeep: what a keeper does away from the counter."""

from __future__ import annotations

from fleet.pages.certificates import Certificates
from fleet.pages.certifying import Certifying
from fleet.pages.conceding import Conceding
from fleet.pages.due import Due
from fleet.pages.holds import Holds
from fleet.pages.inspecting import Inspecting
from fleet.pages.item_papers import ItemPapers
from fleet.pages.items import Items
from fleet.pages.models import Models
from fleet.pages.out import OutAndAway
from fleet.pages.photographs import Photographs
from fleet.pages.proving import Proving
from fleet.pages.upkeep import Upkeep

KEEPING = (
    ItemPapers,
    Items,
    Due,
    OutAndAway,
    Holds,
    Conceding,
    Upkeep,
    Proving,
    Inspecting,
    Photographs,
    Certificates,
    Certifying,
    Models,
)
