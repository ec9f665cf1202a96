"""Lines that somebody rubbed out and drew anew: a tenth to a quarter of their darkness is left (as another hand's photos have it)."""

from __future__ import annotations

import pytest

from tests.measure.drawn import RED, celled, cross, from_above, pencil, spot
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
