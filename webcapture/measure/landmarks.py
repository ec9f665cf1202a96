"""Origin line and solvent front: candidates of three kinds, each with what speaks for it.

A *pencil* line is thin and grey. A *wet edge* is a lasting step: paper that the solvent reached stays a little darker. A
*stain* is the faint line that the solvent leaves where it stopped. A shadow's edge shows on the card beside the strip too,
and a crease has a bright side: neither is a candidate.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.polynomial.polynomial import polyval
from scipy.ndimage import convolve1d

from webcapture.measure.channels import darkest, mean, palest
from webcapture.measure.field import Field
from webcapture.measure.robust import median, quantile, quiet_spread
from webcapture.measure.tracing import Trace, trace_lines
from webcapture.model import Floats, Floats32, Line
from webcapture.settings import DEFAULTS, LandmarkSettings, TraceSettings

BINOMIAL = np.array([0.25, 0.5, 0.25])
"""Smoothing over three neighbours: the shortest even filter that lets nothing of a zigzag through."""
NEIGHBOURS = np.array([1, 2, 3, 2, 1]) / 9
"""The mean of three means of three neighbours, one bin apart: smooth over five bins without sharp ends."""
EVERY = 3
"""Every third row tells a background's spread as well as all do, in a third of the time."""


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """A line across the strip that could be origin or front."""

    kind: str
    """``pencil``, ``wet-edge``, ``stain`` or ``coloured`` (a thin line that is not grey)."""
    trace: Trace
    middle_mm: float
    """Its s in the middle of the strip."""
    coverage: float
    """Share of the width over which it is seen."""
    colour: tuple[float, float, float]
    """Its absorbance above the paper beside, R, G, B."""


def pencil_lines(field: Field, trace: TraceSettings, settings: LandmarkSettings) -> list[Candidate]:
    """Thin dark lines, from the origin end upwards: ``pencil`` where grey, ``coloured`` where not."""
    found: list[Candidate] = []
    origin_zone = settings.origin_range * field.length_mm
    for channels in (
        palest,
        mean,
    ):  # in the palest channel colours hardly show; a coloured line may show only in the mean
        if any(c.coverage >= settings.origin_coverage and c.middle_mm < origin_zone for c in found):
            break
        response = _ridge(channels(field.fine), field, settings.core_mm, settings.flank_mm)
        for line in trace_lines(
            _standard(response),
            field.fine_s_mm,
            field.bin_t_mm,
            trace.degree,
            settings.line_mm,
            trace.most_lines,
            trace.least_clear,
            trace,
        ):
            candidate = _thin(line, field, settings)
            if candidate is not None and all(
                abs(candidate.middle_mm - c.middle_mm) > trace.apart * settings.line_mm for c in found
            ):
                found.append(candidate)
    return sorted(found, key=lambda c: c.middle_mm)


def _thin(line: Trace, field: Field, settings: LandmarkSettings) -> Candidate | None:
    """The traced line as a candidate, or None where it is an end of the paper, a crease, or hardly seen."""
    middle, coverage = _middle(line, field), float(line.seen.mean())
    if coverage < settings.front_coverage or not _inside(middle, field, settings):
        return None
    contrast = _contrast(line, field, settings.core_mm, settings.flank_mm)
    bright = _contrast(line, field, settings.core_mm, settings.flank_mm, brightest=True)
    if contrast.mean() <= 0 or bright.mean() < -settings.crease * contrast.mean():
        return None
    if _thinness(line, field, settings) < settings.thin:
        return None
    grey = float(contrast.min() / max(contrast.max(), 1e-6)) >= settings.neutral
    return _candidate("pencil" if grey else "coloured", line, field, contrast)


