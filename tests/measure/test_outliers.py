"""Grubbs' test against published critical values and an independent count."""

from __future__ import annotations

import numpy as np
import pytest

from webcapture.measure.outliers import grubbs_critical, spread

# ISO 5725-2, table of critical values for one outlying value, upper 5 % (from memory; its last digit is a simulation's).
PUBLISHED = {
    3: 1.155,
    4: 1.481,
    5: 1.715,
    6: 1.887,
    7: 2.020,
    8: 2.126,
    9: 2.215,
    10: 2.290,
    15: 2.549,
    20: 2.709,
    30: 2.908,
}


@pytest.mark.parametrize(("n", "known"), PUBLISHED.items())
def test_critical_values_are_the_published_ones(n: int, known: float) -> None:
    assert grubbs_critical(n) == pytest.approx(known, abs=0.0016)


def test_one_sided_values_of_grubbs_1950() -> None:
    """One-sided 5 % is two-sided 10 %: 2.176 for n = 10, 2.557 for n = 20 (Grubbs' table, from memory)."""
    assert grubbs_critical(10, 0.10) == pytest.approx(2.176, abs=0.0016)
    assert grubbs_critical(20, 0.10) == pytest.approx(2.557, abs=0.0016)


def test_sound_values_are_called_outliers_as_often_as_said() -> None:
    draws = np.random.default_rng(11).normal(0.5, 0.02, (4000, 8))
    share = np.mean([spread(list(row)).outlier is not None for row in draws])
    assert 0.04 < share < 0.06  # 4000 draws: standard deviation of the share 0.0034


def test_the_value_apart_is_found_and_stays_in_mean_and_s() -> None:
    values = [0.41, 0.42, 0.40, 0.41, 0.60]
    found = spread(values)
    assert found.outlier == 4
    assert found.mean == pytest.approx(np.mean(values))
    assert found.s == pytest.approx(np.std(values, ddof=1))


def test_too_few_or_equal_values_have_none() -> None:
    assert spread([0.4]).s is None
    assert spread([0.4, 0.9]).outlier is None
    assert spread([0.3] * 7).outlier is None
    assert spread([0.1 + 0.2, 0.3, 0.3, 0.3]).outlier is None
