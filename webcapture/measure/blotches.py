"""What the photo's compression may leave on bare paper, see :mod:`webcapture.imaging.rounding`, and what it does to a spot."""

from __future__ import annotations

import numpy as np

from webcapture.model import Blotches, Floats

SHIFT = 0.57
"""Stretches of error e and length b, end to end over a Gaussian spot of width w and height h at its base and a sixth more, shift its
mean by e / h · √(b / w) · w times this: the root of 2/3 · 0.575³, over the spot's area of √(2π) / 4 · h w."""
LONGEST = 1 / 3
"""Of the spot's width: longer ones lie under all of it, and shift it no more."""


def blotchiness(blotches: Blotches | None, shown: Floats, across_mm: Floats, along_mm: float) -> Floats:
    """(k, n) standard deviation of means over n rectangles of that size, of each of (k, 3) sums of R, G and B.

    Blocks are rounded each for itself; a rectangle smaller than a block has that block's error.
    """
    if blotches is None:
        return np.zeros((len(shown), len(across_mm)))
    parts = shown @ blotches.absorbance.T
    sides = np.array(blotches.side_mm)
    blocks = np.maximum(across_mm[:, None] / sides, 1) * np.maximum(along_mm / sides, 1)
    return np.asarray(np.sqrt(parts**2 @ (1 / blocks).T), float)


def shifted_by(
    blotches: Blotches | None, size_mm: tuple[float, float], height: Floats, noise: Floats | None = None
) -> float:
    """Standard uncertainty of a spot's centre, millimetres, from the blotches that it lies on.

    size_mm: its width along the lane, and the width across over which its profile was averaged; height: (3,) its absorbance;
    noise: (3,) by which its channels are weighted.
    """
    weight = np.maximum(height, 0) / (1.0 if noise is None else noise**2)
    signal = float(weight @ height)
    if blotches is None or signal <= 0:
        return 0.0
    width, across = size_mm
    sides = np.array(blotches.side_mm)
    longest = np.minimum(sides, LONGEST * width)
    errors = (blotches.absorbance @ weight) * np.sqrt(longest / np.maximum(across / sides, 1))
    return float(SHIFT * np.linalg.norm(errors) * width**0.5 / signal)
