"""Where the figures of a kit come from, and what is taken for granted: said on every print and page."""

from __future__ import annotations

ASSUMED = (
    "Only halves of the same series and size, one male and one female, are taken to fit.",
    "What is not on record counts as a stop.",
)
SOURCE_OF_CIRCUITS = (
    "The lowest-rated part rates the line (29 CFR 1926.302(d)(2), from memory); flush faces ISO 16028; burst "
    "ratio 4 ISO 7751 (from memory)"
)
SOURCE_OF_KITS = f"{SOURCE_OF_CIRCUITS}; the chart by straight lines between its points"
SOURCE_OF_PASSES = (
    "ASME PCC-1, cross pattern and passes (from memory); chart between its points by straight lines"
)
SOURCE_OF_BUDGETS = (
    "JCGM 100 (GUM): combination, Welch-Satterthwaite, Student's factor; EN 837-1 or ASME B40.100"
)
OF_A_SHEET = (SOURCE_OF_KITS, SOURCE_OF_PASSES, SOURCE_OF_BUDGETS, *ASSUMED)
