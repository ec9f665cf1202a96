"""The strip as a field of absorbance, in the two resolutions that the search for lines and for spots need."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d

from webcapture.measure.channels import each, in_planes, palest
from webcapture.model import Blotches, Floats, Floats32, StripCells
from webcapture.robust import SD_PER_MAD, median, quantile
from webcapture.settings import FieldSettings

SAMPLE = 5
"""Every fifth row and column tell the paper's brightness as well as all do."""
COARSE = 4
"""Rows to a step of an edge's shift: half a millimetre, less than a shadow's edge is soft."""
MEANS = 3
"""Running means that come near to a Gaussian. Of width w, three have a standard deviation of w / 2."""


@dataclass(frozen=True, slots=True, eq=False)
class Field:
    """Absorbance on the strip, relative to its palest paper."""

    absorbance: Floats32
    """(rows, cols, 3) in even cells of ``cell_mm``, R, G, B; in memory plane after plane."""
    s_mm: Floats
    """(rows,) places of the cells along the strip."""
    t_mm: Floats
    """(cols,) places of the cells across it."""
    cell_mm: float
    """Side of a cell."""
    fine: Floats32
    """(fine rows, bins, 3) absorbance at full resolution along the strip, averaged over bins across it."""
    fine_palest: Floats32
    """(fine rows, bins) of it in the channel that shows least, of those whose scale does not end at this paper."""
    fine_s_mm: Floats
    """(fine rows,) places along the strip."""
    bin_t_mm: Floats
    """(bins,) middles of the bins across."""
    light: Floats32
    """(fine rows, 2) log10 of the light beside the strip, left and right, that was taken off."""
    beside: Floats32
    """(fine rows, 2) the same with shadows' edges kept on sheets of any width, without the print's grain."""
    length_mm: float
    width_mm: float
    rim_mm: float
    """Width at both long edges where card and paper mix."""
    clipped: np.ndarray
    """(rows, cols, 3) where a channel is as light as the camera can tell, or nearly."""
    fine_clipped: np.ndarray
    """(fine rows, bins, 3) the same at full resolution."""
    uneven: bool
    """Whether light differs across the strip in a way that the card beside does not explain."""
    blotches: Blotches | None = None
    """What the photo's compression left on bare paper; None where that is not known."""

    @property
    def row_mm(self) -> float:
        """Spacing of the fine rows."""
        return float(self.fine_s_mm[1] - self.fine_s_mm[0])


def field_of(strip: StripCells, settings: FieldSettings) -> Field:
    """Absorbance of the strip: what the light beside it does not explain, in even cells and in bins across."""
    rows, cols = strip.cells.shape[:2]
    fine_rows, bins = strip.bins.shape[:2]
    beside = _calmed(strip.light, strip, settings)
    # Across a wide sheet the card beside tells only the slow change of light.
    slow = settings.slow_mm * fine_rows / strip.length_mm
    light = _smoothed(strip.light, slow) if strip.width_mm >= settings.wide_mm else beside
    shift = _edge_shift(light, strip, settings)
    t_mm = (np.arange(cols) + 0.5) * strip.width_mm / cols
    inner = strip.width_mm - 2 * strip.rim_mm
    bin_t = strip.rim_mm + (np.arange(bins) + 0.5) * inner / bins
    place = (np.arange(rows) + 0.5) * fine_rows / rows - 0.5
    even = strip.cells - _across(light, place, t_mm / strip.width_mm, shift)[..., None]
    some = in_planes(even[::SAMPLE, ::SAMPLE]).reshape(3, -1)
    paper = np.asarray(quantile(some, settings.paper_percentile / 100, axis=1), np.float32)
    bin_light = _across(light, np.arange(fine_rows, dtype=float), bin_t / strip.width_mm, shift)
    fine = -each(each(strip.bins, np.subtract, bin_light), np.subtract, paper)
    clipped = strip.bins > settings.clipped
    return Field(
        absorbance=paper - even,
        s_mm=(np.arange(rows) + 0.5) * strip.length_mm / rows,
        t_mm=t_mm,
        cell_mm=strip.cell_mm,
        fine=fine,
        fine_palest=_palest_told(fine, clipped, settings),
        fine_s_mm=(np.arange(fine_rows) + 0.5) * strip.length_mm / fine_rows,
        bin_t_mm=bin_t,
        light=light,
        beside=beside,
        length_mm=strip.length_mm,
        width_mm=strip.width_mm,
        rim_mm=strip.rim_mm,
        clipped=strip.cells > settings.clipped,
        fine_clipped=clipped,
        uneven=_is_uneven(light, strip, shift, settings) or _is_split(even, strip, settings),
        blotches=strip.blotches,
    )