def wet_edges(field: Field, trace: TraceSettings, settings: LandmarkSettings) -> list[Candidate]:
    """Lasting steps from darker (below) to paler paper that the card beside the strip does not share.

    Looked for in the channel that is darkened least, where colours hardly show and wet paper shows as in all.
    """
    step = _step(palest(field.fine), field, settings)
    shift = round(settings.step_trend_mm / _spacing(field))
    beside = (np.roll(step, shift, axis=0) + np.roll(step, -shift, axis=0)) / 2
    response = _standard(_smooth_across(step - np.maximum(beside, 0)))
    found = []
    for line in trace_lines(
        response,
        field.fine_s_mm,
        field.bin_t_mm,
        trace.degree,
        settings.wet_mm,
        trace.most_faint,
        trace.least_faint,
        trace,
    ):
        if not _runs_across(line, response, settings.wet_coverage, field, settings):
            continue
        height, lasting = _heights(line, field, settings)
        step_height = float(height.mean())
        grey = height.min() >= settings.wet_grey * height.max()
        low, high = settings.lasting_share
        lasts = step_height >= settings.least_step and low * step_height <= lasting <= high * step_height
        if grey and lasts and not _shared_by_card(line, lasting, field, settings):
            found.append(_candidate("wet-edge", line, field, height))
    return found


def stains(field: Field, trace: TraceSettings, settings: LandmarkSettings) -> list[Candidate]:
    """Faint coloured lines right across the strip, broader than a pencil's, in the channel that shows them best."""
    response = _ridge(darkest(field.fine), field, settings.stain_core_mm, settings.stain_flank_mm)
    standard = _standard(_smooth_across(response))
    found = []
    for line in trace_lines(
        standard,
        field.fine_s_mm,
        field.bin_t_mm,
        trace.degree,
        settings.stain_mm,
        trace.most_faint,
        trace.least_faint,
        trace,
    ):
        if not _runs_across(line, standard, settings.stain_coverage, field, settings):
            continue
        contrast = _contrast(line, field, settings.stain_core_mm, settings.stain_flank_mm)
        if not _is_stain(line, contrast, field, settings):
            continue
        if _has_no_gaps(_rises(line, field, settings.stain_core_mm, settings.stain_flank_mm), settings):
            found.append(_candidate("stain", line, field, contrast))
    return found


def narrow_stains(field: Field, trace: TraceSettings, settings: LandmarkSettings) -> list[Candidate]:
    """Stains on a strip full of bands, which hide them from :func:`stains`: a second look, at lines as thin as a pencil's.

    On a short strip hardly any paper is free of bands and their surroundings, and a stain drowns in what is then taken for
    noise. A thin line's surroundings are narrow. No band of a dye is as thin where a front is: its standard deviation is 1 mm
    as applied and grows on the way; only what moves with the solvent's own edge is kept together.
    """
    standard = _standard(_smooth_across(_ridge(darkest(field.fine), field, settings.core_mm, settings.flank_mm)))
    found = []
    for line in trace_lines(
        standard,
        field.fine_s_mm,
        field.bin_t_mm,
        trace.degree,
        settings.line_mm,
        trace.most_faint,
        trace.least_faint,
        trace,
    ):
        rises = _rises(line, field, settings.core_mm, settings.flank_mm)
        contrast = median(rises, axis=0)
        across = _runs_across(line, standard, settings.stain_coverage, field, settings)
        clear = contrast[2] >= settings.narrow_least and _has_no_gaps(rises, settings)
        thin = across and clear and _thinness(line, field, settings) >= settings.thin
        if thin and _is_stain(line, contrast, field, settings):
            found.append(_candidate("stain", line, field, contrast))
    return found


def _is_stain(line: Trace, contrast: Floats, field: Field, settings: LandmarkSettings) -> bool:
    """Whether a line is brown, even and narrow."""
    strong = contrast[2] >= settings.stain_least
    brown = strong and contrast[0] < settings.stain_grey * contrast[2] and contrast[1] <= contrast[2]
    even = line.spread_mm < settings.stain_spread_mm
    return bool(brown and even) and _width(line, field, settings) <= settings.stain_width_mm


