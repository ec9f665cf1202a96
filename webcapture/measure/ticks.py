"""Fronts marked by short strokes: at the paper's edge, over each lane, or by one or two.

Too short to be followed across the strip, they are told by standing alone. Letters stand beside each other, and what marks a
spot stands beside it; a level stroke with nothing near it, or a row of such, is where somebody marked how far the solvent had
come.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.polynomial.polynomial import polyfit
from scipy.ndimage import find_objects, label

from webcapture.measure.channels import darkest, palest
from webcapture.measure.curves import polynomial_at
from webcapture.measure.field import Field
from webcapture.measure.landmarks import Candidate
from webcapture.measure.tracing import Trace
from webcapture.measure.traits import is_grey, is_inside
from webcapture.measure.windows import closed, running_mean
from webcapture.model import Floats
from webcapture.robust import median
from webcapture.settings import LandmarkSettings, TickSettings

EVERY_WAY = np.ones((3, 3), int)
SKIPPED = 4
"""A level stroke goes on over fewer cells than this: pencil skips on rough paper."""
NEIGHBOURS = 3
"""Cells to a side of the squares in which colour beside a stroke is looked for: the paper's grain is no colour."""


@dataclass(frozen=True, slots=True, eq=False)
class Tick:
    """One such stroke."""

    s_mm: float
    span_mm: tuple[float, float]
    """t of its two ends; of the paper's edge, where it comes in from there."""
    at_left: bool
    """Whether it comes in from t = 0."""
    at_right: bool
    """Whether it comes in from the other edge."""
    colour: Floats
    """(3,) absorbance above the paper beside."""
    contrast: float
    """The same over the paper's grain, in standard deviations."""

    @property
    def at_edge(self) -> bool:
        """Whether it comes in from either edge."""
        return self.at_left or self.at_right

    @property
    def t_mm(self) -> float:
        """Of its middle."""
        return sum(self.span_mm) / 2


def ticked_fronts(
    field: Field, strokes: np.ndarray, origin: Candidate | None, rule: TickSettings, landmark: LandmarkSettings
) -> list[Candidate]:
    """Lines through short strokes beyond the origin, from its end upwards; one alone runs on level with the origin line.

    Strokes that make one row are one front. Else those at the edges count, as two that face each other or each for itself;
    within the paper, at several heights, they mark something else. strokes: (rows, cols) cells under pencil.
    """
    slope = _slope(origin, field)
    least = (origin.middle_mm if origin else 0.0) + landmark.least_run_mm
    ticks = _without_scales(lone_strokes(field, strokes, rule, landmark), rule)
    ticks = sorted((one for one in ticks if one.s_mm > least), key=lambda one: one.t_mm)
    if not ticks:
        return []
    row = _is_row(ticks, slope, rule) and any(not one.at_edge for one in ticks)
    if row and _tells_alone(ticks, field, strokes, rule):
        return [replace(_candidate(ticks, slope, field), by_few=len(ticks) <= rule.most)]
    rows = _facing([one for one in ticks if one.at_edge], slope, rule.facing_mm)
    return sorted((_candidate(one, slope, field) for one in rows), key=lambda c: c.middle_mm)


def _slope(line: Candidate | None, field: Field) -> float:
    """Of a line from one side of the strip to the other; level where there is none."""
    if line is None:
        return 0.0
    low, high = polynomial_at(np.array([0.0, field.width_mm]), line.trace.coefficients)
    return float(high - low) / field.width_mm


def _without_scales(ticks: list[Tick], rule: TickSettings) -> list[Tick]:
    """Those that are not among many along one edge: a row of them along the strip is a scale."""
    on_left, on_right = sum(one.at_left for one in ticks), sum(one.at_right for one in ticks)
    return [
        one
        for one in ticks
        if not (one.at_left and on_left > rule.most) and not (one.at_right and on_right > rule.most)
    ]


