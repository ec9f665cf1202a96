"""Least squares: against scipy.optimize.least_squares on curves whose parameters pull on each other."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import least_squares

from webcapture.descent import minimised

X = np.linspace(0.0, 10.0, 60)


def curve(p):
    """Two decays and a level: the textbook's ill-conditioned fit."""
    return p[0] * np.exp(-p[1] * X) + p[2] * np.exp(-p[3] * X) + p[4]


def slopes(p):
    step = 1e-7
    return np.stack([(curve(p + step * e) - curve(p)) / step for e in np.eye(len(p))], axis=1)


def terms_of(seen):
    def terms(p):
        misfit, turned = curve(p) - seen, slopes(p)
        return float(misfit @ misfit), turned.T @ misfit, turned.T @ turned

    return terms


@pytest.mark.parametrize("seed", range(6))
def test_the_least_is_scipys(seed):
    rng = np.random.default_rng(seed)
    true = np.array([2.0, 1.5, 1.0, 0.2, 0.1])
    seen = curve(true) + rng.normal(0, 0.01, X.size)
    first = true * rng.uniform(0.6, 1.6, true.size)
    ours = minimised(first, terms_of(seen), 1e-12, 200)
    theirs = least_squares(lambda p: curve(p) - seen, first, xtol=1e-12, ftol=1e-12, gtol=1e-12).x
    assert ((curve(ours) - seen) ** 2).sum() <= ((curve(theirs) - seen) ** 2).sum() * (1 + 1e-6)


def test_it_ends_where_it_is_told_to():
    """Each evaluation is counted; a first guess that is the least already takes few."""
    asked = []
    terms = terms_of(curve(np.array([2.0, 1.5, 1.0, 0.2, 0.1])) + np.random.default_rng(1).normal(0, 0.01, X.size))

    def counted(p):
        asked.append(p)
        return terms(p)

    best = minimised(np.array([2.5, 1.2, 1.2, 0.3, 0.0]), counted, 1e-10, 200)
    assert 3 < len(asked) < 200
    asked.clear()
    minimised(best, counted, 1e-6, 200)
    assert len(asked) <= 5
    asked.clear()
    minimised(np.array([9.0, 9.0, 9.0, 9.0, 9.0]), counted, 0.0, 7)
    assert len(asked) == 8


def test_the_loss_never_grows():
    terms = terms_of(np.sin(X))
    first = np.array([1.0, 3.0, -1.0, 0.01, 0.0])
    assert terms(minimised(first, terms, 1e-9, 50))[0] < terms(first)[0]


def test_what_the_data_leave_open_stays_near_where_it_was():
    """Only the sum of two parameters is seen: it is found, and their difference is left alone."""

    def terms(p):
        misfit, turned = np.array([p[0] + p[1] - 3.0]), np.array([[1.0, 1.0]])
        return float(misfit @ misfit), turned.T @ misfit, turned.T @ turned

    found = minimised(np.array([0.0, 1.0]), terms, 1e-9, 50)
    assert found.sum() == pytest.approx(3, abs=1e-4)
    assert found[1] - found[0] == pytest.approx(1, abs=1e-6)


def test_misfits_that_are_no_number_are_stepped_back_from():
    """Beyond x = 2 the loss has no value; the least lies before it."""

    def terms(p):
        x = float(p[0])
        misfit = np.array([np.nan if x > 2 else 1 / (2.05 - x) - 5.0])
        turned = np.array([[0.0 if x > 2 else (2.05 - x) ** -2]])
        return float(misfit @ misfit), turned.T @ misfit, turned.T @ turned

    assert minimised(np.array([0.0]), terms, 1e-12, 80)[0] == pytest.approx(1.85, abs=1e-3)
