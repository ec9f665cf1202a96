"""Overlapping spots told apart: a sum of peaks along the lane, each with one place and shape and its own colour.

A peak is a Gaussian convolved with an exponential that trails towards the origin: how a zone spreads that leaves slowly
what holds it (Foley and Dorsey, Anal. Chem. 1983, 55, 730). Places and shapes are searched for; the colours then follow by
linear least squares (variable projection, Golub and Pereyra 1973, with the slopes of Kaufman, BIT 1975, 15, 49), all channels
together: that is how two dyes under one maximum are separated.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg.lapack import dposv, dpotrs
from scipy.special import erfcx

from webcapture.descent import Terms, minimised
from webcapture.model import Floats
from webcapture.settings import DEFAULTS, SpotSettings

ENOUGH = 1e-4
"""Share of the misfit that the last step of a search gains: far below what the uncertainties would show."""
INSIDE = 0.99
"""Share of the way to its bounds up to which a first guess may lie: at a bound itself the sine has no slope to leave it by."""
UNKNOWNS = 6
"""A peak's place, width and tail, and its height in three channels."""
GRID = 400
"""Places at which a peak's shape is drawn to find its maximum."""
BESIDE = 4
"""Standard deviations that these reach to both sides: 1/3000 of the height is left there."""
BELOW = 6
"""Lengths of the tail that they reach further below."""
SCALED_FROM = -25
"""Argument below which the error function is taken for 2, which it is to its last digit: scaled, it overflows a little further down."""
TINY = 1e-9
"""Added to the squares of shapes: else two peaks that coincide would have no solution."""
ROOT_HALF = 0.5**0.5
ROOT_2_PI = (2 / np.pi) ** 0.5
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
    trailing = _Fit(s_mm, profile, noise, starts, sd_mm, settings)
    all_trail = bool((trailing.tail > settings.fronting_tail * np.hypot(trailing.sd, trailing.tail)).all())
    if all_trail or trailing.chi2 < settings.fronting_chi2:
        return trailing.mixture()
    fronting = _Fit(-s_mm[::-1], profile[::-1], noise, -starts[::-1], sd_mm[::-1], settings)
    return trailing.mixture() if trailing.chi2 <= fronting.chi2 else _mirrored(fronting.mixture())


def absorbance_of(peak: Peak, s_mm: Floats) -> Floats:
    """(n, 3) absorbance of one peak at the (n,) places that it was fitted at."""
    if peak.tail_mm < 0:
        return absorbance_of(_turned(peak), -s_mm)
    sd = np.sqrt(max(peak.sd_mm**2 - peak.tail_mm**2, TINY))
    mode = np.array([peak.centre_mm + peak.tail_mm])
    shape = _shapes(s_mm, mode, np.array([sd]), np.array([max(peak.tail_mm, TINY)]))[0][0]
    return np.asarray(shape[:, None] * peak.height, float)


def _mirrored(mixture: Mixture) -> Mixture:
    return Mixture(tuple(_turned(peak) for peak in reversed(mixture.peaks)), mixture.chi2)


def _turned(peak: Peak) -> Peak:
    return replace(peak, centre_mm=-peak.centre_mm, densest_mm=-peak.densest_mm, tail_mm=-peak.tail_mm)


class _Fit:
    """The best places and shapes of peaks that all trail towards lower s."""

    def __init__(
        self, s_mm: Floats, profile: Floats, noise: Floats, starts: Floats, sd_mm: Floats, settings: SpotSettings
    ) -> None:
        count, free = len(starts), profile.size - UNKNOWNS * len(starts)
        self._s_mm, self._noise, self._weighted = s_mm, noise, profile / noise
        factor, (short, long) = settings.sd_range, settings.tail_range
        start = np.concatenate([starts, np.log(sd_mm), np.log(settings.tail_start * sd_mm)])
        lower = np.concatenate([np.full(count, s_mm[0]), np.log(sd_mm / factor), np.log(short * sd_mm)])
        upper = np.concatenate([np.full(count, s_mm[-1]), np.log(factor * sd_mm), np.log(long * sd_mm)])
        hold = _Hold(sd_mm, settings)

        def terms(p: Floats) -> Terms:
            return _terms(s_mm, self._weighted, p, hold)

        best = _searched(terms, start, lower, upper, settings.most_steps)
        loss, _, self._curvature = terms(best)
        self.chi2 = (loss - float((hold.misfits(best)[0] ** 2).sum())) / max(free, 1)
        """Sum of squared misfits over the noise, for each free value."""
        self.mode, self.sd, self.tail = _unpacked(best)

    def mixture(self) -> Mixture:
        """What the fit found, in millimetres and absorbance."""
        heights, _, _ = _heights(_shapes(self._s_mm, self.mode, self.sd, self.tail)[0], self._weighted)
        u = _u_means(self._curvature, self.tail) * np.sqrt(max(self.chi2, 1.0))
        places = _densest(self.mode, self.sd, self.tail)
        peaks = [
            Peak(
                centre_mm=float(self.mode[n] - self.tail[n]),
                densest_mm=float(places[n]),
                sd_mm=float(np.hypot(self.sd[n], self.tail[n])),
                tail_mm=float(self.tail[n]),
                height=heights[n] * self._noise,
                u_centre_mm=float(u[n]),
            )
            for n in range(len(places))
        ]
        return Mixture(tuple(sorted(peaks, key=lambda peak: peak.centre_mm)), self.chi2)


