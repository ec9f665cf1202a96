"""Overlapping spots told apart: a sum of peaks along the lane, each with one place and shape and its own colour.

A peak is a Gaussian convolved with an exponential that trails towards the origin: how a zone spreads that leaves slowly
what holds it (Foley and Dorsey, Anal. Chem. 1983, 55, 730). Places and shapes are searched for; the colours then follow by
linear least squares (variable projection, Golub and Pereyra 1973), all channels together: that is how two dyes under one
maximum are separated.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import erfcx

from webcapture.descent import Terms, minimised
from webcapture.model import Floats
from webcapture.settings import DEFAULTS, SpotSettings

ENOUGH = 2e-5
"""Share of the misfit that the last step of a search gains: far below what the uncertainties would show."""
INSIDE = 0.99
"""Share of the way to its bounds up to which a first guess may lie: at a bound itself the sine has no slope to leave it by."""
STEP = 1e-7
"""Relative step of the numerical slopes: about the root of the numbers' own precision."""
UNKNOWNS = 6
"""A peak's place, width and tail, and its height in three channels."""
GRID = 400
"""Places at which a peak's shape is drawn to find its maximum."""
BESIDE = 4
"""Standard deviations that these reach to both sides: 1/3000 of the height is left there."""
BELOW = 6
"""Lengths of the tail that they reach further below."""
SCALED_FROM = -5
"""Argument below which the error function is taken for 2, which it is to 1e-12: scaled, it overflows further down."""
MOST_EXPONENT = 50.0
"""Where that is done the exponent is negative; elsewhere, where its value is not used, it must not overflow."""


@dataclass(frozen=True, slots=True, eq=False)
class Peak:
    """One component of a mixture."""

    centre_mm: float
    """Its mean, not its maximum."""
    densest_mm: float
    """Its maximum."""
    sd_mm: float
    """Standard deviation, tail included."""
    tail_mm: float
    """Decay length of its tail; negative where it points to the front."""
    height: Floats
    """(3,) absorbance at its maximum."""
    u_centre_mm: float
    """Standard uncertainty of its mean, from the fit."""


@dataclass(frozen=True, slots=True, eq=False)
class Mixture:
    """A fitted sum of peaks."""

    peaks: tuple[Peak, ...]
    chi2: float
    """Sum of squared misfits over the noise, for each free value."""


def fit_mixture(
    s_mm: Floats,
    profile: Floats,
    noise: Floats,
    starts: Floats,
    sd_mm: Floats,
    settings: SpotSettings = DEFAULTS.spot,
) -> Mixture:
    """Peaks fitted to (n, 3) absorbance at (n,) places; ``starts`` are first guesses of their places.

    noise: (3,) standard deviation of one value; sd_mm: first guesses of the peaks' standard deviations. They trail towards the
    origin; where that leaves more than noise, and some have no use for such a tail, also towards the front, as overloaded spots
    do, and the better fit counts.
    """
    trailing = _fitted(s_mm, profile, noise, starts, sd_mm, settings)
    all_trail = all(peak.tail_mm > settings.fronting_tail * peak.sd_mm for peak in trailing.peaks)
    if all_trail or trailing.chi2 < settings.fronting_chi2:
        return trailing
    fronting = _fitted(-s_mm[::-1], profile[::-1], noise, -starts[::-1], sd_mm[::-1], settings)
    return trailing if trailing.chi2 <= fronting.chi2 else _mirrored(fronting)


def _mirrored(mixture: Mixture) -> Mixture:
    peaks = [
        replace(peak, centre_mm=-peak.centre_mm, densest_mm=-peak.densest_mm, tail_mm=-peak.tail_mm)
        for peak in reversed(mixture.peaks)
    ]
    return Mixture(tuple(peaks), mixture.chi2)


def _fitted(
    s_mm: Floats, profile: Floats, noise: Floats, starts: Floats, sd_mm: Floats, settings: SpotSettings
) -> Mixture:
    """Peaks that all trail towards lower s."""
    count, free = len(starts), profile.size - UNKNOWNS * len(starts)
    weighted = profile / noise

    def linearised(p: Floats) -> tuple[Floats, Floats]:
        # All the small steps at once: one by one, numpy's overhead would cost many times the arithmetic.
        step = STEP * np.maximum(np.abs(p), 1.0)
        residuals, _ = _residuals(_stepped(s_mm, p, step), weighted)
        # Held by what the free side of each peak shows of its width; and a tail must earn its place.
        _, sd, tail = _unpacked(np.concatenate([p[None], p + np.diag(step)]))
        width, length = np.log(sd / sd_mm) / settings.sd_hold, tail / sd_mm / settings.tail_hold
        held = np.concatenate([width, length], axis=1) * settings.shape_hold
        off = np.concatenate([residuals.reshape(len(held), -1), held], axis=1)
        return off[0], ((off[1:] - off[0]) / step[:, None]).T

    factor, (short, long) = settings.sd_range, settings.tail_range
    start = np.concatenate([starts, np.log(sd_mm), np.log(settings.tail_start * sd_mm)])
    lower = np.concatenate([np.full(count, s_mm[0]), np.log(sd_mm / factor), np.log(short * sd_mm)])
    upper = np.concatenate([np.full(count, s_mm[-1]), np.log(factor * sd_mm), np.log(long * sd_mm)])
    best = _searched(linearised, start, lower, upper, settings.most_steps)
    mode, sd, tail = _unpacked(best[None])
    residual, heights = _residuals(_shapes(s_mm, mode, sd, tail), weighted)
    chi2 = float((residual**2).sum() / max(free, 1))
    u = _u_means(linearised(best)[1], tail[0]) * np.sqrt(max(chi2, 1.0))
    peaks = [_peak(mode[0, n], sd[0, n], tail[0, n], heights[0, n] * noise, float(u[n])) for n in range(count)]
    return Mixture(tuple(sorted(peaks, key=lambda peak: peak.centre_mm)), chi2)


