"""What shows along a line that was traced: how dark, how thin, how wide, how lasting it is."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from webcapture.measure.channels import darkest, mean
from webcapture.measure.curves import polynomial_at
from webcapture.measure.field import Field
from webcapture.measure.tracing import Trace
from webcapture.model import Floats, Floats32
from webcapture.robust import median, median_among, quantile
from webcapture.settings import LandmarkSettings

BINOMIAL = np.array([0.25, 0.5, 0.25])
"""Smoothing over three neighbours: the shortest even filter that lets nothing of a zigzag through."""


def middle_of(trace: Trace, field: Field) -> float:
    """s of its curve in the middle of the strip, millimetres."""
    return float(polynomial_at(field.width_mm / 2, trace.coefficients))


def slope_of(trace: Trace, field: Field) -> float:
    """How steeply it leans in the middle of the strip, where a bow is level: rise over run, without its sign."""
    return float(abs(trace.coefficients[1] + bend_of(trace) * field.width_mm))


def bend_of(trace: Trace) -> float:
    """How it bows: the factor of t², 1/mm; 0 of a straight one."""
    return float(trace.coefficients[2]) if len(trace.coefficients) > 2 else 0.0


def is_brown(colour: Floats, share: float) -> bool:
    """Whether a colour (3,) is what a solvent sweeps along: most in blue, and in red below that share of it."""
    red, green, blue = colour
    return bool(red < share * blue and green <= blue)


def is_grey(colour: Floats, settings: LandmarkSettings) -> bool:
    """Whether a line of that absorbance (3,) is grey, as pencil is."""
    return float(colour.min() / max(colour.max(), 1e-6)) >= settings.neutral


def colours_beside(lines: Sequence[Trace], field: Field, settings: LandmarkSettings) -> Floats:
    """(lines, bins) absorbance of the paper close to each line, on the darker side of it, above that where it is palest along the line."""
    flank = np.arange(*settings.beside_mm, field.row_mm)
    below, above = (darkest(_near(lines, field, side * flank)).mean(axis=2) for side in (-1, 1))
    beside = np.maximum(below, above)
    return np.asarray(beside - quantile(beside, settings.beside_share, axis=1)[:, None], float)


def contrasts_of(
    lines: Sequence[Trace],
    field: Field,
    core_mm: float,
    flank_mm: tuple[float, float],
    among: np.ndarray | None = None,
) -> Floats:
    """(lines, 3) median absorbance of each line above the paper on both its sides, beyond where ``flank_mm`` end.

    among: (lines, bins) which bins to take it from, instead of all in which it is seen.
    """
    core = _near(lines, field, np.arange(-core_mm, core_mm + field.row_mm / 2, field.row_mm)).mean(axis=2)
    sides = median(_flanks(lines, field, flank_mm), axis=2)
    return np.asarray(median_among(core - sides, _shown(lines) if among is None else among), float)


def palest_near(lines: Sequence[Trace], field: Field, flank_mm: tuple[float, float]) -> Floats:
    """(lines, 3) median absorbance of each line's palest near row above the palest paper beside it: below 0 beside a crease."""
    near = _near(lines, field, np.arange(-flank_mm[1], flank_mm[1] + field.row_mm / 2, field.row_mm)).min(axis=2)
    return np.asarray(median_among(near - _flanks(lines, field, flank_mm).min(axis=2), _shown(lines)), float)


def _flanks(lines: Sequence[Trace], field: Field, flank_mm: tuple[float, float]) -> Floats32:
    """(lines, bins, n, 3) the paper on both sides of each line, by the second of ``flank_mm`` further off than these say."""
    flank = np.arange(*flank_mm, field.row_mm)
    return _near(lines, field, np.concatenate([-flank - flank_mm[1], flank + flank_mm[1]]))


def rises_of(trace: Trace, field: Field, core_mm: float, flank_mm: tuple[float, float]) -> Floats:
    """(bins, 3) absorbance of the line above the mean of its two sides, which is what lies under a line on a band's slope."""
    bins = np.arange(len(trace.seen))[:, None]
    core = field.fine[rows_along(trace, field, offsets_of(core_mm, field.row_mm)), bins].mean(axis=1)
    flank = np.arange(*flank_mm, field.row_mm)
    below, above = (field.fine[rows_along(trace, field, side * flank), bins].mean(axis=1) for side in (-1, 1))
    return np.asarray(core - (below + above) / 2, float)


def strokes_on_bands(lines: Sequence[Trace], field: Field, settings: LandmarkSettings) -> Floats:
    """(lines, 3) median absorbance by which each line stands out of a band of colour that it was drawn on, or that ran onto it.

    From the fall to either side near the line, less what a curve as the band's own goes on to fall further off; the lesser of
    both sides, because a band may begin or end sharply.
    """
    near, far = settings.band_mm
    around = offsets_of(settings.core_mm, field.row_mm)
    core, *sides = (_near(lines, field, place + around).mean(axis=2) for place in (0.0, -near, near, -far, far))
    curve = near**2 / (far**2 - near**2)
    falls = [core - beside - curve * (beside - further) for beside, further in zip(sides[:2], sides[2:], strict=True)]
    return np.asarray(median_among(np.minimum(*falls), _shown(lines)), float)


