"""A language made on the fly: every text in brackets, every letter another one. What it leaves in plain letters was not translated."""

from __future__ import annotations

import html
import io
import json
import re
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po, write_po

CODE = "eo"
"""A language nobody here translates into, so that browsers and Babel know its tag and two plural forms."""
KEPT = re.compile(r"%\(\w+\)s|%%|<[^>]*>|&\w+;")
"""What a translator must leave as it is: placeholders, percent signs, tags, entities."""
LETTERS = str.maketrans(
    "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ",
    "αβςδεφγηιϳκλμνοπρστυωξψχζϑΑΒϹΔΕΦΓΗΙͿΚΛΜΝΟΠΡΣΤΥΩΞΨΧΖϴ",
)
SHOWN_ATTRIBUTES = {
    "alt",
    "aria-label",
    "aria-description",
    "aria-valuetext",
    "content",
    "data-title",
    "placeholder",
    "title",
}
"""Attributes whose value somebody reads or hears."""
NOT_READ = {"script", "style"}


def changed(text: str) -> str:
    """The text in that language.

    >>> changed("Lane %(lane)s<br>5 %%")
    '⟦Λανε %(lane)s<br>5 %%⟧'
    """
    pieces = zip([*KEPT.findall(text), ""], KEPT.split(text), strict=True)
    return "⟦" + "".join(plain.translate(LETTERS) + kept for kept, plain in pieces) + "⟧"


def write(catalogue: Path, folder: Path) -> Catalog:
    """Translate the whole catalogue into ``folder/eo/LC_MESSAGES/messages.po``."""
    with catalogue.open("rb") as source:
        made = read_po(source, locale=CODE, abort_invalid=True)
    for message in made:
        if message.id:
            forms = [message.id] if isinstance(message.id, str) else message.id
            texts = tuple(changed(form) for form in forms)
            message.string = texts if message.pluralizable else texts[0]
    out = io.BytesIO()
    write_po(out, made)
    place = folder / CODE / "LC_MESSAGES" / "messages.po"
    place.parent.mkdir(parents=True)
    place.write_bytes(out.getvalue())
    return made


class Reader(HTMLParser):
    """Collects what a page says, to eye or ear, also what it holds ready for its scripts."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.said: list[str] = []
        self._within: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in NOT_READ:
            self._within.append(tag)
        given = {name: value or "" for name, value in attrs}
        self.said += [
            value for name, value in given.items() if name in SHOWN_ATTRIBUTES and not _of_machines(given, name)
        ]
        if tag == "input" and given.get("type") in ("submit", "button", "reset"):
            self.said.append(given.get("value", ""))
        self.said += _leaves(json.loads(given.get("data-words", "{}")))

    def handle_endtag(self, tag: str) -> None:
        if self._within and self._within[-1] == tag:
            self._within.pop()

    def handle_data(self, data: str) -> None:
        if not self._within and data.strip():
            self.said.append(" ".join(data.split()))


def _of_machines(given: dict[str, str], name: str) -> bool:
    """Whether it is the content of a ``meta`` that no person reads."""
    return name == "content" and given.get("name") != "description"


def _leaves(words: object) -> Iterator[str]:
    if isinstance(words, dict):
        for value in words.values():
            yield from _leaves(value)
    else:
        yield str(words)


def said(page: str) -> list[str]:
    """Everything the page says, in pieces."""
    reader = Reader()
    reader.feed(page)
    reader.close()
    return [html.unescape(text) for text in reader.said if text]


WORD = re.compile(r"(?<![%(\w])[A-Za-z][A-Za-z'’-]+")


def untranslated(text: str, data: re.Pattern[str]) -> list[str]:
    """Words of two letters or more in plain letters that are neither placeholders nor data."""
    return WORD.findall(data.sub(" ", re.sub(r"%\(\w+\)s", " ", text)))
