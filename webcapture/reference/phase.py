"""One mobile phase: what all of an unknown's runs under it say of every substance.

A class runs the same unknown on thirty sheets, and a sheet or two is wrong: lanes changed over, an origin under the solvent. A cell therefore
counts the sheets, and the majority is believed while at most a stated share of the sheets that told is of the other mind. No mean is
formed: sheets of one tank share what is wrong with it, and thirty of them would look surer than they are.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from webcapture.measure.ratios import rounded
from webcapture.model import Floats
from webcapture.reference import colour
from webcapture.reference.compare import (
    AGREES,
    CANNOT_TELL,
    DISAGREES,
    DOUBTFUL,
    Comparison,
    Pending,
    SheetReference,
    against,
    all_beside,
    finished,
    nearest_rows,
    with_repeatability,
)
from webcapture.reference.library import Library, key
from webcapture.reference.method import Method
from webcapture.reference.observed import Observed
from webcapture.reference.shelf import Shelf
from webcapture.settings import CompareSettings

NOT_RUN = "not run"
FITS, EDGE, QUIET, AGAINST, CLASH, NOTHING = range(6)
"""What one sheet says of one substance: agrees, at the edge, where spots name nothing, disagrees, fits but for its colour, nothing to compare."""
SAID = {AGREES: FITS, DOUBTFUL: EDGE, CANNOT_TELL: QUIET, DISAGREES: AGAINST}
WORDS = {
    EDGE: "It lies at the edge of what the uncertainties allow",
    QUIET: "It lies where spots name nothing",
    CLASH: "Rf fits and the colour speaks against it",
}


@dataclass(frozen=True, slots=True)
class UnknownRun:
    """The unknown's lane in one practical, on one sheet."""

    method: Method
    spots: tuple[Observed, ...]
    references: tuple[SheetReference, ...] = ()
    """Reference lanes of the same sheet."""
    name: str = ""
    """The practical's title, as a page shows it."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One substance under one mobile phase and paper."""

    outcome: str
    """``agrees``, ``disagrees``, ``cannot tell``, ``not run``."""
    reason: str
    """In plain words."""
    nearest: Comparison | None = None
    """The comparison that decided, of several sheets the one in the middle; None where there was none."""
    agree: int = 0
    """Sheets on which it agrees."""
    disagree: int = 0
    """Sheets on which it disagrees."""
    open: int = 0
    """Sheets that were compared and do not tell."""


@dataclass(slots=True, eq=False)
class Sheets:
    """The runs under one mobile phase against every substance. Arrays are (sheets, substances)."""

    code: NDArray[np.int_]
    """What is said, ``FITS`` to ``NOTHING``."""
    e: Floats
    """E_n of the spot that fits best; infinite where there is none."""
    row: NDArray[np.int_]
    """Row of the shelf of what was compared, where it was not compared in full."""
    spot: NDArray[np.int_]
    """Which of the run's spots it was."""
    full: dict[tuple[int, int], Comparison]
    """Comparisons of what lies near, or beside, by (sheet, substance)."""

    @classmethod
    def blank(cls, sheets: int, substances: int) -> Sheets:
        """Nothing compared yet."""
        shape = (sheets, substances)
        zeros = np.zeros(shape, int)
        return cls(np.full(shape, NOTHING), np.full(shape, np.inf), zeros, zeros.copy(), {})


def column(
    again: Sequence[UnknownRun], library: Library, names: Mapping[str, str], settings: CompareSettings
) -> list[Cell]:
    """Cells of all substances (by key) under one mobile phase, over all its runs."""
    shelf = Shelf.under(again[0].method, library, settings)
    number = {name: n for n, name in enumerate(names)}
    sheets = Sheets.blank(len(again), len(names))
    for n, run in enumerate(again):
        _read(sheets, n, run, shelf, number, settings)
    counts = np.stack([(sheets.code == code).sum(axis=0) for code in range(NOTHING + 1)])
    chosen = [_decided(counts[:, j].tolist(), settings) for j in range(len(names))]
    shown = [_middle(sheets, j, code) for j, (_outcome, code) in enumerate(chosen)]
    found = _compared(sheets, shown, again, shelf, settings)
    return [
        _cell(outcome, code, counts[:, j].tolist(), found.get(j)) for j, (outcome, code) in enumerate(chosen)
    ]  # fmt: skip


# ---- one sheet


def _read(
    sheets: Sheets, n: int, run: UnknownRun, shelf: Shelf, number: Mapping[str, int], settings: CompareSettings
) -> None:
    """What one sheet says, by the spot that each substance fits best and by best evidence."""
    references = with_repeatability(run.references, shelf, settings)
    here = np.array([number[key(name)] for name in shelf.names], int)
    for s, spot in enumerate(run.spots):
        beside = all_beside(spot, references, settings)
        rows, e = nearest_rows(spot, shelf, {key(numbers[0]) for numbers, _ in beside})
        near = e <= settings.e_doubtful * (2 if spot.of_several else 1)
        _far(sheets, n, s, here[shelf.substance[rows[~near]]], rows[~near], e[~near])
        _near(sheets, n, [*beside, *against(spot, run.method, shelf, rows[near], e[near], settings)], spot, number, settings)  # fmt: skip


