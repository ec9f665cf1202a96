"""Overlapping peaks: scipy's exponentially modified Gaussian, known peaks in noise, and whether the uncertainties cover."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import approx_fprime, minimize_scalar, nnls
from scipy.stats import exponnorm

from tests.measure.drawn import BLUE, GREEN, RED, gauss
from webcapture.measure.mixture import _heights, _Hold, _shapes, _terms, fit_mixture
from webcapture.settings import DEFAULTS

S = np.arange(20.0, 80.0, 0.3)
NOISE = np.full(3, 0.003)


def law(mode, sd, tail):
    """scipy.stats.exponnorm, mirrored: the tail lies below, towards the origin."""
    return exponnorm(tail / sd, loc=-mode, scale=sd)


def trailing(mode, sd, tail):
    """(n,) the same, height one."""
    shape = law(mode, sd, tail).pdf(-S)
    return shape / shape.max()


def noisy(profile, seed, noise=NOISE):
    return profile + np.random.default_rng(seed).normal(0, 1, profile.shape) * noise


def two(gap, sd=1.6, colours=(RED, BLUE), heights=(1.0, 1.0)):
    pair = zip((50.0, 50.0 + gap), colours, heights, strict=True)
    return sum(h * gauss(S, m, sd)[:, None] * np.array(colour) for m, colour, h in pair)


@pytest.mark.parametrize(("sd", "tail"), [(1.2, 0.3), (1.5, 0.9), (1.5, 1.8), (2.2, 1.5)])
def test_mean_mode_and_width_are_those_of_scipys_law(sd, tail):
    """Mean and standard deviation by scipy's moments, the maximum by scipy.optimize on its density."""
    scipys = law(52.0, sd, tail)
    width = scipys.std()
    found = fit_mixture(S, trailing(52.0, sd, tail)[:, None] * RED, NOISE / 10, np.array([51.0]), np.array([width]))
    (peak,) = found.peaks
    densest = minimize_scalar(lambda s: -scipys.pdf(-s), bounds=(45, 54), method="bounded").x
    assert peak.centre_mm == pytest.approx(-scipys.mean(), abs=0.03)
    assert peak.densest_mm == pytest.approx(densest, abs=0.06)
    assert peak.sd_mm == pytest.approx(width, rel=0.03)
    assert peak.tail_mm == pytest.approx(tail, rel=0.15, abs=0.1)
    assert peak.height == pytest.approx(RED, rel=0.02)


@pytest.mark.parametrize("gap", [3.2, 4.5, 6.0])
def test_two_dyes_in_noise(gap):
    found = fit_mixture(S, noisy(two(gap), 3), NOISE, np.array([49.5, 50.5 + gap]), np.array([1.7, 1.7]))
    assert [p.centre_mm for p in found.peaks] == pytest.approx([50, 50 + gap], abs=0.1)
    assert [p.sd_mm for p in found.peaks] == pytest.approx([1.6, 1.6], rel=0.08)
    assert found.peaks[0].height == pytest.approx(RED, abs=0.03)
    assert found.peaks[1].height == pytest.approx(BLUE, abs=0.03)
    assert found.chi2 == pytest.approx(1, abs=0.25)


def test_three_in_a_row():
    middles = [44.0, 49.0, 54.5]
    profile = sum(gauss(S, m, 1.5)[:, None] * np.array(c) for m, c in zip(middles, (RED, BLUE, GREEN), strict=True))
    found = fit_mixture(S, noisy(profile, 4), NOISE, np.array(middles) + 0.4, np.full(3, 1.5))
    assert [p.centre_mm for p in found.peaks] == pytest.approx(middles, abs=0.1)


def test_peaks_come_in_order_whatever_the_starts():
    found = fit_mixture(S, noisy(two(5.0), 5), NOISE, np.array([55.5, 49.5]), np.array([1.6, 1.6]))
    assert [round(p.centre_mm) for p in found.peaks] == [50, 55]
    assert np.argmax(found.peaks[0].height) == np.argmax(RED)


