"""Where the lanes run: one on a narrow strip; on a sheet, by the columns of colour and the application marks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.signal import find_peaks

from webcapture.measure.channels import in_planes, palest
from webcapture.measure.curves import polynomial_at
from webcapture.measure.field import Field
from webcapture.measure.paper import Stain
from webcapture.measure.windows import blurred, running, running_mean
from webcapture.model import Floats, Line
from webcapture.robust import NEVER_NONE, median, quiet_spread
from webcapture.settings import LaneSettings

EVERY = 2
"""Of rows averaged over some of their neighbours, or that a line runs along, every second one tells all."""


@dataclass(frozen=True, slots=True)
class Track:
    """Where one lane runs, across the strip."""

    middle_mm: float
    """t of its axis."""
    low_mm: float
    high_mm: float
    """The span of t that belongs to it alone."""
    marked: bool = True
    """Whether a mark on the origin line says that something was applied; False where only colour told of a lane."""


def find_lanes(
    field: Field,
    stain: Stain,
    origin: Line | None,
    front: Line | None,
    settings: LaneSettings,
    barred: Sequence[float] = (),
) -> list[Track]:
    """The lanes from left to right; a strip always has at least one.

    barred: t of columns of colour that turned out to be none, lest a lane hide beside them.
    """
    colour = _columns(field, stain, origin, front, settings)
    if field.width_mm < settings.sheet_mm:
        return [Track(_balance(colour, field), field.rim_mm, field.width_mm - field.rim_mm)]
    marks = np.where(_ruled(stain.strokes, origin, field, settings), 0.0, _marks(field, origin, settings))
    marks = np.maximum(marks, _stayed(stain, settings))
    middles, ticks = _middles(_levelled(colour, barred, field, settings), marks, field, settings)
    if not middles:
        return [Track(field.width_mm / 2, field.rim_mm, field.width_mm - field.rim_mm)]
    between = [(a + b) / 2 for a, b in pairwise(middles)]
    spacing = min((b - a for a, b in pairwise(middles)), default=2 * settings.reach_mm)
    reach = min(spacing / 2, settings.reach_mm)
    tracks = []
    for n, middle in enumerate(middles):
        low = max(between[n - 1] if n else field.rim_mm, middle - reach, field.rim_mm)
        high = min(between[n] if n < len(between) else field.width_mm, middle + reach, field.width_mm - field.rim_mm)
        weak = (
            float(marks[np.abs(field.t_mm - middle) < settings.mark_beside_mm].max(initial=0.0))
            >= settings.mark_weak_sd
        )
        marked = weak or any(abs(tick - middle) < settings.apart_mm for tick in ticks)
        tracks.append(Track(middle, low, high, marked))
    return tracks


def without_stains(tracks: list[Track], filled: list[bool]) -> list[bool]:
    """Which tracks are lanes: not those where colour turned out to be no spot and nothing was applied, unless all are such.

    filled: whether each has a spot. A lane that is really empty has a mark at its foot.
    """
    lanes = [track.marked or full for track, full in zip(tracks, filled, strict=True)]
    return lanes if any(lanes) else [True] * len(lanes)


def _levelled(colour: Floats, barred: Sequence[float], field: Field, settings: LaneSettings) -> Floats:
    """(cols,) the colour without the rise at each of those places: no more there than at the lower of both its sides."""
    flat = colour.copy()
    for t in barred:
        near = np.flatnonzero(np.abs(field.t_mm - t) < settings.apart_mm / 2)
        if len(near):
            flat[near] = np.minimum(flat[near], min(flat[near[0]], flat[near[-1]]))
    return flat


def _columns(field: Field, stain: Stain, origin: Line | None, front: Line | None, settings: LaneSettings) -> Floats:
    """(cols,) how much colour each column holds between origin and front, in standard deviations of its noise."""
    low = (
        polynomial_at(field.t_mm, origin.coefficients) - settings.below_mm
        if origin
        else np.full(len(field.t_mm), settings.below_mm)
    )
    high = (
        polynomial_at(field.t_mm, front.coefficients) - settings.front_mm
        if front
        else np.full(len(field.t_mm), field.length_mm - settings.below_mm)
    )
    rows = np.flatnonzero((field.s_mm > low.min()) & (field.s_mm < high.max()))
    if len(rows) < settings.least_rows:
        return np.zeros(len(field.t_mm))
    s_mm = field.s_mm[rows, None]
    zone = (s_mm > low) & (s_mm < high)
    planes = in_planes(stain.absorbance[rows[0] : rows[-1] + 1]) / stain.noise.astype(np.float32)[:, None, None]
    wide = running_mean(planes, settings.colour_smooth, 1, EVERY)
    smooth, zone = running_mean(wide, settings.colour_smooth, 2).max(axis=0), zone[::EVERY]
    zone &= (field.t_mm > field.rim_mm) & (field.t_mm < field.width_mm - field.rim_mm)
    beyond = np.where(zone, np.clip(smooth - settings.colour_sd, 0, settings.colour_cap), 0)
    return np.asarray(beyond.sum(axis=0) * field.cell_mm * EVERY, float)


def _balance(colour: Floats, field: Field) -> float:
    """The column about which the colour balances, or the middle where there is none."""
    total = float(colour.sum())
    return float(colour @ field.t_mm) / total if total > 1e-6 else field.width_mm / 2


def _marks(field: Field, origin: Line | None, settings: LaneSettings) -> Floats:
    """(cols,) how much pencil lies on and beside the origin line, in standard deviations: crosses, ticks, dots."""
    if origin is None:
        return np.zeros(len(field.t_mm))
    curve = polynomial_at(field.t_mm, origin.coefficients)
    near, far = settings.mark_flank_mm
    rows = (field.s_mm > curve.min() - far) & (field.s_mm < curve.max() + far)
    grey = palest(field.absorbance[rows])
    away = np.abs(field.s_mm[rows, None] - curve)
    on, beside = away < settings.mark_mm, (away > near) & (away < far)
    level = (grey * on).sum(axis=0) / np.maximum(on.sum(axis=0), 1)
    paper = (grey * beside).sum(axis=0) / np.maximum(beside.sum(axis=0), 1)
    pencil = blurred(level - np.minimum(paper, median(paper)), settings.mark_smooth_mm / field.cell_mm)
    off = pencil - median(pencil)
    return np.asarray(off / (quiet_spread(off) + NEVER_NONE), float)


def _stayed(stain: Stain, settings: LaneSettings) -> Floats:
    """(cols,) the same where a spot stayed on the origin line: there something was applied, as surely as a mark says."""
    if stain.beneath is None:
        return np.zeros(stain.strokes.shape[1])
    here = stain.beneath.any(axis=0).astype(float)
    return np.asarray(2 * settings.mark_sd * blurred(here, settings.colour_smooth), float)


def _ruled(strokes: np.ndarray, origin: Line | None, field: Field, settings: LaneSettings) -> np.ndarray:
    """(cols,) beside which a pencil line runs along most of the paper: what it leaves on the origin line, between lanes, is no mark of one.

    Unless a mark stands there, too, whose arms reach further to its sides than the line is wide.
    """
    if origin is None:
        return np.zeros(strokes.shape[1], bool)
    reach = round(settings.ruled_lean_mm / field.cell_mm)
    along = _within(strokes[::EVERY], reach).mean(axis=0) > settings.ruled_share
    away = np.abs(field.s_mm[:, None] - polynomial_at(field.t_mm, origin.coefficients))
    arms = (strokes & (away > settings.arm_mm[0]) & (away < settings.arm_mm[1])).any(axis=0)
    wide = np.convolve(arms, np.ones(2 * reach + 1), "same") * field.cell_mm > settings.ruled_wide_mm
    return np.asarray(along & ~wide)


def _within(strokes: np.ndarray, reach: int) -> np.ndarray:
    """Cells with a stroke in their row within so many cells."""
    return np.asarray(running(np.logical_or, np.pad(strokes, ((0, 0), (reach, reach))), 2 * reach + 1))


def _middles(colour: Floats, marks: Floats, field: Field, settings: LaneSettings) -> tuple[list[float], list[float]]:
    """(middles of the lanes: peaks of colour, and marks that no column of colour belongs to; places of all marks)."""
    apart = settings.apart_mm / field.cell_mm
    whole = blurred(colour, settings.column_smooth_mm / field.cell_mm)
    smooth = _without_rims(whole, field, settings)
    floor = max(settings.column_least, settings.column_share * float(smooth.max(initial=0)))
    peaks, _ = find_peaks(
        np.pad(smooth, 1), height=floor, distance=max(apart, 1), prominence=settings.prominence * floor
    )
    kept = np.flatnonzero(smooth)
    columns = [_local_balance(whole, int(p) - 1, kept, field, settings) for p in peaks]
    columns = [t for t in columns if settings.rim_mm < t < field.width_mm - settings.rim_mm]
    rise = settings.prominence * settings.mark_sd
    ticks, _ = find_peaks(marks, height=settings.mark_sd, distance=max(apart, 1), prominence=rise)
    marked = field.t_mm[ticks].tolist()
    alone = [t for t in marked if all(abs(t - c) > settings.apart_mm for c in columns)]
    believed = not columns or len(ticks) >= settings.least_marks
    return sorted(columns + (alone if believed else [])), marked


def _without_rims(smooth: Floats, field: Field, settings: LaneSettings) -> Floats:
    """Columns of colour without what rises towards the paper's edges: what is left of the card there must not outdo the lane beside it."""
    inner = np.flatnonzero((field.t_mm > settings.rim_mm) & (field.t_mm < field.width_mm - settings.rim_mm))
    kept = np.zeros_like(smooth)
    if len(inner) < 2:
        return kept
    rising = np.flatnonzero(np.diff(smooth[inner]) > 0)
    falling = np.flatnonzero(np.diff(smooth[inner]) < 0)
    if len(rising) and len(falling):
        part = slice(int(inner[rising[0]]), int(inner[falling[-1]]) + 2)
        kept[part] = smooth[part]
    return kept


def _local_balance(smooth: Floats, peak: int, kept: np.ndarray, field: Field, settings: LaneSettings) -> float:
    """t about which the colour around a column balances, as far as it is the column's on both sides. kept: places that are no rim's."""
    reach = min(round(settings.apart_mm / 2 / field.cell_mm), peak - int(kept[0]), int(kept[-1]) - peak)
    near = slice(peak - reach, peak + reach + 1)
    return float(smooth[near] @ field.t_mm[near]) / max(float(smooth[near].sum()), 1e-9)
