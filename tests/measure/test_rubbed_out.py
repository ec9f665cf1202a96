"""Lines that somebody rubbed out and drew anew: a tenth to a quarter of their darkness is left (as another hand's photos have it)."""

from __future__ import annotations

import pytest

from tests.measure.drawn import RED, celled, cross, from_above, pencil, spot, wet
from webcapture.measure.strip import measure_strip
from webcapture.settings import DEFAULTS

SPOTS = spot(55, 10, 1.5, RED), spot(85, 10, 1.9, RED)


def measured(*things, seed=1):
    return measure_strip(celled(*things, *SPOTS, noise=0.006, seed=seed), from_above(), DEFAULTS)


def ratios(strip):
    return [spot.rf for spot in strip.lanes[0].spots]


@pytest.mark.parametrize("left", [0.1, 0.25])
@pytest.mark.parametrize("at", [112.0, 117.0, 123.0, 128.0])
def test_a_front_drawn_anew_is_the_firm_line(at, left):
    strip = measured(pencil(20), cross(20, 10), pencil(120), pencil(at, 0.3 * left))
    assert ratios(strip) == pytest.approx([0.35, 0.65], abs=0.003)


@pytest.mark.parametrize("left", [0.1, 0.25])
@pytest.mark.parametrize("at", [15.0, 17.0, 23.5, 26.0])
def test_an_origin_drawn_anew_is_the_firm_line(at, left):
    strip = measured(pencil(20), pencil(at, 0.3 * left), pencil(120))
    assert strip.upright and ratios(strip) == pytest.approx([0.35, 0.65], abs=0.003)


def test_both_are_said():
    """The firm line may be the one that was meant to go."""
    strip = measured(pencil(20), pencil(120), pencil(126, 0.07))
    assert "two-lines" in {flag.code for flag in strip.flags}


def test_of_lines_that_differ_little_the_upper_is_still_the_front():
    """Light and firm strokes of one pencil."""
    strip = measured(pencil(20), cross(20, 10), pencil(110, 0.3), pencil(120, 0.15))
    assert ratios(strip) == pytest.approx([0.35, 0.65], abs=0.003)


@pytest.mark.parametrize("seed", range(3))
def test_what_a_rubber_smeared_is_no_spot(seed):
    """Grey specks on what is left of a line, as wide as a stroke and a half."""
    specks = [spot(24.0, t, 0.45, (0.035, 0.035, 0.035)) for t in (4.0, 10.0, 16.0)]
    strip = measured(pencil(20), cross(20, 10), pencil(24, 0.03), *specks, pencil(120), seed=seed)
    assert ratios(strip) == pytest.approx([0.35, 0.65], abs=0.003)


def test_a_spot_on_it_is():
    strip = measured(pencil(20), cross(20, 10), pencil(24, 0.03), spot(24.5, 10, 1.2, (0.2, 0.2, 0.19)), pencil(120))
    assert len(ratios(strip)) == 3


def test_a_firm_line_far_from_a_pale_front_does_not_take_its_place():
    """A stray line; the pale one lies where the paper itself shows that the solvent stopped."""
    strip = measured(pencil(20), cross(20, 10), pencil(95, 0.3), pencil(120, 0.08), wet(120, 0.04))
    assert ratios(strip) == pytest.approx([0.35, 0.65], abs=0.003)


def test_a_pale_origin_is_not_given_up_for_the_line_under_a_label():
    strip = measured(pencil(20, 0.09), pencil(8, 0.35, span=(2, 16)), pencil(120, 0.3))
    assert ratios(strip) == pytest.approx([0.35, 0.65], abs=0.003)


def test_a_pale_origin_is_not_given_up_for_a_firm_front_near_it():
    """A run of a third of the paper: both lie where an origin may."""
    strip = measure_strip(
        celled(pencil(20, 0.08), pencil(62, 0.3), spot(40, 10, 1.5, RED), noise=0.006), from_above(), DEFAULTS
    )
    assert strip.origin is not None and strip.front is not None
    assert ratios(strip) == pytest.approx([20 / 42], abs=0.004)


@pytest.mark.parametrize("darkness", [0.12, 0.2])
def test_a_small_grey_spot_far_beside_what_is_left_of_a_line_is_a_spot(darkness):
    """The line was seen at the other end of a sheet only."""
    grey = (darkness,) * 3
    strip = measure_strip(
        celled(
            pencil(20), *(cross(20, t) for t in (25, 75)), pencil(120), pencil(40, 0.07, span=(8, 45)),
            spot(70, 25, 1.5, RED), spot(40, 75, 0.8, grey), width=100.0, noise=0.004,
        ),
        from_above(), DEFAULTS,
    )  # fmt: skip
    assert sorted(250 - s.position_mm[1] for lane in strip.lanes for s in lane.spots) == pytest.approx(
        [40, 70], abs=0.2
    )
