"""The words of the pages in another language, without touching a template.

While a template is compiled, each visible text in it is looked up, and what is found takes its place: text
between tags, what is read aloud or shown of a tag (``aria-label``, ``placeholder``, ``title``, ``alt``), and
the words that a template hands to its macros. The English text is the key. A sentence with values in it is
one text, ``Acknowledged by {0}, {1}.``, and a language may put its values in another order.

A catalogue is plain JSON, ``texts/<language>.json``: English text to text. What it lacks stays English.
``python -m tests.texts`` prints every text there is.

What is not covered: sentences that rules, acts and lists make (refusals, findings, cautions, what an act
says when it is done), states and kinds as they stand on record, names of months, and everything typed by
people. Words that a page gets from Python are looked up where the template says ``|translated``. A text ends
at a tag and at a statement, so a sentence with a link in it is three texts. A single word in small letters
inside an expression is taken for a name and not for a text.
"""

from __future__ import annotations

import json
import re
from functools import cache
from html import escape, unescape
from pathlib import Path
from typing import TYPE_CHECKING

from jinja2.ext import Extension
from jinja2.lexer import Token

from fleet.pages.words_of_tags import Reader
from fleet.refusals import SettingsWrong

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from jinja2 import Environment
    from jinja2.lexer import TokenStream

ENGLISH = "en"
FOLDER = Path(__file__).parent / "texts"
_PLACE = re.compile(r"\{(\d+)\}")
_WORDS = re.compile(r"[^\W\d_]")
_SENTENCE = re.compile(r"[A-Z][a-z]*[a-z.:]?$|.*[^\W\d_].* .*", re.DOTALL)
_NO_TEXT = re.compile(r"[/?#&.]|.*[=_]")
_ADDRESS = re.compile(r"[/?&]\S*|\S*=\S*")
# Beside these a word is compared, and after these statements it is the name of a template.
_COMPARED = {"eq", "ne"}
# After these a word is what an expression comes to, unless a bracket is open.
_GIVEN, _OR = {"variable_begin", "tilde"}, {"else", "or", "and"}
_OPENING, _CLOSING = {"lparen", "lbracket", "lbrace"}, {"rparen", "rbracket", "rbrace"}
_NAMES = {"extends", "include", "import", "from", "block", "macro"}
# What a macro is handed by these names is seen, however short.
_SEEN = {"label", "hint", "title", "button", "empty"}


def as_written(text: str) -> str:
    """English: every text is its own."""
    return text


@cache
def in_language(language: str) -> Callable[[str], str]:
    """What stands for a text in this language; English for what its catalogue lacks."""
    if language == ENGLISH:
        return as_written
    texts = read_texts(FOLDER / f"{language}.json")
    return lambda text: texts.get(text, text)


def read_texts(path: Path) -> Mapping[str, str]:
    """A catalogue; refused when a text of it loses a value or is no text."""
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise SettingsWrong(f"{path} holds no texts: {error}") from error
    if not isinstance(found, dict):
        raise SettingsWrong(f"{path} holds no texts: it must be one object, English text to text.")
    for key, text in found.items():
        if not isinstance(text, str) or sorted(_PLACE.findall(key)) != sorted(_PLACE.findall(text)):
            raise SettingsWrong(f"{path}: the text for {key!r} must hold the same values, each once.")
    return found


class Texts(Extension):
    """Exchanges texts in the tokens of a template; ``environment.look_up`` says what for what."""

    def filter_stream(self, stream: TokenStream) -> Iterator[Token]:
        """The tokens with other words in them."""
        look_up: Callable[[str], str] = getattr(self.environment, "look_up", as_written)
        reader = Reader()
        piece: list[str | list[Token]] = []
        line = 1
        for part in _parts(stream):
            if isinstance(part, Token):
                line = part.lineno
                for text, seen in reader.read(part.value):
                    if seen:
                        piece.append(text)
                        continue
                    yield from _put(piece, look_up, line)
                    piece.clear()
                    yield Token(line, "data", text)
            elif part[0].type == "variable_begin" and reader.seen:
                piece.append(_exchanged(part, look_up, shown=True))
            else:
                yield from _put(piece, look_up, line)
                piece.clear()
                yield from _exchanged(part, look_up, shown=False)
        yield from _put(piece, look_up, line)


def _parts(stream: TokenStream) -> Iterator[Token | list[Token]]:
    """Data by itself; an expression or a statement as a whole."""
    inside: list[Token] = []
    for token in stream:
        if token.type == "data":
            yield token
            continue
        inside.append(token)
        if token.type in ("variable_end", "block_end"):
            yield inside
            inside = []


def _exchanged(tokens: list[Token], look_up: Callable[[str], str], *, shown: bool) -> list[Token]:
    """An expression or statement with its words exchanged; ``shown`` where its value stands among text."""
    if tokens[0].type == "block_begin" and tokens[1].value in _NAMES:
        return tokens
    found = []
    for at, token in enumerate(tokens):
        if token.type == "string" and _is_text(tokens, at, shown=shown):
            lead, text, tail = _bare(token.value)
            found.append(Token(token.lineno, "string", f"{lead}{look_up(text)}{tail}"))
        else:
            found.append(token)
    return found


def _is_text(tokens: list[Token], at: int, *, shown: bool) -> bool:
    """Whether words in an expression are seen by anybody, and not compared, looked up by or gone to."""
    before, after, value = tokens[at - 1], tokens[at + 1], tokens[at].value
    if before.type in _COMPARED or after.type in _COMPARED or before.type == "lbracket":
        return False
    if "in" in (before.value, after.value) or not _WORDS.search(value):
        return False
    if before.type == "assign" and tokens[at - 2].value in _SEEN:
        return True
    if before.type in _GIVEN or before.value in _OR:
        is_value = tokens[0].type == "variable_begin" and _depth(tokens[:at]) == 0
        if is_value:
            return shown
    return bool(_SENTENCE.match(value)) and not _NO_TEXT.match(value)


def _depth(tokens: list[Token]) -> int:
    """How many brackets are open."""
    return sum((one.type in _OPENING) - (one.type in _CLOSING) for one in tokens)


def _put(piece: list[str | list[Token]], look_up: Callable[[str], str], line: int) -> Iterator[Token]:
    """One text with its values, exchanged."""
    values = [part for part in piece if not isinstance(part, str)]
    numbers = iter(range(len(values)))
    whole = "".join(unescape(part) if isinstance(part, str) else f"{{{next(numbers)}}}" for part in piece)
    lead, text, tail = _bare(whole)
    key = " ".join(text.split())
    other = look_up(key) if _WORDS.search(_PLACE.sub("", key)) and not _ADDRESS.fullmatch(key) else key
    if other == key:
        for part in piece:
            yield from [Token(line, "data", part)] if isinstance(part, str) else part
        return
    # By what is between the places: text, number of a value, text, and so on.
    for at, word in enumerate(_PLACE.split(f"{lead}{other}{tail}")):
        if at % 2:
            yield from values[int(word)]
        elif word:
            yield Token(line, "data", escape(word, quote=True))


def _bare(text: str) -> tuple[str, str, str]:
    """A text without the blanks around it, and these."""
    bare = text.strip()
    begins = text.index(bare) if bare else len(text)
    return text[:begins], bare, text[begins + len(bare) :]


def with_texts(environment: Environment, look_up: Callable[[str], str]) -> None:
    """Let an environment look its texts up; before its first template is compiled."""
    if look_up is not as_written:
        environment.extend(look_up=look_up)
        environment.add_extension(Texts)
    environment.filters["translated"] = look_up
