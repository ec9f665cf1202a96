"""Straight lines through most of the places at which edges were seen, several edges at once.

One line at a time, numpy's overhead would cost more than the arithmetic.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from webcapture.model import Floats
from webcapture.robust import SD_PER_MAD, median, median_among

ROUNDS = 8
"""By then a line rests, or would turn for ever between two sets of points."""
AT_REST = 0.1
"""Share of the least spread by which a line that rests still moves."""
SOME = np.linspace(0, 1, 15)
"""Where among a line's points those lie that a first line is chosen by."""
PAIRS = np.triu_indices(len(SOME), len(SOME) // 4)
"""Every two of them, at least a fifth of the line apart."""


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


def roughly_straight(x: Floats, y: Floats, counts: NDArray[np.intp]) -> Floats:
    """(lines, 2) offset at x = 0 and slope of the line through two of some fifteen of the points that passes the others most closely.

    x, y: (lines, n), the first (lines,) ``counts`` of each line, x ascending. By the least median of misfits: nearly half of
    the points may be wrong.
    """
    some = (SOME * (counts[:, None] - 1)).astype(int)
    x, y = np.take_along_axis(x, some, axis=1), np.take_along_axis(y, some, axis=1)
    i, j = PAIRS
    run = x[:, j] - x[:, i]
    slopes = (y[:, j] - y[:, i]) / np.where(run > 0, run, np.inf)
    offsets = y[:, i] - slopes * x[:, i]
    off = np.abs(y[:, None] - offsets[..., None] - slopes[..., None] * x[:, None])
    best = np.argmin(median(off, axis=2), axis=1)
    line = np.arange(len(y))
    return np.stack([offsets[line, best], slopes[line, best]], axis=1)


def side_by_side(values: Any, counts: NDArray[np.intp]) -> Any:
    """(lines, most) values of lines one behind the other, each in a row of its own, of so many (lines,) values; the rest is 0 or False."""
    there = np.arange(counts.max()) < counts[:, None]
    rows = np.zeros(there.shape, values.dtype)
    rows[there] = values
    return rows
