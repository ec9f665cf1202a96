"""What to run next: of the library's mobile phases, the one that is expected to leave the fewest candidates.

For each mobile phase, every candidate is taken for the unknown in turn: its value in a new run scatters about what is known by the
expected uncertainty, and each other candidate stays standing with the probability that this value falls within reach of it. The mean
over candidates is how many one expects to be left. R_D and R_U of the candidates' Rf are shown beside as the trade's own figures of how
evenly a mobile phase spreads them (Komsta, Markowski and Misztal 2007); they know nothing of uncertainty, so they do not decide.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy.special import ndtr

from webcapture.measure.ratios import rounded, spread_rd, spread_ru
from webcapture.measure.uncertainty import COVERAGE
from webcapture.model import Floats
from webcapture.reference.library import Library, key
from webcapture.reference.method import Method
from webcapture.reference.shelf import Shelf
from webcapture.settings import DEFAULTS, CompareSettings


@dataclass(frozen=True, slots=True)
class Pair:
    """Two candidates under one mobile phase."""

    first: str
    second: str
    apart: float
    """|Rf1 − Rf2|."""
    separation: float
    """``apart`` over the expected expanded uncertainty of the difference; above 1 they are expected to be told apart."""


@dataclass(frozen=True, slots=True)
class Advice:
    """What running one mobile phase next is expected to bring."""

    method: Method
    left: float
    """Candidates expected to be left standing, 1 at best."""
    pairs: tuple[Pair, ...]
    """Of the candidates with a value here, the closest first."""
    unknown: tuple[str, ...]
    """Candidates without a value here: they stay standing whatever comes."""
    silent: tuple[str, ...]
    """Candidates that would not move, or run with the front: then the run tells nothing."""
    rd: float | None
    """Retention distance of the candidates' Rf; None for fewer than one."""
    ru: float | None
    """Retention uniformity; None likewise."""
    reason: str
    """In plain words."""


def what_next(
    standing: Sequence[str], library: Library, run_already: Sequence[Method] = (), same_sheet: bool = False,
    settings: CompareSettings = DEFAULTS.compare,
) -> tuple[Advice, ...]:  # fmt: skip
    """The library's mobile phases not run yet, the most telling first.

    ``same_sheet``: with all candidates as reference lanes beside the unknown, so that only the spread within a sheet counts.
    """
    done = {method.conditions for method in run_already}
    methods = {conditions: shelf.values[0].method for conditions, shelf in library.shelves.items()}
    found = [
        _advice(method, standing, library, same_sheet, settings)
        for conditions, method in methods.items()
        if conditions not in done
    ]
    return tuple(sorted(found, key=lambda one: (round(one.left, 9), -(one.rd or 0.0), one.method.mobile_phase.text)))


def _advice(
    method: Method, standing: Sequence[str], library: Library, same_sheet: bool, settings: CompareSettings
) -> Advice:
    rf, U = _expected(method, standing, library, same_sheet, settings)
    known = ~np.isnan(rf)
    silent = known & ((rf < settings.least_rf) | (rf > settings.most_rf))
    left = float(still_standing(rf, U, silent, same_sheet, settings.e_doubtful).sum(axis=1).mean()) if len(rf) else 0.0
    here = [name for name, there in zip(standing, known, strict=True) if there]
    pairs = _pairs(here, rf[known], U[known])
    rd, ru = (spread_rd(rf[known].tolist()), spread_ru(rf[known].tolist())) if known.any() else (None, None)
    unknown = tuple(name for name in standing if name not in here)
    quiet = tuple(name for name, silently in zip(standing, silent, strict=True) if silently)
    return Advice(method, left, pairs, unknown, quiet, rd, ru, _reason(left, len(rf), pairs, unknown, quiet))


def _expected(
    method: Method, standing: Sequence[str], library: Library, same_sheet: bool, settings: CompareSettings
) -> tuple[Floats, Floats]:
    """(n,) Rf of each candidate, nan where it is not known, and (n,) expanded uncertainty of a new value about it."""
    shelf = Shelf.under(method, library, settings)
    row = {key(shelf.names[shelf.substance[n]]): int(n) for n in np.flatnonzero(shelf.best)[::-1]}
    rows = [row.get(key(name)) for name in standing]
    rf = np.array([np.nan if n is None else shelf.rf[n] for n in rows], float)
    U = np.array([np.nan if n is None else shelf.U[n] for n in rows], float)
    return rf, np.full(len(rf), COVERAGE * settings.repeat_rf) if same_sheet else U


def still_standing(
    rf: Floats, U: Floats, silent: np.ndarray[tuple[int], np.dtype[np.bool_]], same_sheet: bool, reach: float
) -> Floats:
    """(n, n) probability that candidate j still stands where the unknown is i, after a run under these conditions.

    The value of i scatters by U_i / k about rf_i; j stands while the value lies within ``reach`` times the uncertainty about rf_j. On one
    sheet both scatter. Where i would tell nothing, or is not known, all stand; so does j where it is not known. i itself stands.
    """
    apart = rf[:, None] - rf[None, :]
    wide = reach * (np.sqrt(2) * U if same_sheet else U)[None, :]
    u = ((np.sqrt(2) if same_sheet else 1.0) * U / COVERAGE)[:, None]
    p = ndtr((wide - apart) / u) - ndtr((-wide - apart) / u)
    p = np.where(np.isnan(p) | silent[:, None], 1.0, p)
    np.fill_diagonal(p, 1.0)
    return np.asarray(p)


def _pairs(names: Sequence[str], rf: Floats, U: Floats) -> tuple[Pair, ...]:
    found = [
        Pair(names[i], names[j], float(abs(rf[i] - rf[j])), float(abs(rf[i] - rf[j]) / np.hypot(U[i], U[j])))
        for i, j in combinations(range(len(rf)), 2)
    ]
    return tuple(sorted(found, key=lambda pair: pair.separation))


def _reason(left: float, count: int, pairs: Sequence[Pair], unknown: Sequence[str], silent: Sequence[str]) -> str:
    told = sum(pair.separation > 1 for pair in pairs)
    words = [f"Of {count} candidates about {left:.1f} are expected to be left: {told} of {len(pairs)} pairs lie apart by more than the expected uncertainty."]  # fmt: skip
    if pairs:
        closest = pairs[0]
        words.append(f"The closest, {closest.first} and {closest.second}, lie {rounded(closest.apart)} apart, {closest.separation:.1f} times the uncertainty.")  # fmt: skip
    if unknown:
        words.append(f"No value is known for {', '.join(unknown)}.")
    if silent:
        words.append(f"{', '.join(silent)} would not move or run with the front.")
    return " ".join(words)
