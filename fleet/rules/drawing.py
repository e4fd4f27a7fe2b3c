"""Pictures as SVG text: data in, one picture out, legible in black and white and by a screen reader."""

import re
from html import escape

INK, GRID = "#1a1a1a", "#b8b8b8"

# What may not stand in XML at all, not even escaped (XML 1.0, 2.2).
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def said(words: str) -> str:
    """Anybody's words as text of a picture, never read as its markup."""
    return escape(_NOT_XML.sub("\ufffd", words))


def opened(width: int, height: int, title: str, told: str, key: str = "") -> str:
    """Begin a picture on white ground; ``told`` is the whole of it in words, ``key`` begins its ids."""
    size = f"width='{width}' height='{height}' viewBox='0 0 {width} {height}'"
    named = f"aria-labelledby='{key}title {key}told'"
    return "\n".join(
        (
            f"<svg xmlns='http://www.w3.org/2000/svg' {size} role='img' {named}>",
            f"<title id='{key}title'>{said(title)}</title>",
            f"<desc id='{key}told'>{said(told)}</desc>",
            f"<rect width='{width}' height='{height}' fill='#ffffff'/>",
        )
    )


def text(x: float, y: float, words: str, *, size: int = 12, weight: str = "", anchor: str = "start") -> str:
    """Write one line of text."""
    bold = f" font-weight='{weight}'" if weight else ""
    return (
        f"<text x='{x:.1f}' y='{y:.1f}' font-family='sans-serif' font-size='{size}'{bold} "
        f"text-anchor='{anchor}' fill='{INK}'>{said(words)}</text>"
    )


def line(x1: float, y1: float, x2: float, y2: float, stroke: str, *, dash: str = "") -> str:
    """Draw a thin line."""
    dashed = f" stroke-dasharray='{dash}'" if dash else ""
    return f"<line x1='{x1:.1f}' y1='{y1:.1f}' x2='{x2:.1f}' y2='{y2:.1f}' stroke='{stroke}'{dashed}/>"
