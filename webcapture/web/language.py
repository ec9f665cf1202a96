"""Pages in the reader's language: which one, and where its texts come from.

English is the source's own language. Every other one is a file ``messages/<language>/LC_MESSAGES/messages.po``, read when the
application is made. Texts that are born left of here (flags, errors, cautions) are English wherever they are kept, and
translated by :func:`told` when they are shown.
"""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Any

from babel import Locale
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from babel.support import NullTranslations, Translations
from flask import Flask, Response, current_app, has_request_context, request
from flask_babel import Babel, Domain, get_locale, get_translations
from flask_babel import lazy_gettext as _lazy

from webcapture.errors import UsageError

MESSAGES = Path(__file__).parent / "messages"
"""Holds ``messages.pot``, the catalogue of all texts, and a folder a language."""
SOURCE = "en"
"""The language that the source is written in."""
PLACE = re.compile(r"%\((\w+)\)s")
BORN_LEFT = re.compile(r"webcapture/(?!web/)")
"""Files whose texts are made in English and translated when they are shown."""


class Languages(Domain):  # type: ignore[misc]  # Flask-Babel has no types
    """The translations at hand, by language; nothing is looked for on the disk once the application runs."""

    def __init__(self, folder: Path, fixed: str) -> None:
        super().__init__()
        self.known, self.fixed = read_languages(folder), fixed
        self.filled = {file.parents[1].name: _filled(file) for file in _files(folder)}
        """By language: what a text filled with values looks like in English, and its message."""

    def get_translations(self) -> NullTranslations:
        """Those of the language chosen for this request; none outside of one."""
        return self.known.get(str(get_locale()), self.known[SOURCE])

    def choose(self) -> str:
        """The fixed language, else the one the reader's browser likes best among those at hand."""
        if self.fixed or not has_request_context():
            return self.fixed or SOURCE
        asked = (tag for tag, quality in request.accept_languages if quality > 0)
        return next(filter(None, map(self._for_tag, asked)), SOURCE)

    def _for_tag(self, tag: str) -> str:
        """The language at hand for that tag, shortened from its end until one fits (RFC 4647, 3.4, lookup); empty for none."""
        at_hand = {code.replace("_", "-").lower(): code for code in self.known}
        parts = tag.lower().split("-")
        return next((at_hand[t] for n in range(len(parts), 0, -1) if (t := "-".join(parts[:n])) in at_hand), "")


def read_languages(folder: Path = MESSAGES) -> dict[str, NullTranslations]:
    """Every language in ``folder`` by its code, English first."""
    known: dict[str, NullTranslations] = {SOURCE: NullTranslations()}
    return known | {file.parents[1].name: _compiled(file) for file in _files(folder)}


def _files(folder: Path) -> list[Path]:
    return sorted(folder.glob("*/LC_MESSAGES/messages.po"))


def _filled(file: Path) -> list[tuple[re.Pattern[str], str]]:
    """Messages with places for values that are made left of here: (English pattern, message)."""
    with file.open("rb") as source:
        messages = [m for m in read_po(source) if any(BORN_LEFT.match(place) for place, _line in m.locations)]
    filled = [str(m.id) for m in messages if m.string and PLACE.search(str(m.id))]
    return [(_pattern(message), message) for message in filled]


def _pattern(message: str) -> re.Pattern[str]:
    """
    >>> _pattern("Only %(seen)s of 5 %% are there.").fullmatch("Only 3 of 5 % are there.").groupdict()
    {'seen': '3'}
    """
    parts = PLACE.split(message)
    return re.compile(
        "".join(f"(?P<{p}>.+)" if n % 2 else re.escape(p.replace("%%", "%")) for n, p in enumerate(parts))
    )


def _compiled(file: Path) -> Translations:
    compiled = io.BytesIO()
    with file.open("rb") as source:
        write_mo(compiled, read_po(source, locale=file.parents[1].name, abort_invalid=True))
    compiled.seek(0)
    return Translations(compiled)


def check_language(code: str, folder: Path = MESSAGES) -> None:
    """Raise UsageError for a language that is not at hand; the empty code stands for the reader's own."""
    known = read_languages(folder)
    if code and code not in known:
        raise UsageError(f"There is no language “{code}”.", f"Choose one of: {', '.join(known)}.")


def _texts() -> NullTranslations:
    found: NullTranslations = get_translations()
    return found


def gettext(text: str, /, **values: object) -> str:
    """The text in the reader's language, with what stands in it as ``%(name)s`` filled in."""
    translated = str(_texts().ugettext(text))
    return translated % values if values else translated


def ngettext(one: str, more: str, num: int, /, **values: object) -> str:
    """The text in the form that fits the number, which may stand in it as ``%(num)s``."""
    return str(_texts().ungettext(one, more, num)) % {"num": num, **values}


def lazy_gettext(text: str) -> Any:
    """A text that is translated each time it is read: for what is written down before there is a reader."""
    return _lazy(text)


def told(text: str) -> str:
    """A text that was made elsewhere, in the reader's language; in English where the catalogue does not have it.

    One with numbers in it is found by the words around them, and so is what was written into the records in English.
    """
    if not text:
        return ""
    translated = gettext(text)
    if translated != text:
        return translated
    languages: Languages = current_app.extensions["babel"].instance.domain_instance
    for pattern, message in languages.filled.get(str(get_locale()), ()):
        found = pattern.fullmatch(text)
        if found:
            return gettext(message) % {name: told(value) for name, value in found.groupdict().items()}
    return text


def upper_first(text: str) -> str:
    """The text with its first letter large.

    >>> upper_first("bay 2 of Anna")
    'Bay 2 of Anna'
    """
    return text[:1].upper() + text[1:]


def locale() -> Locale:
    """The reader's language."""
    return get_locale() or Locale(SOURCE)


def language() -> str:
    """Its tag as HTML wants it (BCP 47)."""
    return str(locale()).replace("_", "-")


def reads_leftwards() -> bool:
    """Whether it is written from right to left."""
    return locale().text_direction == "rtl"


def init_app(app: Flask, folder: Path, fixed: str) -> None:
    """Offer the languages of ``folder``; ``fixed`` is the one language shown to everybody, empty for each reader's own."""
    check_language(fixed, folder)
    languages = Languages(folder, fixed)
    babel = Babel()
    babel.init_app(app, default_locale=SOURCE, locale_selector=languages.choose)
    babel.domain_instance = languages
    app.jinja_env.policies["ext.i18n.trimmed"] = True
    app.jinja_env.filters.update(told=told, upper_first=upper_first)
    app.jinja_env.globals.update(language=language, reads_leftwards=reads_leftwards)
    app.after_request(_tell_caches)


def _tell_caches(answer: Response) -> Response:
    """Pages differ by the language asked for."""
    languages = current_app.extensions["babel"].instance.domain_instance
    if answer.mimetype == "text/html" and not languages.fixed:
        answer.vary.add("Accept-Language")
    return answer
