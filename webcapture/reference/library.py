"""What is known of substances: values under a method, each with its spread, its source and its mark.

Own runs are pooled after ISO 5725-2's model of one factor (from memory): a sheet has a shift of its own, shared by all its
spots, and spots scatter about it. ``sd`` is that of one spot on a new sheet, ``sd_within`` that of spots of one sheet.
"""

from __future__ import annotations

import math
import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from webcapture.errors import UsageError
from webcapture.model import Floats
from webcapture.reference.colour import middle
from webcapture.reference.method import Method, MobilePhase
from webcapture.reference.observed import Observed

PUBLISHED, OWN_RUNS, INVENTED = "published", "own runs", "invented"
MARKS = (PUBLISHED, OWN_RUNS, INVENTED)
"""Where a value comes from: a source that others can read, this laboratory's sheets, or nowhere (for demonstrations)."""

Conditions = tuple[MobilePhase, str]
_HEX = re.compile(r"#[0-9a-f]{6}")


@dataclass(frozen=True, slots=True)
class Value:
    """One substance under one method."""

    substance: str
    method: Method
    rf: float
    """Mean or single value, 0 to 1."""
    mark: str
    """One of ``MARKS``."""
    source: str
    """Where it can be looked up; for own runs the practical or a note, for invented ones that they are."""
    sd: float | None = None
    """Standard deviation of one value on a new sheet; None where the source gives none."""
    n: int = 1
    """Values, or sheets of own runs, behind ``rf``."""
    sd_within: float | None = None
    """Standard deviation within one sheet; None where it is not known."""
    freedom_within: int = 0
    """Degrees of freedom of ``sd_within``."""
    colour: str = ""
    """After locating, in words; ``""`` where it is not known."""
    hex: str = ""
    """The same as ``#rrggbb`` in sRGB under even light; ``""`` where it is not known."""

    def __post_init__(self) -> None:
        if troubles := tuple(_troubles(self)):
            raise UsageError(" ".join(troubles))

    @property
    def identity(self) -> tuple[str, Conditions, str, str]:
        """Two values of one identity are the same entry: one replaces the other only where somebody says so."""
        return key(self.substance), self.method.conditions, self.mark, key(self.source)


@lru_cache(maxsize=20_000)
def key(name: str) -> str:
    """A name for comparing: case and spaces do not matter."""
    return " ".join(name.casefold().split())


def _troubles(value: Value) -> Iterable[str]:
    """What is wrong with a value, in plain words."""
    if not value.substance.strip():
        yield "The substance has no name."
    if not (math.isfinite(value.rf) and 0 <= value.rf <= 1):
        yield f"An Rf of {value.rf:g} is impossible: it lies between 0 and 1."
    if value.mark not in MARKS:
        yield f"“{value.mark}” is no mark: write {', '.join(MARKS[:-1])} or {MARKS[-1]}."
    if not value.source.strip():
        yield "A value needs its source; of invented values, that they are."
    if value.n < 1 or value.freedom_within < 0:
        yield "The number of values is at least 1."
    for name, sd in (("sd", value.sd), ("sd_within", value.sd_within)):
        if sd is not None and not (math.isfinite(sd) and 0 < sd < 1):
            yield f"A standard deviation ({name}) of {sd:g} is impossible."
    if value.sd is not None and value.n < 2:
        yield "A standard deviation needs the number of values behind it, at least 2."
    if (value.sd_within is None) != (value.freedom_within == 0):
        yield "A standard deviation within a sheet needs its degrees of freedom, and they need it."
    if value.hex and not _HEX.fullmatch(value.hex):
        yield f"“{value.hex}” is no colour: write #rrggbb, or leave it out."


# ---- the library


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """The values of one mobile phase and paper, and the same as arrays that run over them."""

    values: tuple[Value, ...]
    rf: Floats
    """(n,)"""
    sd: Floats
    """(n,) nan where the source gives none."""
    n: NDArray[np.int_]
    """(n,) values, or sheets, behind each."""
    mark: NDArray[np.int_]
    """(n,) place in ``MARKS``."""
    substance: NDArray[np.int_]
    """(n,) number of the substance."""
    names: tuple[str, ...]
    """Of the substances, as first written."""
    numbers: Mapping[str, int]
    """From a substance's key to its number."""

    @classmethod
    def of(cls, values: tuple[Value, ...]) -> Columns:
        """The columns of those values."""
        names: dict[str, str] = {}
        for value in values:
            names.setdefault(key(value.substance), value.substance)
        numbers = {name: number for number, name in enumerate(names)}
        return cls(
            values,
            np.array([value.rf for value in values], float),
            np.array([np.nan if value.sd is None else value.sd for value in values], float),
            np.array([value.n for value in values], int),
            np.array([MARKS.index(value.mark) for value in values], int),
            np.array([numbers[key(value.substance)] for value in values], int),
            tuple(names.values()),
            numbers,
        )


