"""Find the spots of a lane, and leave out what is none.

Looked for in windows across the lane, so that a small spot is not lost in the mean of a wide one; then each is measured in
the window it fills, see :mod:`webcapture.measure.blobs`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import gaussian_filter1d
from scipy.signal import find_peaks

from webcapture.measure.blobs import Blob, highest, measured
from webcapture.measure.blotches import blotchiness
from webcapture.measure.channels import in_planes, palest
from webcapture.measure.field import Field
from webcapture.measure.lanes import Track
from webcapture.measure.paper import Stain
from webcapture.measure.patch import Region, patch_of
from webcapture.measure.writing import filled_share
from webcapture.model import Floats, Floats32
from webcapture.robust import median, quiet_spread, spread
from webcapture.settings import SpotSettings
from webcapture.slopes import steepness_of

__all__ = ["Blob", "find_spots", "is_round", "is_written"]


def find_spots(
    field: Field, stain: Stain, track: Track, span_mm: tuple[float, float], settings: SpotSettings
) -> list[Blob]:
    """The spots of the lane within ``span_mm`` along the strip, from the origin upwards."""
    rows = np.flatnonzero((field.s_mm >= span_mm[0]) & (field.s_mm <= span_mm[1]))
    columns = np.flatnonzero((field.t_mm >= track.low_mm) & (field.t_mm <= track.high_mm))
    if len(rows) < settings.least_rows or len(columns) < settings.least_columns:
        return []
    lane = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    planes, bare = in_planes(stain.absorbance[lane]), stain.bare[lane]
    standing = _standing_out(planes, bare, field, settings)
    paper = LanePart(planes, bare, field, track, (int(rows[0]), int(columns[0])))
    regions = _regions(standing.level, standing.dark, settings)
    tinges = _regions(standing.tinge, standing.dark, settings)
    known = [
        (region, _unveiled(region, blobs, tinges, paper, settings))
        for region, blobs in _measured_in(regions, regions, paper, settings)
    ]
    more = _coloured_in(_apart(tinges, [region for region, blobs in known if blobs]), paper, settings)
    return [blob for _, blobs in sorted(known + more, key=lambda one: one[0].low) for blob in blobs]


def _apart(regions: list[Region], others: list[Region]) -> list[Region]:
    """Those that none of the others touches."""
    return [one for one in regions if all(one.high < known.low or known.high < one.low for known in others)]


def _coloured_in(regions: list[Region], paper: LanePart, settings: SpotSettings) -> list[tuple[Region, list[Blob]]]:
    """The spots of regions that only their colour parts from the paper's unevenness: those with colour enough to be believed.

    Placed by what the channels differ by; their absorbance is the paper's own, less what lies at their ends.
    """
    if not regions:
        return []
    least = settings.tinge_least
    tinted = replace(paper, planes=paper.planes - paper.planes.min(axis=0))
    return [
        (region, [_with_its_grey(blob, paper) for blob in blobs if float(np.ptp(blob.absorbance)) >= least])
        for region, blobs in _measured_in(regions, regions, tinted, settings, least)
    ]


def _with_its_grey(blob: Blob, paper: LanePart) -> Blob:
    """With what it darkens all channels by: at its densest, above the paper at its two ends."""
    first, left = paper.corner
    _, rows, width = paper.planes.shape
    s_mm, t_mm = paper.field.s_mm[first : first + rows], paper.field.t_mm[left : left + width]
    away = np.abs(t_mm - blob.t_mm)
    columns = away <= max(blob.width_mm / 8, paper.field.cell_mm, float(away.min()))
    grey = paper.planes[..., columns].min(axis=0).mean(axis=1)
    at, *ends = (grey[int(np.argmin(np.abs(s_mm - place)))] for place in (blob.densest_mm, *blob.edges_mm))
    return replace(blob, absorbance=blob.absorbance + max(float(at - sum(ends) / 2), 0.0))


def _unveiled(
    region: Region, blobs: list[Blob], tinges: list[Region], paper: LanePart, settings: SpotSettings
) -> list[Blob]:
    """The spots, or, where coloured ones lie in a wide grey shade and were taken with it, those by their colour alone."""
    inside = [one for one in tinges if one.low >= region.low - 1 and one.high <= region.high + 1]
    coloured = sum(one.high - one.low for one in inside) <= settings.veil_share * (region.high - region.low)
    if not inside or not blobs or not (coloured or any(blob.width_mm > settings.compact_mm for blob in blobs)):
        return blobs
    if len(blobs) > len(inside) and any("faint" not in b.codes for b in blobs if _is_apart(b, inside, paper)):
        return blobs  # a grey one has no colour to be told by
    clear = [blob for _, found in _coloured_in(inside, paper, settings) for blob in found]
    if len(clear) != len(inside) or any("merged" in blob.codes for blob in clear):
        return blobs
    usual = [min(blobs, key=lambda blob: abs(blob.centre_mm - one.centre_mm)).width_mm for one in clear]
    narrow = all(one.width_mm < settings.veil_share * width for one, width in zip(clear, usual, strict=True))
    return clear if narrow else blobs


def _is_apart(blob: Blob, regions: list[Region], paper: LanePart) -> bool:
    """Whether a spot's middle lies in none of the regions."""
    row = int(np.searchsorted(paper.field.s_mm, blob.centre_mm)) - paper.corner[0]
    return not any(one.low <= row <= one.high for one in regions)


