"""The library's values under one method as arrays, so that a spot is compared with thousands of them at once."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from webcapture.model import Floats
from webcapture.reference.library import INVENTED, MARKS, OWN_RUNS, PUBLISHED, Columns, Library, Value, key
from webcapture.reference.method import Method
from webcapture.settings import CompareSettings

SAME_SHEET = "same sheet"
EVIDENCE = (SAME_SHEET, OWN_RUNS, PUBLISHED, INVENTED)
"""Kinds of evidence, the best first."""
LEVEL = 0.9545
"""Probability behind k = 2 for a normal distribution (JCGM 100:2008, table G.1)."""


@dataclass(frozen=True, slots=True, eq=False)
class Shelf:
    """Values of one mobile phase and paper, with how far a new run's value may lie from each; arrays run over them."""

    columns: Columns
    U: Floats
    """(n,) expanded uncertainty of one new run's value about the known one, or the lead's window."""
    windowed: NDArray[np.bool_]
    """(n,) where ``U`` is the lead's window, because the source gives none."""
    rank: NDArray[np.int_]
    """(n,) place of its evidence in ``EVIDENCE``."""
    best: NDArray[np.bool_]
    """(n,) where it is of the best evidence that its substance has here."""

    @classmethod
    def under(cls, method: Method, library: Library, settings: CompareSettings) -> Shelf:
        """What ``library`` holds for that mobile phase and paper, and nothing else of it."""
        columns = library.columns(method)
        rank = np.array([EVIDENCE.index(mark) for mark in MARKS])[columns.mark]
        lowest = np.full(len(columns.names), len(EVIDENCE))
        np.minimum.at(lowest, columns.substance, rank)
        U, windowed = uncertainties(columns, settings)
        return cls(columns, U, windowed, rank, rank == lowest[columns.substance])

    @property
    def values(self) -> tuple[Value, ...]:
        """The values themselves."""
        return self.columns.values

    @property
    def rf(self) -> Floats:
        """(n,) their Rf."""
        return self.columns.rf

    @property
    def substance(self) -> NDArray[np.int_]:
        """(n,) numbers of their substances."""
        return self.columns.substance

    @property
    def names(self) -> tuple[str, ...]:
        """Of the substances, by number."""
        return self.columns.names

    @property
    def numbers(self) -> Mapping[str, int]:
        """From a substance's key to its number."""
        return self.columns.numbers

    def own(self, substance: str) -> tuple[Value, ...]:
        """What is known here of that substance from own runs with a spread within a sheet."""
        number = self.numbers.get(key(substance), -1)
        rows = np.flatnonzero((self.substance == number) & (self.rank == EVIDENCE.index(OWN_RUNS)))
        return tuple(self.values[row] for row in rows if self.values[row].freedom_within)

    def without(self, keys: Collection[str]) -> NDArray[np.bool_]:
        """(n,) the values of best evidence, but those of the substances named."""
        if not keys:
            return self.best
        taken = np.zeros(len(self.names) + 1, bool)
        taken[[self.numbers.get(name, -1) for name in keys]] = True
        taken[-1] = False
        return np.asarray(self.best & ~taken[self.substance])

    def telling(self, settings: CompareSettings) -> NDArray[np.bool_]:
        """(n,) the values that neither stay on the origin nor run with the front."""
        return np.asarray((self.rf >= settings.least_rf) & (self.rf <= settings.most_rf))

    def e_n(self, rf: float, U: float) -> Floats:
        """(n,) agreement of a measured value with each: |x1 − x2| / √(U1² + U2²); at most 1 agrees (ISO 13528, from memory)."""
        return np.asarray(np.abs(rf - self.rf) / np.sqrt(self.U**2 + U**2))


@lru_cache(maxsize=1024)
def student(freedom: int) -> float:
    """Student's factor for ``LEVEL`` and so many degrees of freedom; towards 2 for many. Kept: a library asks for the same few."""
    return float(stats.t.ppf((1 + LEVEL) / 2, freedom))


def uncertainties(columns: Columns, settings: CompareSettings) -> tuple[Floats, NDArray[np.bool_]]:
    """Expanded uncertainty with which one new run's value lies about each, and where that is the lead's window.

    A new value scatters about a mean of n by s √(1 + 1/n), known with n − 1 degrees of freedom. Where there is no s, the window stands.
    """
    windowed = np.isnan(columns.sd)
    U = np.full(len(windowed), settings.window_rf)
    counts, which = np.unique(columns.n[~windowed], return_inverse=True)
    factors = np.array([student(max(n - 1, 1)) * math.sqrt(1 + 1 / max(n, 1)) for n in counts.tolist()])
    U[~windowed] = factors[which] * columns.sd[~windowed]
    return U, windowed
