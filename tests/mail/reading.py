"""Reading a letter as its receiver sees it."""

from __future__ import annotations

from html.parser import HTMLParser

HOSTILE = (
    "<script>alert(1)</script>",
    "Kim\r\nBcc: everybody@tool-room.example",
    "{{7*7}}{% raw %}",
    '\'" onmouseover=alert(1) x="',
    "</td></tr></table><h1>All is well</h1>",
    "a\u202egnp.exe\u2066\u200b\x00\x1b[31m",
    "👩\u200d🔧 Ørsted – ﷽",
    "x" * 5000,
    "\ud800 lone",
)


class Shown(HTMLParser):
    """What a mail program would make of the HTML: its tags and its text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.texts: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data: str) -> None:
        self.texts.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.texts).split())


def in_one_line(text: str) -> str:
    return " ".join(text.split())


# --- What is said -------------------------------------------------------------------------------------------