def _searched(
    linearised: Callable[[Floats], tuple[Floats, Floats]], start: Floats, lower: Floats, upper: Floats, most: int
) -> Floats:
    """The parameters between ``lower`` and ``upper`` of least squared misfits, in at most so many steps.

    ``linearised`` tells the (m,) misfits and their (m, n) slopes. Searched on angles whose sines run from bound to bound
    (James and Roos, Comput. Phys. Commun. 1975, 10, 343).
    """
    middle, half = (lower + upper) / 2, (upper - lower) / 2

    def terms(angles: Floats) -> Terms:
        misfit, slopes = linearised(middle + half * np.sin(angles))
        turned = slopes * (half * np.cos(angles))
        return float(misfit @ misfit), turned.T @ misfit, turned.T @ turned

    first = np.arcsin(np.clip((start - middle) / half, -INSIDE, INSIDE))
    return np.asarray(middle + half * np.sin(minimised(first, terms, ENOUGH, most)), float)


def _unpacked(p: Floats) -> tuple[Floats, Floats, Floats]:
    """Modes, standard deviations and tails, each (sets, peaks), of (sets, 3 · peaks) parameters: the last two as logarithms."""
    peaks = p.shape[1] // 3
    shape = np.exp(p[:, peaks:])
    return p[:, :peaks], shape[:, :peaks], shape[:, peaks:]


def _stepped(s_mm: Floats, p: Floats, step: Floats) -> Floats:
    """(1 + 3 · peaks, peaks, n) shapes: as they are, and with a small step of each parameter, which changes one peak alone."""
    count = len(p) // 3
    kinds = np.repeat(np.eye(4, 3, -1), count, axis=1)  # none, all the modes, all the widths, all the tails
    shapes = _shapes(s_mm, *_unpacked(p + kinds * step))
    basis = np.repeat(shapes[:1], 1 + len(p), axis=0)
    peak = np.arange(count)
    basis[1:].reshape(3, count, count, -1)[:, peak, peak] = shapes[1:]
    return basis


def _residuals(basis: Floats, weighted: Floats) -> tuple[Floats, Floats]:
    """((sets, n, 3) misfits, (sets, peaks, 3) heights ≥ 0) with the heights that suit each of (sets, peaks, n) shapes best."""
    down = basis.swapaxes(1, 2)
    square = basis @ down + 1e-9 * np.eye(basis.shape[1])  # lest two peaks that coincide have no solution
    heights = np.maximum(np.linalg.solve(square, basis @ weighted), 0)
    return down @ heights - weighted, heights


def _u_means(jacobian: Floats, tail: Floats) -> Floats:
    """(peaks,) standard uncertainties of the means, mode − tail, for misfits of variance one.

    Mode and tail go together: what one fit puts into the tail another puts into the mode, and the mean hardly moves.
    """
    count = len(tail)
    covariance = np.linalg.pinv(jacobian.T @ jacobian, hermitian=True)
    slopes = np.hstack(
        [np.eye(count), np.zeros((count, count)), -np.diag(tail)]
    )  # the tail's parameter is its logarithm
    return np.asarray(np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", slopes, covariance, slopes), 0)), float)


def _peak(mode: float, sd: float, tail: float, height: Floats, u: float) -> Peak:
    fine = np.linspace(mode - BESIDE * sd - BELOW * tail, mode + BESIDE * sd, GRID)
    shape = _shapes(fine, np.array([[mode]]), np.array([[sd]]), np.array([[tail]]))[0, 0]
    return Peak(
        centre_mm=float(mode - tail),
        densest_mm=float(fine[np.argmax(shape)]),
        sd_mm=float(np.hypot(sd, tail)),
        tail_mm=float(tail),
        height=height,
        u_centre_mm=u,
    )


def _shapes(s_mm: Floats, mode: Floats, sd: Floats, tail: Floats) -> Floats:
    """(sets, peaks, n) exponentially trailing Gaussians of height one; the Gaussian sits at ``mode``, the tail lies below.

    Written with the scaled complementary error function, which neither overflows nor cancels for short tails.
    """
    ratio = (sd / tail)[..., None]
    z = (s_mm - mode[..., None]) / sd[..., None]
    argument = (ratio + z) / np.sqrt(2)
    shape = erfcx(np.maximum(argument, SCALED_FROM)) * np.exp(-0.5 * z * z)
    if argument.min() < SCALED_FROM:
        far = np.exp(np.minimum(0.5 * ratio**2 + z * ratio, MOST_EXPONENT)) * 2
        shape = np.where(argument > SCALED_FROM, shape, far)
    return np.asarray(shape / np.maximum(shape.max(axis=-1, keepdims=True), 1e-12))
