"""Trace lines across a strip: the smooth path of greatest response from one side to the other.

A path may slant, bow and cross gaps. It is found by dynamic programming over the bins across the strip; then each bin's own
place is refined, and a low polynomial is fitted to those that agree.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from webcapture.measure.curves import curves_through, polynomial_at
from webcapture.measure.windows import running
from webcapture.model import Floats, Floats32
from webcapture.robust import quantile
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
    curve_mm: Floats
    """(bins,) s of the polynomial in each bin."""
    spread_mm: float
    """Standard deviation of the seen places about the polynomial."""


def trace_lines(
    response: Floats32,
    s_mm: Floats,
    t_mm: Floats,
    degree: int,
    width_mm: float,
    most: int,
    least: float,
    settings: TraceSettings,
) -> list[Trace]:
    """Up to ``most`` paths of decreasing score, none below ``least``.

    ``degree`` is the fitted polynomial's, ``width_mm`` half the width over which a line of this kind responds.
    response: (rows, bins) in standard deviations of the background, positive on a line; s_mm: (rows,) and t_mm: (bins,) places.
    """
    step = float(s_mm[1] - s_mm[0])
    even = len(response) // 2 * 2
    pairs = np.maximum(response[:even:2], response[1:even:2])
    gain = np.clip(pairs, settings.floor, settings.cap).T.copy()
    gap = max(round(settings.apart * width_mm / (2 * step)), 1)
    reach = max(round(settings.slope_most * float(t_mm[1] - t_mm[0]) / (2 * step)), 1)
    paths, scores = _paths(gain, gap, reach, most, least, settings)
    if not scores:
        return []
    # All the lines' places at once: one by one, numpy's overhead would cost many times the arithmetic.
    rows, strongest = peaks_near(response, 2 * np.array(paths), width_mm / step, settings)
    # A clear line is far above the noise wherever it runs: bins where only noise peaks must not bend the fit.
    clear = settings.strong_share * quantile(strongest, settings.strong_quantile, axis=1)
    strong = strongest > np.maximum(clear, settings.seen_least)[:, None]
    curves = curves_through(t_mm, s_mm[0] + rows * step, strong, degree, settings)
    return [
        Trace(
            rows[n], c.on_it, score, c.coefficients, np.asarray(polynomial_at(t_mm, c.coefficients), float), c.spread_mm
        )
        for n, (score, c) in enumerate(zip(scores, curves, strict=True))
    ]


def _paths(
    gain: Floats32, gap: int, reach: int, most: int, least: float, settings: TraceSettings
) -> tuple[list[np.ndarray], list[float]]:
    """(paths, their mean gains): one after the other through (bins, rows), none within ``gap`` rows of the ones before."""
    bins = np.arange(len(gain))
    around = np.arange(-gap, gap + 1)
    paths: list[np.ndarray] = []
    scores: list[float] = []
    while len(paths) < most:
        path = _best_path(gain, reach, settings.turn_cost)
        score = float(gain[bins, path].sum()) / len(bins)
        if score < least:
            break
        paths.append(path)
        scores.append(score)
        gain[bins[:, None], np.minimum(np.maximum(path[:, None] + around, 0), gain.shape[1] - 1)] = settings.floor
    return paths, scores


def _best_path(gain: Floats32, reach: int, turn_cost: float) -> np.ndarray:
    """(bins,) rows of the path of greatest total gain through (bins, rows), moving at most ``reach`` rows from bin to bin.

    Moving costs ``turn_cost`` a row, counted in two steps: half the reach, or all of it.
    """
    bins, rows = gain.shape
    half = (reach + 1) // 2
    totals = np.full((bins, rows + 2 * reach), -np.inf, np.float32)  # with room for moves beyond both ends
    inner = totals[:, reach : reach + rows]
    inner[0] = gain[0]
    for b in range(1, bins):
        last, best = totals[b - 1], inner[b]
        if half == reach == 1:
            np.maximum(last[:-2], last[2:], out=best)
            best -= turn_cost
        else:
            near = running(np.maximum, last, 2 * half + 1)
            np.subtract(near[reach - half : reach - half + rows], turn_cost * half, out=best)
            if half < reach:  # the wider window is the greater of two of the narrower ones, one at each of its ends
                np.maximum(np.maximum(near[:rows], near[-rows:]) - turn_cost * reach, best, out=best)
        np.maximum(inner[b - 1], best, out=best)
        best += gain[b]
    cost = _costs(reach, turn_cost)
    row = int(inner[-1].argmax())
    path = [row]
    for b in range(bins - 2, -1, -1):
        row += int((totals[b, row : row + 2 * reach + 1] - cost).argmax()) - reach
        path.append(row)
    return np.array(path[::-1])


@lru_cache(maxsize=32)
def _costs(reach: int, turn_cost: float) -> Floats32:
    """(2 · reach + 1,) cost of each move from bin to bin: none of staying, and else that of half the reach or all of it."""
    steps, half = np.abs(np.arange(-reach, reach + 1)), (reach + 1) // 2
    return (turn_cost * np.where(steps == 0, 0, np.where(steps <= half, half, reach))).astype(np.float32)


def peaks_near(
    response: Floats32, paths: np.ndarray, width_rows: float, settings: TraceSettings
) -> tuple[Floats, Floats]:
    """((paths, bins) rows, heights) of the response's peak near each of the paths in each bin.

    A Gaussian window moves with its own weighted mean until it rests: on a symmetric peak it rests at the middle, however
    far from it the path ran.
    """
    reach = max(round(settings.peak_reach * width_rows), 2)
    index = np.clip(paths[..., None] + np.arange(-reach, reach + 1), 0, response.shape[0] - 1)
    window = np.maximum(response[index, np.arange(paths.shape[1])[:, None]], 0)
    near = slice(reach // 2, -(reach // 2))
    start = window[..., near].argmax(axis=-1)[..., None] + reach // 2
    rows = np.take_along_axis(index, start, axis=-1)[..., 0].astype(float)
    for _ in range(settings.settle):
        weight = window * np.exp(-0.5 * ((index - rows[..., None]) / width_rows) ** 2)
        rows = (weight * index).sum(axis=-1) / np.maximum(weight.sum(axis=-1), 1e-9)
    return rows, window[..., near].max(axis=-1)
