"""The sheet of a joint's kit."""

from tests.pages.ways import DOOR, file, own_page

_SHEET = "?job=NB-142&joint=E-204%20channel"

WAYS = (
    own_page(f"/kit-sheet{_SHEET}"),
    file(f"/kit-sheet.pdf{_SHEET}", (DOOR, 200, 200, 200, 404, 404)),
)