def _has_no_gaps(rises: Floats, settings: LandmarkSettings) -> bool:
    """Whether a line shows in nearly all bins: between a row of letters' strokes is bare paper. rises: (bins, 3)."""
    blue = rises[:, 2]
    return bool((blue > settings.gap_share * median(blue)).mean() >= settings.stain_coverage)


def as_line(
    candidate: Candidate, field: Field, u_extra_mm: float, settings: LandmarkSettings = DEFAULTS.landmark
) -> Line:
    """The candidate as a landmark with its uncertainty: scatter of its places, and ``u_extra_mm`` for what it means."""
    trace = candidate.trace
    lift = _densest_offset(trace, field, settings) if candidate.kind == "stain" else 0.0
    seen = trace.seen if trace.seen.any() else np.ones_like(trace.seen)
    u = float(np.hypot(trace.spread_mm / np.sqrt(max(seen.sum() / settings.alike_bins, 1)), u_extra_mm))
    places = field.fine_s_mm[0] + trace.rows * _spacing(field) + lift
    return Line(
        kind=candidate.kind,
        t_mm=field.bin_t_mm[seen],
        s_mm=places[seen],
        coefficients=trace.coefficients + np.eye(len(trace.coefficients))[0] * lift,
        u_mm=u,
        strength=trace.score,
    )


def line_at(line: Line, t_mm: float, reach_mm: float, hold: float = DEFAULTS.reading.local_hold) -> float:
    """s of a line where it crosses a lane's axis: its curve, and how the line itself departs from it nearby.

    A front ripples, and a hand wavers: within ``reach_mm`` the line's own places count, the more of them there are; the
    curve counts as ``hold`` of them.
    """
    near = np.exp(-0.5 * ((line.t_mm - t_mm) / reach_mm) ** 2)
    off = line.s_mm - polyval(line.t_mm, line.coefficients)
    return float(polyval(t_mm, line.coefficients) + near @ off / (near.sum() + hold))


def _densest_offset(trace: Trace, field: Field, settings: LandmarkSettings) -> float:
    """How far from its traced middle a stain is darkest: it fades slowly behind the front and ends sharply before it."""
    step = settings.profile_mm
    offsets = _offsets(settings.densest_reach_mm, step)
    profile = field.fine[_along(trace, field, offsets), np.arange(len(trace.seen))[:, None], 2].mean(axis=0)
    smooth = np.convolve(profile, BINOMIAL, mode="valid")
    peak = int(np.clip(np.argmax(smooth), 1, len(smooth) - 2))
    before, at, after = smooth[peak - 1 : peak + 2]
    bend = before - 2 * at + after
    return float(offsets[peak + 1] + (step * 0.5 * (before - after) / bend if bend < 0 else 0.0))


def _candidate(kind: str, trace: Trace, field: Field, colour: Floats) -> Candidate:
    r, g, b = (float(c) for c in colour)
    return Candidate(kind, trace, _middle(trace, field), float(trace.seen.mean()), (r, g, b))


def _offsets(reach_mm: float, step_mm: float) -> Floats:
    """Places from -reach to reach at even steps."""
    count = round(reach_mm / step_mm)
    return np.asarray(np.arange(-count, count + 1) * step_mm, float)


def _spacing(field: Field) -> float:
    return float(field.fine_s_mm[1] - field.fine_s_mm[0])


def _middle(trace: Trace, field: Field) -> float:
    return float(polyval(field.width_mm / 2, trace.coefficients))


def _inside(s_mm: float, field: Field, settings: LandmarkSettings) -> bool:
    return settings.end_mm <= s_mm <= field.length_mm - settings.end_mm


