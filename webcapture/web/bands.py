"""Reference bands beside the room's rows: what the practical's own reference lanes show, and what the library holds near.

They are for the eye. The mean of a class and a band do not decide what a spot is consistent with: that is said on each result's page,
where what one sheet's lanes share has dropped out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from webcapture.errors import UsageError
from webcapture.measure.uncertainty import COVERAGE
from webcapture.reference.library import Library, key
from webcapture.reference.plan import REFERENCE
from webcapture.reference.shelf import Shelf
from webcapture.settings import CompareSettings
from webcapture.store.records import PracticalInfo
from webcapture.web.compare import Group
from webcapture.web.conditions import method_as_written

MOST = 4
"""Bands a row; with more nobody sees the dots. The others are counted."""


@dataclass(frozen=True, slots=True)
class Band:
    """One reference."""

    substance: str
    here: bool
    """From the practical's own reference lanes: mean ± s over the stations; else the library's value ± U, or the window."""
    rf: float
    half: float | None
    """None where a single station gives no s."""


@dataclass(frozen=True, slots=True)
class Row:
    """A group with the references that come into question for it."""

    group: Group
    bands: tuple[Band, ...] = ()
    """Own reference lanes first, then the library; the nearest first."""
    more: int = 0
    """References in question beyond those."""


def rows(
    groups: Sequence[Group], practical: PracticalInfo, library: Library, settings: CompareSettings
) -> tuple[Row, ...]:
    """Every group with its bands; a reference lane gets the library's value of its own substance only."""
    try:
        shelf = Shelf.under(method_as_written(practical), library, settings)
    except UsageError:  # its own page says so: nothing of the library can be compared
        shelf = None
    own = [group for group in groups if group.role == REFERENCE]
    return tuple(_row(group, own, shelf, settings) for group in groups)


def _row(group: Group, own: Sequence[Group], shelf: Shelf | None, settings: CompareSettings) -> Row:
    if group.role == REFERENCE:
        found = _of_itself(group, shelf)
    else:
        found = [*_here(group, own, settings), *_held(group, own, shelf, settings)]
    return Row(group, tuple(found[:MOST]), max(len(found) - MOST, 0))


def _spread(group: Group, settings: CompareSettings) -> float:
    """Expanded, from the scatter over the stations; where there is none, as lanes repeat."""
    return COVERAGE * max(group.spread.s or 0.0, settings.repeat_rf)


def _here(group: Group, own: Sequence[Group], settings: CompareSettings) -> list[Band]:
    def off(one: Group) -> float:
        apart = abs(one.spread.mean - group.spread.mean)
        return apart / math.hypot(_spread(group, settings), _spread(one, settings))

    near = sorted((one for one in own if off(one) <= settings.e_doubtful), key=off)
    return [Band(one.label, True, one.spread.mean, one.spread.s) for one in near]


def _held(group: Group, own: Sequence[Group], shelf: Shelf | None, settings: CompareSettings) -> list[Band]:
    """From the library, but for what has a reference lane here: that is the better evidence."""
    if shelf is None or not shelf.values:
        return []
    e_n = shelf.e_n(group.spread.mean, _spread(group, settings))
    near = np.flatnonzero(shelf.without({key(one.label) for one in own}) & (e_n <= settings.e_doubtful))
    ordered = near[np.argsort(e_n[near], kind="stable")]
    bands: dict[int, Band] = {}
    for row in ordered.tolist():
        bands.setdefault(int(shelf.substance[row]), _band(shelf, row))
    return list(bands.values())


def _of_itself(group: Group, shelf: Shelf | None) -> list[Band]:
    number = -1 if shelf is None else shelf.numbers.get(key(group.label), -1)
    if shelf is None or number < 0:
        return []
    of_it = np.flatnonzero(shelf.best & (shelf.substance == number))
    nearest = min(of_it, key=lambda row: abs(shelf.rf[row] - group.spread.mean))
    return [_band(shelf, int(nearest))]


def _band(shelf: Shelf, row: int) -> Band:
    return Band(shelf.names[shelf.substance[row]], False, float(shelf.rf[row]), float(shelf.U[row]))
