"""Budgets against the package ``uncertainties``, against numbers worked by the GUM, and against simulation."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from uncertainties import correlated_values, ufloat

from webcapture.errors import UsageError
from webcapture.measure import uncertainty as unc

# A component of exactly zero is a case of its own here, and the package warns about it.
pytestmark = pytest.mark.filterwarnings("ignore:Using UFloat objects with std_dev==0")

# To a picometre: the package multiplies the spreads of two places, which underflows for an origin at 1e-159 mm.
places = st.tuples(st.floats(-20, 40).map(lambda mm: round(mm, 9)), st.floats(20, 200), st.floats(0, 1))
small = st.floats(0, 1)


def placed(place: tuple[float, float, float]) -> tuple[float, float, float]:
    """Spot, origin, front from an origin, a run and an Rf."""
    origin, run, ratio = place
    return origin + ratio * run, origin, origin + run


@given(places, small, small, small, small, small)
def test_agrees_with_the_package_uncertainties(
    place: tuple[float, float, float], u_s: float, u_o: float, u_f: float, u_r: float, u_b: float
) -> None:
    s, o, f = placed(place)
    # Independent readings, each with its own local error of the rectification; the bend acts on the spot alone.
    spot, origin, front = ufloat(s, u_s), ufloat(o, u_o), ufloat(f, u_f)
    local: list[Any] = [ufloat(0, u_r) for _ in range(3)]
    there = spot + local[0] + ufloat(0, u_b)
    expected = (there - origin - local[1]) / (front + local[2] - origin - local[1])
    u, budget = unc.rf_budget(
        s, o, f, u_centre_mm=u_s, u_origin_mm=u_o, u_front_mm=u_f, u_rectification_mm=u_r, u_flatness_mm=u_b
    )
    assert u == pytest.approx(expected.std_dev, rel=1e-9, abs=1e-15)
    assert unc.combined(budget) == u


@given(places)
def test_a_wrong_scale_cancels(place: tuple[float, float, float]) -> None:
    # The reason why the scale is no component: 1 % of scale shifts all three places, fully correlated, and Rf not at all.
    vector = np.array(placed(place))
    s, o, f = correlated_values(vector, np.outer(vector, vector) * 0.01**2)
    assert ((s - o) / (f - o)).std_dev == pytest.approx(0, abs=1e-6)
    assert (s - o).std_dev == pytest.approx(0.01 * place[1] * place[2], abs=1e-5)


@pytest.mark.parametrize(
    ("distance", "run", "expected"), [(30, 57, 0.0062), (33, 55, 0.0065), (63, 80, 0.0047), (54, 60, 0.0065)]
)
def test_ruler_readings_by_the_gum(distance: float, run: float, expected: float) -> None:
    # JCGM 100:2008, 4.3.7: half-width h read with equal likelihood gives u = h / √3; h = 0.5 mm at origin, spot and front.
    # The numbers were calculated by hand from u(R) = (u / Z) · √(1 + R² + (1 − R)²).
    u = 0.5 / math.sqrt(3)
    value, _ = unc.rf_budget(distance, 0, run, u_centre_mm=u, u_origin_mm=u, u_front_mm=u)
    assert value == pytest.approx(expected, abs=5e-5)
    # One local error for all three places is the same sum in one line.
    in_one, _ = unc.rf_budget(distance, 0, run, u_centre_mm=0, u_origin_mm=0, u_front_mm=0, u_rectification_mm=u)
    assert in_one == pytest.approx(value)


def test_the_budget_can_be_listed() -> None:
    u, budget = unc.rf_budget(
        50,
        10,
        90,
        u_centre_mm=0.1,
        u_origin_mm=0.2,
        u_front_mm=0.0,
        u_flatness_mm=0.3,
        reasons={"flatness": "strip bent"},
    )
    assert [part.name for part in budget] == ["centre", "origin", "flatness"]
    assert [part.kind for part in budget] == ["A", "A", "B"]
    assert [part.reason for part in budget][-1] == "strip bent"
    assert all(part.reason for part in budget)
    assert [part.sensitivity for part in budget] == pytest.approx([1 / 80, -0.5 / 80, 1 / 80])
    assert u == pytest.approx(math.sqrt(0.1**2 + 0.1**2 + 0.3**2) / 80)


@given(places)
def test_a_common_shift_does_nothing(place: tuple[float, float, float]) -> None:
    s, o, f = placed(place)
    _, budget = unc.rf_budget(s, o, f, u_centre_mm=1, u_origin_mm=1, u_front_mm=1)
    assert sum(part.sensitivity for part in budget) == pytest.approx(0, abs=1e-12)


@given(places, st.floats(0.01, 1), st.floats(1, 5))
def test_more_doubt_in_any_place_is_never_less_in_rf(place: tuple[float, float, float], u: float, more: float) -> None:
    s, o, f = placed(place)
    base = {"u_centre_mm": u, "u_origin_mm": u, "u_front_mm": u, "u_rectification_mm": u, "u_flatness_mm": u}
    least = unc.rf_budget(s, o, f, **base)[0]
    for name in base:
        assert unc.rf_budget(s, o, f, **{**base, name: u * more})[0] >= least - 1e-15


@given(places, small, small, small, small)
def test_relative_rf_agrees_with_the_package_uncertainties(
    place: tuple[float, float, float], u_s: float, u_o: float, u_ref: float, u_b: float
) -> None:
    s, o, reference = placed(place)
    expected = (ufloat(s, u_s) + ufloat(0, u_b) - (o_ := ufloat(o, u_o))) / (ufloat(reference, u_ref) - o_)
    u, budget = unc.r_rel_budget(
        s, o, reference, u_centre_mm=u_s, u_origin_mm=u_o, u_reference_mm=u_ref, u_flatness_mm=u_b
    )
    assert u == pytest.approx(expected.std_dev, rel=1e-9, abs=1e-15)
    assert "front" not in {part.name for part in budget}


def test_relative_rf_may_exceed_one() -> None:
    u, _ = unc.r_rel_budget(60, 0, 30, u_centre_mm=0.1, u_origin_mm=0.1, u_reference_mm=0.1)
    assert u == pytest.approx(0.1 / 30 * math.sqrt(1 + 2**2 + 1))


@given(st.floats(0, 1), st.floats(0, 1), st.floats(20, 200), small, small, small, small, small)
def test_covariance_of_two_spots_of_a_lane(
    r1: float, r2: float, run: float, u_o: float, u_f: float, u_r: float, b1: float, b2: float
) -> None:
    o, f = ufloat(10, u_o) + ufloat(0, u_r), ufloat(10 + run, u_f) + ufloat(0, u_r)
    bend = ufloat(0, 1)

    def ratio(r: float, shift: float) -> Any:
        return (ufloat(10 + r * run, 0.2) + shift * bend - o) / (f - o)

    one, two = ratio(r1, b1), ratio(r2, b2)
    covariance = unc.covariance_of_ratios(
        r1, r2, run, u_origin_mm=u_o, u_front_mm=u_f, u_rectification_mm=u_r, u_flatness_mm=(b1, b2)
    )
    difference = unc.u_difference(one.std_dev, two.std_dev, covariance)
    assert difference == pytest.approx((one - two).std_dev, rel=1e-6, abs=1e-9)


def test_one_spot_with_itself_has_its_variance_without_its_centre() -> None:
    u, _ = unc.rf_budget(40, 0, 100, u_centre_mm=0, u_origin_mm=0.2, u_front_mm=0.3)
    assert unc.covariance_of_ratios(0.4, 0.4, 100, u_origin_mm=0.2, u_front_mm=0.3) == pytest.approx(u**2)


@pytest.mark.parametrize("ratio", [0.02, 0.35, 0.6, 0.95])
def test_coverage_by_simulation(ratio: float) -> None:
    """Of simulated readings 95.4 % give an interval ± U that holds the truth (k = 2, normal distribution)."""
    rng = np.random.default_rng(20)
    n, run, sd = 40_000, 80.0, (0.15, 0.2, 0.3, 0.1, 0.25)
    local = rng.normal(0, sd[3], (3, n))
    s = 10 + ratio * run + rng.normal(0, sd[0], n) + local[0] + rng.normal(0, sd[4], n)
    o = 10 + rng.normal(0, sd[1], n) + local[1]
    f = 10 + run + rng.normal(0, sd[2], n) + local[2]
    u = np.array(
        [
            unc.rf_budget(
                *row,
                u_centre_mm=sd[0],
                u_origin_mm=sd[1],
                u_front_mm=sd[2],
                u_rectification_mm=sd[3],
                u_flatness_mm=sd[4],
            )[0]
            for row in np.column_stack([s, o, f])[:4000].tolist()
        ]
    )
    error = ((s - o) / (f - o) - ratio)[:4000]
    covered = np.mean(np.abs(error) <= unc.expanded(1) * u)
    # 0.9545 with four standard deviations of a share of 4000
    assert covered == pytest.approx(0.9545, abs=4 * math.sqrt(0.9545 * 0.0455 / 4000))
    # The first-order formula against the spread of all of them, to 2 %
    assert np.std((s - o) / (f - o)) == pytest.approx(np.mean(u), rel=0.02)


def test_the_difference_within_a_lane_by_simulation() -> None:
    rng = np.random.default_rng(21)
    n = 200_000
    o, f = rng.normal(0, 0.3, n), 80 + rng.normal(0, 0.4, n)
    first, second = 24 + rng.normal(0, 0.1, n), 32 + rng.normal(0, 0.1, n)
    spread = np.std((second - o) / (f - o) - (first - o) / (f - o))
    u1, u2 = (unc.rf_budget(s, 0, 80, u_centre_mm=0.1, u_origin_mm=0.3, u_front_mm=0.4)[0] for s in (24, 32))
    covariance = unc.covariance_of_ratios(0.3, 0.4, 80, u_origin_mm=0.3, u_front_mm=0.4)
    assert unc.u_difference(u1, u2, covariance) == pytest.approx(spread, rel=0.02)
    # Left out, the correlation would make two spots of one lane look far less distinct than they are.
    assert unc.u_difference(u1, u2) > 1.5 * spread


@given(st.floats(0.05, 1), st.floats(0.05, 1), st.floats(0, 0.1), st.floats(0, 0.1), st.floats(-1, 1))
def test_a_quotient_agrees_with_the_package_uncertainties(
    x1: float, x2: float, u1: float, u2: float, correlation: float
) -> None:
    covariance = correlation * u1 * u2
    one, two = ufloat(x1, 1), ufloat(x2, 1)
    slopes = np.array([(one / two).derivatives[variable] for variable in (one, two)])
    expected = math.sqrt(max(slopes @ np.array([[u1**2, covariance], [covariance, u2**2]]) @ slopes, 0))
    assert unc.u_quotient(x1, x2, u1, u2, covariance) == pytest.approx(expected, rel=1e-6, abs=1e-9)


def test_expanded_uncertainty_has_k_two() -> None:
    assert unc.expanded(0.0021) == pytest.approx(0.0042)  # JCGM 100:2008, 6.2 and 6.3.3


def test_agreement_of_two_values() -> None:
    # E_n as in ISO 13528 (from memory): 0.60 ± 0.03 and 0.65 ± 0.04 differ by exactly the width √(0.03² + 0.04²) = 0.05
    assert unc.e_n(0.60, 0.03, 0.65, 0.04) == pytest.approx(1.0)
    assert unc.e_n(0.65, 0.04, 0.60, 0.03) == pytest.approx(1.0)
    assert unc.e_n(0.6, 0.03, 0.6, 0.04) == 0
    with pytest.raises(UsageError):
        unc.e_n(0.6, 0, 0.7, 0)


@given(st.floats(0.001, 0.1), st.floats(0.001, 0.1), st.floats(0, 0.99))
def test_shared_readings_sharpen_a_comparison(U1: float, U2: float, correlation: float) -> None:
    covariance = correlation * U1 / 2 * U2 / 2
    assume(U1**2 + U2**2 - 8 * covariance > 1e-12)
    assert unc.e_n(0.5, U1, 0.6, U2, covariance) >= unc.e_n(0.5, U1, 0.6, U2) - 1e-9


@pytest.mark.parametrize(
    ("places_mm", "u"),
    [((5, 10, 10), 0.1), ((5, 10, 5), 0.1), ((math.nan, 0, 50), 0.1), ((5, 0, 50), -0.1), ((5, 0, 50), math.nan)],
)
def test_impossible_budgets_are_refused(places_mm: tuple[float, float, float], u: float) -> None:
    with pytest.raises(UsageError):
        unc.rf_budget(*places_mm, u_centre_mm=u, u_origin_mm=0.1, u_front_mm=0.1)
    with pytest.raises(UsageError):
        unc.r_rel_budget(*places_mm, u_centre_mm=u, u_origin_mm=0.1, u_reference_mm=0.1)