def _facing(ticks: list[Tick], slope: float, apart_mm: float) -> list[list[Tick]]:
    """Edge strokes with those that face them at nearly the same height, along a line of that slope; or each for itself."""
    left, right = ([one for one in ticks if one.at_left is side] for side in (True, False))
    rows = []
    for one in left:
        apart = [abs(two.s_mm - one.s_mm - slope * (two.t_mm - one.t_mm)) for two in right]
        nearest = int(np.argmin(apart)) if apart else -1
        rows.append([one, right.pop(nearest)] if apart and apart[nearest] < apart_mm else [one])
    return rows + [[one] for one in right]


def _is_row(ticks: list[Tick], slope: float, rule: TickSettings) -> bool:
    """Whether strokes, from left to right, stand beside each other and level: as a front leans and bows, along a line of that slope."""
    return all(
        one.span_mm[1] < two.span_mm[0]
        and abs(two.s_mm - one.s_mm - slope * (two.t_mm - one.t_mm))
        <= max(rule.row_mm, rule.row_lean * (two.t_mm - one.t_mm))
        for one, two in pairwise(ticks)
    )


def _tells_alone(row: list[Tick], field: Field, strokes: np.ndarray, rule: TickSettings) -> bool:
    """Whether a row within the paper marks a front: of a few each is too long for a letter's bar and marks no spot; of many, most do not."""
    if any(_has_words_beside(one, row, field, strokes, rule) for one in row):
        return False
    clear = sum(_is_clear(one, field, rule) for one in row)
    long = all(one.span_mm[1] - one.span_mm[0] >= rule.single_mm for one in row)
    return 2 * clear > len(row) if len(row) > rule.most else long and clear == len(row)


def _has_words_beside(one: Tick, row: list[Tick], field: Field, strokes: np.ndarray, rule: TickSettings) -> bool:
    """Whether anything else is written left or right of a stroke, at its height: it is a blank to be filled in, or a dash."""
    rim = rule.rim_mm
    rows = np.abs(field.s_mm - one.s_mm) < rule.beside_mm
    near = (field.t_mm > max(one.span_mm[0] - rule.word_mm, rim)) & (
        field.t_mm < min(one.span_mm[1] + rule.word_mm, field.width_mm - rim)
    )
    for other in row:
        near &= (field.t_mm < other.span_mm[0] - rim) | (field.t_mm > other.span_mm[1] + rim)
    return bool(strokes[np.ix_(rows, near)].any())


def _is_clear(one: Tick, field: Field, rule: TickSettings) -> bool:
    """Whether nothing but paper lies right below and above a stroke: what marks a spot's edge or middle lies beside it."""
    columns = (field.t_mm > one.span_mm[0]) & (field.t_mm < one.span_mm[1])
    away = np.abs(field.s_mm - one.s_mm)
    beside = darkest(field.absorbance[away < rule.clear_mm][:, columns])
    smooth = running_mean(running_mean(beside, NEIGHBOURS, 0), NEIGHBOURS, 1)[away[away < rule.clear_mm] > rule.high_mm]
    return float(smooth.max() - median(smooth)) < rule.clear_least


def lone_strokes(field: Field, strokes: np.ndarray, rule: TickSettings, landmark: LandmarkSettings) -> list[Tick]:
    """Short level strokes that stand alone, from the strip's long edges or within. strokes: (rows, cols) cells under pencil."""
    rim = max(round(rule.rim_mm / field.cell_mm), 1)
    inner = strokes[:, rim:-rim]
    if inner.shape[1] < 2 * rim:
        return []
    parts, _ = label(closed(inner, SKIPPED), structure=EVERY_WAY)
    found = []
    for n, (rows, columns) in enumerate(find_objects(parts), 1):
        at_left, at_right = columns.start <= 1, columns.stop >= inner.shape[1] - 1
        at_edge = at_left or at_right
        across = (columns.stop - columns.start + rim * at_edge) * field.cell_mm
        level = (rows.stop - rows.start) * field.cell_mm <= rule.high_mm + rule.lean * across
        least = rule.long_mm[0] if at_edge else rule.within_mm
        fits = least <= across <= min(rule.long_mm[1], rule.long_share * field.width_mm)
        if (at_left and at_right) or not level or not fits or not _is_alone(parts, n, rows, columns, field, rule):
            continue
        tick = _measured(field, rows, slice(columns.start + rim, columns.stop + rim), (at_left, at_right), rule)
        inside = is_inside(tick.s_mm, field, landmark)
        if inside and tick.contrast >= rule.least_sd and is_grey(tick.colour, landmark):
            found.append(tick)
    return found