def thinness_of(
    lines: Sequence[Trace], field: Field, settings: LandmarkSettings, sides: tuple[int, ...] = (-1, 1)
) -> Floats:
    """(lines,) how much of a line's darkness is gone at its flanks: 1 for a pencil line, less than half for a band of colour.

    ``sides``: at which of them; -1 is towards the origin end, where ink that runs from a line leaves none.
    """
    places = (np.array(sides) * x for x in (0.0, sum(settings.flank_mm) / 2, settings.thin_far_mm))
    seen = np.repeat(_shown(lines), len(sides), axis=1)
    at_core, at_near, at_far = (
        median_among(mean(_near(lines, field, place)).reshape(seen.shape), seen).astype(float) for place in places
    )
    return np.asarray((at_core - at_near) / np.maximum(at_core - at_far, 1e-6), float)


def width_of(line: Trace, field: Field, settings: LandmarkSettings, channel: int = 2) -> float:
    """Full width at half height of a faint line, in blue if not told otherwise, millimetres: the mean of all bins, laid on one another."""
    offsets = offsets_of(settings.width_reach_mm, settings.profile_mm)
    near, outer = (round(mm / settings.profile_mm) for mm in (settings.width_peak_mm, settings.width_base_mm))
    profile = field.fine[rows_along(line, field, offsets), np.arange(len(line.seen))[:, None], channel].mean(axis=0)
    middle = len(offsets) // 2
    peak = middle - near + int(np.argmax(profile[middle - near : middle + near + 1]))
    base = max(float(median(profile[:outer])), float(median(profile[-outer:])))
    half = base + (profile[peak] - base) / 2
    low = high = peak
    while low > 0 and profile[low] > half:
        low -= 1
    while high < len(profile) - 1 and profile[high] > half:
        high += 1
    return float(offsets[high] - offsets[low])


def step_heights(lines: Sequence[Trace], field: Field, settings: LandmarkSettings) -> Floats:
    """(lines, bins, 3) how much darker the paper is right below each line than right above it."""
    near = np.arange(*settings.height_mm, settings.sample_mm)
    below, above = (median(_near(lines, field, side * near), axis=2) for side in (-1, 1))
    return np.asarray(below - above, float)


def open_above(lines: Sequence[Trace], field: Field, settings: LandmarkSettings) -> np.ndarray:
    """(lines, 3) which channels can show a step: those in which the camera's scale does not end at the paper right above the line."""
    rows = _all_along(lines, field, np.arange(*settings.height_mm, settings.sample_mm))
    clipped = field.fine_clipped[rows, np.arange(rows.shape[1])[:, None]]
    return np.asarray(clipped.mean(axis=(1, 2)) < settings.clipped_share)


def lasting_step(
    trace: Trace, field: Field, far_mm: float, settings: LandmarkSettings, among: np.ndarray | None = None
) -> float:
    """How much of a step lasts down to ``far_mm`` below the line: the palest part of the paper counts, so that colour does not.

    among: (bins,) which bins to take it from, instead of all.
    """
    bins = np.arange(len(trace.seen))[:, None]
    below = np.arange(-far_mm, -settings.lasting_near_mm, settings.lasting_step_mm)
    room = field.length_mm - settings.end_mm - middle_of(trace, field)
    most = max(min(settings.most_lasting_mm, room), settings.lasting_least_mm)
    above = np.arange(settings.lasting_near_mm, most, settings.lasting_step_mm)
    low = quantile(field.fine_palest[rows_along(trace, field, below), bins], settings.pale_share, axis=1)
    high = quantile(field.fine_palest[rows_along(trace, field, above), bins], settings.pale_share, axis=1)
    lasting = low - high
    return float(median(lasting if among is None else lasting[among]))


def running_across(
    lines: Sequence[Trace], response: Floats32, least: float, field: Field, settings: LandmarkSettings
) -> list[Trace]:
    """Those of the faint lines that lie on the paper and are seen over at least that share of the width."""
    steady = [line for line in lines if line.spread_mm < settings.faint_spread_mm]
    inside = [line for line in steady if is_inside(middle_of(line, field), field, settings)]
    shares = _shares_above(inside, response, field, settings) if inside else []
    return [line for line, share in zip(inside, shares, strict=True) if share >= least]


def _shares_above(
    lines: Sequence[Trace], response: Floats32, field: Field, settings: LandmarkSettings
) -> Iterable[float]:
    """Share of the bins in which each fitted curve itself runs on a response."""
    offsets = offsets_of(settings.faint_reach_mm, settings.sample_mm)
    near = response[_all_along(lines, field, offsets), np.arange(response.shape[1])[:, None]]
    # The curve may lie a little off, but all of it by as much: the best of five places in each bin, chance reaches too.
    least = np.maximum(settings.faint_seen, settings.faint_share * quantile(near, 0.8, axis=1))
    shares: list[float] = (near > least[:, None]).mean(axis=1).max(axis=1).tolist()
    return shares


