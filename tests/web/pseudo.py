"""A language made up at test time: every letter of a message becomes a wide one, and brackets stand around the whole."""

from __future__ import annotations

import re
from collections.abc import Collection
from html.parser import HTMLParser
from pathlib import Path
from string import ascii_letters

from babel.messages.catalog import Catalog
from babel.messages.pofile import write_po

CODE = "eo"
"""Browsers and Babel must know the language; what they know of it does not matter here."""
OPEN, CLOSE = "⟦", "⟧"
WIDE = str.maketrans({letter: chr(ord(letter) + 0xFEE0) for letter in ascii_letters})
"""To the letters U+FF21 to U+FF5A, which are letters but not English ones."""
KEPT = re.compile(r"(%\(\w+\)s|%%|<[^>]+>|&#?\w+;)")
"""Places to be filled in, and markup."""
SPOKEN = {
    *("alt", "title", "aria-label", "aria-description", "aria-valuetext", "placeholder", "content", "label"),
    *("data-title", "data-summary", "data-words", "data-updated"),
}
"""Attributes that people see, hear, or are shown by a script."""
UNSPOKEN = {"viewport", "color-scheme", "theme-color", "format-detection"}
"""Names of ``meta`` whose content is for browsers."""


def pseudo(text: str) -> str:
    """The message in the made-up language.

    >>> pseudo("<b>%(num)s</b> at 5 %%")
    '⟦<b>%(num)s</b> ａｔ 5 %%⟧'
    """
    parts = KEPT.split(text)
    return OPEN + "".join(part if n % 2 else part.translate(WIDE) for n, part in enumerate(parts)) + CLOSE


def write_language(folder: Path, texts: Catalog, without: Collection[str] = ()) -> Path:
    """The made-up language as a file below ``folder``, but for the messages ``without``; returns ``folder``."""
    made = Catalog(locale=CODE, charset="utf-8", fuzzy=False)
    for message in texts:
        forms = [message.id] if isinstance(message.id, str) else list(message.id)
        if forms[0] and forms[0] not in without:
            told = tuple(map(pseudo, forms))
            made.add(message.id, told if len(forms) > 1 else told[0], locations=message.locations)
    file = folder / CODE / "LC_MESSAGES" / "messages.po"
    file.parent.mkdir(parents=True)
    with file.open("wb") as out:
        write_po(out, made, include_lineno=False)
    return folder


class _Shown(HTMLParser):
    """Collects what people see of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.running: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag != "meta" or given.get("name") not in UNSPOKEN:
            self.texts += [value for name, value in attrs if name in SPOKEN and value]

    def handle_data(self, data: str) -> None:
        self.running.append(data)


def shown(html: str) -> list[str]:
    """Everything a page shows: its running text, then its spoken attributes one by one."""
    parser = _Shown()
    parser.feed(html)
    return [" ".join(parser.running), *parser.texts]


def outside(text: str) -> str:
    """What stands outside all brackets.

    >>> outside("a ⟦b ⟦c⟧ d⟧ e")
    'a  e'
    """
    before = None
    while before != text:
        before, text = text, re.sub(rf"{OPEN}[^{OPEN}{CLOSE}]*{CLOSE}", "", text)
    return text


def english(text: str) -> list[str]:
    """English words of the text, inside its brackets or not.

    >>> english("⟦Ｌａｎｅ of 3⟧ b")
    ['of']
    """
    return re.findall(r"[A-Za-z]{2,}", text)
