"""What is handed in as a photograph: a fresh drawing of it is kept, or a sentence says why not."""

from __future__ import annotations

import hashlib
import io
import re
import struct
import zipfile
import zlib
from typing import TYPE_CHECKING

import pytest
from PIL import Image
from sqlalchemy import select

from fleet.records import KeptFileRow
from tests.pages.browsing import in_parts
from tests.pages.history import INSPECTED, photograph

if TYPE_CHECKING:
    from tests.pages.browsing import Browser, Page, Pages

FORM = f"/items/{INSPECTED}/inspect"
HTML = b"<html><script>alert('from a photograph')</script></html>"


def zipped() -> bytes:
    written = io.BytesIO()
    with zipfile.ZipFile(written, "w") as archive:
        archive.writestr("evil.html", HTML)
    return written.getvalue()


def chunk(kind: bytes, content: bytes) -> bytes:
    return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))


def png(width: int, height: int, rows: bytes) -> bytes:
    """A PNG of one bit of grey per pixel, whatever it really holds."""
    head = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    drawn = chunk(b"IDAT", zlib.compress(rows, 9))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + drawn + chunk(b"IEND", b"")


def with_place() -> bytes:
    """A photograph that says where it was taken and by which telephone."""
    exif = Image.Exif()
    exif[0x010F] = "Telephone works"
    exif.get_ifd(0x8825).update({1: "N", 2: (53.0, 33.0, 1.0), 3: "E", 4: (9.0, 59.0, 1.0)})
    return photograph(exif=exif)


def send(browser: Browser, name: str, content: bytes, field: str = "photographs") -> Page:
    browser.get(FORM)
    return browser.upload(FORM, {field: (name, content)}, occasion="before use", all_fine="yes")


def kept(pages: Pages) -> list[bytes]:
    """Every picture on record but the demo's own one, oldest first."""
    with pages.room.look() as db:
        found = db.execute(select(KeptFileRow.content).order_by(KeptFileRow.id)).scalars().all()
    return [content for content in found if content[:4] != b"%PDF"][1:]


NEUTRAL = {
    "a film behind it": ("IMG.jpg", photograph() + b"\0\0\0\x20ftypmp42" + b"x" * 5_000),
    "an archive behind it": ("IMG.jpg", photograph() + zipped()),
    "a page behind it": ("IMG.jpg", photograph() + HTML),
    "a page as comment": ("IMG.jpg", photograph(comment=HTML)),
    "PNG that is called JPEG": ("IMG.jpg", photograph("PNG")),
    "a page behind a PNG": ("x.png", photograph("PNG") + HTML),
    "two endings": ("shell.php.jpg", photograph()),
    "a way up": ("../../../../etc/cron.d/x.jpg", photograph()),
    "a whole way": ("/etc/passwd", photograph()),
    "a way of Windows": ("C:\\Windows\\System32\\drivers\\etc\\hosts", photograph()),
    "a device": ("CON.jpg", photograph()),
    "a reserved device": ("aux", photograph()),
    "a zero byte": ("a\0.jpg", photograph()),
    "markup": ("&lt;b&gt;<b>x</b>{{7*7}}.jpg", photograph()),
    "right to left": ("gpj.\u202eexe", photograph()),
    "where it was taken": ("IMG.jpg", with_place()),
}


@pytest.mark.parametrize("what", NEUTRAL)
def test_what_is_kept_is_a_fresh_drawing(demo: Pages, what: str) -> None:
    name, content = NEUTRAL[what]
    answer = send(demo.as_("keeper"), name, content)
    found = kept(demo)
    if answer.status != 303:
        # A name that is no name at all is not taken apart; the sentence says so, and nothing is kept.
        assert answer.status in (403, 422), answer.text
        assert found == []
        return
    (picture,) = found
    with Image.open(io.BytesIO(picture)) as drawn:
        assert drawn.size == (64, 48)
        assert dict(drawn.getexif()) == {}
        assert "comment" not in drawn.info
    for evil in (b"<script", b"evil.html", b"ftyp", b"Telephone", b"PK\x03\x04"):
        assert evil not in picture
    assert picture.endswith((b"\xff\xd9", b"IEND\xaeB`\x82"))