def _box(values: Floats32, low: int, high: int) -> Floats32:
    """Mean of rows i + low to i + high, for every row i; beyond the ends the end rows repeat."""
    padded = np.pad(values, ((max(-low, 0) + 1, max(high, 0)), (0, 0)), mode="edge")
    sums = np.cumsum(padded, axis=0, dtype=np.float64)
    start = max(-low, 0) + 1
    rows = values.shape[0]
    top = sums[start + high : start + high + rows]
    bottom = sums[start + low - 1 : start + low - 1 + rows]
    return ((top - bottom) / (high - low + 1)).astype(np.float32)


def _rows(field: Field, *mm: float) -> list[int]:
    return [round(value / _spacing(field)) for value in mm]


def _ridge(grey: Floats32, field: Field, core_mm: float, flank_mm: tuple[float, float]) -> Floats32:
    """How much darker a row is than the darker one of its two flanks."""
    core, near, far = _rows(field, core_mm, *flank_mm)
    return _box(grey, -core, core) - np.maximum(_box(grey, -far, -near), _box(grey, near, far))


def _step(grey: Floats32, field: Field, settings: LandmarkSettings) -> Floats32:
    near, far = _rows(field, settings.step_near_mm, settings.step_far_mm)
    return _box(grey, -far, -near) - _box(grey, near, far)


def _standard(response: Floats32) -> Floats32:
    """In standard deviations of the background, from its quietest quarter: bands of colour may fill the rest."""
    off = response - median(response)
    return np.asarray(off / max(float(quiet_spread(off[::EVERY])), 1e-6), np.float32)


def _smooth_across(response: Floats32) -> Floats32:
    """Averaged over five neighbouring bins: a wet edge or a stain is faint, and runs right across."""
    return np.asarray(convolve1d(response, NEIGHBOURS, axis=1, mode="nearest"), np.float32)


def _runs_across(line: Trace, response: Floats32, least: float, field: Field, settings: LandmarkSettings) -> bool:
    """Whether a faint line lies on the paper and is seen over nearly all of the width."""
    steady = line.spread_mm < settings.faint_spread_mm
    return (
        steady
        and _inside(_middle(line, field), field, settings)
        and _share_above(line, response, field, settings) >= least
    )


def _width(line: Trace, field: Field, settings: LandmarkSettings) -> float:
    """Full width at half height of a faint line, in the blue channel, millimetres: the mean of all bins, laid on one another."""
    offsets = _offsets(settings.width_reach_mm, settings.profile_mm)
    near, outer = (round(mm / settings.profile_mm) for mm in (settings.width_peak_mm, settings.width_base_mm))
    profile = field.fine[_along(line, field, offsets), np.arange(len(line.seen))[:, None], 2].mean(axis=0)
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


def _share_above(line: Trace, response: Floats32, field: Field, settings: LandmarkSettings) -> float:
    """Share of the bins in which the fitted curve itself runs on a response."""
    offsets = _offsets(settings.faint_reach_mm, settings.sample_mm)
    near = response[_along(line, field, offsets), np.arange(response.shape[1])[:, None]]
    # The curve may lie a little off, but all of it by as much: the best of five places in each bin, chance reaches too.
    least = np.maximum(settings.faint_seen, settings.faint_share * quantile(near, 0.8, axis=0))
    return float((near > least).mean(axis=0).max())


def _along(trace: Trace, field: Field, offset_mm: Floats) -> np.ndarray:
    """(bins, n) rows at the offsets from the fitted line."""
    s = polyval(field.bin_t_mm, trace.coefficients)[:, None] + offset_mm
    rows = np.round((s - field.fine_s_mm[0]) / _spacing(field))
    return np.asarray(np.clip(rows, 0, len(field.fine_s_mm) - 1), int)


