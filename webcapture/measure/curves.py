"""Low polynomials through the places of several lines at once, each through those of its places that agree.

One line at a time, numpy's overhead would cost many times the arithmetic on a dozen places.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from webcapture.model import Floats
from webcapture.robust import SD_PER_MAD, median_among
from webcapture.settings import TraceSettings


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """A polynomial s(t) through most of a line's places."""

    coefficients: Floats
    """Lowest power first, millimetres."""
    on_it: np.ndarray
    """(bins,) which strong places lie on it."""
    spread_mm: float
    """Their standard deviation about it."""


def polynomial_at(t: Any, coefficients: Floats) -> Any:
    """Its value at one place or many, coefficients lowest power first: as numpy.polynomial's, whose checks take four times as long."""
    total = coefficients[-1] + t * 0
    for n in range(2, len(coefficients) + 1):
        total = coefficients[-n] + total * t
    return total


def curves_through(
    t_mm: Floats, places: Floats, strong: np.ndarray, degree: int, settings: TraceSettings
) -> list[Curve]:
    """For each line the curve of the lowest degree up to ``degree`` that does nearly as well as the next.

    t_mm: (bins,); places: (lines, bins) millimetres; strong: (lines, bins) which of them the line clearly shows at.
    """
    keep = strong | (strong.sum(axis=1, keepdims=True) <= 2)
    intercept, slope = robust_lines(t_mm, places, keep)
    off = np.abs(places - intercept[:, None] - slope[:, None] * t_mm)
    best = _fitted(t_mm, places, strong, keep, off, 1, settings)
    if len(t_mm) < settings.bow_bins:
        return best
    most = strong.sum(axis=1)
    bowed = [
        n
        for n, curve in enumerate(best)
        if curve.spread_mm >= settings.straight_mm and most[n] >= _least_on_it(curve, settings)
    ]
    for higher in range(2, degree + 1):
        if not bowed:
            break
        tried = _fitted(t_mm, places[bowed], strong[bowed], keep[bowed], off[bowed], higher, settings)
        gains = [(n, c) for n, c in zip(bowed, tried, strict=True) if _is_better(c, best[n], settings)]
        for n, curve in gains:
            best[n] = curve
        bowed = [n for n, _ in gains]
    return best


def _is_better(bow: Curve, plain: Curve, settings: TraceSettings) -> bool:
    """Whether a curve of the next degree is worth having: it leaves far less, of a line seen over most of the width."""
    least = _least_on_it(plain, settings)
    return bool(bow.on_it.sum() >= least and bow.spread_mm <= settings.bow_gain * plain.spread_mm)


def _least_on_it(plain: Curve, settings: TraceSettings) -> float:
    """How many places a curve must run through to be better than the ``plain`` one of the degree below."""
    return max(settings.bow_coverage * len(plain.on_it), float(plain.on_it.sum()))


def _fitted(
    t_mm: Floats,
    places: Floats,
    strong: np.ndarray,
    keep: np.ndarray,
    off: Floats,
    degree: int,
    settings: TraceSettings,
) -> list[Curve]:
    """Least squares, beginning with the places ``keep`` that lie ``off`` a robust line, leaving out in turns what lies off."""
    scale = float(t_mm[-1])
    powers = (t_mm[:, None] / scale) ** np.arange(degree + 1)
    for _ in range(settings.fit_rounds):
        usual = settings.off_sd * SD_PER_MAD * median_among(off, keep)
        kept = strong & (off <= np.maximum(usual, settings.on_line_mm)[:, None])
        kept = np.where(kept.sum(axis=1, keepdims=True) > degree + 1, kept, keep)
        some = (powers * kept[..., None]).swapaxes(1, 2)
        fit = np.linalg.solve(some @ powers, some @ places[..., None])[..., 0]
        off = np.abs(places - fit @ powers.T)
        if (kept == keep).all():
            break
        keep = kept
    spreads = np.sqrt((off**2 * keep).sum(axis=1) / keep.sum(axis=1)).tolist()
    on_it, coefficients = keep & strong, fit / scale ** np.arange(degree + 1)
    return [Curve(coefficients[n], on_it[n], spread) for n, spread in enumerate(spreads)]


def robust_lines(t_mm: Floats, places: Floats, keep: np.ndarray) -> tuple[Floats, Floats]:
    """((lines,) intercepts, slopes) after Theil and Sen: the median of all pairs' slopes; letters and marks do not turn it."""
    first, second = _pairs(len(t_mm))
    slopes = (places[:, second] - places[:, first]) / (t_mm[second] - t_mm[first])
    slope = median_among(slopes, keep[:, first] & keep[:, second])
    return median_among(places - slope[:, None] * t_mm, keep), slope


@lru_cache(maxsize=32)
def _pairs(count: int) -> tuple[np.ndarray, np.ndarray]:
    first, second = np.triu_indices(count, 1)
    return first, second