@dataclass(frozen=True, slots=True, eq=False)
class LanePart:
    """A lane's cells."""

    planes: Floats32
    """(3, rows, cols) absorbance."""
    bare: np.ndarray
    """(rows, cols) which show bare paper."""
    field: Field
    track: Track
    corner: tuple[int, int]
    """Row and column of the field at which it begins."""


def _measured_in(
    regions: list[Region], all_regions: list[Region], lane: LanePart, settings: SpotSettings, least: float = 0.0
) -> list[tuple[Region, list[Blob]]]:
    """The spots of each region, which may use the paper up to its neighbours among all of them.

    Where nothing reaches ``least`` absorbance there is none: a mixture fitted to mere noise costs as much as one to spots.
    """
    found = []
    for region in regions:
        n = all_regions.index(region)
        below = all_regions[n - 1].high + 1 if n else 0
        above = all_regions[n + 1].low - 1 if n + 1 < len(all_regions) else lane.planes.shape[1] - 1
        patch = patch_of(lane.planes, lane.bare, region, (below, above), lane.field, lane.corner, settings)
        blobs = [
            blob
            for blob in (measured(patch, region, settings) if highest(patch) >= least else [])
            if not _is_shade(blob, settings) and not _is_from_beside(blob, lane.track, lane.field, settings)
        ]
        found.append((region, blobs))
    return found


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


def is_written(
    blob: Blob, field: Field, stain: Stain, share: float, settings: SpotSettings, ink_share: float = 0.0
) -> bool:
    """Whether the "spot" is what is left of writing: as grey and as dark as pencil, but all of it thin.

    A spot that has run is a filled patch: a square of ``written_mm`` fits into it (into a Gaussian of 5 mm at its base where it
    still has half of its height). Between a letter's strokes there is paper. share: of its height what fits in has less;
    ink_share: the same for one of a clear colour, as of ink.
    """
    height = float(blob.absorbance.max())
    grey = blob.absorbance.min() >= settings.grey * height
    least = share if grey else ink_share
    if height < settings.written_least or least <= 0:
        return False
    patch = stain.absorbance[_extent_of(blob, field)]
    shown = palest(patch) if grey else patch[..., int(np.argmax(blob.absorbance))]
    return shown.size > 0 and filled_share(shown, field.cell_mm, settings.written_mm) < least


def is_round(blob: Blob, field: Field, stain: Stain, settings: SpotSettings) -> bool:
    """Whether it is a small spot that has hardly run rather than what is left of writing.

    No stroke was seen near it, and a lesser square fits in well, or it fades more slowly than pencil does.
    """
    near = settings.written_mm
    rows, columns = np.abs(field.s_mm - blob.densest_mm) < near, np.abs(field.t_mm - blob.t_mm) < near
    box = np.ix_(rows, columns)
    if stain.strokes[box].any():
        return False
    if steepness_of(in_planes(field.absorbance[box]), field.cell_mm) < settings.soft:
        return True
    shown = palest(stain.absorbance[_extent_of(blob, field)])
    wide = blob.width_mm >= settings.round_least_mm and shown.size > 0
    return wide and filled_share(shown, field.cell_mm, settings.round_mm) >= settings.round_share


