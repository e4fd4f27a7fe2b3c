"""Letters to whoever is logged in, and the start."""

from tests.pages.ways import page, post

WAYS = (
    page("/"),
    page("/letters"),
    page("/letters/1", 404, elsewhere=404, roleless=404),
    post("/letters/1/acknowledge", *(404,) * 5),
)
