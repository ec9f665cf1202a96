"""Two dyes under one maximum: told by their colours, and parted where two peaks explain them far better than one."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from webcapture.measure.mixture import Mixture, Peak, absorbance_of, fit_mixture
from webcapture.measure.patch import WIDTH_SD, Patch
from webcapture.model import Floats
from webcapture.settings import SpotSettings


@dataclass(frozen=True, slots=True, eq=False)
class _Whole:
    """What one maximum shows, once its neighbours are taken off."""

    profile: Floats
    """(rows, 3) absorbance where it lies."""
    s_mm: Floats
    width_mm: float


def two_dyes(patch: Patch, span_mm: tuple[float, float], width_mm: float, settings: SpotSettings) -> Mixture | None:
    """Two peaks in place of the one spot of a patch, from ``span_mm[0]`` to ``[1]``; None where it is one dye's."""
    inside = (patch.s_mm >= span_mm[0]) & (patch.s_mm <= span_mm[1])
    starts = _starts(_Whole(patch.profile[inside], patch.s_mm[inside], width_mm), patch, settings)
    if starts is None:
        return None
    sd = np.full(2, width_mm / WIDTH_SD * settings.split_sd)
    two = fit_mixture(patch.s_mm, patch.profile, patch.noise, starts, sd, settings)
    pair = (two.peaks[0], two.peaks[1])
    share = _share_left(pair, [pair], width_mm, settings)
    if share == 0:
        return None
    middle = np.array([(starts[0] + starts[1]) / 2])
    one = fit_mixture(patch.s_mm, patch.profile, patch.noise, middle, sd[:1] / settings.split_sd, settings)
    return two if two.chi2 < share * one.chi2 else None


def with_hidden(patch: Patch, mixture: Mixture, settings: SpotSettings) -> Mixture:
    """The mixture with two peaks in place of the first that hides a second dye; as it is where none does."""
    for n, peak in enumerate(mixture.peaks):
        width, others = WIDTH_SD * peak.sd_mm, [one for one in mixture.peaks if one is not peak]
        inside = np.abs(patch.s_mm - peak.centre_mm) <= width / 2
        left = patch.profile - sum(absorbance_of(one, patch.s_mm) for one in others)
        starts = _starts(_Whole(left[inside], patch.s_mm[inside], width), patch, settings)
        if starts is None:
            continue
        places = np.insert([one.densest_mm for one in others], n, starts)
        sd = np.insert([one.sd_mm for one in others], n, np.full(2, peak.sd_mm * settings.split_sd))
        more = fit_mixture(patch.s_mm, patch.profile, patch.noise, places, sd, settings)
        pair = (more.peaks[n], more.peaks[n + 1])
        if more.chi2 < _share_left(pair, _beside_new(more, n, peak), width, settings) * mixture.chi2:
            return more
    return mixture


def _beside_new(mixture: Mixture, n: int, old: Peak) -> list[tuple[Peak, Peak]]:
    """The new one of peaks ``n`` and ``n + 1``, the further from the old one's place, with its neighbour on either side."""
    first, second = (abs(one.centre_mm - old.centre_mm) for one in mixture.peaks[n : n + 2])
    new = n if first > second else n + 1
    return [pair for place, pair in enumerate(pairwise(mixture.peaks)) if new - 1 <= place <= new]


def _starts(whole: _Whole, patch: Patch, settings: SpotSettings) -> Floats | None:
    """(2,) where the search for two peaks begins: a little outside of where the channels place the one. None where it has one colour."""
    values = np.maximum(whole.profile, 0)
    if len(values) < 2 or not _of_two_colours(whole.profile / patch.noise, settings):
        return None
    strong = values.max(axis=0) > settings.channel_sd * patch.noise
    if strong.sum() < 2:
        return None
    means = ((values.T @ whole.s_mm) / np.maximum(values.sum(axis=0), 1e-12))[strong]
    out = settings.split_out * whole.width_mm
    return np.array([means.min() - out, means.max() + out])


def _of_two_colours(weighted: Floats, settings: SpotSettings) -> bool:
    """Whether (n, 3) absorbances, in standard deviations, are more than one colour times one profile.

    Those of a single dye are, whatever its shape: a matrix of rank one (Lawton and Sylvestre, Technometrics 1971, 13, 617). That
    paper darkens less the more it holds tells on the second singular value as well, but little.
    """
    squares = np.linalg.eigvalsh(weighted.T @ weighted)
    first, second = np.sqrt(np.maximum(squares[[-1, -2]], 0))
    return bool(second > settings.second_sd and second > settings.second_colour * first)


def _share_left(
    pair: tuple[Peak, Peak], beside: list[tuple[Peak, Peak]], width_mm: float, settings: SpotSettings
) -> float:
    """Share of one peak's misfit that two may leave to be believed; 0 where they are no spots, or do not lie apart, or are of one colour.

    Two of the same colour are one spot, and uneven. beside: the new one with each neighbour. Where it is much unlike them it is no
    dye's tail, and may leave more.
    """
    real = min(float(peak.height.max()) for peak in pair) > settings.split_least
    apart = pair[1].centre_mm - pair[0].centre_mm > settings.split_apart * width_mm
    if not real or not apart or _unlike(*pair) <= settings.split_colour:
        return 0.0
    strict, generous = settings.better_share
    return generous if all(_unlike(*two) > settings.split_unlike for two in beside) else strict


def _unlike(one: Peak, other: Peak) -> float:
    """By how much the colours of two peaks differ, as shares of their strongest channel."""
    first, second = (peak.height / max(float(peak.height.max()), 1e-9) for peak in (one, other))
    return float(np.abs(first - second).max())
