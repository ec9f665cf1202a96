"""Small spots that stayed on the origin line, beneath line and cross: as thin as strokes, they pass for pencil and are filled in with it."""

from __future__ import annotations

import numpy as np
from scipy.signal import find_peaks

from webcapture.measure.blobs import Blob
from webcapture.measure.channels import palest
from webcapture.measure.curves import polynomial_at
from webcapture.measure.field import Field
from webcapture.measure.patch import reach_above
from webcapture.measure.windows import blurred, opened, widened
from webcapture.measure.writing import filled_share
from webcapture.model import Floats, Floats32
from webcapture.robust import median
from webcapture.settings import BeneathSettings


def spots_beneath(field: Field, origin: Floats, rule: BeneathSettings) -> np.ndarray:
    """(rows, cols) cells around the origin line, a polynomial s(t), that are a spot's and no pencil's.

    Beside the line, above it and below, a stroke that crosses it is narrow and a shadow is wide: what is as wide as a small
    spot on both sides at once is one. Strokes that meet fill as much, but only right beside the line; the arms of a
    slanting cross leave bare paper between them, and a ring leaves it within.
    """
    at_mm = np.asarray(polynomial_at(field.t_mm, origin), float)
    nearer = _beside(field, at_mm, rule.close_mm)
    close = _as_wide_as_spots(nearer, field, rule) >= rule.close_least
    further = _beside(field, at_mm, rule.apart_mm)
    around = 2 * round(rule.around_mm / field.cell_mm) + 1
    apart = widened(_as_wide_as_spots(further, field, rule)[None] >= rule.apart_least, around)[0]
    columns = np.zeros(len(close), bool)
    for piece in _pieces(close):
        middle = (piece.start + piece.stop) // 2
        beside = slice(max(middle - 1, 0), middle + 2)
        filled = further[beside].min() >= rule.between_least
        falls = nearer[beside].min() >= rule.ring * further[beside].min()
        columns[piece] = apart[piece].any() and filled and falls
    for middle in _soft_ones(nearer, further, field.cell_mm, rule):
        columns[middle] = True
    return _around(columns, at_mm, field, rule)


def colours_beneath(field: Field, origin: Floats, rule: BeneathSettings) -> np.ndarray:
    """(rows, cols) cells around the origin line, a polynomial s(t), that are a small spot's of a colour of its own."""
    at_mm = np.asarray(polynomial_at(field.t_mm, origin), float)
    columns = np.zeros(len(at_mm), bool)
    columns[_coloured_ones(field, at_mm, rule)] = True
    return _around(columns, at_mm, field, rule)


def _around(columns: np.ndarray, at_mm: Floats, field: Field, rule: BeneathSettings) -> np.ndarray:
    """(rows, cols) cells near these columns and the line."""
    columns = widened(columns[None], 2 * round(rule.around_mm / field.cell_mm) + 1)[0]
    return np.asarray(columns & (np.abs(field.s_mm[:, None] - at_mm) < rule.reach_mm))


def _soft_ones(nearer: Floats32, further: Floats32, cell_mm: float, rule: BeneathSettings) -> list[int]:
    """Columns at the middles of soft round spots: paler than steep ones may be, but as broad close to the line as further off.

    A stroke is narrower. Where two slanting ones cross, however blurred, what is seen further off is an arm on each side.
    """
    peaks, _ = find_peaks(nearer, height=rule.soft_least)
    middles = []
    for peak in peaks.tolist():
        before, after = reach_above(nearer, peak, float(nearer[peak]) / 2)
        under = further[max(peak - int(before) - 1, 0) : peak + int(after) + 2]
        top = peak - 1 + int(np.argmax(further[peak - 1 : peak + 2]))
        fades = rule.soft_fades[0] <= further[top] / nearer[peak] <= rule.soft_fades[1]
        broad = rule.soft_mm[0] <= (before + after) * cell_mm <= rule.soft_mm[1]
        if not fades or not broad or further[top] < rule.soft_middle * under.max():
            continue
        share = sum(reach_above(further, top, float(further[top]) / 2)) / (before + after)
        if rule.soft_breadths[0] <= share <= rule.soft_breadths[1]:
            middles.append(peak)
    return middles


