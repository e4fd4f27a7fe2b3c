"""Every text of the pages, for whoever makes a catalogue: ``python -m tests.texts > de.json``."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING

from fleet.pages.areas import AREAS
from fleet.pages.bench.forms import SECTIONS
from fleet.pages.drawing import templates

if TYPE_CHECKING:
    from collections.abc import Iterator


def texts_of_templates() -> set[str]:
    """What is looked up while every template is compiled."""
    found: set[str] = set()

    def keep(text: str) -> str:
        found.add(text)
        return text

    environment = templates(keep)
    assert environment.loader
    for name in environment.list_templates():
        environment.compile(environment.loader.get_source(environment, name)[0], name)
    return found


def texts_from_python() -> Iterator[str]:
    """What templates are handed and look up themselves."""
    for area in AREAS:
        yield from (area.name, *(name for _, name in area.pages))
    for title, some in SECTIONS:
        yield title
        for one in some:
            yield from (one.title, one.lead, *(group.title for group in one.groups))
            for field in one.fields:
                yield from (field.label, field.hint, *(words for _, words in field.options))


def all_texts() -> dict[str, str]:
    """Each text with itself, to be written over."""
    return {text: text for text in sorted({*texts_of_templates(), *texts_from_python()} - {""})}


if __name__ == "__main__":
    json.dump(all_texts(), sys.stdout, ensure_ascii=False, indent=1)
    sys.stdout.write("\n")