def _contrast(
    trace: Trace, field: Field, core_mm: float, flank_mm: tuple[float, float], brightest: bool = False
) -> Floats:
    """(3,) median absorbance of the line above the paper beside it; with ``brightest``, of its palest near row instead."""
    seen = trace.seen if trace.seen.any() else np.ones_like(trace.seen)
    bins = np.arange(len(trace.seen))[:, None]
    step = _spacing(field)
    flank = np.arange(flank_mm[0], flank_mm[1], step)
    sides = field.fine[_along(trace, field, np.concatenate([-flank - flank_mm[1], flank + flank_mm[1]])), bins]
    if brightest:
        near = field.fine[_along(trace, field, np.arange(-flank_mm[1], flank_mm[1] + step / 2, step)), bins]
        return np.asarray(median((near.min(axis=1) - sides.min(axis=1))[seen], axis=0), float)
    core = field.fine[_along(trace, field, np.arange(-core_mm, core_mm + step / 2, step)), bins]
    return np.asarray(median((core.mean(axis=1) - median(sides, axis=1))[seen], axis=0), float)


def _rises(trace: Trace, field: Field, core_mm: float, flank_mm: tuple[float, float]) -> Floats:
    """(bins, 3) absorbance of the line above the mean of its two sides, which is what lies under a line on a band's slope."""
    bins = np.arange(len(trace.seen))[:, None]
    core = field.fine[_along(trace, field, _offsets(core_mm, _spacing(field))), bins].mean(axis=1)
    flank = np.arange(*flank_mm, _spacing(field))
    below, above = (field.fine[_along(trace, field, side * flank), bins].mean(axis=1) for side in (-1, 1))
    return np.asarray(core - (below + above) / 2, float)


def _thinness(trace: Trace, field: Field, settings: LandmarkSettings) -> float:
    """How much of the line's darkness is gone at its flanks: 1 for a pencil line, less than half for a band of colour."""
    core, near, far = (np.array([-x, x]) for x in (0.0, sum(settings.flank_mm) / 2, settings.thin_far_mm))
    bins = np.arange(len(trace.seen))[:, None]
    seen = trace.seen if trace.seen.any() else np.ones_like(trace.seen)
    at_core, at_near, at_far = (
        float(median(mean(field.fine[_along(trace, field, offset), bins])[seen])) for offset in (core, near, far)
    )
    return (at_core - at_near) / max(at_core - at_far, 1e-6)


def _heights(trace: Trace, field: Field, settings: LandmarkSettings) -> tuple[Floats, float]:
    """((3,) step right at the line, how much of it lasts): the palest part of the paper counts, so that colour does not."""
    bins = np.arange(len(trace.seen))[:, None]
    near = np.arange(*settings.height_mm, settings.sample_mm)
    at = [median(field.fine[_along(trace, field, side * near), bins], axis=1) for side in (-1, 1)]
    below = np.arange(-settings.most_lasting_mm, -settings.lasting_near_mm, settings.lasting_step_mm)
    room = field.length_mm - settings.end_mm - _middle(trace, field)
    most = max(min(settings.most_lasting_mm, room), settings.lasting_least_mm)
    above = np.arange(settings.lasting_near_mm, most, settings.lasting_step_mm)
    low = quantile(palest(field.fine[_along(trace, field, below), bins]), settings.pale_share, axis=1)
    high = quantile(palest(field.fine[_along(trace, field, above), bins]), settings.pale_share, axis=1)
    return median(at[0] - at[1], axis=0), float(median(low - high))


def _shared_by_card(trace: Trace, height: float, field: Field, settings: LandmarkSettings) -> bool:
    """Whether the light on the card steps at the same place on both sides of the strip: then it is a shadow's edge."""
    ends = polyval(np.array([0.0, field.width_mm]), trace.coefficients)
    near = np.arange(*settings.shade_mm, settings.sample_mm)
    steps = []
    for side, s in enumerate(ends):
        light = field.beside[:, side]
        below = np.interp(s - near, field.fine_s_mm, light).mean()
        above = np.interp(s + near, field.fine_s_mm, light).mean()
        steps.append(float(above - below))
    return min(steps) > settings.shade_share * height or max(steps) < -settings.shade_share * height
