"""Fronts marked by a short stroke at the paper's edge: too short to be followed across the strip, and told by standing alone.

Letters stand in the paper's middle or beside each other; a stroke that comes in from the edge, level and with nothing near it,
is where somebody marked how far the solvent had come.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.polynomial.polynomial import polyfit
from scipy.ndimage import find_objects, label

from webcapture.measure.channels import palest
from webcapture.measure.curves import polynomial_at
from webcapture.measure.field import Field
from webcapture.measure.landmarks import Candidate
from webcapture.measure.tracing import Trace
from webcapture.measure.traits import is_grey, is_inside
from webcapture.measure.windows import closed
from webcapture.model import Floats
from webcapture.robust import median
from webcapture.settings import LandmarkSettings, TickSettings

EVERY_WAY = np.ones((3, 3), int)
SKIPPED = 4
"""A level stroke goes on over fewer cells than this: pencil skips on rough paper."""


@dataclass(frozen=True, slots=True, eq=False)
class Tick:
    """One such stroke."""

    s_mm: float
    span_mm: tuple[float, float]
    """t of its two ends."""
    colour: Floats
    """(3,) absorbance above the paper beside."""
    contrast: float
    """The same over the paper's grain, in standard deviations."""

    @property
    def at_left(self) -> bool:
        """Whether it comes in from t = 0."""
        return self.span_mm[0] == 0.0


def ticked_fronts(
    field: Field, strokes: np.ndarray, slope: float, rule: TickSettings, landmark: LandmarkSettings
) -> list[Candidate]:
    """Lines through edge strokes, from the origin end upwards, level with a line of that ``slope``; one through two that face each other."""
    ticks = edge_ticks(field, strokes, rule, landmark)
    left, right = ([one for one in ticks if one.at_left is side] for side in (True, False))
    # A row of them is a scale, not a front.
    left, right = (side if len(side) <= rule.most else [] for side in (left, right))
    found = []
    for one in left:
        facing = [two for two in right if abs(two.s_mm - one.s_mm - slope * field.width_mm) < rule.facing_mm]
        nearest = sorted(facing, key=lambda two: abs(two.s_mm - one.s_mm - slope * field.width_mm))[:1]
        found.append(_candidate([one, *nearest], slope, field))
        right = [two for two in right if two not in nearest]
    return sorted(found + [_candidate([one], slope, field) for one in right], key=lambda c: c.middle_mm)


def edge_ticks(field: Field, strokes: np.ndarray, rule: TickSettings, landmark: LandmarkSettings) -> list[Tick]:
    """Short level strokes that come in from the strip's long edges and stand alone. strokes: (rows, cols) cells under pencil."""
    rim = max(round(rule.rim_mm / field.cell_mm), 1)
    inner = strokes[:, rim:-rim]
    if inner.shape[1] < 2 * rim or not (inner[:, :2].any() or inner[:, -2:].any()):
        return []
    parts, _ = label(closed(inner, SKIPPED), structure=EVERY_WAY)
    found = []
    for n, (rows, columns) in enumerate(find_objects(parts), 1):
        at_left, at_right = columns.start <= 1, columns.stop >= inner.shape[1] - 1
        across = (columns.stop - columns.start + rim) * field.cell_mm
        level = (rows.stop - rows.start) * field.cell_mm <= rule.high_mm + rule.lean * across
        fits = rule.long_mm[0] <= across <= min(rule.long_mm[1], rule.long_share * field.width_mm)
        if at_left is at_right or not level or not fits or not _is_alone(parts, n, rows, columns, field, rule):
            continue
        tick = _measured(field, rows, slice(columns.start + rim, columns.stop + rim), at_left, rule)
        inside = is_inside(tick.s_mm, field, landmark)
        if inside and tick.contrast >= rule.least_sd and is_grey(tick.colour, landmark):
            found.append(tick)
    return found


def _is_alone(parts: np.ndarray, n: int, rows: slice, columns: slice, field: Field, rule: TickSettings) -> bool:
    """Whether no other stroke is near."""
    reach = round(rule.alone_mm / field.cell_mm)
    near = parts[max(rows.start - reach, 0) : rows.stop + reach, max(columns.start - reach, 0) : columns.stop + reach]
    return not ((near != 0) & (near != n)).any()


def _measured(field: Field, rows: slice, columns: slice, at_left: bool, rule: TickSettings) -> Tick:
    """Its place by the weighted mean of what is darker than the paper on both sides of it."""
    beside = round(rule.beside_mm / field.cell_mm)
    low, high = max(rows.start - beside, 0), min(rows.stop + beside, len(field.s_mm))
    profile = field.absorbance[low:high, columns].mean(axis=1)
    inside = np.zeros(high - low, bool)
    inside[rows.start - low : rows.stop - low] = True
    paper = median(profile[~inside], axis=0)
    over = np.maximum(palest(profile - paper), 0) * inside
    grain = float(np.std(palest(profile - paper)[~inside])) + rule.grain_least
    s_mm = float(over @ field.s_mm[low:high] / max(float(over.sum()), 1e-9))
    end = float(field.t_mm[columns.stop - 1 if at_left else columns.start])
    span = (0.0, end) if at_left else (end, field.width_mm)
    darkest = int(np.argmax(over))
    return Tick(s_mm, span, np.asarray(profile[darkest] - paper, float), float(over.max()) / grain)


def _candidate(ticks: list[Tick], slope: float, field: Field) -> Candidate:
    """The line through one tick, or through two, as if it had been traced."""
    t, s = np.array([sum(one.span_mm) / 2 for one in ticks]), np.array([one.s_mm for one in ticks])
    coefficients = polyfit(t, s, 1) if len(ticks) > 1 else np.array([s[0] - slope * t[0], slope])
    curve = np.asarray(polynomial_at(field.bin_t_mm, coefficients), float)
    half = float(field.bin_t_mm[1] - field.bin_t_mm[0]) / 2
    seen = np.zeros(len(curve), bool)
    for one in ticks:
        seen |= (field.bin_t_mm + half > one.span_mm[0]) & (field.bin_t_mm - half < one.span_mm[1])
        seen[0 if one.at_left else -1] = True  # one shorter than the rim that bins leave out lies before the first
    rows = (curve - field.fine_s_mm[0]) / field.row_mm
    trace = Trace(rows, seen, min(one.contrast for one in ticks), coefficients, curve, field.cell_mm / 4)
    r, g, b = (float(v) for v in np.mean([one.colour for one in ticks], axis=0))
    return Candidate(
        "pencil", trace, float(polynomial_at(field.width_mm / 2, coefficients)), float(seen.mean()), (r, g, b)
    )