def test_no_peak_is_paler_than_paper():
    """A gap between two peaks is not filled with a peak of light."""
    found = fit_mixture(S, noisy(two(8.0), 6), NOISE, np.array([50.0, 54.0, 58.0]), np.full(3, 1.6))
    assert min(p.height.min() for p in found.peaks) >= 0


def test_one_peak_explains_two_worse():
    profile = noisy(two(3.2), 7)
    one = fit_mixture(S, profile, NOISE, np.array([51.6]), np.array([2.2]))
    both = fit_mixture(S, profile, NOISE, np.array([49.5, 53.5]), np.full(2, 1.6))
    assert both.chi2 < 0.2 * one.chi2


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("count", [1, 2, 3])
def test_the_gradient_is_scipys(count, seed):
    """scipy.optimize.approx_fprime on the misfit itself, also where a colour has no use for one of the peaks."""
    rng = np.random.default_rng(seed)
    middles = rng.uniform(35, 65, count)
    seen = sum(gauss(S, m, 2.0)[:, None] * 100 * rng.uniform(0, 1, 3) for m in middles) + rng.normal(0, 1, (len(S), 3))
    p = np.concatenate([middles + 0.5, np.log(rng.uniform(0.8, 3, count)), np.log(rng.uniform(0.05, 4, count))])
    hold = _Hold(np.full(count, 1.5), DEFAULTS.spot)
    slopes = 2 * _terms(S, seen, p, hold)[1]
    theirs = approx_fprime(p, lambda at: _terms(S, seen, at, hold)[0], 1e-6)
    assert slopes == pytest.approx(theirs, abs=2e-5 * np.abs(theirs).max())


@pytest.mark.parametrize("seed", range(6))
def test_heights_are_scipys_non_negative_least_squares(seed):
    rng = np.random.default_rng(seed)
    shapes, _ = _shapes(S, np.array([48.0, 52.0]), np.full(2, 1.6), np.full(2, 0.6))
    seen = shapes.T @ rng.uniform(-0.5, 1, (2, 3)) + rng.normal(0, 0.05, (len(S), 3))
    heights, misfit, _ = _heights(shapes, seen)
    theirs = np.array([nnls(shapes.T, seen[:, channel])[0] for channel in range(3)]).T
    assert heights == pytest.approx(theirs, abs=1e-6)
    assert misfit == pytest.approx(shapes.T @ theirs - seen, abs=1e-6)


CASES = {
    "one": (two(60.0), [50.0], [50.0]),
    "two dyes": (two(3.5), [50.0, 53.5], [49.6, 53.9]),
    "one colour": (two(5.5, colours=(RED, RED)), [50.0, 55.5], [50.0, 55.5]),
    "no colour in common": (two(3.0, colours=((0.3, 0.0, 0.0), (0.0, 0.0, 0.3))), [50.0, 53.0], [49.6, 53.4]),
    "a strong one beside": (two(5.0, heights=(1.0, 0.3)), [50.0, 55.0], [50.0, 55.0]),
}


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("noise", [0.002, 0.008])
def test_the_centres_uncertainty_covers(case, noise):
    """60 times the same peaks in fresh noise: within two standard uncertainties 95 % of the time, less what chance takes.

    And no larger than it must be: about the scatter of the centres themselves.
    """
    profile, true, starts = CASES[case]
    off, u = [], []
    for seed in range(60):
        seen = noisy(profile, 1000 + seed, np.full(3, noise))
        peaks = fit_mixture(S, seen, np.full(3, noise), np.array(starts), np.full(len(starts), 1.6)).peaks
        off.append([p.centre_mm - t for p, t in zip(peaks, true, strict=True)])
        u.append([p.u_centre_mm for p in peaks])
    assert np.mean(np.abs(off) <= 2 * np.array(u), axis=0).min() >= 0.88
    assert (np.median(u, axis=0) < 2.2 * np.std(off, axis=0)).all()
