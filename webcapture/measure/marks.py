"""Crosses, ticks, dots and letters beside a drawn line or on it: what an origin line has and a front has not."""

from __future__ import annotations

import numpy as np
from numpy.polynomial.polynomial import polyval
from scipy.ndimage import gaussian_filter1d, grey_opening

from webcapture.measure.channels import darkest, palest
from webcapture.measure.field import Field
from webcapture.measure.landmarks import Candidate
from webcapture.measure.robust import median, quiet_spread
from webcapture.model import Floats32
from webcapture.settings import DEFAULTS, ReadingSettings


def marks_beside(line: Candidate, field: Field, rule: ReadingSettings = DEFAULTS.reading) -> float:
    """How clearly crosses, ticks, dots or letters stand beside the line or on it: standard deviations of the paper along it."""
    seen = field.bin_t_mm[line.trace.seen]
    if not len(seen):
        return 0.0
    columns = (field.t_mm > seen.min() + rule.marks_inset_mm) & (field.t_mm < seen.max() - rule.marks_inset_mm)
    if columns.sum() < rule.marks_columns:
        return 0.0
    beside = _marks_between(line, field, columns, rule.marks_mm, rule) - rule.marks_sd
    on_it = _marks_between(line, field, columns, rule.dots_mm, rule) - rule.dots_sd
    return max(beside, on_it, 0.0)


def _marks_between(
    line: Candidate, field: Field, columns: np.ndarray, between_mm: tuple[float, float], rule: ReadingSettings
) -> float:
    """What stands out between two distances from the line, on both its sides at once; in standard deviations."""
    close, far = between_mm
    curve = polyval(field.t_mm[columns], line.trace.coefficients)
    rows = (field.s_mm > curve.min() - far) & (field.s_mm < curve.max() + far)
    here = field.absorbance[np.ix_(rows, columns)]
    away = field.s_mm[rows, None] - curve
    zones = np.stack([(side * away > close) & (side * away < far) for side in (-1, 1)], axis=1)
    marked, both = _strokes_along(here, zones, rule)
    grain = quiet_spread(both - median(both)) + rule.marks_least
    return float((both * marked).max() / grain)


def _strokes_along(absorbance: Floats32, zones: np.ndarray, rule: ReadingSettings) -> tuple[np.ndarray, Floats32]:
    """What stands out along both sides of a line: where it is a pencil's, and by how much absorbance, one each a column.

    absorbance: (rows, cols, 3); zones: (rows, 2, cols) what counts on either side. A pencil's is narrow and grey: not a shadow's
    side, nor a spot that ran or stayed there.
    """
    count = np.maximum(zones.sum(axis=0), 1)[..., None]
    level = np.einsum("rnc,rck->nck", zones.astype(np.float32), absorbance) / count
    level = gaussian_filter1d(level, rule.marks_smooth, axis=1)
    narrow = level - grey_opening(level, size=(1, rule.marks_wide, 1))
    lift = level - median(level, axis=1)[:, None]
    weakest = palest(narrow)
    thin = weakest > rule.marks_thin * palest(lift)
    grey = weakest > rule.marks_grey * darkest(narrow)
    return np.asarray((thin & grey).all(axis=0)), weakest.min(axis=0)
