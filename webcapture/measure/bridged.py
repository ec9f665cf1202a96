"""What lies under a line, from the paper and the spots above and below it."""

from __future__ import annotations

import numpy as np

from webcapture.measure.windows import running_mean
from webcapture.model import Floats, Floats32

ACROSS = 3
"""Neighbouring columns bridged as one: a line leaves some four rows of each to go by, and their grain is not to be followed."""
SPAN = 2.5
"""Reaches beyond which a row counts for nothing."""
UNKNOWN = 1e-3
"""Weight of a row of which nothing is known but what its surroundings suggest: it decides where there is no other."""
HELD = 0.05
"""Weight with which slope and bend are held at none, so that a column with paper on one side alone does not fly off."""


def bridged(planes: Floats32, hidden: np.ndarray, known: np.ndarray, at: Floats, reach: float) -> Floats32:
    """(n, rows, cols) with the hidden cells on parabolas along the strip through the known ones above and below.

    A mean of what lies around is too dark on the flank of a spot, and draws the spot towards a line that crosses it.

    planes: with something in place of what is not known; hidden, known: (rows, cols); at: (cols,) row, in fractions, of the
    line's middle; reach: cells, standard deviation of a row's weight by its distance.
    """
    rows, columns = known.shape[0], np.arange(known.shape[1])[:, None]
    span = int(np.ceil(SPAN * reach))
    near = np.rint(at).astype(int)[:, None] + np.arange(-span, span + 1)  # (cols, k)
    inside, near = (near >= 0) & (near < rows), near.clip(0, rows - 1)
    away = (near - at[:, None]) / reach
    weight = np.exp(-0.5 * away**2) * np.where(known[near, columns], 1.0, UNKNOWN) * inside
    curve = _parabolas(away, weight, planes[:, near, columns])
    off = (np.arange(rows)[:, None] - at) / reach
    row, column = np.nonzero(hidden & (np.abs(off) <= SPAN))
    place = off[row, column]
    whole = planes.copy()
    whole[:, row, column] = np.einsum("ipn,ip->np", curve[:, column], np.stack([place**0, place, place**2]))
    return whole


def _parabolas(x: Floats, weight: Floats, values: Floats32) -> Floats:
    """(3, cols, n) coefficients, lowest power first, of the parabola through each column's (n, cols, k) values at its x (cols, k)."""
    powers = [weight * x**power for power in range(5)]
    moments = running_mean(np.stack([power.sum(axis=1) for power in powers]), ACROSS, axis=1)  # (5, cols)
    sides = running_mean(
        np.stack([(power * values).sum(axis=2).T for power in powers[:3]]), ACROSS, axis=1
    )  # (3, cols, n)
    matrix = np.stack([moments[power : power + 3] for power in range(3)]).transpose(2, 0, 1)
    matrix[:, [1, 2], [1, 2]] += HELD
    return np.linalg.solve(matrix, sides.transpose(1, 0, 2)).transpose(1, 0, 2)
