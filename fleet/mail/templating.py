"""The templates of letters: one folder per kind, with subject, plain text and HTML."""

from __future__ import annotations

import textwrap
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape

if TYPE_CHECKING:
    from collections.abc import Mapping

TEMPLATES = Path(__file__).parent / "templates"
WIDTH = 76


def render(kind: str, said: Mapping[str, object]) -> tuple[str, str, str]:
    """Subject, plain text and HTML of a letter; a fact that a template misses is an error."""
    subject, plain, html = (
        templates().get_template(f"{kind}/{name}").render(said)
        for name in ("subject.txt", "body.txt", "body.html")
    )
    return subject.strip(), plain, html


@cache
def templates() -> Environment:
    """Everything but plain text is escaped, whatever its suffix."""
    found = Environment(
        loader=FileSystemLoader(TEMPLATES),
        undefined=StrictUndefined,
        autoescape=select_autoescape(disabled_extensions=("txt",), default=True),
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    found.filters["fold"] = fold
    return found


def fold(text: str, indent: int = 0) -> str:
    """The text in lines that any mail program shows whole, each indented."""
    margin = " " * indent
    return textwrap.fill(text, WIDTH, initial_indent=margin, subsequent_indent=margin, break_on_hyphens=False)


def encoded(text: str) -> int:
    """What a text takes up at most in a message, in bytes: as Base64, in lines of 76."""
    return len(text.encode()) * 4 * 78 // (3 * 76) + 80