REFUSED = {
    "a GIF that is a script": ("x.gif", b"GIF89a/*" + b"\0" * 20 + b"*/=1;alert(1)//;"),
    "a real GIF": ("x.jpg", photograph("GIF")),
    "WebP": ("x.webp", photograph("WEBP")),
    "SVG": ("x.svg", b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>"),
    "SVG that is called JPEG": ("x.jpg", b"<?xml version='1.0'?><svg onload='alert(1)'/>"),
    "a page": ("x.jpg", HTML),
    "an archive": ("x.jpg", zipped()),
    "a paper": ("x.jpg", b"%PDF-1.7\n1 0 obj<</JS(app.alert(1))>>"),
    "a program": ("x.jpg", b"MZ" + b"\0" * 200),
    "nothing": ("x.jpg", b""),
    "only the first bytes": ("x.jpg", b"\xff\xd8\xff"),
    "cut off": ("x.jpg", photograph(size=(800, 600))[:2_000]),
    "a PNG with a wrong sum": ("x.png", photograph("PNG")[:-20] + b"\0" * 20),
    "a head of 50,000 by 50,000": ("x.png", png(50_000, 50_000, b"\0" * 100)),
    "small and far too wide": ("x.png", png(20_000, 20_000, bytes(2_501) * 20_000)),
    "moving pictures": (
        "x.png",
        photograph("PNG", save_all=True, append_images=[Image.new("RGB", (64, 48), "red")]),
    ),
    "more than ten megabytes": ("x.jpg", photograph() + b"\0" * 10_000_000),
}


@pytest.mark.parametrize("what", REFUSED)
def test_what_is_no_photograph_is_refused_with_a_sentence(demo: Pages, what: str) -> None:
    name, content = REFUSED[what]
    answer = send(demo.as_("keeper"), name, content)
    assert answer.status == 422, answer.text
    assert "That did not work" in answer.text
    assert re.search(r"That did not work x\.\w+ (is|has) [^.]+\.", answer.text), answer.text[:900]
    assert "Photographs have to be chosen again." in answer.text
    assert kept(demo) == []


def test_what_was_typed_stands_there_still(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    keeper.get(FORM)
    answer = keeper.upload(
        FORM, {"photographs": ("x.jpg", HTML)}, **{"answer-2": "note", "remark-2": "<b>dull</b>"}
    )
    assert 'id="answer-2-note" name="answer-2" value="note" checked' in answer.body
    assert 'value="&lt;b&gt;dull&lt;/b&gt;"' in answer.body


def test_a_name_of_any_length_is_only_ever_shown_short(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    for name in ("n" * 300 + ".jpg", "../" * 80 + "x.jpg"):
        answer = send(keeper, name, HTML)
        assert answer.status == 422
        assert "n" * 61 not in answer.text
        assert "../" not in answer.text
    answer = send(keeper, "n" * 5_000 + ".jpg", HTML)
    assert answer.status in (403, 422)
    assert kept(demo) == []


def test_too_many_photographs_are_refused(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    token = keeper.get(FORM).token
    body, kind = in_parts({"token": token}, {f"photographs{at}": ("x.jpg", photograph()) for at in range(21)})
    answer = raw(keeper, body, kind)
    assert answer.status == 403
    assert "holds more than 20 files" in answer.text


def test_too_much_at_once_is_refused_before_it_is_read(demo: Pages) -> None:
    answer = raw(demo.as_("keeper"), b"x" * 40_000_001, "multipart/form-data; boundary=x")
    assert answer.status == 403
    assert "longer than 40 MB" in answer.text


# The web library lets go of a file whose form breaks off only when it is collected.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"--x",
        b"--x\r\n\r\n--x--",
        b"--x\r\nContent-Disposition: form-data\r\n\r\na\r\n--x--\r\n",
        b'--x\r\nContent-Disposition: form-data; name="photographs"; filename="a.jpg"\r\n\r\nno end',
        b"\0" * 500,
        b"--x\r\n" + b"A: b\r\n" * 3_000 + b"\r\n--x--\r\n",
    ],
)
def test_a_form_that_is_none_is_refused(demo: Pages, body: bytes) -> None:
    assert raw(demo.as_("keeper"), body, "multipart/form-data; boundary=x").status == 403
    assert raw(demo.as_("keeper"), body, "multipart/form-data").status in (400, 403)


def raw(browser: Browser, body: bytes, kind: str) -> Page:
    """A form exactly so, as no browser sends it."""
    return browser.send(FORM, body, kind)


def test_a_photograph_is_shown_only_to_people_of_its_site(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    assert keeper.follow(send(keeper, "IMG.jpg", photograph(size=(80, 60)))).status == 200
    (content,) = kept(demo)
    way = f"/photographs/{hashlib.sha256(content).hexdigest()}"
    for who in ("keeper", "planner", "officer"):
        page = demo.as_(who).get(way)
        assert page.status == 200
        assert page.headers["content-type"] == "image/jpeg"
        assert page.headers["content-disposition"].startswith("attachment;")
        assert page.headers["x-content-type-options"] == "nosniff"
        assert page.headers["content-security-policy"].startswith("default-src 'none'")
    assert keeper.ask_raw(way) == content
    for who in ("elsewhere", "administrator"):
        assert demo.as_(who).get(way).status == 404
    assert demo.as_("nobody").get(way).status == 303
    for asked in (way[:-1], way[:-56], way.upper(), "/photographs/..%2f..%2fetc", "/photographs/%00"):
        assert keeper.get(asked).status == 404, asked


def test_a_file_that_is_no_photograph_is_not_shown_as_one(demo: Pages) -> None:
    digest = hashlib.sha256(b"%PDF-1.7\n%%EOF\n").hexdigest()
    assert demo.as_("keeper").get(f"/photographs/{digest}").status == 404
    paper = demo.as_("keeper").get(f"/certificates/1/files/{digest}")
    assert paper.headers["content-disposition"] == 'attachment; filename="certificate-1.pdf"'
    assert demo.as_("elsewhere").get(f"/certificates/1/files/{digest}").status == 404


def test_a_repair_keeps_its_photographs_too(demo: Pages) -> None:
    keeper = demo.as_("keeper")
    way = f"/items/{INSPECTED}/repair"
    keeper.get(way)
    words = "Dust cap and its chain put on anew."
    answer = keeper.upload(way, {"photographs": ("x.jpg", photograph())}, work="other", description=words)
    page = keeper.follow(answer)
    assert words in page.text
    assert 'alt="Repair 1"' in page.body
