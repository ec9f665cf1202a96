"""Fronts marked by short strokes at the paper's edge or within: drawn strips whose front is known, and strokes that are none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.measure.drawn import BLUE, RED, celled, cross, from_above, pencil, spot, wet, writing
from webcapture.measure.strip import measure_strip
from webcapture.settings import DEFAULTS

GROUND = pencil(20), cross(20, 10), spot(60, 10, 1.6, RED), spot(90, 10, 1.8, BLUE)


def measured(*things, **how):
    return measure_strip(celled(*GROUND, *things, **how), from_above(), DEFAULTS)


def codes(strip):
    return {flag.code for flag in strip.flags}


@pytest.mark.parametrize("span", [(-1, 3.5), (-1, 6), (-1, 9), (14, 99), (16.5, 99)])
def test_a_stroke_at_either_edge_is_the_front(span):
    strip = measured(pencil(120, span=span))
    assert strip.front.kind == "pencil"
    assert [one.rf for one in strip.lanes[0].spots] == pytest.approx([0.4, 0.7], abs=0.003)
    assert codes(strip) <= {"ends-alike"}


def test_it_runs_on_level_with_the_origin_line_and_less_certain_the_further_off():
    """An origin that leans by one in fifty: in the middle the front lies 0.2 mm from where it was marked at the edge."""
    leaning = pencil(20, slope=0.02), cross(20.2, 10), spot(60, 10, 1.6, RED)
    strip = measure_strip(celled(*leaning, pencil(120, span=(-1, 4))), from_above(), DEFAULTS)
    full = measure_strip(celled(*leaning, pencil(120, slope=0.02)), from_above(), DEFAULTS)
    one, other = strip.lanes[0].spots[0], full.lanes[0].spots[0]
    assert one.rf == pytest.approx(other.rf, abs=0.002)
    assert one.U_rf > 2 * other.U_rf


def test_two_that_face_each_other_are_one_line():
    strip = measured(pencil(119, span=(-1, 4)), pencil(121, span=(16, 99)))
    assert float(np.polynomial.polynomial.polyval(10.0, strip.front.coefficients)) == pytest.approx(120, abs=0.1)
    assert "two-lines" not in codes(strip)


def test_gaps_in_it_are_the_pencils_own():
    strip = measured(pencil(120, span=(-1, 2.2)), pencil(120, span=(2.8, 5)))
    assert strip.front is not None


NO_FRONTS = {
    "a dash in the middle": pencil(120, span=(7, 12)),
    "letters at the edge": writing(130, 0.5, 2),
    "a stroke beside a letter": lambda s, t: pencil(130, span=(-1, 4))(s, t) + writing(130, 5.5, 2)(s, t),
    "a stroke that leans": pencil(120, slope=0.5, span=(-1, 5)),
    "a scale": lambda s, t: sum(pencil(at, span=(-1, 4))(s, t) for at in (70, 80, 90, 100, 110, 120)),
    "coloured": pencil(120, span=(-1, 5), colour=(0.1, 0.9, 0.9)),
    "at the paper's end": pencil(148.5, span=(-1, 5)),
    "below the spots": pencil(45, span=(-1, 4)),
}


@pytest.mark.parametrize("name", NO_FRONTS)
def test_other_strokes_are_no_front(name):
    strip = measured(NO_FRONTS[name])
    assert strip.front is None
    assert "front-missing" in codes(strip)


def test_far_from_the_mark_the_front_is_a_guess_and_said_to_be():
    """On a sheet 60 mm wide the lane on the left is 45 mm from a stroke at the right edge."""
    lanes = [thing for t in (12, 48) for thing in (cross(20, t), spot(60, t, 1.6, RED), spot(80, t, 1.7, BLUE))]
    near = pencil(20), *lanes, pencil(120, span=(52, 99))
    strip = measure_strip(celled(*near, width=60.0), from_above(), DEFAULTS)
    assert "front-short" in codes(strip)
    left, right = strip.lanes
    assert left.spots[0].U_rf > 3 * right.spots[0].U_rf
    ruled = measure_strip(celled(pencil(20), *lanes, pencil(120), width=60.0), from_above(), DEFAULTS)
    assert "front-short" not in codes(ruled)


@pytest.mark.parametrize("at", [95, 105, 135])
def test_an_edge_that_the_paper_shows_from_side_to_side_counts_before_a_stroke(at):
    """And that there are two is said; a stroke at the wet edge itself is where the front was marked."""
    strip = measured(wet(125), pencil(at, span=(-1, 4)))
    assert strip.front.s_mm.mean() == pytest.approx(125, abs=0.3)
    assert "two-fronts" in codes(strip)
    marked = measured(wet(125), pencil(125.5, span=(-1, 4)))
    assert marked.front.kind == "pencil"
    assert "two-fronts" not in codes(marked)


def test_beside_a_bowed_origin_a_stroke_runs_on_as_its_two_ends_do():
    """The bow is the hand's or the paper's; from edge to edge the line is level, and so is the front."""
    lanes = [thing for t in (12, 48) for thing in (cross(20, t), spot(70, t, 1.6, RED))]
    origin = pencil(20, bow=-0.04)  # bows by 1 mm over 60 mm: s0 + bow (t / 10 - 1)², level about t = 10
    strip = measure_strip(celled(origin, *lanes, pencil(120, span=(-1, 5)), width=60.0), from_above(), DEFAULTS)
    low, high = np.polynomial.polynomial.polyval([0.0, 60.0], strip.origin.coefficients)
    front = np.polynomial.polynomial.polyval([0.0, 60.0], strip.front.coefficients)
    assert front[1] - front[0] == pytest.approx(high - low, abs=0.1)


def test_a_stroke_shorter_than_the_rim_is_no_surer_for_it():
    """Where bent edges make the rim wide, no bin sees it: it is still known at that edge alone."""
    strip = celled(*GROUND, pencil(120, span=(-1, 2.7)), width=60.0)
    wide = replace(strip, rim_mm=3.0)
    for one in (strip, wide):
        found = measure_strip(one, from_above(), DEFAULTS)
        assert found.front.t_mm.max() < 10


ON_A_SHEET = pencil(20), *(thing for t in (15, 35, 55) for thing in (cross(20, t), spot(60, t, 1.6, RED)))


def on_a_sheet(*things, ground=ON_A_SHEET):
    return measure_strip(celled(*ground, *things, width=70.0), from_above(), DEFAULTS)


@pytest.mark.parametrize("level", [0.0, 0.03])
def test_a_stroke_over_each_lane_is_the_front_there(level):
    row = [pencil(110 + level * t, span=(t - 2.5, t + 2.5)) for t in (15, 35, 55)]
    strip = on_a_sheet(*row)
    found = [lane.front_mm[1] for lane in strip.lanes]
    assert found == pytest.approx([250 - 110 - level * t for t in (15, 35, 55)], abs=0.1)
    assert [lane.spots[0].rf for lane in strip.lanes] == pytest.approx(
        [40 / (90 + level * t) for t in (15, 35, 55)], abs=0.003
    )
    assert "front-short" not in codes(strip)


def test_strokes_that_follow_a_bowed_front_tell_it_lane_by_lane():
    row = [pencil(at, span=(t - 4, t + 4)) for t, at in ((15, 110), (35, 111.5), (55, 110))]
    strip = on_a_sheet(*row)
    assert [250 - lane.front_mm[1] for lane in strip.lanes] == pytest.approx([110, 111.5, 110], abs=0.3)


@pytest.mark.parametrize("span", [(20, 28), (31, 43), (58, 66)])
def test_one_stroke_alone_anywhere_is_the_front_which_is_told(span):
    strip = on_a_sheet(pencil(110, span=span))
    assert strip.front.kind == "pencil"
    nearest = min(strip.lanes, key=lambda lane: abs(sum(lane.t_range_mm) - sum(span)))
    assert nearest.spots[0].rf == pytest.approx(40 / 90, abs=0.003)
    assert "front-short" in codes(strip)
    assert max(lane.spots[0].U_rf for lane in strip.lanes) > 1.5 * nearest.spots[0].U_rf


def test_one_in_the_middle_of_a_narrow_strip_is_the_front():
    assert measured(pencil(120, span=(6, 13))).front.kind == "pencil"


NOT_ON_A_SHEET = {
    "marks beside spots at several heights": [pencil(60, span=(20, 27)), pencil(75, span=(40, 47))],
    "right beyond the one spot there": [spot(90, 35, 1.8, BLUE), pencil(94.5, span=(31, 39))],
    "right beyond a pale spot": [spot(90, 35, 1.8, (0.15, 0.08, 0.02)), pencil(93.5, span=(31, 39))],
    "right beyond all of the upper spots": [
        thing for t in (15, 35, 55) for thing in (spot(90, t, 1.6, BLUE), pencil(94.2, span=(t - 2.5, t + 2.5)))
    ],
    "two dashes at one height": [pencil(138, span=(20, 25)), pencil(138, span=(45, 50))],
    "a blank beside its word": [writing(137.5, 6, 5), pencil(136.5, span=(22, 36))],
    "two blanks beside their words": [
        *(writing(137.5, t, 3) for t in (6, 34)),
        *(pencil(136.5, span=(t, t + 10)) for t in (17, 45)),
    ],
    "two dashes a little apart in height": [pencil(130, span=(20, 27)), pencil(133, span=(45, 52))],
    "a dash between words": [pencil(110, span=(31, 36))],
    "the line under a name": [writing(112.5, 30, 4), pencil(110, span=(30, 41))],
    "the line well under a name": [writing(115.2, 30, 4), pencil(110, span=(30, 40))],
    "a stroke that leans": [pencil(110, slope=0.4, span=(31, 39))],
    "one in colour": [pencil(110, span=(31, 41), colour=(0.1, 0.9, 0.9))],
    "one with spots beyond": [pencil(50, span=(31, 41))],
}


@pytest.mark.parametrize("name", NOT_ON_A_SHEET)
def test_strokes_that_mark_something_else_are_no_front(name):
    strip = on_a_sheet(*NOT_ON_A_SHEET[name])
    assert strip.front is None
    assert "front-missing" in codes(strip)


OTHERS = {
    "a blank near the end": [pencil(139.5, span=(30, 44))],
    "a dash": [pencil(135, span=(30, 38))],
    "two dashes": [pencil(138, span=(20, 25)), pencil(138, span=(45, 50))],
    "dashes at two heights, one near it": [pencil(113, span=(30, 35)), pencil(130, span=(45, 50))],
}


@pytest.mark.parametrize("name", OTHERS)
def test_a_stroke_at_the_edge_counts_before_others_within(name):
    strip = on_a_sheet(pencil(110, span=(-1, 5)), *OTHERS[name])
    assert 250 - strip.lanes[0].front_mm[1] == pytest.approx(110, abs=0.1)
