"""Middles and spreads that a few wild values do not move.

NumPy's own median and percentile spend most of their time on checks that short profiles do not need, and on partitions by two
places at once: to sort all, which it does with the processor's wide registers, takes a fifth of that. NaN is not looked for:
absorbance has none.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

SD_PER_MAD = 1.4826
"""Standard deviation of a normal distribution over its median absolute deviation: 1 / 0.6745."""
QUARTER_SD = 0.3186
"""A quarter of a normal distribution lies within so many standard deviations of its middle."""
HALF_WIDTH_SD = 1.177
"""Half the width of a Gaussian at half its height, in standard deviations: √(2 ln 2)."""
NEVER_NONE = 1e-4
"""Absorbance added to a spread before something is measured by it: a drawing without any noise would give none."""

Array = Any
"""float32 or float64 in any shape."""


def median(values: Array, axis: int | None = None) -> Array:
    """The middle value along ``axis``, or of all; of an even number the mean of the two middle ones."""
    if axis is None:
        values, axis = values.ravel(), 0
    count = values.shape[axis]
    ordered = np.sort(values, axis=axis)
    middle = ordered.take(count // 2, axis=axis)
    return middle if count % 2 else (ordered.take(count // 2 - 1, axis=axis) + middle) / 2


def median_among(values: Array, among: Array) -> Array:
    """(lines, ...) the median of those of (lines, n, ...) values that count, ``among`` (lines, n); at least one in each line."""
    counts = among if values.ndim == among.ndim else among[..., None]
    ordered = np.sort(np.where(counts, values, np.inf), axis=1)
    count, line = among.sum(axis=1), np.arange(len(values))
    return (ordered[line, (count - 1) // 2] + ordered[line, count // 2]) / 2


def running_median(plane: Array, size: int) -> Array:
    """(rows, cols) medians over ``size`` by ``size`` neighbours, an odd number; beyond the edges the edge values repeat.

    As scipy.ndimage.median_filter; to sort all the neighbourhoods at once takes an eighth of its time.
    """
    windows = sliding_window_view(np.pad(plane, size // 2, mode="edge"), (size, size))
    return median(windows.reshape(-1, size * size), axis=1).reshape(plane.shape)


def quantile(values: Array, share: float, axis: int | None = None) -> Array:
    """The value below which ``share`` of the values lie, linear between neighbours (definition 7 of Hyndman and Fan 1996)."""
    if axis is None:
        values, axis = values.ravel(), 0
    place = share * (values.shape[axis] - 1)
    low = int(place)
    high = min(low + 1, values.shape[axis] - 1)
    ordered = np.sort(values, axis=axis)
    below, above = ordered.take(low, axis=axis), ordered.take(high, axis=axis)
    return below + (above - below) * (place - low)


def spread(values: Array, axis: int | None = None) -> Array:
    """Standard deviation about the median, from the median absolute deviation."""
    middle = median(values, axis)
    if axis is not None:
        middle = middle.reshape([1 if n == axis else side for n, side in enumerate(values.shape)])
    return SD_PER_MAD * median(np.abs(values - middle), axis)


def quiet_spread(off: Array, axis: int | None = None) -> Array:
    """Standard deviation of deviations ``off`` from their middle, from their quietest quarter: the rest may be no noise."""
    return quantile(np.abs(off), 0.25, axis) / QUARTER_SD
