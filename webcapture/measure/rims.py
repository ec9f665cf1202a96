"""A spot whose rim is darker than its middle: two maxima along the lane that are one spot."""

from __future__ import annotations

import numpy as np

from webcapture.measure.patch import Patch
from webcapture.model import Floats
from webcapture.settings import SpotSettings


def is_rimmed(patch: Patch, rows: tuple[int, int], settings: SpotSettings) -> bool:
    """Whether the maxima at two rows of a patch are one spot's rim, nearer the origin and nearer the front.

    A drop that dried leaves one. Both arcs are of one colour and height, and over the spot's whole breadth there is hardly a dip
    between them, as the rim goes on at both sides of the middle. Between two spots it is palest there, and nothing at the sides.
    """
    low, high = sorted(rows)
    tops = patch.profile[[low, high]]
    heights, between = tops.max(axis=1), patch.profile[low : high + 1].max(axis=1)
    least = settings.rim_level * heights.max()
    if patch.fill >= settings.compact_fill or heights.max() <= 0 or heights.min() < least or between.min() < least:
        return False
    if np.abs(np.diff(tops / heights[:, None], axis=0)).max() > settings.rim_colour:
        return False
    return _stays_broad(patch, (low + high) // 2, settings)


def _stays_broad(patch: Patch, row: int, settings: SpotSettings) -> bool:
    """Whether at a row the spot is as dark on both sides, a standard deviation of the whole away, as in its middle."""
    whole = np.maximum(patch.planes.sum(axis=(0, 1)), 0)
    share = whole / max(float(whole.sum()), 1e-12)
    middle = float(share @ patch.t_mm)
    sd = float(np.sqrt(share @ (patch.t_mm - middle) ** 2))
    across: Floats = patch.planes[:, max(row - 1, 0) : row + 2].sum(axis=(0, 1))
    left, centre, right = np.interp([middle - sd, middle, middle + sd], patch.t_mm, across)
    return bool(min(left, right) >= settings.rim_sides * centre)
