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
ENOUGH = 1e-4
"""Relative change, of the misfit and of the parameters, at which a search ends: far below the uncertainties."""
STEP = 1e-7
"""Relative step of the numerical slopes: about the root of the numbers' own precision."""


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
    count, free = len(starts), profile.size - 6 * len(starts)
    weighted = profile / noise

    def misfits(p: Floats) -> Floats:
        # Held by what the free side of each peak shows of its width; and a tail must earn its place.
        _, sd, tail = _unpacked(p)
        held = np.concatenate([np.log(sd / sd_mm) / 0.2, tail / sd_mm / 0.7], axis=1) * HOLD
        return np.concatenate([_residuals(s_mm, weighted, p)[0].reshape(len(p), -1), held], axis=1)

    def slopes(p: Floats) -> Floats:
        # All the small steps at once: one by one, numpy's overhead would cost many times the arithmetic.
        step = STEP * np.maximum(np.abs(p), 1.0)
        off = misfits(np.concatenate([p[None], p + np.diag(step)]))
        return np.asarray(((off[1:] - off[0]) / step[:, None]).T)

    start = np.concatenate([starts, np.log(sd_mm), np.log(0.15 * sd_mm)])
    lower = np.concatenate([np.full(count, s_mm[0]), np.log(sd_mm / 1.6), np.log(0.02 * sd_mm)])
    upper = np.concatenate([np.full(count, s_mm[-1]), np.log(1.6 * sd_mm), np.log(1.5 * sd_mm)])
    fit = least_squares(
        lambda p: misfits(p[None])[0],
        np.clip(start, lower + 1e-6, upper - 1e-6),
        jac=slopes,
        bounds=(lower, upper),
        **{name: ENOUGH for name in ("ftol", "xtol", "gtol")},
        max_nfev=40,
    )
    residual, heights = _residuals(s_mm, weighted, fit.x[None])
    chi2 = float((residual**2).sum() / max(free, 1))
    (mode,), (sd,), (tail,) = _unpacked(fit.x[None])
    u = _u_means(fit.jac, tail) * np.sqrt(max(chi2, 1.0))
    peaks = [_peak(mode[n], sd[n], tail[n], heights[0, n] * noise, float(u[n])) for n in range(count)]
    return Mixture(tuple(sorted(peaks, key=lambda peak: peak.centre_mm)), chi2)


def _unpacked(p: Floats) -> tuple[Floats, Floats, Floats]:
    """Modes, standard deviations and tails, each (sets, peaks), of (sets, 3 · peaks) parameters: the last two as logarithms."""
    mode, log_sd, log_tail = np.split(p, 3, axis=1)
    return mode, np.exp(log_sd), np.exp(log_tail)


def _residuals(s_mm: Floats, weighted: Floats, p: Floats) -> tuple[Floats, Floats]:
    """((sets, n, 3) misfits, (sets, peaks, 3) heights ≥ 0) with the heights that suit each set of parameters best."""
    basis = _shapes(s_mm, *_unpacked(p))
    across = basis.transpose(0, 2, 1)
    square = across @ basis + 1e-9 * np.eye(basis.shape[2])  # lest two peaks that coincide have no solution
    heights = np.maximum(np.linalg.solve(square, across @ weighted), 0)
    return basis @ heights - weighted, heights


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
    shape = _shapes(fine, np.array([[mode]]), np.array([[sd]]), np.array([[tail]]))[0, :, 0]
    return Peak(
        centre_mm=float(mode - tail),
        densest_mm=float(fine[np.argmax(shape)]),
        sd_mm=float(np.hypot(sd, tail)),
        tail_mm=float(tail),
        height=height,
        u_centre_mm=u,
    )


def _shapes(s_mm: Floats, mode: Floats, sd: Floats, tail: Floats) -> Floats:
    """(sets, n, peaks) exponentially trailing Gaussians of height one; the Gaussian sits at ``mode``, the tail lies below.

    Written with the scaled complementary error function, which neither overflows nor cancels for short tails.
    """
    mode, sd, tail = mode[:, None], sd[:, None], tail[:, None]
    z = (s_mm[:, None] - mode) / sd
    ratio = sd / tail
    argument = (ratio + z) / np.sqrt(2)
    scaled = erfcx(np.maximum(argument, -5)) * np.exp(-0.5 * z * z)
    far = np.exp(np.minimum(0.5 * ratio**2 + z * ratio, 50.0)) * 2
    shape = np.where(argument > -5, scaled, far)
    return np.asarray(shape / np.maximum(shape.max(axis=1, keepdims=True), 1e-12))
