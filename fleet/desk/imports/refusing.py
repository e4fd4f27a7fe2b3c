"""Why one row is not taken in."""

from __future__ import annotations

from fleet.refusals import Refusal


class CellRefused(Refusal):
    """One row is refused: a short name of the rule, the sentence, and the column of a faulty cell."""

    def __init__(self, rule: str, sentence: str, column: str = "") -> None:
        super().__init__(sentence)
        self.rule = rule
        self.column = column
