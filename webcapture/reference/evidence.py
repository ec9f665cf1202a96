"""The same unknown under several mobile phases: what still stands, what is ruled out and by which run, and how much that says.

A substance stands while no run rules it out. In a run of a mixture it is asked whether any of the spots may be it. Agreements count once a
mobile phase, however often that was run, and mobile phases that order the library alike count as one: they tell the same again.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from webcapture.reference import colour
from webcapture.reference.compare import AGREES, CANNOT_TELL, DISAGREES
from webcapture.reference.library import Conditions, Library, key
from webcapture.reference.match import CONSISTENT
from webcapture.reference.method import Method
from webcapture.reference.phase import NOT_RUN, Cell, UnknownRun, column
from webcapture.settings import DEFAULTS, CompareSettings

__all__ = [
    "AGREES", "CANNOT_TELL", "CONSISTENT", "DISAGREES", "NOT_RUN", "RULED_OUT",
    "Cell", "Evidence", "Row", "UnknownRun", "alike_methods", "by_chance", "evidence", "rivals",
]  # fmt: skip
RULED_OUT = "ruled out"


@dataclass(frozen=True, slots=True)
class Row:
    """One substance over all mobile phases."""

    substance: str
    cells: tuple[Cell, ...]
    """In the order of ``Evidence.methods``."""
    verdict: str
    """``consistent``, ``ruled out``, ``cannot tell``."""
    reason: str
    agreements: int
    """Independent ones: groups of mobile phases in which it agrees."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """What several runs say of one unknown."""

    methods: tuple[Method, ...]
    """One of each mobile phase and paper: those run first, in their order, then others of the library."""
    run: int
    """How many of them were run."""
    groups: tuple[tuple[int, ...], ...]
    """Numbers of the run methods, from 0, that order the library alike and count as one."""
    rows: tuple[Row, ...]
    """Consistent ones first, those with most agreements first; then what cannot be told; then what is ruled out."""
    by_chance: float
    """How many other substances of the library one expects to agree as well by chance: see :func:`by_chance`."""
    rivals: tuple[tuple[str, ...], ...]
    """Consistent substances in groups, those with most agreements first: what may be the same spot stands in one, see :func:`rivals`."""
    others: int
    """Other substances that could be told under all that was run: those that ``by_chance`` speaks of."""

    @property
    def standing(self) -> tuple[str, ...]:
        """Substances that no run has ruled out."""
        return tuple(row.substance for row in self.rows if row.verdict != RULED_OUT)

    @property
    def consistent(self) -> tuple[str, ...]:
        """Substances that agree in a run at least, and disagree in none."""
        return tuple(row.substance for row in self.rows if row.verdict == CONSISTENT)


def evidence(runs: Sequence[UnknownRun], library: Library, settings: CompareSettings = DEFAULTS.compare) -> Evidence:
    """The table substance × mobile phase, with a verdict on each substance."""
    run_under = _by_conditions(runs)
    others = {
        conditions: shelf.values[0].method
        for conditions, shelf in library.shelves.items()
        if conditions not in run_under
    }
    methods = (*(runs[0].method for runs in run_under.values()), *others.values())
    names = _names(runs, library)
    columns = [column(again, library, names, settings) for again in run_under.values()]
    columns += [_not_run(method, library, names) for method in others.values()]
    groups = alike_methods(methods[: len(run_under)], library, settings)
    rows = [
        _row(name, cells, methods, groups)
        for name, cells in zip(
            names.values(), zip(*columns, strict=True) if columns else [()] * len(names), strict=True
        )
    ]
    order = (CONSISTENT, CANNOT_TELL, RULED_OUT)
    rows.sort(key=lambda row: (order.index(row.verdict), -row.agreements, row.substance))
    together = rivals(rows, settings)
    # What accounts for another spot than the best candidate does not agree in its place.
    elsewhere = {name for group in together[1:] for name in group}
    chance, others_told = by_chance([row for row in rows if row.substance not in elsewhere], _telling(rows, groups))
    return Evidence(methods, len(run_under), groups, tuple(rows), chance, together, others_told)


def _by_conditions(runs: Sequence[UnknownRun]) -> dict[Conditions, list[UnknownRun]]:
    found: dict[Conditions, list[UnknownRun]] = {}
    for run in runs:
        found.setdefault(run.method.conditions, []).append(run)
    return found


def _names(runs: Sequence[UnknownRun], library: Library) -> dict[str, str]:
    """Every substance that was compared or could be, by its key, as first written."""
    names: dict[str, str] = {}
    for value in library.values:
        names.setdefault(key(value.substance), value.substance)
    for run in runs:
        for reference in run.references:
            names.setdefault(key(reference.substance), reference.substance)
    return names


def _not_run(method: Method, library: Library, names: Mapping[str, str]) -> list[Cell]:
    there = library.columns(method).numbers
    cells = {
        True: Cell(NOT_RUN, "Not run; the library has a value."),
        False: Cell(NOT_RUN, "Not run; the library has no value."),
    }
    return [cells[name in there] for name in names]


# ---- over all mobile phases


def _row(
    name: str, cells: Sequence[Cell], methods: Sequence[Method], groups: Sequence[tuple[int, ...]]
) -> Row:  # fmt: skip
    against = [(m, c) for m, c in zip(methods, cells, strict=True) if c.outcome == DISAGREES]
    agreements = sum(any(cells[n].outcome == AGREES for n in group) for group in groups)
    if against:
        method, cell = max(against, key=lambda found: found[1].nearest.e_n if found[1].nearest else 0.0)
        return Row(name, tuple(cells), RULED_OUT, f"{method.mobile_phase.text}: {cell.reason}", agreements)
    if agreements:
        runs = f"{agreements} independent agreement{'' if agreements == 1 else 's'}"
        doubts = [m.mobile_phase.text for m, c in zip(methods, cells, strict=True) if _by_colour(c)]
        but = f"but for its colour under {', '.join(doubts)}" if doubts else "nothing against it"
        return Row(name, tuple(cells), CONSISTENT, f"{runs}, {but}.", agreements)
    return Row(name, tuple(cells), CANNOT_TELL, "No run speaks for it or against it.", 0)


def _by_colour(cell: Cell) -> bool:
    """Whether Rf fits and the colour speaks against it."""
    return cell.outcome == CANNOT_TELL and cell.nearest is not None and cell.nearest.colour == colour.DIFFERS


def alike_methods(
    methods: Sequence[Method], library: Library, settings: CompareSettings = DEFAULTS.compare
) -> tuple[tuple[int, ...], ...]:
    """Groups of those methods, by number, whose Rf correlate over the library's substances: single linkage on |r|.

    Two methods with too few substances in common count as unlike: nothing says otherwise.
    """
    group = list(range(len(methods)))
    means = [_means(method, library) for method in methods]
    for a, b in combinations(range(len(methods)), 2):
        common = sorted(means[a].keys() & means[b].keys())
        if len(common) >= settings.alike_least and _correlation(means[a], means[b], common) >= settings.alike_phases:
            group = [group[a] if mark == group[b] else mark for mark in group]
    return tuple(tuple(n for n, mark in enumerate(group) if mark == first) for first in dict.fromkeys(group))


def _means(method: Method, library: Library) -> dict[str, float]:
    found: dict[str, list[float]] = {}
    for value in library.under(method):
        found.setdefault(key(value.substance), []).append(value.rf)
    return {name: float(np.mean(rfs)) for name, rfs in found.items()}


def _correlation(first: Mapping[str, float], second: Mapping[str, float], names: Sequence[str]) -> float:
    x, y = np.array([[first[name], second[name]] for name in names]).T
    if x.std() == 0 or y.std() == 0:
        return 0.0
    return float(abs(np.corrcoef(x, y)[0, 1]))


def rivals(rows: Sequence[Row], settings: CompareSettings) -> tuple[tuple[str, ...], ...]:
    """Consistent substances in groups that may be one and the same spot, by single linkage.

    Two are no rivals where, under a mobile phase in which both agree, the spots they agree with lie further apart than sheets of one
    practical shift: then each accounts for a spot of its own. With more than the settings ask for, the others join the first group.
    """
    standing = [row for row in rows if row.verdict == CONSISTENT]
    asked = standing[: settings.advised]
    group = list(range(len(asked)))
    for a, b in combinations(range(len(asked)), 2):
        if group[a] != group[b] and not _apart(asked[a], asked[b], settings.window_rf):
            group = [group[a] if mark == group[b] else mark for mark in group]
    found = [[row.substance for row, mark in zip(asked, group, strict=True) if mark == m] for m in dict.fromkeys(group)]
    for row in standing[len(asked) :]:
        found[0].append(row.substance)
    return tuple(map(tuple, found))


def _apart(first: Row, second: Row, reach: float) -> bool:
    """Whether a mobile phase shows the two at spots of their own."""
    both = (
        (one.nearest, other.nearest)
        for one, other in zip(first.cells, second.cells, strict=True)
        if one.outcome == other.outcome == AGREES
    )
    return any(
        one is not None and other is not None and one.quantity == other.quantity == "Rf" and abs(one.seen - other.seen) > reach
        for one, other in both
    )  # fmt: skip


def _telling(rows: Sequence[Row], groups: Sequence[tuple[int, ...]]) -> tuple[tuple[int, ...], ...]:
    """The groups in which the best candidate agrees: chance has to do no more than that. All of them where nothing agrees."""
    if not rows or rows[0].verdict != CONSISTENT:
        return tuple(groups)
    return tuple(group for group in groups if any(rows[0].cells[n].outcome == AGREES for n in group))


def by_chance(rows: Sequence[Row], groups: Sequence[tuple[int, ...]]) -> tuple[float, int]:
    """(expected, of how many): how many other substances one expects to agree in every group by chance, among those that could be told in every group.

    In each group the share of substances, one left out as the unknown's own, that agree among those that could be told; independent
    groups multiply. In a mixture the other components are among them. 0 where nothing could be told: then there is no agreement either.
    """
    outcomes = [[{row.cells[n].outcome for n in group} for group in groups] for row in rows]
    told = [[bool({AGREES, DISAGREES} & said) for said in row] for row in outcomes]
    shares = [
        max(sum(row[g] and DISAGREES not in said[g] for row, said in zip(told, outcomes, strict=True)) - 1, 0)
        / max(sum(row[g] for row in told) - 1, 1)
        for g in range(len(groups))
    ]
    others = max(sum(all(row) for row in told) - 1, 0) if groups else 0
    return others * math.prod(shares), others