def has_no_gaps(rises: Floats, settings: LandmarkSettings) -> bool:
    """Whether a line shows in nearly all bins: between a row of letters' strokes is bare paper. rises: (bins, 3)."""
    blue = rises[:, 2]
    return bool((blue > settings.gap_share * median(blue)).mean() >= settings.stain_coverage)


def shared_by_card(trace: Trace, height: float, field: Field, settings: LandmarkSettings) -> bool:
    """Whether the light on the card steps at the same place on both sides of the strip: then it is a shadow's edge."""
    ends = polynomial_at(np.array([0.0, field.width_mm]), trace.coefficients)
    near = np.arange(*settings.shade_mm, settings.sample_mm)
    steps = []
    for side, s in enumerate(ends):
        light = field.beside[:, side]
        below = np.interp(s - near, field.fine_s_mm, light).mean()
        above = np.interp(s + near, field.fine_s_mm, light).mean()
        steps.append(float(above - below))
    return min(steps) > settings.shade_share * height or max(steps) < -settings.shade_share * height


def edge_offset(trace: Trace, field: Field, settings: LandmarkSettings) -> float:
    """How far from its traced middle a wet edge lies: where the profile, laid on one another along it, has fallen half-way to the dry paper.

    The boxes that trace a step tell where it is, not its middle: what dried at a rim draws them to the dry side, a high step to
    the wet one. Half-way is from the rim, where there is one, else from the wet paper; 0 where no fall is seen.
    """
    step = settings.profile_mm
    offsets = offsets_of(settings.rim_far_mm, step)
    profile = field.fine_palest[rows_along(trace, field, offsets), np.arange(len(trace.seen))[:, None]].mean(axis=0)
    smooth = np.convolve(np.pad(profile, 1, mode="edge"), BINOMIAL, mode="valid")
    near = np.flatnonzero(np.abs(offsets) <= settings.rim_near_mm)
    wet = float(median(smooth[offsets < -settings.rim_near_mm]))
    # A label above the front is darker than the dry paper around it.
    dry = float(quantile(smooth[offsets > settings.rim_near_mm], settings.rim_dry))
    top = int(near[np.argmax(smooth[near])])
    rim = float(smooth[top]) - wet >= settings.rim_share * max(wet - dry, 0.0) + settings.rim_least
    start, level = (top, float(smooth[top])) if rim else (int(near[0]), wet)
    half = dry + (level - dry) / 2
    fallen = start + int(np.argmax(smooth[start:] <= half))
    before, after = float(smooth[fallen - 1]), float(smooth[fallen])
    if fallen == start or abs(offsets[fallen]) > settings.rim_near_mm:
        return 0.0
    return float(offsets[fallen]) - step * (half - after) / max(before - after, 1e-9)


def is_inside(s_mm: float, field: Field, settings: LandmarkSettings) -> bool:
    """Whether a place along the strip is clear of the paper's ends."""
    return settings.end_mm <= s_mm <= field.length_mm - settings.end_mm


def offsets_of(reach_mm: float, step_mm: float) -> Floats:
    """Places from -reach to reach at even steps."""
    count = round(reach_mm / step_mm)
    return np.asarray(np.arange(-count, count + 1) * step_mm, float)


def rows_along(trace: Trace, field: Field, offset_mm: Floats) -> np.ndarray:
    """(bins, n) rows at the offsets from the fitted line."""
    return rows_at(trace.curve_mm, field, offset_mm)


def rows_at(s_mm: Floats, field: Field, offset_mm: Floats) -> np.ndarray:
    """(..., n) fine rows at the offsets (n,) from places in any shape."""
    rows = (s_mm[..., None] + (offset_mm - field.fine_s_mm[0])) / field.row_mm
    return np.asarray(np.minimum(np.maximum(np.rint(rows), 0), len(field.fine_s_mm) - 1), int)


def _near(lines: Sequence[Trace], field: Field, offset_mm: Floats) -> Floats32:
    """(lines, bins, n, 3) absorbance at the offsets from each of the fitted lines."""
    rows, bins = _all_along(lines, field, offset_mm), field.fine.shape[1]
    near: Floats32 = field.fine.reshape(-1, 3).take(rows * bins + np.arange(bins)[:, None], axis=0)
    return near


def _all_along(lines: Sequence[Trace], field: Field, offset_mm: Floats) -> np.ndarray:
    """(lines, bins, n) rows at the offsets from each of the fitted lines."""
    return rows_at(np.array([line.curve_mm for line in lines]), field, offset_mm)


def _shown(lines: Sequence[Trace]) -> np.ndarray:
    """(lines, bins) where each line is seen; everywhere if it is nowhere."""
    seen = np.array([line.seen for line in lines])
    return np.asarray(seen | ~seen.any(axis=1, keepdims=True))