def _coloured_ones(field: Field, at_mm: Floats, rule: BeneathSettings) -> list[int]:
    """Columns at the middles of small spots of a colour of their own that lie about the line: pencil has none, and hides none."""
    away = np.arange(-rule.tinge_far_mm, rule.tinge_far_mm + field.cell_mm / 2, field.cell_mm)
    rows = np.rint((at_mm + away[:, None] - field.s_mm[0]) / field.cell_mm).astype(int)
    near = field.absorbance[rows.clip(0, len(field.s_mm) - 1), np.arange(len(field.t_mm))]
    near = near - median(near, axis=1)[:, None]
    on_line = near[np.abs(away) < rule.tinge_mm].mean(axis=0)
    tinge = np.asarray(blurred(np.ptp(on_line, axis=1), 1.0), float)
    if tinge.max() < rule.tinge_least:
        return []
    peaks, _ = find_peaks(np.pad(tinge, 1), height=rule.tinge_least)
    middles = []
    for peak in (peaks - 1).tolist():
        before, after = reach_above(tinge, peak, tinge[peak] / 2)
        if not rule.tinge_width_mm[0] <= (before + after) * field.cell_mm <= rule.tinge_width_mm[1]:
            continue
        along = np.ptp(near[:, max(peak - 1, 0) : peak + 2].mean(axis=1), axis=1)
        along = np.maximum(along - along[[0, -1]].max(), 0)
        if abs(float(along @ away)) <= rule.tinge_off_mm * float(along.sum()) > 0:
            middles.append(peak)
    return middles


def _pieces(mask: np.ndarray) -> list[slice]:
    """The unbroken runs of a (n,) mask."""
    ends = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]])))
    return [slice(int(low), int(high)) for low, high in ends.reshape(-1, 2)]


def is_beneath_marks(blob: Blob, field: Field, origin: Floats, square_mm: float, rule: BeneathSettings) -> bool:
    """Whether a grey spot stayed beneath the pencil of the origin line: darker there than line and cross together, and beside the line, too.

    What is filled in under pencil shows little of a small spot; here the paper counts as it was seen. square_mm: as wide as a
    stroke with its blur; where two cross it is paler over such a square.
    """
    near = rule.reach_mm
    rows, columns = np.abs(field.s_mm - blob.densest_mm) < near, np.abs(field.t_mm - blob.t_mm) < near
    seen = palest(field.absorbance[np.ix_(rows, columns)])
    height = float(seen.max(initial=0.0))
    darkest, over = rule.seen
    if height < darkest or height * filled_share(seen, field.cell_mm, square_mm) < over:
        return False
    at_mm = np.asarray(polynomial_at(field.t_mm, origin), float)
    close = _as_wide_as_spots(_beside(field, at_mm, rule.close_mm), field, rule)
    return bool(close[columns].max() >= rule.seen_close)


def _as_wide_as_spots(beside: Floats32, field: Field, rule: BeneathSettings) -> Floats32:
    """(cols,) absorbance of what is neither narrower nor wider than a small spot."""
    least, most = (-int(-width // field.cell_mm) for width in rule.width_mm)
    # At the paper's edges it goes on as it ends: a shadow there is as wide as any.
    wide = np.pad(beside, most, mode="edge")
    return np.asarray((opened(wide, least) - opened(wide, most))[most:-most], np.float32)


def _beside(field: Field, at_mm: Floats, between_mm: tuple[float, float]) -> Floats32:
    """(cols,) by how much absorbance the paper beside the line is darker than most of it is, in its paler side's palest channel."""
    near, far = between_mm
    away = np.arange(near, far, field.cell_mm)[:, None]
    columns = np.arange(len(field.t_mm))
    sides = []
    for side in (-1, 1):
        rows = np.rint((at_mm + side * away - field.s_mm[0]) / field.cell_mm).astype(int)
        seen = palest(field.absorbance[rows.clip(0, len(field.s_mm) - 1), columns]).mean(axis=0)
        sides.append(seen - median(seen))
    return np.asarray(np.minimum(*sides), np.float32)
