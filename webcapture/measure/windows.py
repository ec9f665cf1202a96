"""Means, extremes and Gaussians over small windows of small arrays.

As scipy.ndimage's filters of the same names, which the tests compare them with; on a profile of fifty cells those spend four
fifths of their time on their arguments, and a photo asks for hundreds.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np

REACH_SD = 4
"""Standard deviations at which a Gaussian is cut off, as in scipy.ndimage."""

Array = Any
"""float32, float64 or bool in any shape."""


def blurred(profile: Array, sigma: float) -> Array:
    """(n,) by a Gaussian of ``sigma`` cells; beyond the ends the values are mirrored."""
    weights = _gaussian(sigma)
    reach = len(weights) // 2
    return np.convolve(profile[_mirrored(len(profile), reach, reach)], weights, "valid")


def running_mean(values: Array, size: int, axis: int, every: int = 1) -> Array:
    """Means of ``size`` neighbours along one axis, at every so manyth place; beyond the ends the values are mirrored."""
    count, before = values.shape[axis], size // 2
    wide = values.take(_mirrored(count, before, size - 1 - before), axis=axis).swapaxes(0, axis)
    total = wide[:count:every].copy("K")  # in the memory order of the values, else every sum would turn them over
    for n in range(1, size):
        total += wide[n : n + count : every]
    total *= 1 / size
    return total.swapaxes(0, axis)


def running(pick: np.ufunc, values: Array, size: int) -> Array:
    """What ``pick`` (maximum, minimum, or, and) leaves of every ``size`` neighbours along the last axis: (..., n - size + 1)."""
    width = 1
    while 2 * width <= size:  # two windows beside each other make one of twice the width
        values = pick(values[..., :-width], values[..., width:])
        width *= 2
    rest = size - width
    return pick(values[..., :-rest], values[..., rest:]) if rest else values


def eroded(values: Array, size: int) -> Array:
    """Least of ``size`` neighbours along the last axis, of those there are."""
    return running(np.minimum, _framed(values, size // 2, size - 1 - size // 2, np.inf), size)


def opened(values: Array, size: int) -> Array:
    """Grey opening along the last axis: what rises for less than ``size`` cells is gone."""
    return running(np.maximum, _framed(eroded(values, size), size - 1 - size // 2, size // 2, -np.inf), size)


def widened(mask: Array, size: int) -> Array:
    """(rows, cols) a region with all cells within a square of an odd ``size`` around its own."""
    for _ in range(size // 2):
        tall = mask.copy()
        tall[1:] |= mask[:-1]
        tall[:-1] |= mask[1:]
        mask = tall.copy()
        mask[:, 1:] |= tall[:, :-1]
        mask[:, :-1] |= tall[:, 1:]
    return mask


def closed(mask: Array, size: int) -> Array:
    """A region without gaps of less than ``size`` cells along the last axis; at its ends it goes on as it ends."""
    count = mask.shape[-1]
    wide = mask.take(np.clip(np.arange(1 - size, count + size - 1), 0, count - 1), axis=-1)
    return running(np.logical_and, running(np.logical_or, wide, size), size)


def _framed(values: Array, before: int, after: int, fill: float) -> Array:
    """With so many cells of ``fill`` before and after, along the last axis."""
    count = values.shape[-1]
    wide = np.full((*values.shape[:-1], before + count + after), fill, values.dtype)
    wide[..., before : before + count] = values
    return wide


@lru_cache(maxsize=256)
def _mirrored(count: int, before: int, after: int) -> np.ndarray:
    """(before + count + after,) which of so many values stands where, mirrored at both ends (c b a | a b c | c b a)."""
    place = np.arange(-before, count + after) % (2 * count)
    return np.minimum(place, 2 * count - 1 - place)


@lru_cache(maxsize=64)
def _gaussian(sigma: float) -> np.ndarray:
    reach = int(REACH_SD * sigma + 0.5)
    weights = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma) ** 2)
    return np.asarray(weights / weights.sum())
