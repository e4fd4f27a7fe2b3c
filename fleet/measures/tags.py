"""Item tags: a number and one check digit, all figures, so that any scanner and any keyboard can enter them.

The check digit is ISO 7064 MOD 11,10: it catches every single wrong digit and nearly all swapped neighbours.
"""

import unicodedata

from fleet.refusals import Unreadable

_SHORTEST = 4
_LONGEST = 9

# A keyboard-wedge scanner presses the keys of the top row, and the machine's layout decides what appears.
# What the keys 1 to 9 and 0 give without Shift, by the layouts of xkeyboard-config 2.35:
_TOP_ROWS = (
    "&é\"'(-è_çà",  # French
    "&é\"'(§è!çà",  # Belgian
    "+ěščřžýáíé",  # Czech
    "+ľščťžýáíé",  # Slovak
    "ąčęėįšųū„“",  # Lithuanian
    "ąčęėįšųū90",  # Lithuanian, where 9 and 0 stay figures (from memory)
    "123456789ö",  # Hungarian
)
_DASHES = "-\N{HYPHEN}\N{NON-BREAKING HYPHEN}\N{EN DASH}\N{MINUS SIGN}"


def make_tag(number: int) -> str:
    """Answer the tag of a number: at least four figures and the check digit, ``10427`` giving ``104272``."""
    if not 1 <= number < 10**_LONGEST:
        raise ValueError(f"a tag number is from 1 to {10**_LONGEST - 1}, not {number}")
    figures = f"{number:0{_SHORTEST}d}"
    return figures + _check_digit(figures)


def show_tag(tag: str) -> str:
    """Write a tag for people, with a dash before the check digit: ``10427-2``."""
    return f"{tag[:-1]}-{tag[-1]}"


def read_tag(text: str) -> str:
    """Read a tag that was typed or scanned, under whatever keyboard layout, as its figures without a dash.

    Raises Unreadable when it is no tag, or when its check digit does not fit.
    """
    typed = unicodedata.normalize("NFC", "".join(text.split())).lower()
    readings = _readings(typed)
    fitting = {reading for reading in readings if _fits(reading)}
    if len(fitting) == 1:
        return fitting.pop()
    shown = text.strip()[:40]
    if fitting:
        raise Unreadable(f'"{shown}" can be read as more than one tag on this keyboard; type its figures.')
    if readings:
        raise Unreadable(f'"{shown}" is not a tag: its last figure does not fit; scan or type it again.')
    raise Unreadable(
        f'"{shown}" is not a tag; scan it, or type its figures like {show_tag(make_tag(10427))}.'
    )


def _readings(typed: str) -> set[str]:
    """Answer every row of figures this may stand for; a dash parts figures, or is the 6 of the French row."""
    found = set()
    bare = "".join(char for char in typed if char not in _DASHES)
    if bare.isdecimal():
        found.add("".join(str(unicodedata.decimal(char)) for char in bare))
    else:
        found.update(_under(row, typed) for row in _TOP_ROWS)
    return {figures for figures in found if _well_formed(figures)}


def _under(row: str, typed: str) -> str:
    """Answer the figures of the keys that give this text under a layout, or nothing when they cannot."""
    places = [row.find(char) for char in typed]
    return "" if -1 in places else "".join(str((place + 1) % 10) for place in places)


def _well_formed(figures: str) -> bool:
    long_enough = _SHORTEST < len(figures) <= _LONGEST + 1
    return long_enough and (len(figures) == _SHORTEST + 1 or not figures.startswith("0"))


def _fits(figures: str) -> bool:
    return _check_digit(figures[:-1]) == figures[-1] and int(figures[:-1]) > 0


def _check_digit(figures: str) -> str:
    """Answer the check digit by ISO 7064:2003, the hybrid system MOD 11,10."""
    product = 10
    for figure in figures:
        product = ((product + int(figure)) % 10 or 10) * 2 % 11
    return str((11 - product) % 10)
