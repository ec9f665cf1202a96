"""Small windows: against the filters of scipy.ndimage."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import (
    binary_closing,
    gaussian_filter1d,
    grey_opening,
    maximum_filter,
    minimum_filter1d,
    uniform_filter1d,
)

from webcapture.measure.windows import blurred, closed, eroded, opened, running, running_mean, widened

RNG = np.random.default_rng(7)
PROFILES = {n: RNG.normal(size=n) for n in (3, 9, 50, 233)}


@pytest.mark.parametrize("count", PROFILES)
@pytest.mark.parametrize("sigma", [0.6, 1.0, 1.4281, 4.0])
def test_a_profile_is_blurred_as_by_scipy(count, sigma):
    assert blurred(PROFILES[count], sigma) == pytest.approx(gaussian_filter1d(PROFILES[count], sigma), abs=1e-12)


@pytest.mark.parametrize("size", [1, 2, 3, 5, 8])
@pytest.mark.parametrize("axis", [0, 1])
def test_means(size, axis):
    values = RNG.normal(size=(21, 34, 3))
    scipys = uniform_filter1d(values, size, axis=axis)
    assert running_mean(values, size, axis) == pytest.approx(scipys, abs=1e-12)
    assert running_mean(values, size, 0, every=2) == pytest.approx(
        uniform_filter1d(values, size, axis=0)[::2], abs=1e-12
    )


@pytest.mark.parametrize("size", [1, 2, 3, 5, 6, 8, 9])
def test_openings(size):
    values = RNG.normal(size=(4, 42)).astype(np.float32)
    assert (eroded(values, size) == minimum_filter1d(values, size)).all()
    assert (opened(values, size) == grey_opening(values, size=(1, size))).all()


@pytest.mark.parametrize("size", [1, 3, 5, 7])
@pytest.mark.parametrize("share", [0.01, 0.1, 0.5])
def test_regions_grow(size, share):
    mask = RNG.random((33, 18)) < share
    assert (widened(mask, size) == maximum_filter(mask, size=size)).all()


@pytest.mark.parametrize("size", [2, 3, 4, 7])
@pytest.mark.parametrize("share", [0.1, 0.4, 0.8])
def test_gaps_are_closed(size, share):
    """scipy takes what lies beyond the ends for empty; ours goes on as it ends."""
    mask = RNG.random((20, 30)) < share
    wider = np.pad(mask, ((0, 0), (size, size)), mode="edge")
    scipys = binary_closing(wider, structure=np.ones((1, size)))[:, size:-size]
    assert (closed(mask, size) == scipys).all()


@pytest.mark.parametrize("size", range(1, 12))
def test_running_extremes(size):
    values = RNG.normal(size=40)
    windows = np.lib.stride_tricks.sliding_window_view(values, size)
    assert (running(np.maximum, values, size) == windows.max(axis=1)).all()
    assert (running(np.minimum, values, size) == windows.min(axis=1)).all()
