"""Paths across a strip: against scikit-image's path of least cost, scipy's Theil and Sen line, numpy's polynomials, drawn truth."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.polynomial.polynomial import polyval
from scipy.ndimage import uniform_filter1d
from scipy.stats import theilslopes
from skimage.graph import route_through_array

from webcapture.measure.curves import robust_lines
from webcapture.measure.tracing import _best_path, trace_lines
from webcapture.settings import DEFAULTS

RULE = DEFAULTS.trace
STEP = 0.125
S = (np.arange(800) + 0.5) * STEP
T = 0.8 + (np.arange(12) + 0.5) * 1.5
WIDTH = 0.4


def response(*curves, height=10.0, seed=1, off=()):
    """(rows, bins) a ridge along each curve s(t), in the background's standard deviations; none in the bins ``off``.

    The background is noise as a filter over five rows leaves it.
    """
    total = uniform_filter1d(np.random.default_rng(seed).normal(0, 1, (S.size, T.size)), 5, axis=0)
    total /= total.std()
    for curve in curves:
        ridge = height * np.exp(-0.5 * ((S[:, None] - curve(T)) / 0.3) ** 2)
        ridge[:, list(off)] = 0
        total = total + ridge
    return total.astype(np.float32)


def traced(grid, most=6, least=RULE.least_clear):
    return trace_lines(grid, S, T, 2, WIDTH, most, least, RULE)


@pytest.mark.parametrize("slope", [0.0, 0.1, -0.18])
def test_a_straight_line_is_where_it_was_drawn(slope):
    (line,) = traced(response(lambda t: 40 + slope * t))
    assert polyval(T, line.coefficients) == pytest.approx(40 + slope * T, abs=0.05)
    assert line.seen.all()
    assert line.spread_mm < 0.1


@settings(max_examples=30, deadline=None, derandomize=True)
@given(st.floats(15, 85), st.floats(-0.15, 0.15), st.integers(0, 10_000))
def test_any_line_is_found_within_its_scatter(middle, slope, seed):
    lines = traced(response(lambda t: middle + slope * (t - 10), seed=seed))
    assert len(lines) == 1
    assert polyval(10.0, lines[0].coefficients) == pytest.approx(middle, abs=0.06)


@pytest.mark.parametrize("sag", [1.5, -2.5])
def test_a_bow_is_followed(sag):
    """numpy.polynomial's least squares on the drawn places gives the same curve."""
    curve = lambda t: 60 + sag * (t / 10 - 1) ** 2  # noqa: E731
    (line,) = traced(response(curve, height=20))
    assert len(line.coefficients) == 3
    assert polyval(T, line.coefficients) == pytest.approx(curve(T), abs=0.12)


def test_a_straight_line_gets_no_bow():
    (line,) = traced(response(lambda t: 60 + 0.05 * t, height=20))
    assert len(line.coefficients) == 2


def test_part_of_a_line_is_seen_where_it_is():
    (line,) = traced(response(lambda t: 50 + 0 * t, height=20, off=range(7, 12)))
    assert line.seen.tolist() == [True] * 7 + [False] * 5
    assert polyval(T[:7], line.coefficients) == pytest.approx(np.full(7, 50.0), abs=0.05)


def test_a_gap_is_crossed():
    (line,) = traced(response(lambda t: 50 + 0.1 * t, height=20, off=(4, 5, 6)))
    assert line.seen.sum() == 9
    assert polyval(T, line.coefficients) == pytest.approx(50 + 0.1 * T, abs=0.05)


def test_clearest_first_and_each_once():
    clear, pale = response(lambda t: 30 + 0 * t, height=12), response(lambda t: 70 + 0 * t, height=5, seed=2)
    lines = traced(clear + pale - response(seed=2), most=6)
    assert [round(float(line.coefficients[0])) for line in lines] == [30, 70]
    assert lines[0].score > lines[1].score
    assert len(traced(clear + pale - response(seed=2), most=1)) == 1


def test_noise_alone_holds_no_clear_line():
    """Of 150 fields none has a path that counts as clear."""
    for seed in range(150):
        assert traced(response(seed=seed)) == []


def test_a_dark_spot_weighs_no_more_than_a_line():
    """Two bins as dark as can be, ten of bare paper: what is found there is told by how little of the width shows it."""
    grid = response(lambda t: 70 + 0 * t, height=8)
    grid[300:340, 4:6] += 200
    line, *spot = traced(grid)
    assert polyval(10.0, line.coefficients) == pytest.approx(70, abs=0.05)
    assert line.seen.mean() > 0.9
    assert all(path.seen.mean() <= 0.25 for path in spot)


@pytest.mark.parametrize("seed", range(8))
def test_the_path_is_scikit_images(seed):
    """skimage.graph.route_through_array finds the path of least cost through the same ridge: it runs within two rows of ours."""
    rng = np.random.default_rng(seed)
    slope, bend = rng.uniform(-0.15, 0.15), rng.uniform(-1.5, 1.5)
    grid = response(lambda t: 50 + slope * t + bend * (t / 10 - 1) ** 2, seed=seed)
    gain = np.clip(grid, RULE.floor, RULE.cap).T.copy()
    ours = _best_path(gain, 3, RULE.turn_cost)
    route, _ = route_through_array(
        RULE.cap - gain + 0.05, [0, ours[0]], [len(gain) - 1, ours[-1]], fully_connected=True
    )
    theirs = np.array([np.mean([row for b, row in route if b == n]) for n in range(len(gain))])
    assert np.abs(theirs - ours).max() <= 2.5


def test_the_best_path_beats_every_other():
    """On a small grid all paths can be tried: none gains more, counting what moving costs."""
    rng = np.random.default_rng(5)
    for _ in range(20):
        gain = rng.normal(0, 1, (4, 7)).astype(np.float32)
        path = _best_path(gain, 1, 0.3)
        assert np.abs(np.diff(path)).max() <= 1
        total = _gained(gain, path, 0.3)
        every = (np.array(p) for p in np.ndindex(7, 7, 7, 7))
        best = max(_gained(gain, p, 0.3) for p in every if np.abs(np.diff(p)).max() <= 1)
        assert total == pytest.approx(best, abs=1e-5)


def _gained(gain, path, turn):
    return float(gain[np.arange(len(path)), path].sum() - turn * np.abs(np.diff(path)).sum())


def test_the_robust_line_is_scipys():
    """scipy.stats.theilslopes, the intercept by its method “joint”."""
    rng = np.random.default_rng(7)
    for _ in range(10):
        places = 40 + rng.uniform(-0.2, 0.2) * T + rng.normal(0, 0.1, T.size)
        places[rng.integers(T.size, size=3)] += rng.uniform(-8, 8, 3)
        slope, intercept, *_ = theilslopes(places, T, method="joint")
        found = robust_lines(T, places[None], np.ones((1, T.size), bool))
        assert np.ravel(found) == pytest.approx([intercept, slope], abs=1e-9)


def test_marks_on_a_line_do_not_turn_it():
    """A cross or a letter moves three of twelve bins by 1.2 mm."""
    shift = np.where(np.arange(T.size) < 3, 1.2, 0.0)
    (line,) = traced(response(lambda t: 50 + shift, height=20))
    assert polyval(T[3:], line.coefficients) == pytest.approx(np.full(9, 50.0), abs=0.08)
    assert not line.seen[:3].any()
