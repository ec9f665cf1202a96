"""Measure a spot in the patch of paper that it fills: where it lies, how wide it is, and how well that is known.

One spot by its absorbance-weighted mean in the channels that show it best; several that overlap by a fitted mixture.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from webcapture.measure.blotches import shifted_by
from webcapture.measure.dyes import two_dyes, with_hidden
from webcapture.measure.mixture import Mixture, Peak, fit_mixture
from webcapture.measure.patch import WIDTH_SD, Patch, Region, extent, reach_above
from webcapture.measure.rims import is_rimmed
from webcapture.measure.windows import blurred
from webcapture.model import Floats, Floats32
from webcapture.robust import HALF_WIDTH_SD
from webcapture.settings import SpotSettings

TAILING_AT = 0.1
"""Share of the height at which tailing is taken."""
TILT = 0.67
"""Two thirds: how far a level that errs by opposite amounts at both ends, and evenly in between, shifts the mean of all that
lies above it, in units of error × half the length² / area."""


@dataclass(frozen=True, slots=True, eq=False)
class Blob:
    """A spot in the strip's frame, before it is related to origin and front."""

    centre_mm: float
    """s of its absorbance-weighted mean."""
    t_mm: float
    """t of the same."""
    densest_mm: float
    """s of its maximum."""
    edges_mm: tuple[float, float]
    """s of its lower and upper edge."""
    width_mm: float
    """Four standard deviations along the flow."""
    spread_t_mm: tuple[float, float]
    """The span of t it fills."""
    fill: float
    """The same as a share of the lane's width."""
    absorbance: Floats
    """(3,) at its densest."""
    tailing: float
    """Half-width at a tenth of the height, origin side over front side."""
    signal_to_noise: float
    u_centre_mm: float
    """Standard uncertainty of the centre: noise, paper, light, ragged and skewed shape, neighbours."""
    codes: tuple[str, ...]
    """Flags that follow from its shape: tailing, merged, faint."""


def highest(patch: Patch) -> float:
    """The greatest absorbance of a row in any channel, over the patch's middle; 0 where it has none."""
    return float(patch.planes[..., patch.core].mean(axis=2).max()) if patch.core.any() else 0.0


def measured(patch: Patch, region: Region, settings: SpotSettings) -> list[Blob]:
    """The region's spots: one by its own mean, several by a fitted mixture; none in a single row, which has no shape."""
    if len(patch.s_mm) < 2:
        return []
    rows = np.array(region.peaks) - patch.first
    if len(rows) == 1 or (len(rows) == 2 and is_rimmed(patch, (rows[0], rows[1]), settings)):
        single = _single(patch, region, settings)
        if single is None:
            return []
        pair = two_dyes(patch, single.edges_mm, single.width_mm, settings)
        return [single] if pair is None else _from_mixture(patch, pair, region, settings)
    sd = np.array([_free_sd(patch.profile, row, _cell(patch), settings) for row in rows])
    mixture = fit_mixture(patch.s_mm, patch.profile, patch.noise, patch.s_mm[rows], sd, settings)
    return _from_mixture(patch, with_hidden(patch, mixture, settings), region, settings)


def _free_sd(profile: Floats, row: int, cell_mm: float, settings: SpotSettings) -> float:
    """Standard deviation of a peak from the nearer place where it falls to half its height, in its clearest channel."""
    signal = blurred(profile[:, int(np.argmax(profile[row]))], settings.top_smooth)
    low, high = extent(signal, row, signal[row] / 2)
    return float(np.clip((min(row - low, high - row) + 0.5) * cell_mm / HALF_WIDTH_SD, *settings.free_sd_mm))