NOTHING = Columns.of(())


@dataclass(frozen=True, slots=True)
class Library:
    """Values by their conditions. Made by :meth:`of`; never changed."""

    values: tuple[Value, ...]
    shelves: Mapping[Conditions, Columns] = field(compare=False, repr=False)
    """The values of each mobile phase and paper: nothing else compares with a run under them."""

    @classmethod
    def of(cls, values: Iterable[Value]) -> Library:
        """A library of those values; raises UsageError where two are the same entry."""
        kept = tuple(values)
        shelves: dict[Conditions, list[Value]] = defaultdict(list)
        seen: set[tuple[str, Conditions, str, str]] = set()
        for value in kept:
            if value.identity in seen:
                raise UsageError(f"{value.substance} stands twice under the same method from the same source.", "Keep one of the two, or name the sources apart.")  # fmt: skip
            seen.add(value.identity)
            shelves[value.method.conditions].append(value)
        return cls(kept, {conditions: Columns.of(tuple(shelf)) for conditions, shelf in shelves.items()})

    def columns(self, method: Method) -> Columns:
        """The same as :meth:`under`, as arrays."""
        return self.shelves.get(method.conditions, NOTHING)

    def under(self, method: Method) -> tuple[Value, ...]:
        """The values that may be compared with a run under ``method``."""
        return self.columns(method).values

    def added(self, more: Iterable[Value]) -> Library:
        """With those values too; raises UsageError rather than overwrite one that is there. The same value again changes nothing."""
        there = {value.identity: value for value in self.values}
        new = [value for value in more if there.get(value.identity) != value]
        clashes = [value.substance for value in new if value.identity in there]
        if clashes:
            raise UsageError(f"Other values are there already for {', '.join(dict.fromkeys(clashes))}.", "Change or retire those first; nothing is overwritten.")  # fmt: skip
        return Library.of((*self.values, *new))

    def replaced(self, old: Value, new: Value | None) -> Library:
        """With ``new`` in the place of ``old``, or without it (retired); raises UsageError where ``old`` is not there."""
        if old not in self.values:
            raise UsageError(f"{old.substance} has been changed meanwhile.", "Look at it again, then change it.")
        others = [value for value in self.values if value != old]
        return Library.of(others if new is None else (*others, new))


# ---- own runs


@dataclass(frozen=True, slots=True)
class Run:
    """One spot of a reference lane, accepted as a measurement of its substance."""

    substance: str
    method: Method
    rf: float
    sheet: str
    """Identifies the sheet: its spots share origin, front and run."""
    practical: str
    colour: str = ""
    """``#rrggbb``."""


def unfit(spot: Observed) -> UsageError | None:
    """Why a spot measures nothing that repeats, with what to do; None where it can be accepted."""
    if spot.rf is None:
        return UsageError("Without a front there is no Rf to keep.", "Mark the front as soon as the paper leaves the tank.")  # fmt: skip
    if not 0 <= spot.rf <= 1:
        return UsageError("An Rf below 0 or above 1 is impossible.", "Correct origin and front first.")
    if spot.silent or spot.of_several:
        return UsageError("A spot that did not move, ran with the front, or is more than one says nothing of its substance.", "Use another mobile phase, or apply less.")  # fmt: skip
    return None


def accepted(spot: Observed, substance: str, method: Method, sheet: str, practical: str) -> Run:
    """A reference lane's spot as a measurement of its substance; raises UsageError where it is :func:`unfit`."""
    trouble = unfit(spot)
    if not substance.strip():
        raise UsageError("The substance has no name.", "Name the lane first.")
    if trouble is not None:
        raise trouble
    assert spot.rf is not None  # else unfit
    return Run(substance, method, spot.rf, sheet, practical, spot.colour)


@dataclass(frozen=True, slots=True)
class Batch:
    """One practical's runs of a substance."""

    practical: str
    mean: float
    sd: float | None
    """Of all its values; None for a single one."""
    n: int


