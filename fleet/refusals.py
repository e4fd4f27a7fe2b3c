"""Every "no" of the program: one base class, and each refusal is a sentence a keeper understands.

It sits under all floors, because measures and formulas refuse too.
"""


class Refusal(Exception):  # noqa: N818  A refusal is the answer "no", not an error of the program.
    """Something may not or can not be done; ``str(refusal)`` is one sentence for the person who asked."""

    about = ""
    """The field of a form that the sentence is about, where that is known."""


class NotFound(Refusal):
    """What was named is not on record."""


class Unreadable(Refusal):
    """Something written (a measure, a day, a file) cannot be read without guessing."""


class NotAllowed(Refusal):
    """The person does not hold the role that this act needs."""


class NotPossible(Refusal):
    """The act contradicts what is on record: a return of something that is not out, a taken reservation."""


class OffTheChart(Refusal):
    """A value lies outside what was charted or tabulated; no guess is made."""


class SettingsWrong(Refusal):
    """A setting is missing, unreadable or unsafe."""
