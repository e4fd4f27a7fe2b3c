"""The parts of the pages that are for the counter."""

from fleet.pages.counter import Counter
from fleet.pages.labels import Labels
from fleet.pages.returning import Returning
from fleet.pages.scanning import Scanning

OVER_THE_COUNTER = (Scanning, Counter, Returning, Labels)
