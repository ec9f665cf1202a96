"""Straight lines through most of the places at which edges were seen, several edges at once.

One line at a time, numpy's overhead would cost more than the arithmetic.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from webcapture.model import Floats
from webcapture.robust import SD_PER_MAD, median, median_among

ROUNDS = 8
"""By then a line rests, or would turn for ever between two sets of points."""
AT_REST = 0.1
"""Share of the least spread by which a line that rests still moves."""
SOME = 15
"""Points that a first line is chosen by."""


def straight(x: Floats, y: Floats, among: NDArray[np.bool_], least_spread: float, start: Floats) -> Floats:
    """(lines, 2) offset at x = 0 and slope of the lines through most of the points, which scatter by ``least_spread`` or more.

    x: (n,) or (lines, n); y: (lines, n); among: (lines, n) which of the points there are, at least one of each line.
    start: (lines, 2) lines to begin with: what lies far from them loses its weight.
    """
    offset, slope = start.T[..., None]
    furthest = np.abs(x).max()
    for _ in range(ROUNDS):
        off = y - offset - slope * x
        spread = np.maximum(SD_PER_MAD * median_among(np.abs(off), among), least_spread)[:, None]
        weight = among / (1 + (off / (2 * spread)) ** 2) ** 2
        total = weight.sum(axis=1, keepdims=True)
        middle = (weight * x).sum(axis=1, keepdims=True) / total
        from_middle = weight * (x - middle)
        inertia = (from_middle * (x - middle)).sum(axis=1, keepdims=True)
        turn = (from_middle * off).sum(axis=1, keepdims=True) / np.maximum(inertia, 1e-9)
        shift = (weight * off).sum(axis=1, keepdims=True) / total - turn * middle
        offset, slope = offset + shift, slope + turn
        if (np.abs(shift) + np.abs(turn) * furthest).max() < AT_REST * least_spread:
            break
    return np.concatenate([offset, slope], axis=1)


def roughly_straight(x: Floats, y: Floats) -> Floats:
    """(lines, 2) offset at x = 0 and slope of the line through two of some fifteen of the points that passes the others most closely.

    x: (n,), ascending; y: (lines, n). By the least median of misfits: nearly half of the points may be wrong.
    """
    some = np.unique(np.linspace(0, len(x) - 1, SOME).astype(int))
    i, j = _pairs(len(some))
    x, y = x[some], y[:, some]
    slopes = (y[:, j] - y[:, i]) / (x[j] - x[i])
    offsets = y[:, i] - slopes * x[i]
    off = np.abs(y[:, None] - offsets[..., None] - slopes[..., None] * x)
    best = np.argmin(median(off, axis=2), axis=1)
    line = np.arange(len(y))
    return np.stack([offsets[line, best], slopes[line, best]], axis=1)


@lru_cache(maxsize=32)
def _pairs(count: int) -> tuple[np.ndarray, np.ndarray]:
    """Every two of so many in a row, at least a quarter of them apart."""
    first, second = np.triu_indices(count, max(count // 4, 1))
    return first, second