def _palest_told(fine: Floats32, clipped: np.ndarray, settings: FieldSettings) -> Floats32:
    """(fine rows, bins) absorbance in the channel that shows least, without channels that show none because they are clipped."""
    told = clipped[::SAMPLE].mean(axis=(0, 1)) < settings.clipped_share
    return palest(fine) if told.all() or not told.any() else np.asarray(fine[..., told].min(axis=2), np.float32)


def _calmed(light: Floats32, strip: StripCells, settings: FieldSettings) -> Floats32:
    """(rows, 2) the light beside the strip without the grain of the print; shadows' edges, which stand out of it, are kept."""
    scale = len(light) / strip.length_mm
    slow = _smoothed(light, settings.calm_mm * scale)
    rest = light - slow
    grain = SD_PER_MAD * median(np.abs(rest), axis=0) * settings.grain_sd
    kept = np.sign(rest) * np.maximum(np.abs(rest) - grain, 0)
    return np.asarray(slow + kept, np.float32)


def _smoothed(light: Floats32, sigma: float) -> Floats32:
    """Averaged over about a Gaussian of ``sigma`` rows: three running means, whose cost does not grow with their width."""
    size = max(round(sigma * 2), 1) | 1
    for _ in range(MEANS):
        light = uniform_filter1d(light, size, axis=0, mode="nearest")
    return light


def _across(light: Floats32, rows: Floats, share: Floats, shift: int) -> Floats32:
    """(rows, cols) the light at fractional ``rows`` and at ``share`` of the width, between what is seen at both sides.

    A shadow's edge is straight: where it crosses aslant, the light is followed along it, not along the rows.
    """
    part = share.astype(np.float32)
    if shift == 0:
        known = np.arange(len(light))
        left, right = (np.interp(rows, known, light[:, side]).astype(np.float32)[:, None] for side in (0, 1))
    else:
        left = _at(light[:, 0], rows[:, None] - share * shift)
        right = _at(light[:, 1], rows[:, None] + (1 - share) * shift)
    return np.asarray(left * (1 - part) + right * part, np.float32)


def _at(values: Floats32, places: Floats) -> Floats32:
    """``values`` at fractional places in any shape, linear between neighbours; beyond the ends the end values."""
    last = len(values) - 1
    place = np.minimum(np.maximum(places, 0), last)
    low = np.minimum(place.astype(np.intp), last - 1)
    below = values[low]
    return np.asarray(below + (values[low + 1] - below) * (place - low).astype(np.float32), np.float32)


def _is_uneven(light: Floats32, strip: StripCells, shift: int, settings: FieldSettings) -> bool:
    """Across a wide sheet always; across a narrow one where its two sides differ and no straight edge explains it."""
    return strip.width_mm >= settings.wide_mm or (
        shift == 0 and float(np.ptp(light[:, 1] - light[:, 0])) > settings.uneven
    )


def _is_split(even: Floats32, strip: StripCells, settings: FieldSettings) -> bool:
    """Whether one side of the paper lies in shade along most of its length: the card beside tells how light changes along alone."""
    rim = round(strip.rim_mm / strip.cell_mm)
    paper = even[::SAMPLE, rim : even.shape[1] - rim, 1]
    side = max(round(paper.shape[1] * settings.side_share), 1)
    return abs(float(median(paper[:, :side]) - median(paper[:, -side:]))) > settings.split


def _edge_shift(light: Floats32, strip: StripCells, settings: FieldSettings) -> int:
    """Rows by which the right side's light follows the left's; 0 where no shift explains the difference well."""
    if strip.width_mm >= settings.wide_mm or np.ptp(light, axis=0).max() < settings.edge_least:
        return 0
    coarse = light[::COARSE].astype(float)
    reach = min(
        round(settings.edge_reach_mm * len(coarse) / strip.length_mm),
        len(coarse) - len(coarse) // settings.edge_overlap,
    )
    shifts, costs = np.arange(-reach, reach + 1), _misfits(coarse[:, 0], coarse[:, 1], reach)
    best = int(np.argmin(costs))
    differs = costs[reach] > settings.edge_differs**2
    return COARSE * int(shifts[best]) if differs and costs[best] < settings.edge_gain * costs[reach] else 0


def _misfits(left: Floats, right: Floats, reach: int) -> Floats:
    """(2 · reach + 1,) variance of the left side's light less the right side's that many rows on, for each shift from -reach to reach."""
    n, shifts = len(left), np.arange(-reach, reach + 1)
    low, high = np.maximum(shifts, 0), n + np.minimum(shifts, 0)
    left, right = left - left.mean(), right - right.mean()  # lest squares of the common level drown the differences
    product = np.correlate(right, left, "full")[n - 1 + shifts]
    sums = [np.concatenate([[0.0], np.cumsum(values)]) for values in (left, right, left**2, right**2)]
    one, other, square, other_square = (
        total[high - part] - total[low - part] for total, part in zip(sums, (shifts, 0, shifts, 0), strict=True)
    )
    return np.asarray((square + other_square - 2 * product) / (high - low) - ((one - other) / (high - low)) ** 2)
