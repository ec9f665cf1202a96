"""What the pages of references show of the library: which values, in which order, a page at a time."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from webcapture.reference.colour import word
from webcapture.reference.library import MARKS, Columns, Library, Value, key
from webcapture.reference.shelf import uncertainties
from webcapture.settings import CompareSettings
from webcapture.store.references import Kept
from webcapture.web.conditions import conditions_name
from webcapture.web.language import lazy_gettext as _
from webcapture.web.library import ACCEPTED_HERE
from webcapture.web.reference_plot import Line

PAGE = 50
"""Values on one page: a chart and a list that a phone shows at once and a person can go through."""
MARK_WORDS = {
    "published": _("published"),
    "own runs": _("own runs"),
    "invented": _("invented, nothing was measured"),
}

COLOUR_WORDS = {
    "pink": _("pink"), "red": _("red"), "orange": _("orange"), "yellow": _("yellow"), "green": _("green"),
    "turquoise": _("turquoise"), "blue": _("blue"), "violet": _("violet"), "brown": _("brown"), "grey": _("grey"),
    "black": _("black"), "white": _("white"),
}  # fmt: skip
SOURCE_WORDS = {ACCEPTED_HERE: _("runs of reference lanes, accepted here")}


@dataclass(frozen=True, slots=True)
class Asked:
    """What the address asks for."""

    text: str = ""
    """In the substance's name."""
    under: str = ""
    """Mobile phase and paper, see :func:`conditions_name`; empty for all."""
    mark: str = ""
    page: int = 1

    @classmethod
    def read(cls, args: Mapping[str, str]) -> Asked:
        """From the query; what cannot be meant is left out."""
        mark, page = args.get("mark", ""), args.get("page", "1")
        whole = page.isascii() and page.isdigit() and len(page) < 7
        return cls(
            args.get("q", "")[:160].strip(),
            args.get("under", ""),
            mark if mark in MARKS else "",
            max(int(page), 1) if whole else 1,
        )

    def address(self, page: int | None = None) -> dict[str, str]:
        """The same as parameters, only those that say something."""
        number = self.page if page is None else page
        told = {"q": self.text, "under": self.under, "mark": self.mark, "page": str(number) if number > 1 else ""}
        return {name: text for name, text in told.items() if text}


@dataclass(frozen=True, slots=True)
class Listed:
    """One page of the values asked for."""

    values: tuple[Value, ...]
    number: int
    """Of all values asked for, over all pages."""
    page: int
    pages: int

    @property
    def first(self) -> int:
        """The place of the page's first value among all of them, from 1."""
        return (self.page - 1) * PAGE + 1


@dataclass(frozen=True, slots=True)
class Row:
    """One value as a page shows it."""

    value: Value
    conditions: str
    colour: str
    """In words, or empty."""
    mark: str
    """In words."""
    source: str
    """As it was written."""
    entry: str
    """The kept value that it is, for the lead; empty for what cannot be changed here."""


def conditions_there(library: Library) -> dict[str, Columns]:
    """Every mobile phase and paper with values, by name."""
    named = {conditions_name(shelf.values[0].method): shelf for shelf in library.shelves.values()}
    return dict(sorted(named.items()))


def asked_for(library: Library, asked: Asked) -> list[Value]:
    """The values asked for: along Rf under one mobile phase, else by name."""
    shelves = conditions_there(library)
    if asked.under:
        shelves = {asked.under: shelves[asked.under]} if asked.under in shelves else {}
    wanted = key(asked.text)
    found = [
        (key(value.substance), name, value)
        for name, shelf in shelves.items()
        for value in shelf.values
        if wanted in key(value.substance) and asked.mark in ("", value.mark)
    ]
    if asked.under:
        found.sort(key=lambda one: (one[2].rf, one[0]))
    else:
        found.sort(key=lambda one: one[:2])
    return [value for _, _, value in found]


def listed(library: Library, asked: Asked) -> Listed:
    """The page asked for; the last one where there are fewer."""
    found = asked_for(library, asked)
    pages = max(math.ceil(len(found) / PAGE), 1)
    page = min(asked.page, pages)
    return Listed(tuple(found[(page - 1) * PAGE : page * PAGE]), len(found), page, pages)


def rows_of(values: Iterable[Value], kept: Mapping[object, Kept]) -> list[Row]:
    """The values as a page shows them; ``kept`` are those that the lead may change, by identity."""
    return [_row(value, kept) for value in values]


def _row(value: Value, kept: Mapping[object, Kept]) -> Row:
    entry = kept.get(value.identity) if kept else None
    mine = entry is not None and entry.value == value and not entry.retired
    colour = value.colour or (COLOUR_WORDS[word(value.hex)] if value.hex else "")
    source = SOURCE_WORDS.get(value.source, value.source)
    changeable = entry.entry if entry and mine else ""
    return Row(value, conditions_name(value.method), colour, MARK_WORDS[value.mark], source, changeable)


def lines_by_name(values: Sequence[Value], settings: CompareSettings) -> list[Line]:
    """Lines of a chart that name the substance."""
    return _lines(values, [value.substance for value in values], settings)


def lines_by_conditions(values: Sequence[Value], settings: CompareSettings) -> list[Line]:
    """Lines of a chart that name mobile phase and paper."""
    return _lines(values, [conditions_name(value.method) for value in values], settings)


def _lines(values: Sequence[Value], names: Sequence[str], settings: CompareSettings) -> list[Line]:
    reach, windowed = uncertainties(Columns.of(tuple(values)), settings)
    return [
        Line(name, value.rf, min(float(U), 1.0), bool(window), value.mark)
        for name, value, U, window in zip(names, values, reach, windowed, strict=True)
    ]