def _is_alone(parts: np.ndarray, n: int, rows: slice, columns: slice, field: Field, rule: TickSettings) -> bool:
    """Whether no other stroke is near."""
    reach = round(rule.alone_mm / field.cell_mm)
    near = parts[max(rows.start - reach, 0) : rows.stop + reach, max(columns.start - reach, 0) : columns.stop + reach]
    return not ((near != 0) & (near != n)).any()


def _measured(field: Field, rows: slice, columns: slice, at_edges: tuple[bool, bool], rule: TickSettings) -> Tick:
    """Its place by the weighted mean of what is darker than the paper on both sides of it. at_edges: the left, the right."""
    beside = round(rule.beside_mm / field.cell_mm)
    low, high = max(rows.start - beside, 0), min(rows.stop + beside, len(field.s_mm))
    profile = field.absorbance[low:high, columns].mean(axis=1)
    inside = np.zeros(high - low, bool)
    inside[rows.start - low : rows.stop - low] = True
    paper = median(profile[~inside], axis=0)
    over = np.maximum(palest(profile - paper), 0) * inside
    grain = float(np.std(palest(profile - paper)[~inside])) + rule.grain_least
    s_mm = float(over @ field.s_mm[low:high] / max(float(over.sum()), 1e-9))
    low_mm = 0.0 if at_edges[0] else float(field.t_mm[columns.start])
    high_mm = field.width_mm if at_edges[1] else float(field.t_mm[columns.stop - 1])
    colour = np.asarray(profile[int(np.argmax(over))] - paper, float)
    return Tick(s_mm, (low_mm, high_mm), *at_edges, colour, float(over.max()) / grain)


def _candidate(row: list[Tick], slope: float, field: Field) -> Candidate:
    """The line through one stroke, or through several, as if it had been traced: each bin that one is seen in has its height."""
    t, s = np.array([one.t_mm for one in row]), np.array([one.s_mm for one in row])
    coefficients = polyfit(t, s, 1) if len(row) > 1 else np.array([s[0] - slope * t[0], slope])
    curve = np.asarray(polynomial_at(field.bin_t_mm, coefficients), float)
    places, seen = curve.copy(), np.zeros(len(curve), bool)
    half = float(field.bin_t_mm[1] - field.bin_t_mm[0]) / 2
    for one in row:
        here = (field.bin_t_mm + half > one.span_mm[0]) & (field.bin_t_mm - half < one.span_mm[1])
        # One shorter than the rim that bins leave out lies before the first, or behind the last.
        here[0] |= one.at_left
        here[-1] |= one.at_right
        places[here] = curve[here] + one.s_mm - float(polynomial_at(one.t_mm, coefficients))
        seen |= here
    rows = (places - field.fine_s_mm[0]) / field.row_mm
    trace = Trace(rows, seen, min(one.contrast for one in row), coefficients, curve, field.cell_mm / 4)
    r, g, b = (float(v) for v in np.mean([one.colour for one in row], axis=0))
    return Candidate(
        "pencil", trace, float(polynomial_at(field.width_mm / 2, coefficients)), float(seen.mean()), (r, g, b)
    )
