"""Lanes of drawn strips and sheets: how many, where, and to whom the paper between belongs."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from tests.measure.drawn import BLUE, GREEN, RED, RIM, celled, cross, drawn, from_above, gauss, level_line, pencil, spot
from webcapture.measure.field import field_of
from webcapture.measure.lanes import find_lanes
from webcapture.measure.paper import stain_on
from webcapture.measure.strip import measure_strip
from webcapture.settings import DEFAULTS

COLOURS = (RED, BLUE, GREEN)


def lanes(*things, width=20.0, origin=True, front=True, **how):
    """The lanes of a strip with its lines at 20 and 120 mm, as the pipeline asks for them."""
    drawn_lines = ([pencil(20)] if origin else []) + ([pencil(120)] if front else [])
    return read_lanes(drawn(*drawn_lines, *things, width=width, **how), origin, front)


def read_lanes(strip, origin=True, front=True):
    """The same of a strip that is drawn already."""
    field, width = field_of(strip, DEFAULTS.profile), strip.width_mm
    low = level_line(20, width) if origin else None
    high = level_line(120, width) if front else None
    curves = tuple(line.coefficients for line in (low, high) if line)
    stain = stain_on(field, strip.strokes, curves, high.coefficients if high else None, DEFAULTS.paper)
    return find_lanes(field, stain, low, high, DEFAULTS.lane)


def spots(*places, sd=1.8):
    """One spot a lane, at different heights and of different dyes."""
    return [spot(50 + 13 * (n % 5), t, sd, COLOURS[n % 3]) for n, t in enumerate(places)]


@pytest.mark.parametrize("t", [7.0, 10.0, 12.5])
def test_a_strip_has_one_lane_where_its_colour_is(t):
    (track,) = lanes(*spots(t))
    assert track.middle_mm == pytest.approx(t, abs=0.4)
    assert (track.low_mm, track.high_mm) == (RIM, 20 - RIM)


@pytest.mark.parametrize("width", [15.0, 20.0, 35.0])
def test_bare_paper_has_a_lane_in_its_middle(width):
    (track,) = lanes(width=width, origin=False, front=False)
    assert track.middle_mm == pytest.approx(width / 2, abs=0.2 * width)


def test_a_lane_beside_a_veil_of_colour_is_not_lost_to_it():
    """The veil has more colour than the lane 8 mm beside it, and no spot."""

    def veil(s, t):
        return (0.02 * gauss(t, 60, 3.0) * ((s > 25) & (s < 115)))[..., None] * np.array([0.2, 1.0, 0.6])

    pale = spot(60, 52, 1.4, (0.25, 0.1, 0.05))
    others = spot(50, 14, 1.7, RED), spot(70, 33, 1.7, BLUE), spot(85, 71, 1.8, RED), spot(45, 71, 1.8, GREEN)
    things = pencil(20), cross(20, 14), pencil(120), pale, *others, veil
    strip = measure_strip(drawn(*things, width=84.0), from_above(), DEFAULTS)
    assert [[round(spot.rf, 2) for spot in lane.spots] for lane in strip.lanes] == [[0.3], [0.5], [0.4], [0.25, 0.65]]


@pytest.mark.parametrize("seed", range(3))
def test_two_lanes_fit_on_a_narrow_sheet(seed):
    """36 mm with lanes 18 mm apart, as schools draw them; one streak right across it is one lane."""
    found = lanes(spot(50, 9, 1.8, RED), spot(52, 27, 1.8, BLUE), spot(80, 27, 1.8, GREEN), width=36.0, seed=seed)
    assert [track.middle_mm for track in found] == pytest.approx([9, 27], abs=0.5)
    assert len(lanes(spot(50, 18, 8.0, RED), spot(80, 18, 1.8, BLUE), width=36.0, seed=seed)) == 1


@pytest.mark.parametrize("places", [(25, 55), (15, 45, 75), (15, 30, 45, 60, 75), (12, 40, 52, 80)])
@pytest.mark.parametrize("seed", [1, 2])
def test_lanes_of_a_sheet_are_where_its_spots_are(places, seed):
    """Apart by 3 cm, as BP 2010, Appendix III E asks (mark A), or by 1.5 cm, as schools do (common practice, no source)."""
    found = lanes(*spots(*places), width=90.0, seed=seed)
    assert [track.middle_mm for track in found] == pytest.approx(list(places), abs=0.5)


def test_several_spots_above_each_other_are_one_lane():
    column = [spot(s, 30 + off, 1.8, RED) for s, off in ((40, 0.5), (65, -0.5), (95, 0.3))]
    found = lanes(*column, *spots(60), width=90.0)
    assert [track.middle_mm for track in found] == pytest.approx([30, 60], abs=0.7)


def test_a_pale_lane_beside_a_dark_one():
    pale = spot(70, 60, 1.8, tuple(0.12 * c for c in RED))
    found = lanes(spot(70, 25, 2.2, tuple(3 * c for c in RED)), pale, width=90.0)
    assert [track.middle_mm for track in found] == pytest.approx([25, 60], abs=0.6)


def test_marks_show_lanes_that_are_empty():
    marks = [cross(20, t) for t in (20, 45, 70)]
    found = lanes(*marks, *spots(20), width=90.0)
    assert [track.middle_mm for track in found] == pytest.approx([20, 45, 70], abs=0.8)


def test_colour_beyond_the_front_makes_no_lane():
    found = lanes(*spots(30), spot(135, 65, 2.0, RED), width=90.0)
    assert [track.middle_mm for track in found] == pytest.approx([30], abs=0.5)


def test_colour_below_the_origin_makes_no_lane():
    """A label written in ink."""
    found = lanes(*spots(30), spot(8, 65, 2.0, BLUE), width=90.0)
    assert [track.middle_mm for track in found] == pytest.approx([30], abs=0.5)


def test_a_sheet_without_colour_or_marks_is_one_lane():
    (track,) = lanes(width=90.0)
    assert (track.middle_mm, track.low_mm, track.high_mm) == (45, RIM, 90 - RIM)


@pytest.mark.parametrize("places", [(20,), (15, 45, 75), (15, 27, 75)])
def test_every_lane_owns_its_paper_alone(places):
    """Spans hold their axis, stay on the paper, and do not overlap."""
    found = lanes(*spots(*places), width=90.0)
    assert all(RIM <= track.low_mm < track.middle_mm < track.high_mm <= 90 - RIM for track in found)
    assert all(a.high_mm <= b.low_mm for a, b in pairwise(found))
    middles = np.array([track.middle_mm for track in found])
    assert (np.diff(middles) > 0).all()


def test_lines_are_not_needed():
    found = lanes(*spots(25, 60), width=90.0, origin=False, front=False)
    assert [track.middle_mm for track in found] == pytest.approx([25, 60], abs=0.5)


def test_lines_ruled_between_the_lanes_are_no_lanes():
    """They cross the origin line, as marks do; but marks end there."""

    def ruled(at, lean=0.01):
        return lambda s, t: (0.3 * np.exp(-0.5 * ((t - at - lean * (s - 75)) / 0.2) ** 2))[..., None] * np.ones(3)

    things = [*(cross(20, t) for t in (15, 45, 75)), *spots(15, 45, 75)]
    strip = celled(pencil(20), pencil(120), *things, ruled(30), ruled(60, -0.008), width=90.0)
    found = read_lanes(strip)
    assert [track.middle_mm for track in found] == pytest.approx([15, 45, 75], abs=0.7)
    short = celled(pencil(20), pencil(120), *things, cross(20, 30), width=90.0)
    assert len(read_lanes(short)) == 4


@pytest.mark.parametrize(("faintness", "marked"), [(0.05, True), (0.0, False)])
def test_right_below_a_column_of_colour_a_faint_mark_is_believed(faintness, marked):
    """With nothing there, a lane is told by its colour alone."""

    def faint(t0):
        return lambda s, t: faintness * cross(20, t0)(s, t)

    for seed in range(4):
        found = lanes(*(faint(t) for t in (15, 45, 75)), *spots(15, 45, 75), width=90.0, seed=seed)
        assert [track.marked for track in found] == [marked] * 3


def test_a_line_ruled_along_an_empty_lane_leaves_it_its_mark():
    things = [thing for t in (15, 55) for thing in (cross(20, t), spot(60, t, 1.6, RED))]

    def guide(s, t):
        return (0.3 * np.exp(-0.5 * ((t - 35) / 0.2) ** 2) * ((s > 20) & (s < 118)))[..., None] * np.ones(3)

    strip = celled(pencil(20), pencil(120), *things, cross(20, 35), guide, width=70.0)
    assert [track.middle_mm for track in read_lanes(strip)] == pytest.approx([15, 35, 55], abs=0.7)


def test_where_spots_stayed_on_the_line_something_was_applied():
    """As good as a mark, and better than too little colour to make a column."""
    strip, origin = drawn(pencil(20), *spots(30, 60), width=120.0), level_line(20, 120.0)
    field = field_of(strip, DEFAULTS.profile)
    stain = stain_on(field, strip.strokes, (origin.coefficients,), None, DEFAULTS.paper)
    stayed = np.any([np.hypot(field.s_mm[:, None] - 20, field.t_mm - t) < 1.5 for t in (30, 95)], axis=0)
    without, found = (
        find_lanes(field, replace(stain, beneath=mask), origin, None, DEFAULTS.lane) for mask in (None, stayed)
    )
    assert [track.middle_mm for track in without] == pytest.approx([30, 60], abs=1)
    assert [track.middle_mm for track in found] == pytest.approx([30, 60, 95], abs=1)
    assert [track.marked for track in found] == [True, False, True]