def _searched(terms: Callable[[Floats], Terms], start: Floats, lower: Floats, upper: Floats, most: int) -> Floats:
    """The parameters between ``lower`` and ``upper`` of least loss, in at most so many steps.

    Searched on angles whose sines run from bound to bound (James and Roos, Comput. Phys. Commun. 1975, 10, 343).
    """
    middle, half = (lower + upper) / 2, (upper - lower) / 2

    def turned(angles: Floats) -> Terms:
        loss, gradient, curvature = terms(middle + half * np.sin(angles))
        slope = half * np.cos(angles)
        return loss, gradient * slope, curvature * slope * slope[:, None]

    first = np.arcsin(np.clip((start - middle) / half, -INSIDE, INSIDE))
    return np.asarray(middle + half * np.sin(minimised(first, turned, ENOUGH, most)), float)


class _Hold:
    """What holds the peaks' shapes: what the free side of each shows of its width; and a tail must earn its place."""

    def __init__(self, sd_mm: Floats, settings: SpotSettings) -> None:
        self._log_sd = np.log(sd_mm)
        self._width, self._length = settings.shape_hold / settings.sd_hold, settings.shape_hold / settings.tail_hold

    def misfits(self, p: Floats) -> tuple[Floats, Floats]:
        """(2, peaks) how far widths and tails are off, weighted, and how that grows with their logarithms."""
        off = p[len(self._log_sd) :].reshape(2, -1) - self._log_sd
        off[0] *= self._width
        off[1] = self._length * np.exp(off[1])
        slope = off.copy()
        slope[0] = self._width
        return off, slope


def _terms(s_mm: Floats, weighted: Floats, p: Floats, hold: _Hold) -> Terms:
    """Squared misfit of the peaks with these parameters, half its gradient and curvature, the heights following on their own."""
    shapes, slopes = _shapes(s_mm, *_unpacked(p))
    heights, misfit, factor = _heights(shapes, weighted)
    flat, count = slopes.reshape(len(p), -1), len(shapes)
    gradient = ((flat @ misfit).reshape(3, count, 3) * heights).sum(axis=2)
    curvature = _curvature(flat, shapes, heights, factor).reshape(len(p), len(p))
    off, slope = hold.misfits(p)
    gradient[1:] += off * slope
    curvature.ravel()[count * (len(p) + 1) :: len(p) + 1] += (slope**2).ravel()
    return float(np.vdot(misfit, misfit) + np.vdot(off, off)), gradient.ravel(), curvature


def _curvature(flat: Floats, shapes: Floats, heights: Floats, factor: Floats) -> Floats:
    """(3, peaks, 3, peaks) half the misfit's curvature: of what the heights, those that are not held at zero, cannot make good of a step.

    flat: (3 · peaks, n) the shapes' slopes; factor: Cholesky's of the products of all shapes.
    """
    count = len(shapes)
    if heights.min() > 0:
        free = flat - dpotrs(factor, shapes @ flat.T)[0].T @ shapes
        return np.asarray((free @ free.T).reshape(3, count, 3, count) * (heights @ heights.T)[:, None])
    curvature = np.zeros((3, count, 3, count))
    for height in heights.T:
        own = shapes[height > 0]
        inner = dposv(own @ own.T + TINY * np.eye(len(own)), own @ flat.T)[1] if len(own) else own @ flat.T
        free = flat - inner.T @ own
        curvature += (free @ free.T).reshape(3, count, 3, count) * np.outer(height, height)[:, None]
    return curvature


