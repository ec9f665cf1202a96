"""The patch of paper that a spot fills, cut out of its lane with bare paper at both its ends."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from webcapture.measure.field import Field
from webcapture.measure.windows import blurred
from webcapture.model import Blotches, Floats, Floats32
from webcapture.robust import NEVER_NONE, median, quantile, spread
from webcapture.settings import DEFAULTS, SpotSettings

WIDTH_SD = 4.0
"""Standard deviations in a Gaussian's width at its base, between the tangents at its steepest places."""


@dataclass(frozen=True, slots=True, eq=False)
class Region:
    """A stretch of the lane that holds one spot or several that overlap."""

    peaks: list[int]
    """Rows of the maxima."""
    low: int
    high: int
    """Rows, ends included."""
    signal_to_noise: float


@dataclass(frozen=True, slots=True, eq=False)
class Patch:
    """A region in the columns that it fills, with bare paper at both its ends."""

    planes: Floats
    """(3, rows, cols) absorbance above the paper, and above what paper is left at the ends."""
    profile: Floats
    """(rows, 3) its mean over the columns."""
    s_mm: Floats
    t_mm: Floats
    light: Floats32
    """(rows,) log10 of the light beside the strip, which was taken off."""
    first: int
    """Row of the lane that row 0 is."""
    noise: Floats
    """(3,) standard deviation of the patch's profile at one row."""
    blotches: Blotches | None
    """What compression left in it; None where that is not known."""
    core: np.ndarray
    """(cols,) which columns are the spot's middle."""
    fill: float
    """Share of the lane's width."""


def patch_of(
    lane: Floats32,
    bare: np.ndarray,
    region: Region,
    free: tuple[int, int],
    field: Field,
    corner: tuple[int, int],
    settings: SpotSettings = DEFAULTS.spot,
) -> Patch:
    """Cut out the region with as much bare paper at both ends as its neighbours leave and its level needs.

    lane: (3, rows, cols) absorbance; free: rows that the neighbours leave; corner: row and column of the field at which the lane begins.
    """
    flank = round(settings.flank_mm / field.cell_mm)
    low, high = max(region.low - flank, free[0], 0), min(region.high + flank, free[1], lane.shape[1] - 1)
    left, right, core = _span_across(lane[:, region.low : region.high + 1], settings)
    planes = lane[:, low : high + 1, left : right + 1].astype(float)
    profile = planes.mean(axis=2)
    ends = _ends(profile, region.low - low, high - region.high, settings.flank_rows)
    if ends is not None:
        line = ends[0] + (ends[1] - ends[0]) * np.linspace(0, 1, high + 1 - low)
        planes -= line[..., None]
        profile -= line
    return Patch(
        planes=planes,
        profile=profile.T,
        s_mm=field.s_mm[corner[0] + low : corner[0] + high + 1],
        t_mm=field.t_mm[corner[1] + left : corner[1] + right + 1],
        light=field.light[_rows_of(field, corner[0] + low, corner[0] + high + 1)].mean(axis=1),
        first=low,
        noise=_row_noise(lane[..., left : right + 1], bare[:, left : right + 1], settings),
        blotches=field.blotches,
        core=core,
        fill=(right - left + 1) / lane.shape[2],
    )


def _rows_of(field: Field, first: int, end: int) -> np.ndarray:
    """The fine rows at the middles of these cells."""
    rows = np.round((field.s_mm[first:end] - field.fine_s_mm[0]) / field.row_mm).astype(int)
    return np.asarray(np.minimum(np.maximum(rows, 0), len(field.light) - 1), int)


def _span_across(region: Floats32, settings: SpotSettings) -> tuple[int, int, np.ndarray]:
    """(first column, last column, which of these are its middle) that a region (3, rows, cols) fills, around its strongest."""
    # Signed sums: the noise of many bare cells must not add up to a veil.
    strength = region.sum(axis=1)
    weight = np.maximum(strength.sum(axis=1), 0)
    across = blurred((weight / max(float(weight.sum()), 1e-9)) @ strength, settings.across_smooth)
    peak = int(np.argmax(across))
    left, right = extent(across, peak, settings.across_share * across[peak])
    return left, right, across[left : right + 1] > settings.core_share * across[peak]


def _row_noise(columns: Floats32, bare: np.ndarray, settings: SpotSettings) -> Floats:
    """(3,) standard deviation of the mean of these columns from row to row: where they are bare, else where they are palest."""
    all_of_them = np.ones(columns.shape[2], np.float32)  # a sum takes a fifth of the time as a product
    profile = columns @ all_of_them / len(all_of_them)
    paper = bare @ all_of_them > settings.bare_columns * len(all_of_them)
    if np.count_nonzero(paper) < settings.bare_rows:
        dark = profile.max(axis=0)
        paper = dark <= quantile(dark, settings.palest_share)
    return np.asarray(spread(profile[:, paper], axis=1) + NEVER_NONE, float)


def _ends(profile: Floats, before: int, after: int, least: int) -> tuple[Floats, Floats] | None:
    """(3, 1) and (3, 1) what is left of the paper at the first and last of (3, rows); None where there is too little bare paper."""
    if before < least or after < least:
        return None
    return median(profile[:, :before], axis=1)[:, None], median(profile[:, -after:], axis=1)[:, None]


def extent(smooth: Floats | Floats32 | list[float], peak: int, floor: float) -> tuple[int, int]:
    """First and last place of those around ``peak`` that lie above ``floor``; of a list it is told in half the time."""
    low = high = peak
    while low > 0 and smooth[low - 1] > floor:
        low -= 1
    while high < len(smooth) - 1 and smooth[high + 1] > floor:
        high += 1
    return low, high


def reach_above(profile: Floats | Floats32, peak: int, level: float) -> tuple[float, float]:
    """How far before and after a peak its profile falls to ``level``, rows and fractions; half a row further where it ends."""
    low, high = extent(profile, peak, level)
    return peak - low + _beyond(profile, low, -1, level), high - peak + _beyond(profile, high, 1, level)


def _beyond(profile: Floats | Floats32, row: int, step: int, level: float) -> float:
    """How far beyond the last row above ``level`` the profile falls to it, rows; half a row where the profile ends."""
    if not 0 <= row + step < len(profile):
        return 0.5
    inner, outer = float(profile[row]), float(profile[row + step])
    return (inner - level) / max(inner - outer, 1e-12)
