"""Middles and spreads: against numpy's own and scipy.ndimage's median filter."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import median_filter

from webcapture.robust import median, quantile, running_median

RNG = np.random.default_rng(5)


@pytest.mark.parametrize("shape", [(1,), (2,), (7,), (8,), (5, 6), (4, 5, 3)])
def test_median_and_quantile_are_numpys(shape: tuple[int, ...]) -> None:
    values = RNG.normal(size=shape)
    for axis in (None, *range(len(shape))):
        assert median(values, axis) == pytest.approx(np.median(values, axis))
        assert quantile(values, 0.3, axis) == pytest.approx(np.quantile(values, 0.3, axis))


@pytest.mark.parametrize("shape", [(1, 1), (2, 9), (31, 17)])
@pytest.mark.parametrize("size", [3, 11])
def test_running_median_is_scipys(shape: tuple[int, int], size: int) -> None:
    plane = RNG.normal(size=shape).astype(np.float32)
    assert (running_median(plane, size) == median_filter(plane, size=size, mode="nearest")).all()