def _single(patch: Patch, region: Region, settings: SpotSettings) -> Blob | None:
    """The spot by its absorbance-weighted mean, between the places where it fades into the noise."""
    profile = patch.profile
    peak = int(np.argmax(blurred(profile.max(axis=1), settings.top_smooth)))
    top = profile[max(peak - 1, 0) : peak + 2].mean(axis=0)
    weight = np.maximum(top, 0) / patch.noise**2
    weight = weight / max(float(weight.sum()), 1e-12)
    signal = profile @ weight
    smooth = blurred(signal, settings.smooth_mm / _cell(patch))
    noise = float(np.sqrt((weight**2) @ (patch.noise**2)))
    low, high = _window(smooth, peak, noise, settings)
    rows = slice(low, high + 1)
    mass = np.maximum(signal[rows], 0)
    total = float(mass.sum())
    if total <= 0 or not patch.core.any():
        return None
    s = patch.s_mm[rows]
    centre = float(mass @ s) / total
    sd = float(np.sqrt(max(mass @ (s - centre) ** 2 / total, 0.0)))
    width = WIDTH_SD * sd
    if not settings.least_width_mm <= width <= settings.most_width_mm:
        return None
    across = np.maximum((weight[:, None, None] * patch.planes[:, rows]).sum(axis=0), 0)
    summit = _summit(smooth, peak)
    tailing = _tailing(smooth, summit)
    densest = float(patch.s_mm[0]) + summit * _cell(patch)
    absorbance = np.maximum(patch.planes[:, max(peak - 1, 0) : peak + 2, patch.core].mean(axis=(1, 2)), 0)
    u_meaning = _u_meaning(width, centre - densest, region.signal_to_noise, settings)
    u_light = _u_light(width, patch.light[rows], absorbance, settings)
    return Blob(
        centre_mm=centre,
        t_mm=_middle(across.sum(axis=0), patch.t_mm, settings),
        densest_mm=densest,
        edges_mm=(float(s[0]), float(s[-1])),
        width_mm=width,
        spread_t_mm=(float(patch.t_mm[0]), float(patch.t_mm[-1])),
        fill=patch.fill,
        absorbance=absorbance,
        tailing=tailing,
        signal_to_noise=region.signal_to_noise,
        u_centre_mm=math.hypot(
            _u_centre(across, s, centre, noise, total, _cell(patch), settings),
            u_meaning,
            u_light,
            _u_blotches(patch, width, top),
        ),
        codes=_codes(tailing, region.signal_to_noise, top, settings),
    )


def _middle(across: Floats, t_mm: Floats, settings: SpotSettings) -> float:
    """Middle of a profile across the lane: of what rises well above a veil beside, so that this does not pull."""
    smooth = blurred(across, settings.across_smooth)
    weight = np.maximum(smooth - smooth.max() / settings.veil, 0)
    return float(weight @ t_mm) / max(float(weight.sum()), 1e-12)


def _cell(patch: Patch) -> float:
    return float(patch.s_mm[1] - patch.s_mm[0])


def _window(smooth: Floats, peak: int, noise: float, settings: SpotSettings) -> tuple[int, int]:
    """(first, last row) of the spot: to where it fades into the noise, but no further than a tail of its own shape goes.

    A tail that falls off exponentially from half to a tenth of the height is as far again below a fiftieth, a Gaussian sooner;
    what goes on further is the paper's cloudiness, which would pull the mean along. A pale spot's clouds may hide its tenth.
    """
    heights = smooth.tolist()
    top = heights[peak]

    def fallen(floor: float) -> Floats:
        low, high = extent(heights, peak, floor)
        return np.array([peak - low, high - peak], float)

    reach, half = fallen(max(settings.edge_share * top, settings.edge_sd * noise)), fallen(0.5 * top)
    for share, times in settings.tail_reach:
        below = fallen(share * top)
        reach = np.minimum(reach, np.rint(below + times * (below - half) + 1))
    return peak - int(reach[0]), peak + int(reach[1])


def _summit(smooth: Floats, near: int) -> float:
    """Row, in fractions, of the maximum next to a row, by the parabola through three."""
    peak = near
    while 0 < peak < len(smooth) - 1 and smooth[peak] < max(smooth[peak - 1], smooth[peak + 1]):
        peak += 1 if smooth[peak + 1] > smooth[peak - 1] else -1
    if not 0 < peak < len(smooth) - 1:
        return float(peak)
    before, at, after = smooth[peak - 1 : peak + 2]
    bend = before - 2 * at + after
    shift = 0.5 * (before - after) / bend if bend < 0 else 0.0
    return peak + float(np.clip(shift, -0.5, 0.5))


def _tailing(smooth: Floats, summit: float) -> float:
    """Half-width at a tenth of the height on the origin's side over that on the front's side; ``summit`` in rows."""
    peak = round(summit)
    before, after = reach_above(smooth, peak, TAILING_AT * float(smooth[peak]))
    return (before + summit - peak) / (after - summit + peak)


