"""Trace lines across a strip: the smooth path of greatest response from one side to the other.

A path may slant, bow and cross gaps. It is found by dynamic programming over the bins across the strip; then each bin's own
place is refined, and a low polynomial is fitted to those that agree.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from webcapture.model import Floats, Floats32
from webcapture.settings import TraceSettings


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """One path across the strip."""

    rows: Floats
    """(bins,) refined place in each bin, fractional rows."""
    seen: np.ndarray
    """(bins,) whether the response there stands out and lies on the fitted line."""
    score: float
    """Mean response along the path, clipped, in standard deviations of the background."""
    coefficients: Floats
    """Polynomial in t (mm), lowest power first, giving s (mm)."""
    spread_mm: float
    """Standard deviation of the seen places about the polynomial."""


def trace_lines(
    response: Floats32, s_mm: Floats, t_mm: Floats, degree: int, width_mm: float, settings: TraceSettings
) -> list[Trace]:
    """Up to ``settings.most_lines`` paths of decreasing score.

    ``degree`` is the fitted polynomial's, ``width_mm`` half the width over which a line of this kind responds.
    response: (rows, bins) in standard deviations of the background, positive on a line; s_mm: (rows,) and t_mm: (bins,) places.
    """
    step = float(s_mm[1] - s_mm[0])
    clipped = np.clip(response, settings.floor, settings.cap)
    gap = max(round(settings.apart * width_mm / step), 1)
    reach = max(int(np.ceil(settings.slope_most * (t_mm[1] - t_mm[0]) / step)), 1)
    found: list[Trace] = []
    for _ in range(settings.most_lines):
        path = _best_path(clipped, reach, settings.turn_cost)
        columns = np.arange(len(path))
        score = float(clipped[path, columns].mean())
        if score < settings.least_score:
            break
        found.append(_refined(response, path, score, s_mm, t_mm, degree, width_mm, settings))
        clipped = clipped.copy()
        for offset in range(-gap, gap + 1):
            clipped[np.clip(path + offset, 0, len(s_mm) - 1), columns] = settings.floor
    return found


def _best_path(gain: Floats32, reach: int, turn_cost: float) -> np.ndarray:
    """(bins,) rows of the path of greatest total gain, moving at most ``reach`` rows from bin to bin."""
    rows, bins = gain.shape
    total = gain[:, 0].copy()
    came = np.zeros((bins, rows), np.int16)
    offsets = np.arange(-reach, reach + 1)
    for b in range(1, bins):
        padded = np.pad(total, reach, constant_values=-1e9)
        options = np.stack([padded[reach + o : reach + o + rows] - turn_cost * abs(o) for o in offsets])
        choice = np.argmax(options, axis=0)
        came[b] = offsets[choice]
        total = options[choice, np.arange(rows)] + gain[:, b]
    path = np.empty(bins, int)
    path[-1] = int(np.argmax(total))
    for b in range(bins - 1, 0, -1):
        path[b - 1] = path[b] + came[b, path[b]]
    return path


def _refined(
    response: Floats32,
    path: np.ndarray,
    score: float,
    s_mm: Floats,
    t_mm: Floats,
    degree: int,
    width_mm: float,
    settings: TraceSettings,
) -> Trace:
    """The path's sub-row places and the polynomial through those that agree."""
    step = float(s_mm[1] - s_mm[0])
    rows, strongest = _peaks(response, path, width_mm / step)
    places = s_mm[0] + rows * step
    # A clear line is far above the noise wherever it runs: bins where only noise peaks must not bend the fit.
    strong = strongest > max(settings.seen_least, settings.strong_share * float(np.percentile(strongest, 80)))
    coefficients, on_line, spread = _polynomial(t_mm, places, strong, degree, settings)
    return Trace(rows, on_line, score, coefficients, spread)


def _peaks(response: Floats32, path: np.ndarray, width_rows: float) -> tuple[Floats, Floats]:
    """(rows, heights) of the response's peak near the path in each bin.

    A Gaussian window moves with its own weighted mean until it rests: on a symmetric peak it rests at the middle, however
    far from it the path ran.
    """
    reach = max(round(3 * width_rows), 2)
    index = np.clip(path[:, None] + np.arange(-reach, reach + 1), 0, response.shape[0] - 1)
    window = np.maximum(response[index, np.arange(len(path))[:, None]], 0)
    rows = index[np.arange(len(path)), np.argmax(window[:, reach // 2 : -(reach // 2)], axis=1) + reach // 2].astype(
        float
    )
    for _ in range(8):
        weight = window * np.exp(-0.5 * ((index - rows[:, None]) / width_rows) ** 2)
        rows = (weight * index).sum(axis=1) / np.maximum(weight.sum(axis=1), 1e-9)
    return rows, window[:, reach // 2 : -(reach // 2)].max(axis=1)


def _polynomial(
    t_mm: Floats, places: Floats, strong: np.ndarray, degree: int, settings: TraceSettings
) -> tuple[Floats, np.ndarray, float]:
    """(coefficients, which points lie on it, their spread) of the lowest degree that does nearly as well as the next."""
    best = _fitted(t_mm, places, strong, 1, settings)
    for higher in range(2, degree + 1 if len(t_mm) >= settings.bow_bins else 2):
        fit = _fitted(t_mm, places, strong, higher, settings)
        if fit[1].sum() < max(settings.bow_coverage * len(t_mm), best[1].sum()) or fit[2] > settings.bow_gain * best[2]:
            break
        best = fit
    return best


def _fitted(
    t_mm: Floats, places: Floats, strong: np.ndarray, degree: int, settings: TraceSettings
) -> tuple[Floats, np.ndarray, float]:
    """Least squares, leaving out in turns what lies off."""
    keep = strong if strong.sum() > degree + 1 else np.ones_like(strong)
    off = np.abs(places - np.polynomial.polynomial.polyval(t_mm, _robust_line(t_mm[keep], places[keep])))
    near = keep & (off <= max(3 * 1.4826 * float(np.median(off[keep])), settings.on_line_mm))
    keep = near if near.sum() > degree + 1 else keep
    for _ in range(6):
        fit = np.polynomial.polynomial.polyfit(t_mm[keep], places[keep], degree)
        off = np.abs(places - np.polynomial.polynomial.polyval(t_mm, fit))
        limit = max(3 * 1.4826 * float(np.median(off[keep])), settings.on_line_mm)
        kept = strong & (off <= limit)
        if kept.sum() <= degree + 1:
            break
        keep = kept
    return fit, keep & strong, float(np.sqrt(np.mean(off[keep] ** 2)))


def _robust_line(t_mm: Floats, places: Floats) -> Floats:
    """(2,) intercept and slope after Theil and Sen: the median of all pairs' slopes; letters and marks do not turn it."""
    first, second = np.triu_indices(len(t_mm), 1)
    slope = float(np.median((places[second] - places[first]) / (t_mm[second] - t_mm[first])))
    return np.array([float(np.median(places - slope * t_mm)), slope])
