"""Spots as measured, taken over for comparison."""

from dataclasses import replace

import pytest
from uncertainties import ufloat

from tests.reference.classes import spot
from tests.report.factory import StripSpec, make_result, sheet_of_lanes
from webcapture.measure.uncertainty import COVERAGE, covariance_of_ratios
from webcapture.reference.observed import covariance, observed, u_apart_mm


def test_every_spot_of_a_strip_is_taken_over() -> None:
    strip = make_result(sheet_of_lanes(5)).strips[0]
    spots = observed(strip)
    assert [(s.lane, s.spot) for s in spots] == [(lane.lane, s.spot) for lane in strip.lanes for s in lane.spots]
    for one, lane in ((s, lane) for s in spots for lane in strip.lanes if lane.lane == s.lane):
        measured = lane.spots[one.spot - 1]
        assert (one.rf, one.U_rf, one.run_mm, one.colour) == (measured.rf, measured.U_rf, lane.run_mm, measured.colour)
        assert {p.name: p.u_mm for p in measured.budget}.get("centre", measured.u_centre_mm) == one.u_centre_mm


def test_a_strip_without_a_front_keeps_its_distances() -> None:
    strip = make_result(StripSpec(has_front=False, flags=("front-missing",))).strips[0]
    spots = observed(strip)
    assert spots
    assert all(s.rf is None and s.run_mm is None and s.reach_mm > s.distance_mm for s in spots)


def test_a_strip_without_an_origin_line_compares_with_nothing() -> None:
    strip = make_result(sheet_of_lanes(2)).strips[0]
    assert observed(replace(strip, origin=None)) == ()


def test_spots_of_one_lane_share_as_the_measurement_says() -> None:
    first, second = spot(1, 1, 30.0, 100.0), spot(1, 2, 70.0, 100.0)
    shared = covariance_of_ratios(0.3, 0.7, 100.0, u_origin_mm=first.u_origin_mm, u_front_mm=first.u_front_mm)
    assert covariance(first, second) == pytest.approx(shared)
    o, f = ufloat(0, first.u_origin_mm), ufloat(100, first.u_front_mm)  # the package uncertainties, by the same lines
    sum_of_both = (30 - o) / (f - o) + (70 - o) / (f - o)
    lone = [((mm - o) / (f - o)).std_dev ** 2 for mm in (30, 70)]
    assert shared == pytest.approx((sum_of_both.std_dev**2 - sum(lone)) / 2, rel=1e-6)


def test_a_spot_with_itself_has_its_variance_and_other_strips_share_nothing() -> None:
    one = spot(1, 1, 30.0, 100.0)
    assert one.U_rf is not None
    assert covariance(one, one) == pytest.approx((one.U_rf / COVERAGE) ** 2)
    assert covariance(one, replace(spot(2, 1, 30.0, 100.0), strip="2")) == 0
    assert covariance(one, replace(spot(2, 1, 30.0, 100.0), rf=None)) == 0
    assert 0 < covariance(one, spot(2, 1, 30.0, 100.0)) < covariance(one, one)


def test_distances_of_one_line_do_not_carry_its_error() -> None:
    first, second = spot(1, 1, 40.0, 100.0), spot(2, 1, 42.0, 100.0)
    assert u_apart_mm(first, second, 0.0) == pytest.approx((ufloat(40, 0.08) - ufloat(42, 0.08)).std_dev)
    assert u_apart_mm(first, second, 0.01) == pytest.approx((2 * 0.08**2 + 0.42**2) ** 0.5)


def test_strips_of_one_bay_share_nothing() -> None:
    """Each has an origin line and a front of its own; within one strip both are shared."""
    first, second = (observed(strip) for strip in make_result(StripSpec(), StripSpec()).strips)
    assert first[0].place == ("1", 1, 1) and second[0].place == ("1-2", 2, 1)
    assert covariance(first[1], second[1]) == 0.0 < covariance(first[0], first[1])
