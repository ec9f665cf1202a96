"""Crosses, ticks, dots and letters beside a drawn line or on it: what an origin line has and a front has not."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.ndimage import gaussian_filter1d

from webcapture.measure.channels import in_planes
from webcapture.measure.curves import polynomial_at
from webcapture.measure.field import Field
from webcapture.measure.landmarks import Candidate
from webcapture.measure.windows import opened
from webcapture.model import Floats32
from webcapture.robust import median, quiet_spread
from webcapture.settings import DEFAULTS, ReadingSettings


def marks_beside(line: Candidate, field: Field, rule: ReadingSettings = DEFAULTS.reading) -> float:
    """How clearly crosses, ticks, dots or letters stand beside the line or on it: standard deviations of the paper along it."""
    seen = field.bin_t_mm[line.trace.seen]
    if not len(seen):
        return 0.0
    columns = (field.t_mm > seen.min() + rule.marks_inset_mm) & (field.t_mm < seen.max() - rule.marks_inset_mm)
    if columns.sum() < rule.marks_columns:
        return 0.0
    beside, on_it = _marks_between(line, field, columns, (rule.marks_mm, rule.dots_mm), rule)
    return max(beside - rule.marks_sd, on_it - rule.dots_sd, 0.0)


def _marks_between(
    line: Candidate, field: Field, columns: np.ndarray, between_mm: Sequence[tuple[float, float]], rule: ReadingSettings
) -> list[float]:
    """For each two distances from the line, what stands out between them on both its sides at once; in standard deviations."""
    furthest = max(far for _, far in between_mm)
    curve = polynomial_at(field.t_mm[columns], line.trace.coefficients)
    rows = slice(*np.searchsorted(field.s_mm, (curve.min() - furthest, curve.max() + furthest)).tolist())
    away = field.s_mm[rows, None] - curve
    # (zones, sides, rows, cols): what counts
    zones = np.array([[(side * away > near) & (side * away < far) for side in (-1, 1)] for near, far in between_mm])
    marked, both = _strokes_along(in_planes(field.absorbance)[:, rows, columns], zones, rule)
    grain = quiet_spread(both - median(both, axis=1)[:, None], axis=1) + rule.marks_least
    return [float(most) for most in (both * marked).max(axis=1) / grain]


def _strokes_along(planes: Floats32, zones: np.ndarray, rule: ReadingSettings) -> tuple[np.ndarray, Floats32]:
    """What stands out along both sides of a line: (zones, cols) where it is a pencil's, and by how much absorbance.

    planes: (3, rows, cols) absorbance; zones: (zones, sides, rows, cols) what counts on either side. A pencil's is narrow, grey, and much
    alike on both sides: not a shadow's side, nor a spot that ran or stayed there, or ran up to the line.
    """
    count = np.maximum(zones.sum(axis=2), 1)
    level = (zones[:, :, None] * planes).sum(axis=3) / count[:, :, None]  # (zones, sides, 3, cols)
    level = gaussian_filter1d(level.astype(np.float32), rule.marks_smooth, axis=-1)
    narrow = level - opened(level, rule.marks_wide)
    lift = level - median(level, axis=-1)[..., None]
    weakest = narrow.min(axis=2)
    thin = weakest > rule.marks_thin * lift.min(axis=2)
    grey = weakest > rule.marks_grey * narrow.max(axis=2)
    even = weakest.min(axis=1) > rule.marks_even * weakest.max(axis=1)
    return np.asarray((thin & grey).all(axis=1) & even), weakest.min(axis=1)
