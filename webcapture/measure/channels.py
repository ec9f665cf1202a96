"""Over the three colour channels of (..., 3) values: what NumPy's own reductions over so short an axis do slowly."""

from __future__ import annotations

import numpy as np

from webcapture.model import Floats32


def each(values: Floats32, operation: np.ufunc, others: Floats32) -> Floats32:
    """(rows, cols, 3) ``operation`` on values and others: (3,), one for each channel, or (rows, cols), the same for all."""
    if others.ndim == 1:
        return np.asarray(
            operation(values.reshape(len(values), -1), np.tile(others, values.shape[1])).reshape(values.shape)
        )
    made = np.empty_like(values)
    for channel in range(values.shape[2]):
        operation(values[..., channel], others, out=made[..., channel])
    return made


def in_planes(values: Floats32) -> Floats32:
    """(3, rows, cols) channel after channel, of cells (rows, cols, 3); cells of a strip lie so in memory, and nothing is copied then."""
    return np.ascontiguousarray(values.transpose(2, 0, 1))


def of_planes(planes: Floats32) -> Floats32:
    """(rows, cols, 3) of (3, rows, cols), in the same memory."""
    return planes.transpose(1, 2, 0)


def palest(values: Floats32) -> Floats32:
    """(...) absorbance in the channel that shows least: colours hardly show, pencil and wet paper do."""
    return np.minimum(np.minimum(values[..., 0], values[..., 1]), values[..., 2])


def darkest(values: Floats32) -> Floats32:
    """(...) absorbance in the channel that shows most."""
    return np.maximum(np.maximum(values[..., 0], values[..., 1]), values[..., 2])


def mean(values: Floats32) -> Floats32:
    """(...) absorbance averaged over the channels."""
    return np.asarray((values[..., 0] + values[..., 1] + values[..., 2]) / np.float32(3), np.float32)


def chroma(values: Floats32) -> Floats32:
    """(...) difference between the darkest and the palest channel: 0 for grey."""
    return darkest(values) - palest(values)
