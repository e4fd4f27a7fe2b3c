"""The pages in another language: no English of a template is left, and sentences keep their values."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from typing import TYPE_CHECKING

import pytest
from jinja2 import DictLoader, Environment

from fleet.pages import make_app
from fleet.pages.drawing import HERE
from fleet.pages.texts import in_language, read_texts, with_texts
from fleet.pages.words_of_tags import SEEN
from fleet.refusals import SettingsWrong
from tests.pages.browsing import serving
from tests.pages.chromium import on_sqlite
from tests.pages.demo import MADE
from tests.pages.ways import VISITORS, all_ways
from tests.texts import texts_of_templates

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from fleet.room import Room
    from tests.pages.browsing import Page
    from tests.shop import Clock

LONG = 5
BEGIN, END = "⟦", "⟧"


def drawn(source: str, texts: Mapping[str, str], **told: object) -> str:
    environment = Environment(loader=DictLoader({"x": source}), autoescape=True)
    with_texts(environment, lambda text: texts.get(text, text))
    return environment.get_template("x").render(told)


@pytest.mark.parametrize(
    ("source", "texts", "wanted"),
    [
        ("<p>Log out</p>", {"Log out": "Abmelden"}, "<p>Abmelden</p>"),
        ("<p>\nLog\n out </p>", {"Log out": "Abmelden"}, "<p>\nAbmelden </p>"),
        ("<p>By {{ a }}, {{ b }}.</p>", {"By {0}, {1}.": "{1}: von {0}."}, "<p>2: von &lt;1&gt;.</p>"),
        (
            '<a aria-label="Of {{ b }}" id="Of">x</a>',
            {"Of {0}": "Von {0}"},
            '<a aria-label="Von 2" id="Of">x</a>',
        ),
        ("<p>A &amp; b c</p>", {"A & b c": "<i> & c"}, "<p>&lt;i&gt; &amp; c</p>"),
        ("{{ 'Yes' if a == 'See to' else 'No' }}", {"Yes": "Ja", "No": "Nein", "See to": "!"}, "Nein"),
        (
            "{% macro m(label) %}<b>{{ label }}</b>{% endmacro %}{{ m(label='mark') }}",
            {"mark": "M"},
            "<b>M</b>",
        ),
        ("{% for t in ('Notes', 'Sources') %}{{ t }} {% endfor %}", {"Notes": "Notizen"}, "Notizen Sources "),
        (
            "<p{% if b %} class=\"{{ 'big one' }}\"{% endif %}>Of</p>",
            {"Of": "Von"},
            '<p class="big one">Von</p>',
        ),
        ("<p>{{ 'yes' if b else 'no' }}</p>", {"yes": "ja"}, "<p>ja</p>"),
        ("{{ w|translated }}", {"Items": "Geräte"}, "Geräte"),
        ("<p>Nothing there.</p>", {}, "<p>Nothing there.</p>"),
    ],
)
def test_words_are_exchanged_and_values_are_kept(source: str, texts: dict[str, str], wanted: str) -> None:
    assert drawn(source, texts, a="<1>", b=2, w="Items") == wanted


def test_a_text_that_loses_a_value_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "de.json"
    for content in ('{"By {0}": "Von"}', '{"By {0}": 1}', "[]", "{"):
        path.write_text(content, encoding="utf-8")
        with pytest.raises(SettingsWrong):
            read_texts(path)
    path.write_text('{"By {0}, {1}": "{1} {0}"}', encoding="utf-8")
    assert read_texts(path) == {"By {0}, {1}": "{1} {0}"}
    with pytest.raises(SettingsWrong, match="holds no texts"):
        in_language("xx")


class _Words(HTMLParser):
    """What is read on a page: text, and what the attributes hold that somebody reads."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.picture = False

    def handle_data(self, data: str) -> None:
        # The words of a picture are drawn by Python.
        if not self.picture:
            self.found.append(data)

    def handle_endtag(self, tag: str) -> None:
        self.picture = self.picture and tag != "svg"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.picture = self.picture or tag == "svg"
        self.found += [value for name, value in attrs if name in SEEN and value]


def left_in_english(body: str) -> list[str]:
    """What stands outside the marks of the made-up language; where a text holds tags, piece by piece."""
    words = _Words()
    words.feed(body)
    left = []
    for text in words.found:
        bare = text
        while bare != (less := re.sub(f"{BEGIN}[^{BEGIN}{END}]*{END}", " ", bare)):
            bare = less
        left.append(" ".join(bare.split()))
    return [text for text in left if text]


def words_of_template(source: str) -> list[str]:
    """What stands between the tags of a template and in what is read of them, without what Jinja puts in."""
    bare = re.sub(r"\{#.*?#\}", "", source, flags=re.DOTALL)
    bare = re.sub(r"\{%.*?%\}|\{\{.*?\}\}", BEGIN, bare, flags=re.DOTALL)
    words = _Words()
    # Macros of attributes begin inside of a tag; none of ours may.
    words.feed(bare)
    pieces = [" ".join(piece.split()) for text in words.found for piece in text.split(BEGIN)]
    return [piece for piece in pieces if re.search("[A-Za-z]", piece)]


def test_every_word_of_every_template_is_looked_up() -> None:
    looked_up = "\n".join(texts_of_templates())
    count = 0
    for path in sorted((HERE / "templates").rglob("*.html")):
        for piece in words_of_template(path.read_text(encoding="utf-8")):
            count += 1
            assert piece in looked_up or re.fullmatch(r"[/?&]\S*|\S*=\S*", piece), (path.name, piece)
    assert count > 500


@on_sqlite
def test_pages_answer_the_same_in_another_language_and_no_sentence_of_a_template_is_left(
    demo_room: Room, clock: Clock
) -> None:
    # What has so many words is no name of a column that Python has too.
    english = {text for text in texts_of_templates() if len(text.split()) >= LONG}
    assert len(english) > 200
    left: dict[str, str] = {}
    with serving(demo_room, clock, make_app(demo_room, lambda text: f"{BEGIN}{text}{END}")) as pages:
        pages.tokens |= MADE.tokens["sqlite"]
        for way in all_ways():
            # What is for who writes programs stays English.
            if way.method != "GET" or not way.is_page or way.address.startswith("/api"):
                continue
            page = pages.as_("keeper").get(way.address)
            assert answer_of(page) == way.answers[VISITORS.index("keeper")], way.address
            if page.status != 303:
                assert BEGIN in page.body
                left |= dict.fromkeys(left_in_english(page.body), way.address)
    assert len(left) > 50
    assert {text: way for text, way in left.items() if text in english} == {}


def answer_of(page: Page) -> int | str:
    return page.headers["location"].partition("?")[0] if page.status == 303 else page.status