@dataclass(frozen=True, slots=True)
class Pooled:
    """Own runs of one substance under one method."""

    mean: float
    """Of the sheets' means: each sheet counts once."""
    sheets: int
    n: int
    """Values, over all sheets."""
    sd_between: float | None
    """Of the sheets' own shifts; None for one sheet."""
    sd_within: float | None
    """Within sheets; None where no sheet has two values."""
    freedom_within: int
    sd_new: float | None
    """Of one value on a new sheet; None for one sheet."""
    batches: tuple[Batch, ...]
    """By practical, in the order in which they came."""


def pooled(runs: Sequence[Run]) -> Pooled:
    """Mean and spread of one substance's runs under one mobile phase and paper; raises UsageError where they are not of one."""
    if not runs or len({(key(run.substance), run.method.conditions) for run in runs}) > 1:
        raise UsageError("Runs pool only where substance, mobile phase and paper are the same.")
    ordered = sorted(runs, key=lambda run: run.sheet)
    sheets = [np.array([run.rf for run in group]) for _, group in groupby(ordered, key=lambda run: run.sheet)]
    means = np.array([sheet.mean() for sheet in sheets])
    within, freedom = _within(sheets)
    between, new = _between(means, [len(sheet) for sheet in sheets], within)
    return Pooled(float(means.mean()), len(sheets), len(runs), between, within, freedom, new, _batches(runs))


def _within(sheets: Sequence[Floats]) -> tuple[float | None, int]:
    """Pooled standard deviation about the sheets' means, with its degrees of freedom."""
    freedom = sum(len(sheet) - 1 for sheet in sheets)
    squares = sum(float(((sheet - sheet.mean()) ** 2).sum()) for sheet in sheets)
    return (math.sqrt(squares / freedom) if freedom else None), freedom


def _between(means: Floats, sizes: Sequence[int], within: float | None) -> tuple[float | None, float | None]:
    """Standard deviation of the sheets' shifts, and of one value on a new sheet.

    Means scatter by σ_between² + σ_within² · mean(1/size). Where no sheet has two values the two cannot be told apart: all of it counts as
    between, and one new value scatters as the means do.
    """
    if len(means) < 2:
        return None, None
    seen, own = float(means.var(ddof=1)), (within or 0.0) ** 2
    between = max(seen - own * float(np.mean([1 / size for size in sizes])), 0.0)
    return math.sqrt(between), math.sqrt(max(between + own, seen))


def _batches(runs: Sequence[Run]) -> tuple[Batch, ...]:
    by_practical: dict[str, list[float]] = defaultdict(list)
    for run in runs:
        by_practical[run.practical].append(run.rf)
    return tuple(
        Batch(name, float(np.mean(rfs)), float(np.std(rfs, ddof=1)) if len(rfs) > 1 else None, len(rfs))
        for name, rfs in by_practical.items()
    )


def own_values(
    runs: Iterable[Run], source: str = "own runs", *, few: int = 0, least_sd: float = 0.0
) -> tuple[Value, ...]:
    """One value for each substance under each mobile phase and paper, pooled over all its sheets.

    Sheets of one practical share the day, the mixing of the mobile phase and often the tank: values of fewer than ``few`` practicals do not
    show how far days differ, and have a standard deviation of ``least_sd`` at least.
    The method is that of the newest run, and the colour that of the run in the middle of the others: colours do not average.
    """
    by_entry: dict[tuple[str, Conditions], list[Run]] = defaultdict(list)
    for run in runs:
        by_entry[key(run.substance), run.method.conditions].append(run)
    return tuple(_own_value(entry, source, few, least_sd) for entry in by_entry.values())


def _own_value(runs: Sequence[Run], source: str, few: int, least_sd: float) -> Value:
    found, newest = pooled(runs), runs[-1]
    colour = middle([run.colour for run in runs if run.colour])
    known = found.sd_within is not None and found.sd_within > 0
    sd = found.sd_new
    if sd is not None and len(found.batches) < few:
        sd = max(sd, least_sd)
    return Value(
        newest.substance, newest.method, found.mean, OWN_RUNS, source, sd=sd or None, n=found.sheets,
        sd_within=found.sd_within if known else None, freedom_within=found.freedom_within if known else 0, hex=colour,
    )  # fmt: skip