def _far(
    sheets: Sheets, n: int, s: int, which: NDArray[np.int_], rows: NDArray[np.int_], e: Floats
) -> None:  # fmt: skip
    """Substances that this spot rules out, unless one of the others lies nearer."""
    nearer = (sheets.code[n, which] >= AGAINST) & (e < sheets.e[n, which])
    which = which[nearer]
    sheets.code[n, which], sheets.e[n, which] = AGAINST, e[nearer]
    sheets.row[n, which], sheets.spot[n, which] = rows[nearer], s
    for j in which.tolist() if sheets.full else ():
        sheets.full.pop((n, j), None)


def _near(
    sheets: Sheets, n: int, pending: Sequence[Pending], spot: Observed, number: Mapping[str, int],
    settings: CompareSettings,
) -> None:  # fmt: skip
    for one in finished(pending, settings):
        told = _silenced(one, spot, settings)
        clash = told.colour == colour.DIFFERS and told.agreement in (AGREES, DOUBTFUL)
        code, j = CLASH if clash else SAID[told.agreement], number[key(told.substance)]
        if _fit(code, told.e_n) < _fit(int(sheets.code[n, j]), float(sheets.e[n, j])):
            sheets.code[n, j], sheets.e[n, j], sheets.full[n, j] = code, told.e_n, told


def _silenced(one: Comparison, spot: Observed, settings: CompareSettings) -> Comparison:
    """A spot that did not move, ran with the front, or is more than one may rule out and not agree."""
    quiet = bool(spot.silent) or spot.of_several
    # What is more than one spot has its centre between them: neither is where it is measured.
    near = one.agreement in (AGREES, DOUBTFUL) or (spot.of_several and one.e_n <= 2 * settings.e_doubtful)
    return one.silenced() if quiet and near else one


def _fit(code: int, e: float) -> tuple[int, float]:
    """The smaller the better: what speaks against a substance, by Rf or by colour, comes last."""
    return min(code, AGAINST), e


# ---- all sheets together


def _decided(counts: Sequence[int], settings: CompareSettings) -> tuple[str, int]:
    """(outcome, what the sheets say that stand for it) from how many sheets say what."""
    agree, against_it, edge = counts[FITS], counts[AGAINST], counts[EDGE] + counts[CLASH]
    few = settings.outlying_sheets * (agree + against_it)
    if agree > against_it and against_it <= few and agree >= edge:
        return AGREES, FITS
    if against_it > agree and agree <= few and against_it >= edge:
        return DISAGREES, AGAINST
    open_ones = [code for code in (CLASH, EDGE, QUIET) if counts[code]]
    if agree and against_it and max(agree, against_it) >= edge:
        return CANNOT_TELL, FITS
    return CANNOT_TELL, max(open_ones, key=lambda code: counts[code], default=NOTHING)


def _middle(sheets: Sheets, j: int, code: int) -> int | None:
    """The sheet whose comparison stands for those that say so: the one in the middle by E_n."""
    there = np.flatnonzero(sheets.code[:, j] == code)
    if code == NOTHING or not len(there):
        return None
    return int(there[np.argsort(sheets.e[there, j], kind="stable")[(len(there) - 1) // 2]])


def _compared(
    sheets: Sheets, shown: Sequence[int | None], again: Sequence[UnknownRun], shelf: Shelf, settings: CompareSettings
) -> dict[int, Comparison]:
    """The full comparison that is shown for each substance; what lies far away is worked out only now."""
    found: dict[int, Comparison] = {}
    wanted: dict[tuple[int, int], list[int]] = defaultdict(list)
    for j, n in enumerate(shown):
        if n is not None and (n, j) in sheets.full:
            found[j] = sheets.full[n, j]
        elif n is not None:
            wanted[n, int(sheets.spot[n, j])].append(j)
    for (n, s), which in wanted.items():
        rows, e = sheets.row[n, which], sheets.e[n, which]
        far = finished(against(again[n].spots[s], again[n].method, shelf, rows, e, settings), settings)
        found |= zip(which, far, strict=True)
    return found


def _cell(outcome: str, code: int, counts: Sequence[int], one: Comparison | None) -> Cell:
    agree, disagree, edge = counts[FITS], counts[AGAINST], counts[EDGE] + counts[QUIET] + counts[CLASH]
    if one is None:
        return Cell(CANNOT_TELL, "There is no value to compare with, or no spot.")
    words = _reason(outcome, code, one)
    if agree + disagree + edge > 1:
        told = _counted(agree, disagree, edge)
        words = f"{told}. {'In the middle of them: ' if agree + disagree else ''}{words}"
    if outcome == CANNOT_TELL and agree and disagree:
        words = f"Runs under this mobile phase contradict each other: {_counted(agree, disagree, edge)}."
    return Cell(outcome, words, one, agree, disagree, edge)


def _reason(outcome: str, code: int, one: Comparison) -> str:
    numbers = f"{one.quantity} {rounded(one.seen)} against {rounded(one.known)}, E_n {one.e_n:.1f}"
    if outcome == DISAGREES:
        return f"No spot lies near: the nearest has {numbers}."
    return f"Consistent: {numbers}." if outcome == AGREES else f"{WORDS.get(code, 'It is open')}: {numbers}."


def _counted(agree: int, disagree: int, edge: int) -> str:
    """Of several sheets, as people say it."""
    parts = (
        (agree, "agrees" if agree == 1 else "agree"),
        (disagree, "disagrees" if disagree == 1 else "disagree"),
        (edge, "cannot tell"),
    )
    return f"Of {agree + disagree + edge} runs " + ", ".join(f"{n} {word}" for n, word in parts if n)
