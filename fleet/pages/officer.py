"""The parts of a safety officer, with the start and the letters of all three."""

from fleet.pages.concessions import Concessions
from fleet.pages.day_book import DayBook
from fleet.pages.deputies import Deputies
from fleet.pages.evidence import Evidence
from fleet.pages.impact import Impact
from fleet.pages.letters import Letters
from fleet.pages.people import People
from fleet.pages.recalls import Recalls
from fleet.pages.review import Review
from fleet.pages.start import Start
from fleet.pages.trends import Trends

OFFICER = (Start, Letters, Review, Concessions, Impact, Recalls, Trends, Evidence, DayBook, Deputies, People)
