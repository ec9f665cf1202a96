"""How steep a small dark place is: a Gaussian's steepest slope by hand, and strokes and spots through a lens."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from webcapture.slopes import steepness_of

CELL, FINE = 0.4, 10


def celled(fine):
    """(3, rows, cols) means over cells of what was drawn in ``FINE`` × ``FINE`` points a cell, strongest in the second channel."""
    rows, cols = (side // FINE for side in fine.shape)
    plane = fine[: rows * FINE, : cols * FINE].reshape(rows, FINE, cols, FINE).mean(axis=(1, 3))
    return np.stack([0.3 * plane, plane, 0.5 * plane])


def points(half_mm):
    side = np.arange(-half_mm, half_mm, CELL / FINE)
    return side[:, None], side[None, :]


@pytest.mark.parametrize("sd", [0.9, 1.2, 2.0])
@pytest.mark.parametrize("height", [0.1, 0.7])
def test_a_gaussians_slope_is_as_by_hand(sd, height):
    """It falls steepest one standard deviation out: by exp(−1/2) / σ of its height per millimetre."""
    s, t = points(5 * sd)
    found = steepness_of(celled(height * np.exp(-(s**2 + t**2) / (2 * sd**2))), CELL)
    assert found == pytest.approx(np.exp(-0.5) / sd, rel=0.12)


def test_strokes_are_steeper_than_the_smallest_spots():
    """Strokes of 0.5 to 1.3 mm through a blur of 0.25 mm, more than a hard photo has, and spots 2.8 mm wide through the same."""
    s, t = points(4)
    blur = 0.25 * FINE / CELL
    strokes = [np.where((np.abs(t) < width / 2) & (np.abs(s) < 2), 1.0, 0.0) for width in (0.5, 0.8, 1.3)]
    steep = [steepness_of(celled(gaussian_filter(stroke, blur)), CELL) for stroke in strokes]
    sd = np.hypot(2.8 / 4, 0.25)
    soft = steepness_of(celled(np.exp(-(s**2 + t**2) / (2 * sd**2))), CELL)
    assert min(steep) > 1.1 and soft < 0.9


def test_nothing_dark_is_not_steep():
    assert steepness_of(np.full((3, 5, 5), -0.01), CELL) == 0.0


def test_the_papers_own_darkness_is_no_height():
    s, t = points(4)
    plain = celled(0.3 * np.exp(-(s**2 + t**2) / 2))
    assert steepness_of(plain + 0.2, CELL) == pytest.approx(steepness_of(plain, CELL), rel=0.01)


@pytest.mark.parametrize("shape", [(3, 0, 0), (3, 1, 1), (3, 1, 5), (3, 2, 2)])
def test_a_box_of_hardly_any_cells_is_answered(shape):
    assert steepness_of(np.zeros(shape), CELL) == 0.0