def _extent_of(blob: Blob, field: Field) -> tuple[np.ndarray, ...]:
    """The field's rows and columns that it covers."""
    rows = (field.s_mm >= blob.edges_mm[0]) & (field.s_mm <= blob.edges_mm[1])
    columns = (field.t_mm >= blob.spread_t_mm[0]) & (field.t_mm <= blob.spread_t_mm[1])
    return np.ix_(rows, columns)


# ---- finding

SHOWN = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [-1, 1, 0], [0, -1, 1]], float)
"""(5, 3) what spots are looked for by: R, G, B, and what neighbours of these differ by."""
ROW_SPAN = 2 * np.pi**0.5
"""A Gaussian averages over so many times its standard deviation, as noise goes."""


@dataclass(frozen=True, slots=True, eq=False)
class Standing:
    """How far each row of a lane stands out of the noise, in the window across the lane that shows most; in standard deviations."""

    level: Floats
    """(rows,) by its absorbance."""
    dark: np.ndarray
    """(rows,) whether it is dark, or coloured, enough for a spot."""
    tinge: Floats
    """(rows,) by what the channels differ by: clouds and shadows are grey, and hide pale spots of a clear colour from ``level``."""


def _standing_out(planes: Floats32, bare: np.ndarray, field: Field, settings: SpotSettings) -> Standing:
    """The noise is that of the same window's smoothed profile where the paper is bare: grain counts, and so does cloudiness.

    And what compression leaves, which may be the same on all the bare paper there is and differ elsewhere.
    """
    columns, cell_mm = planes.shape[2], field.cell_mm
    windows = _windows(columns, settings.window_mm / cell_mm)
    within = np.zeros((len(windows), columns), np.float32)
    for n, window in enumerate(windows):
        within[n, window] = 1
    sizes = within.sum(axis=1, keepdims=True)
    paper = within @ bare.T > settings.bare_share * sizes
    profiles = gaussian_filter1d(within @ planes.swapaxes(1, 2) / sizes, settings.smooth_mm / cell_mm, axis=2)
    shown = np.concatenate([profiles, np.diff(profiles, axis=0)])  # (5, windows, rows)
    noise = np.stack([_noise(shown[:, n], paper[n], cell_mm, settings) for n in range(len(windows))], axis=1)
    area_mm = sizes.ravel() * cell_mm, ROW_SPAN * settings.smooth_mm
    noise = np.hypot(noise, settings.blotch * blotchiness(field.blotches, SHOWN, *area_mm))
    over = (shown / noise[..., None]) ** 2
    most, least = profiles.max(axis=0), profiles.min(axis=0)
    dark = (most.max(axis=0) >= settings.least_absorbance) | ((most - least).max(axis=0) >= settings.least_colour)
    return Standing(
        level=np.sqrt(np.where(profiles > 0, over[:3], 0).sum(axis=0).max(axis=0)),
        dark=dark,
        tinge=np.sqrt(np.where(most > 0, over[3:].sum(axis=0), 0).max(axis=0)),
    )


def _noise(profiles: Floats, paper: np.ndarray, cell_mm: float, settings: SpotSettings) -> Floats:
    """(n,) standard deviation of each of (n, rows) smoothed profiles on bare paper.

    Where there is hardly any, from the quietest quarter of all.
    """
    if np.count_nonzero(paper) * cell_mm >= settings.bare_mm:
        return np.asarray(spread(profiles[:, paper], axis=1) + settings.noise_least, float)
    off = profiles - median(profiles[:, paper] if paper.any() else profiles, axis=1)[:, None]
    return np.asarray(quiet_spread(off, axis=1) + settings.noise_least, float)


def _windows(columns: int, width: float) -> list[slice]:
    """Windows across the lane, each half over the next, and the whole of it."""
    size = max(min(round(width), columns), 2)
    starts = np.unique(np.linspace(0, columns - size, max(2 * (columns // size) - 1, 1)).round().astype(int))
    return [slice(start, start + size) for start in starts.tolist()] + [slice(0, columns)]


def _regions(standing: Floats, dark: np.ndarray, settings: SpotSettings) -> list[Region]:
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
