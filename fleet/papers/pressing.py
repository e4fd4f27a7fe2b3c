"""A paper pressed into PDF: tagged, with page numbers, and the same bytes for the same content."""

from __future__ import annotations

import json
import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fleet.refusals import NotPossible

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

TEMPLATES = Path(__file__).parent / "templates"


@dataclass(frozen=True, slots=True)
class Enclosure:
    """A kept file that goes into a paper: a photograph is shown, a certificate is attached as it came."""

    name: str
    media_type: str
    content: bytes
    caption: str


SUFFIXES = {
    "image/jpeg": "jpg",
    "image/png": "png",
    "application/pdf": "pdf",
    "application/xml": "xml",
    "text/csv": "csv",
}


def press(template: str, said: Mapping[str, Any], enclosed: Sequence[Enclosure] = ()) -> bytes:
    """The PDF of a template. Text goes in as data, so that no word of it is read as markup."""
    import typst  # noqa: PLC0415  Eighty megabytes that only a paper needs.

    with tempfile.TemporaryDirectory(prefix="fleet-paper-") as made:
        folder = Path(made)
        (folder / "paper.typ").write_bytes((TEMPLATES / template).read_bytes())
        pictures: list[dict[str, str]] = []
        files: list[dict[str, str]] = []
        for one in enclosed:
            path = folder / f"{one.name}.{SUFFIXES[one.media_type]}"
            path.write_bytes(one.content)
            told = {"path": path.name, "caption": one.caption, "sort": one.media_type}
            (pictures if one.media_type.startswith("image/") else files).append(told)
        given = dict(said) | {"pictures": pictures, "files": files}
        try:
            return bytes(
                typst.compile(
                    str(folder / "paper.typ"),
                    root=str(folder),
                    font_paths=_fonts(),
                    sys_inputs={"paper": json.dumps(given)},
                    pdf_standards=["ua-1"],
                )
            )
        except typst.TypstError as error:
            raise NotPossible(f"The paper cannot be made: {str(error).splitlines()[0]}.") from error


@cache
def _fonts() -> Any:  # noqa: ANN401  The library's own class, which carries no types.
    """The fonts that come with the library; those of the machine differ from one to the next."""
    import typst  # noqa: PLC0415  As above.

    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=True)
