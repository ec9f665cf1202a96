"""How strongly each place of a strip answers to a thin line or a lasting step across it."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import convolve1d

from webcapture.measure.field import Field
from webcapture.model import Floats, Floats32
from webcapture.robust import median, quiet_spread
from webcapture.settings import LandmarkSettings

NEIGHBOURS = np.array([1, 2, 3, 2, 1]) / 9
"""The mean of three means of three neighbours, one bin apart: smooth over five bins without sharp ends."""
NEAREST = np.array([1, 2, 1]) / 4
"""The mean of two means of two neighbours: what a zigzag from bin to bin leaves nothing of."""
EVERY = 3
"""Every third row tells a background's spread as well as all do, in a third of the time."""


def ridge(grey: Floats32, field: Field, core_mm: float, flank_mm: tuple[float, float]) -> Floats32:
    """How much darker a row is than the darker one of its two flanks."""
    core, near, far = _rows(field, core_mm, *flank_mm)
    middle, below, above = _boxes(grey, (-core, core), (-far, -near), (near, far))
    return np.asarray(middle - np.maximum(below, above), np.float32)


def step_across(grey: Floats32, field: Field, settings: LandmarkSettings) -> Floats32:
    """How much darker the paper below a row is than the paper above it."""
    near, far = _rows(field, settings.step_near_mm, settings.step_far_mm)
    below, above = _boxes(grey, (-far, -near), (near, far))
    return np.asarray(below - above, np.float32)


def standardised(response: Floats32) -> Floats32:
    """In standard deviations of the background, from its quietest quarter: bands of colour may fill the rest."""
    off = response - median(response)
    return np.asarray(off / max(float(quiet_spread(off[::EVERY])), 1e-6), np.float32)


def smoothed_across(response: Floats32, weights: Floats = NEIGHBOURS) -> Floats32:
    """Averaged over five neighbouring bins, or with other weights: a wet edge or a stain is faint, and runs right across."""
    return np.asarray(convolve1d(response, weights, axis=1, mode="nearest"), np.float32)


def _boxes(values: Floats32, *spans: tuple[int, int]) -> list[Floats]:
    """For each span (low, high) the mean of rows i + low to i + high, for every row i; beyond the ends the end rows repeat."""
    rows = values.shape[0]
    before, after = 1 + max(-low for low, _ in spans), max(high for _, high in spans)
    sums = np.cumsum(values.take(np.arange(-before, rows + after), axis=0, mode="clip"), axis=0, dtype=np.float64)
    return [
        (sums[before + high : before + high + rows] - sums[before + low - 1 : before + low - 1 + rows])
        / (high - low + 1)
        for low, high in spans
    ]


def _rows(field: Field, *mm: float) -> list[int]:
    return [round(value / field.row_mm) for value in mm]