def _u_centre(
    across: Floats, s: Floats, centre: float, noise: float, total: float, cell_mm: float, settings: SpotSettings
) -> float:
    """Standard uncertainty of the mean: noise of the profile, error of the paper's level, and raggedness across the spot."""
    from_noise = noise * float(np.sqrt(((s - centre) ** 2).sum())) / total
    half = float(s[-1] - s[0]) / 2
    from_level = TILT * (settings.level_noise * noise) * half**2 / (total * cell_mm)
    parts = min(settings.ragged_parts, across.shape[1])
    slices = np.add.reduceat(across, np.arange(parts) * across.shape[1] // parts, axis=1)
    mass = slices.sum(axis=0)
    means = s @ slices / np.maximum(mass, 1e-12)
    share = mass / max(float(mass.sum()), 1e-12)
    from_shape = settings.ragged * float(np.sqrt((share**2 * (means - centre) ** 2).sum()))
    return float(np.sqrt(from_noise**2 + from_level**2 + from_shape**2))


def _u_meaning(width: float, skew: float, signal_to_noise: float, settings: SpotSettings) -> float:
    """Standard uncertainty of what "the centre" of this spot is, millimetres: even a clear round spot is not quite even;
    a skewed one has a foot that the paper's level decides over; so has a faint one.
    """
    uneven = settings.meaning * width
    foot = settings.skewed * min(abs(skew), settings.skewed_most * width)
    level = settings.level_share * width / max(signal_to_noise, settings.level_sd)
    return float(np.sqrt(uneven**2 + foot**2 + level**2))


def _u_light(width: float, light: Floats32, absorbance: Floats, settings: SpotSettings) -> float:
    """Standard uncertainty of a centre, millimetres, from light that changes over the spot: what was taken off for it is not exact.

    light: log10 along the spot. What is left of its change tilts the paper's level, which matters more to a pale spot.
    """
    change = float(light.max() - light.min()) if len(light) else 0.0
    return settings.light_share * width * min(change / max(float(absorbance.max()), 1e-9), 1.0)


def _u_blotches(patch: Patch, width: float, height: Floats) -> float:
    """Standard uncertainty of a centre, millimetres, from what the photo's compression left around a spot of that (3,) height."""
    across = len(patch.t_mm) * _cell(patch)
    return shifted_by(patch.blotches, (width, across), height, patch.noise)


def _codes(tailing: float, signal_to_noise: float, height: Floats, settings: SpotSettings) -> tuple[str, ...]:
    codes = []
    if tailing > settings.tailing:
        codes.append("tailing")
    if signal_to_noise < settings.faint_sd or float(height.max()) < settings.faint_absorbance:
        codes.append("faint")
    return tuple(codes)


def _from_mixture(patch: Patch, mixture: Mixture, region: Region, settings: SpotSettings) -> list[Blob]:
    """Each peak of the mixture as a spot of its own; those that lie too close are flagged ``merged``."""
    peaks = [p for p in mixture.peaks if float(p.height.max()) >= settings.least_absorbance]
    return [_peak_blob(n, peaks, patch, region, settings) for n in range(len(peaks))]


def _peak_blob(n: int, peaks: list[Peak], patch: Patch, region: Region, settings: SpotSettings) -> Blob:
    peak = peaks[n]
    half = WIDTH_SD / 2
    gaps = [abs(p.centre_mm - peak.centre_mm) / (half * (p.sd_mm + peak.sd_mm)) for p in peaks if p is not peak]
    closest = min(gaps, default=np.inf)
    rows = np.abs(patch.s_mm - peak.densest_mm) <= max(peak.sd_mm, _cell(patch))
    across = np.maximum(patch.planes[:, rows].sum(axis=(0, 1)), 0)
    strength = region.signal_to_noise * float(peak.height.max()) / max(float(patch.profile.max()), 1e-9)
    longer = 1 + abs(peak.tail_mm) / max(peak.sd_mm, 1e-6) * settings.tail_slope
    tailing = longer if peak.tail_mm >= 0 else 1 / longer
    codes = _codes(tailing, strength, peak.height, settings)
    # Where spots overlap, the shape assumed for them decides how they share: a part of their width is then a guess.
    shared = settings.shared_share * peak.sd_mm * float(np.exp(-closest))
    reach = settings.fitted_edge_sd * peak.sd_mm
    width = WIDTH_SD * peak.sd_mm
    u_meaning = _u_meaning(width, peak.centre_mm - peak.densest_mm, strength, settings)
    covered = np.abs(patch.s_mm - peak.centre_mm) <= width / 2
    u_light = _u_light(width, patch.light[covered], peak.height, settings)
    return Blob(
        centre_mm=peak.centre_mm,
        t_mm=_middle(across, patch.t_mm, settings),
        densest_mm=peak.densest_mm,
        edges_mm=(
            max(peak.centre_mm - reach - max(peak.tail_mm, 0.0), float(patch.s_mm[0])),
            min(peak.centre_mm + reach - min(peak.tail_mm, 0.0), float(patch.s_mm[-1])),
        ),
        width_mm=width,
        spread_t_mm=(float(patch.t_mm[0]), float(patch.t_mm[-1])),
        fill=patch.fill,
        absorbance=np.maximum(peak.height, 0),
        tailing=tailing,
        signal_to_noise=strength,
        u_centre_mm=math.hypot(
            min(peak.u_centre_mm, peak.sd_mm),
            shared,
            u_meaning,
            u_light,
            _u_blotches(patch, width, peak.height),
        ),
        codes=("merged", *codes) if closest < settings.merged_resolution else codes,
    )
