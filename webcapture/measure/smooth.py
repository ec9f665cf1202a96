"""Gaussian smoothing of whole planes as products with a matrix.

On planes of a few hundred rows and columns two matrix products cost a third of what filtering line by line costs.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from webcapture.model import Floats32

REACH_SD = 4
"""Standard deviations at which the weights are cut off: 1/3000 of the greatest is left."""


def smoothed(planes: Floats32, sigma: float) -> Floats32:
    """(..., rows, cols) float32 planes, each smoothed both ways; beyond the edges the edge values repeat. sigma: cells."""
    rows, cols = planes.shape[-2:]
    down = np.matmul(_weights(rows, sigma), planes)
    return np.asarray(np.matmul(down.reshape(-1, cols), _weights(cols, sigma).T).reshape(planes.shape), np.float32)


@lru_cache(maxsize=16)
def _weights(size: int, sigma: float) -> Floats32:
    """(size, size) share of each value in each smoothed one, cut off far out."""
    reach = int(REACH_SD * sigma + 0.5)
    offset = np.arange(-reach, reach + 1)
    weight = np.exp(-0.5 * (offset / sigma) ** 2)
    row = np.arange(size)[:, None]
    source = np.clip(row + offset, 0, size - 1)
    shares = np.bincount((row * size + source).ravel(), np.tile(weight / weight.sum(), size), size * size)
    return shares.reshape(size, size).astype(np.float32)
