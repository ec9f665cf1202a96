"""Lines that a pencil skipped, and rows of letters: both have gaps, but only the first are lines, and only they have marks."""

from __future__ import annotations

import pytest

from tests.measure.drawn import RED, celled, cross, from_above, pencil, read_cells, spot, stain, writing
from webcapture.measure.drawn import is_lettered
from webcapture.measure.field import field_of
from webcapture.measure.landmarks import pencil_lines
from webcapture.measure.strip import measure_strip
from webcapture.settings import DEFAULTS

GAPS = {
    "two gaps": [(-1, 5.5), (9, 14), (16.5, 21)],
    "a gap in the middle": [(-1, 7.5), (12, 21)],
    "a gap at a side": [(-1, 2.5), (6.5, 21)],
}
SPOTS = spot(55, 10, 1.5, RED), spot(85, 10, 1.9, RED)


def skipping(s0, name, depth=0.3):
    return [pencil(s0, depth, span=span) for span in GAPS[name]]


def measured(*things):
    return measure_strip(celled(*things, *SPOTS, noise=0.006), from_above(), DEFAULTS)


def codes(strip):
    return {flag.code for flag in strip.flags}


@pytest.mark.parametrize("name", GAPS)
@pytest.mark.parametrize("front", [pencil(120), stain(120)], ids=["pencil", "stain"])
def test_an_origin_with_gaps_is_no_front_and_the_strip_stays_as_it_lies(name, front):
    strip = measured(*skipping(18, name), front)
    assert strip.upright
    assert strip.decided
    assert [spot.rf for spot in strip.lanes[0].spots] == pytest.approx([37 / 102, 67 / 102], abs=0.003)


@pytest.mark.parametrize("front", [pencil(120), stain(120)], ids=["pencil", "stain"])
def test_a_stroke_over_half_the_width_still_speaks_for_a_front(front):
    """Turned over on purpose: its "origin" is one stroke, its "front" a full line with marks."""
    turned = measured(pencil(30, span=(1, 9)), pencil(132), cross(132, 10))
    assert not turned.upright


def test_a_line_short_of_both_edges_with_a_cross_is_an_origin():
    strip = measured(pencil(18, span=(1.5, 18)), cross(18, 10), pencil(120))
    assert "origin-missing" not in codes(strip)
    assert strip.upright


@pytest.mark.parametrize("seed", range(5))
def test_letters_are_no_marks_on_the_row_that_they_make(seed):
    """A name across the upper end cannot pass for an origin with crosses."""
    strip = measured(*skipping(18, "two gaps"), pencil(120), writing(133, 0.6, 8, seed))
    assert strip.upright
    assert strip.decided


@pytest.mark.parametrize("seed", range(5))
def test_an_origin_with_its_cross_is_no_row_of_letters_though_one_stands_above(seed):
    cells = celled(pencil(18), cross(18, 10), writing(60, 0.6, 8, seed), pencil(120), noise=0.006)
    field = field_of(cells, DEFAULTS.profile)
    lines = pencil_lines(field, DEFAULTS.trace, DEFAULTS.landmark)
    lettered = [is_lettered(line, field, cells.strokes, DEFAULTS.reading) for line in lines]
    assert not any(told for line, told in zip(lines, lettered, strict=True) if abs(line.middle_mm - 60) > 5)
    assert read_cells(cells).origin.marks > DEFAULTS.upright.marks_clear
