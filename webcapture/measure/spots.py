"""Find the spots of a lane, and leave out what is none.

Looked for in windows across the lane, so that a small spot is not lost in the mean of a wide one; then each is measured in
the window it fills, see :mod:`webcapture.measure.blobs`.
"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter1d, grey_opening
from scipy.signal import find_peaks

from webcapture.measure.blobs import Blob, Region, measured, patch_of
from webcapture.measure.channels import chroma, palest
from webcapture.measure.field import Field
from webcapture.measure.lanes import Track
from webcapture.measure.paper import Stain
from webcapture.measure.robust import median, quiet_spread, spread
from webcapture.model import Floats, Floats32
from webcapture.settings import SpotSettings

__all__ = ["Blob", "find_spots", "is_written"]


def find_spots(
    field: Field, stain: Stain, track: Track, span_mm: tuple[float, float], settings: SpotSettings
) -> list[Blob]:
    """The spots of the lane within ``span_mm`` along the strip, from the origin upwards."""
    rows = np.flatnonzero((field.s_mm >= span_mm[0]) & (field.s_mm <= span_mm[1]))
    columns = np.flatnonzero((field.t_mm >= track.low_mm) & (field.t_mm <= track.high_mm))
    if len(rows) < settings.least_rows or len(columns) < settings.least_columns:
        return []
    lane = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    part, bare = _by_columns(stain.absorbance[lane]), _by_columns(stain.bare[lane])
    standing, dark = _standing_out(part, bare, field.cell_mm, settings)
    regions = _regions(standing, dark, field.cell_mm, settings)
    blobs: list[Blob] = []
    for n, region in enumerate(regions):
        below = regions[n - 1].high + 1 if n else 0
        above = regions[n + 1].low - 1 if n + 1 < len(regions) else len(rows) - 1
        patch = patch_of(part, bare, region, (below, above), field, (int(rows[0]), int(columns[0])), settings)
        found = measured(patch, region, settings)
        blobs.extend(b for b in found if not _is_shade(b, settings) and not _is_from_beside(b, track, field, settings))
    return blobs


def _is_shade(blob: Blob, settings: SpotSettings) -> bool:
    """Whether the "spot" is so faint and grey that it may as well be a shadow, a finger mark or wet paper.

    A round one no larger than spots are, with bare paper on both sides, is believed when paler.
    """
    height = float(blob.absorbance.max())
    faint, wide = settings.cloud
    if height < settings.least_absorbance or (height < faint and blob.width_mm > wide):
        return True
    if blob.absorbance.min() < settings.grey * height:
        return False
    pale, broad = settings.grey_broad
    compact = blob.width_mm < settings.compact_mm and blob.fill < settings.compact_fill
    least = settings.compact_least if compact else settings.grey_least
    cloud = blob.width_mm > broad and blob.fill >= settings.compact_fill
    return height < least or (height < pale and cloud)


def _is_from_beside(blob: Blob, track: Track, field: Field, settings: SpotSettings) -> bool:
    """Whether it lies at the lane's very edge: a neighbour's flank; or grey at the paper's edge: the card's print beside it."""
    edge = settings.beside_mm
    inner_low, inner_high = track.low_mm > field.rim_mm, track.high_mm < field.width_mm - field.rim_mm
    if (inner_low and blob.t_mm < track.low_mm + edge) or (inner_high and blob.t_mm > track.high_mm - edge):
        return True
    grey = blob.absorbance.min() > settings.grey * blob.absorbance.max()
    low, high = blob.spread_t_mm
    rim = field.rim_mm + settings.print_mm
    return bool(grey) and (high < rim or low > field.width_mm - rim)


def is_written(blob: Blob, field: Field, stain: Stain, share: float, settings: SpotSettings) -> bool:
    """Whether the "spot" is what is left of pencil writing: as grey and as dark, but all of it thin.

    A spot that has run is a filled patch: a square of ``written_mm`` fits into it (into a Gaussian of 5 mm at its base where it
    still has half of its height). Between a letter's strokes there is paper. share: of its height what fits in has less.
    """
    height = float(blob.absorbance.max())
    if height < settings.written_least or blob.absorbance.min() < settings.grey * height:
        return False
    rows = (field.s_mm >= blob.edges_mm[0]) & (field.s_mm <= blob.edges_mm[1])
    columns = (field.t_mm >= blob.spread_t_mm[0]) & (field.t_mm <= blob.spread_t_mm[1])
    patch = palest(stain.absorbance[np.ix_(rows, columns)])
    filled = grey_opening(patch, size=max(round(settings.written_mm / field.cell_mm), 2))
    return float(filled.max()) < share * float(patch.max())


# ---- finding


def _by_columns(cells: np.ndarray) -> np.ndarray:
    """The same with a column's cells side by side in memory: means across the lane then take a third of the time."""
    return np.ascontiguousarray(cells.swapaxes(0, 1)).swapaxes(0, 1)


