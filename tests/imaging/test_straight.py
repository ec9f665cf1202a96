"""Lines through most of an edge's points: against scipy.stats' repeated medians (Siegel 1982), and several at once against each alone."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import siegelslopes

from webcapture.imaging.straight import roughly_straight, straight

X = np.arange(150.0)


def points(seed: int, wild: float) -> tuple[np.ndarray, tuple[float, float]]:
    """(150,) places on a line, with a scatter of 0.02 and that share of them up to 2 off, all to one side; and the line."""
    rng = np.random.default_rng(seed)
    offset, slope = rng.uniform(-1, 1), rng.uniform(-0.01, 0.01)
    y = offset + slope * X + rng.normal(0, 0.02, len(X))
    off = rng.choice(len(X), int(wild * len(X)), replace=False)
    y[off] += rng.uniform(0.2, 2.0, len(off))
    return y, (offset, slope)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("wild", [0.0, 0.1, 0.35])
def test_what_bulges_does_not_turn_a_line(seed: int, wild: float) -> None:
    y, (offset, slope) = points(seed, wild)
    line = straight(
        X, y[None], np.ones((1, len(X)), bool), 0.005, roughly_straight(X[None], y[None], np.array([len(X)]))
    )[0]
    theirs = siegelslopes(y, X)
    for at in (0.0, X[-1]):
        true = offset + slope * at
        assert line[0] + line[1] * at == pytest.approx(true, abs=0.02)
        assert abs(line[0] + line[1] * at - true) <= abs(theirs.intercept + theirs.slope * at - true) + 0.01


def test_several_at_once_are_as_each_alone() -> None:
    """Also where they have not the same number of points."""
    rng = np.random.default_rng(3)
    y = np.array([points(seed, 0.2)[0] for seed in range(6)])
    among = rng.random(y.shape) < 0.7
    among[4, 20:] = False
    start = np.stack([np.median(y, axis=1), np.zeros(len(y))], axis=1)
    together = straight(X, y, among, 0.005, start)
    for n, line in enumerate(together):
        some = among[n]
        alone = straight(X[some], y[n, some][None], np.ones((1, some.sum()), bool), 0.005, start[n : n + 1])[0]
        assert line == pytest.approx(alone, abs=2e-3)


def test_nearly_half_of_the_points_may_be_wrong_at_first() -> None:
    y, (offset, slope) = points(5, 0.45)
    first = roughly_straight(np.array([X, X]), np.array([y, y + 3]), np.full(2, len(X)))
    assert first[0] == pytest.approx([offset, slope], abs=0.06)
    assert first[1] - first[0] == pytest.approx([3, 0], abs=1e-9)
