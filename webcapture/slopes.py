"""How steeply a small dark place rises: ink and pencil end as sharply as the photo shows anything, a spot that ran fades over a millimetre."""

from __future__ import annotations

from typing import Any

import numpy as np

from webcapture.robust import quantile

RIM = 0.25
"""Share of its height from which on a place belongs to what is dark."""
PAPER = 0.1
"""Quantile of a box that is paper, whose own darkness is no part of the height."""
STEEP = 0.95
"""Of its steps from cell to cell this quantile counts: a single one may be noise."""

Array = Any
"""float32 or float64, (3, rows, cols)."""


def steepness_of(planes: Array, cell_mm: float) -> float:
    """How much of its height what is dark in a box gains over a millimetre where it is steepest, in the channel that shows it best.

    planes: absorbance in cells, with some paper around; 0 where nothing is dark or a box has a single row. A Gaussian of standard deviation σ has 0.61 / σ; blurred strokes of
    0.5 to 1.3 mm have 1.2 and more, the smallest spots, of 0.7 mm, 0.9 and less.
    """
    if min(planes.shape[1:]) < 2:
        return 0.0
    plane = planes[int(np.argmax(planes.max(axis=(1, 2))))]
    paper = float(quantile(plane, PAPER))
    plane = plane - paper
    top = float(plane.max())
    if top <= 0:
        return 0.0
    dark = plane > RIM * top
    down = np.abs(np.diff(plane, axis=0))[dark[1:] | dark[:-1]]
    across = np.abs(np.diff(plane, axis=1))[dark[:, 1:] | dark[:, :-1]]
    return float(quantile(np.concatenate([down, across]), STEEP)) / top / cell_mm
