"""Smoothing by matrix products: against scipy.ndimage's Gaussian filter."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from webcapture.measure.smooth import BLOCK, REACH_SD, smoothed


@pytest.mark.parametrize("rows", [3, BLOCK - 1, BLOCK, BLOCK + 1, 5 * BLOCK + 7])
@pytest.mark.parametrize("sigma", [0.8, 2.7, 6.0])
def test_as_scipy_filters(rows, sigma):
    planes = np.random.default_rng(rows).normal(size=(4, rows, 21)).astype(np.float32)
    wanted = gaussian_filter(planes, (0, sigma, sigma), mode="nearest", truncate=REACH_SD)
    assert smoothed(planes, sigma) == pytest.approx(wanted, abs=2e-6)


def test_a_plane_alone_is_smoothed_as_one_of_many():
    planes = np.random.default_rng(1).normal(size=(2, 70, 12)).astype(np.float32)
    assert smoothed(planes[1], 3.0) == pytest.approx(smoothed(planes, 3.0)[1], abs=1e-6)
