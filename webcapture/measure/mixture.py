"""Overlapping spots told apart: a sum of peaks along the lane, each with one place and shape and its own colour.

A peak is a Gaussian convolved with an exponential that trails towards the origin: how a zone spreads that leaves slowly
what holds it (Foley and Dorsey, Anal. Chem. 1983, 55, 730). Places and shapes are searched for; the colours then follow by
linear least squares (variable projection, Golub and Pereyra 1973), all channels together: that is how two dyes under one
maximum are separated.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares
from scipy.special import erfcx

from webcapture.model import Floats

HOLD = 3.0
"""Weight of what is assumed of the shapes against the misfit: that of about ten rows at one standard deviation."""


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
    """Decay length of its tail."""
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


def fit_mixture(s_mm: Floats, profile: Floats, noise: Floats, starts: Floats, sd_mm: Floats) -> Mixture:
    """Peaks fitted to (n, 3) absorbance at (n,) places; ``starts`` are first guesses of their places.

    noise: (3,) standard deviation of one value; sd_mm: first guesses of the peaks' standard deviations.
    """
    count = len(starts)
    weighted = profile / noise
    low, high = float(s_mm[0]), float(s_mm[-1])

    def unpack(p: Floats) -> tuple[Floats, Floats, Floats]:
        return p[:count], np.exp(p[count : 2 * count]), np.exp(p[2 * count :])

    def solve(p: Floats) -> tuple[Floats, Floats]:
        basis = _shapes(s_mm, *unpack(p))
        heights = np.maximum(np.linalg.lstsq(basis, weighted, rcond=None)[0], 0)
        return basis @ heights - weighted, heights

    def misfit(p: Floats) -> Floats:
        _, _, tail = unpack(p)
        # Held by what the free side of each peak shows of its width; and a tail must earn its place.
        held = np.concatenate([(p[count : 2 * count] - np.log(sd_mm)) / 0.2, tail / sd_mm / 0.7]) * HOLD
        return np.concatenate([solve(p)[0].ravel(), held])

    start = np.concatenate([starts, np.log(sd_mm), np.log(0.15 * sd_mm)])
    lower = np.concatenate([np.full(count, low), np.log(sd_mm / 1.6), np.log(0.02 * sd_mm)])
    upper = np.concatenate([np.full(count, high), np.log(1.6 * sd_mm), np.log(1.5 * sd_mm)])
    fit = least_squares(
        misfit,
        np.clip(start, lower + 1e-6, upper - 1e-6),
        bounds=(lower, upper),
        ftol=1e-4,
        xtol=1e-4,
        gtol=1e-4,
        max_nfev=40,
    )
    residual, heights = solve(fit.x)
    free = max(residual.size - 6 * count, 1)
    chi2 = float((residual**2).sum() / free)
    mode, sd, tail = unpack(fit.x)
    u = _u_means(fit.jac, tail) * np.sqrt(max(chi2, 1.0))
    peaks = [_peak(mode[n], sd[n], tail[n], heights[n] * noise, float(u[n])) for n in range(count)]
    return Mixture(tuple(sorted(peaks, key=lambda peak: peak.centre_mm)), chi2)


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
    fine = np.linspace(mode - 4 * sd - 6 * tail, mode + 4 * sd, 400)
    shape = _shapes(fine, np.array([mode]), np.array([sd]), np.array([tail]))[:, 0]
    return Peak(
        centre_mm=float(mode - tail),
        densest_mm=float(fine[np.argmax(shape)]),
        sd_mm=float(np.hypot(sd, tail)),
        tail_mm=float(tail),
        height=height,
        u_centre_mm=u,
    )


def _shapes(s_mm: Floats, mode: Floats, sd: Floats, tail: Floats) -> Floats:
    """(n, peaks) exponentially trailing Gaussians of height one; the Gaussian sits at ``mode``, the tail lies below.

    Written with the scaled complementary error function, which neither overflows nor cancels for short tails.
    """
    z = (s_mm[:, None] - mode) / sd
    ratio = sd / tail
    argument = (ratio + z) / np.sqrt(2)
    scaled = erfcx(np.maximum(argument, -5)) * np.exp(-0.5 * z * z)
    far = np.exp(np.minimum(0.5 * ratio**2 + z * ratio, 50.0)) * 2
    shape = np.where(argument > -5, scaled, far)
    return np.asarray(shape / np.maximum(shape.max(axis=0, keepdims=True), 1e-12))