def _unpacked(p: Floats) -> tuple[Floats, Floats, Floats]:
    """(peaks,) modes, standard deviations and tails of (3 · peaks,) parameters: the last two as logarithms."""
    peaks = len(p) // 3
    shape = np.exp(p[peaks:])
    return p[:peaks], shape[:peaks], shape[peaks:]


def _heights(shapes: Floats, weighted: Floats) -> tuple[Floats, Floats, Floats]:
    """((peaks, 3) heights ≥ 0 that suit the (peaks, n) shapes, (n, 3) misfits, Cholesky's factor of the shapes' products).

    The best there are for two peaks; of three and more, one that would be negative at first stays at zero, though now and then the best has it.
    """
    square = shapes @ shapes.T
    square.ravel()[:: len(square) + 1] += TINY
    products = shapes @ weighted
    factor, heights, _ = dposv(square, products)
    if heights.min() < 0:
        for channel in np.flatnonzero(heights.min(axis=0) < 0):
            heights[:, channel] = _without_negative(heights[:, channel], square, products[:, channel])
    return heights, shapes.T @ heights - weighted, factor


def _without_negative(heights: Floats, square: Floats, products: Floats) -> Floats:
    """(peaks,) the heights in one channel that suit best once those below zero are none."""
    kept = heights > 0
    while kept.any():
        left = np.zeros_like(heights)
        left[kept] = np.linalg.solve(square[np.ix_(kept, kept)], products[kept])
        if left.min() >= 0:
            return left
        kept = left > 0
    return np.zeros_like(heights)


def _u_means(curvature: Floats, tail: Floats) -> Floats:
    """(peaks,) standard uncertainties of the means, mode − tail, for misfits of variance one.

    Mode and tail go together: what one fit puts into the tail another puts into the mode, and the mean hardly moves.
    """
    count = len(tail)
    covariance = np.linalg.pinv(curvature, hermitian=True)
    slopes = np.hstack(
        [np.eye(count), np.zeros((count, count)), -np.diag(tail)]
    )  # the tail's parameter is its logarithm
    return np.asarray(np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", slopes, covariance, slopes), 0)), float)


def _densest(mode: Floats, sd: Floats, tail: Floats) -> Floats:
    """(peaks,) where each peak is highest, from its shape drawn finely."""
    low, high = mode - BESIDE * sd - BELOW * tail, mode + BESIDE * sd
    fine = np.linspace(low, high, GRID, axis=1)
    return np.asarray(fine[np.arange(len(mode)), _shapes(fine, mode, sd, tail)[0].argmax(axis=1)])


def _shapes(s_mm: Floats, mode: Floats, sd: Floats, tail: Floats) -> tuple[Floats, Floats]:
    """(peaks, n) exponentially trailing Gaussians of height one, the Gaussian at ``mode``, the tail below; and their slopes.

    slopes: (3, peaks, n) by mode, ln sd and ln tail, but for what only scales a shape. Written with the scaled complementary
    error function, which neither overflows nor cancels for short tails.
    """
    ratio, sd = (sd / tail)[:, None], sd[:, None]
    z = (s_mm - mode[:, None]) / sd
    beyond = ratio + z
    argument = beyond * ROOT_HALF
    bell = np.exp(-0.5 * z * z)
    shape = erfcx(np.maximum(argument, SCALED_FROM)) * bell
    # The scaled error function's own slope is 2 x erfcx(x) − 2 / √π.
    by_ratio = beyond * shape - ROOT_2_PI * bell
    by_z = by_ratio - z * shape
    if argument.min() < SCALED_FROM:
        far = argument < SCALED_FROM
        exponential = np.exp(np.minimum(0.5 * ratio**2 + z * ratio, MOST_EXPONENT)) * 2
        shape = np.where(far, exponential, shape)
        by_ratio, by_z = np.where(far, beyond * exponential, by_ratio), np.where(far, ratio * exponential, by_z)
    by_ratio *= ratio
    top = 1 / np.maximum(shape.max(axis=1), 1e-12)[:, None]
    slopes = np.empty((3, *shape.shape))
    np.multiply(by_z, -1 / sd, out=slopes[0])
    np.subtract(by_ratio, z * by_z, out=slopes[1])
    np.negative(by_ratio, out=slopes[2])
    slopes *= top
    return shape * top, slopes