def _standing_out(
    part: Floats32, bare: np.ndarray, cell_mm: float, settings: SpotSettings
) -> tuple[Floats, np.ndarray]:
    """(rows,) how far each row stands out of the noise, in the window across the lane that shows most; and whether it is dark, or coloured, enough.

    The noise is that of the same window's smoothed profile where the paper is bare: grain counts, and so does cloudiness.
    """
    windows = _windows(part.shape[1], settings.window_mm / cell_mm)
    within = np.zeros((part.shape[1], len(windows)), np.float32)
    for n, window in enumerate(windows):
        within[window, n] = 1 / (window.stop - window.start)
    means = np.stack([part[..., channel] @ within for channel in range(3)], axis=-1)
    paper = bare @ within > settings.bare_share
    profiles = gaussian_filter1d(means, settings.smooth_mm / cell_mm, axis=0)
    noise = np.stack([_noise(profiles[:, n], paper[:, n], cell_mm, settings) for n in range(len(windows))])
    level = np.sqrt((np.maximum(profiles / noise, 0) ** 2).sum(axis=2))
    dark = (profiles.max(axis=(1, 2)) >= settings.least_absorbance) | (
        chroma(profiles).max(axis=1) >= settings.least_colour
    )
    return level.max(axis=1), dark


def _noise(profile: Floats, paper: np.ndarray, cell_mm: float, settings: SpotSettings) -> Floats:
    """(3,) standard deviation of a smoothed profile on bare paper.

    Where there is hardly any, from the quietest quarter of all.
    """
    if paper.sum() * cell_mm >= settings.bare_mm:
        return np.asarray(spread(profile[paper], axis=0) + settings.noise_least, float)
    off = profile - median(profile[paper] if paper.any() else profile, axis=0)
    return np.asarray(quiet_spread(off, axis=0) + settings.noise_least, float)


def _windows(columns: int, width: float) -> list[slice]:
    """Windows across the lane, each half over the next, and the whole of it."""
    size = max(min(round(width), columns), 2)
    starts = np.unique(np.linspace(0, columns - size, max(2 * (columns // size) - 1, 1)).round().astype(int))
    return [slice(start, start + size) for start in starts.tolist()] + [slice(0, columns)]


def _regions(standing: Floats, dark: np.ndarray, cell_mm: float, settings: SpotSettings) -> list[Region]:
    """Stretches around the maxima; maxima without a deep valley between them share one."""
    padded = np.concatenate([[0.0], standing, [0.0]])
    rise = settings.prominence * settings.least_sd
    found, _ = find_peaks(padded, height=settings.least_sd, prominence=rise)
    peaks = [int(p) - 1 for p in found if dark[int(p) - 1]]
    kept: list[int] = []
    for peak in peaks:
        if kept:
            valley = float(standing[kept[-1] : peak + 1].min())
            if valley > settings.valley_share * min(standing[kept[-1]], standing[peak]):
                kept[-1] = max(kept[-1], peak, key=lambda row: float(standing[row]))
                continue
        kept.append(peak)
    groups: list[list[int]] = []
    for peak in kept:
        if groups:
            last = groups[-1][-1]
            valley = float(standing[last : peak + 1].min())
            if valley > max(settings.apart_share * min(standing[last], standing[peak]), settings.touching_sd):
                groups[-1].append(peak)
                continue
        groups.append([peak])
    return [_region(group, standing, groups, settings) for group in groups]


def _region(group: list[int], standing: Floats, groups: list[list[int]], settings: SpotSettings) -> Region:
    n = groups.index(group)
    floor_low = _floor(standing[group[0]], settings)
    floor_high = _floor(standing[group[-1]], settings)
    low, high = group[0], group[-1]
    least = _valley(standing, groups[n - 1][-1], group[0]) if n else 0
    most = _valley(standing, group[-1], groups[n + 1][0]) if n + 1 < len(groups) else len(standing) - 1
    while low > least and standing[low - 1] > floor_low:
        low -= 1
    while high < most and standing[high + 1] > floor_high:
        high += 1
    return Region(group, low, high, float(standing[group].max()))


def _floor(peak: float, settings: SpotSettings) -> float:
    return max(settings.edge_share * peak, settings.region_sd)


def _valley(standing: Floats, low: int, high: int) -> int:
    return low + int(np.argmin(standing[low : high + 1]))
