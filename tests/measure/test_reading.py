"""Which line is the origin, which the front, and which way up: drawn strips whose answer is known, and what must not be guessed."""

from __future__ import annotations

import numpy as np
import pytest

from tests.measure.drawn import RED, cross, gauss, pencil, read, spot, stain, wet, writing
from webcapture.measure.marks import marks_beside
from webcapture.measure.reading import origin_among
from webcapture.settings import DEFAULTS


def places(reading):
    return tuple(None if c is None else round(c.middle_mm, 1) for c in (reading.origin, reading.front))


# ---- origin and front


@pytest.mark.parametrize(("origin", "front"), [(15, 90), (20, 120), (30, 140)])
def test_two_pencil_lines(origin, front):
    assert places(read(pencil(origin), pencil(front), spot(60, 10, 1.6, RED))) == pytest.approx(
        (origin, front), abs=0.1
    )


@pytest.mark.parametrize("span", [(0, 8), (6, 14), (12, 21)])
def test_a_front_marked_by_a_short_stroke(span):
    assert places(read(pencil(20), pencil(120, span=span))) == pytest.approx((20, 120), abs=0.2)


def test_the_line_with_marks_is_the_origin():
    """Of two full lines near the origin end the one that carries crosses; a guide line stays one."""
    assert read(pencil(12), pencil(25), cross(25, 10)).origin.middle_mm == pytest.approx(25, abs=0.1)
    assert read(pencil(12), pencil(25), cross(12, 10)).origin.middle_mm == pytest.approx(12, abs=0.1)


def test_no_line_in_the_upper_part_is_an_origin():
    reading = read(pencil(100))
    assert reading.origin is None
    assert len(reading.thin) == 1
    assert origin_among(reading.thin, reading.field, DEFAULTS) is None


def test_of_pencil_and_stain_the_pencil_is_the_front():
    """Who draws a line at the front says where it was; the solvent runs on while the strip dries."""
    reading = read(pencil(20), pencil(110), stain(118))
    assert (reading.front.kind, round(reading.front.middle_mm)) == ("pencil", 110)


@pytest.mark.parametrize("thing", [wet(120), stain(120)])
def test_without_a_drawn_front_what_the_solvent_left(thing):
    reading = read(pencil(20), thing, spot(60, 10, 1.6, RED))
    assert reading.front.kind in {"wet-edge", "stain"}
    assert reading.front.middle_mm == pytest.approx(120, abs=0.4)


@pytest.mark.parametrize("line", [pencil(70), wet(70), stain(70)])
def test_no_front_has_a_spot_beyond_it(line):
    """A spot runs behind the solvent."""
    assert read(pencil(20), line, spot(100, 10, 1.8, RED)).front is None


def test_specks_of_colour_beyond_a_front_are_no_spot():
    """Three, each of half a spot's least area: together more than that, but a spot is in one piece."""
    specks = [spot(140, t, 0.75, (0.01, 0.12, 0.06)) for t in (4, 10, 16)]
    assert places(read(pencil(20), pencil(125), *specks)) == (20.0, 125.0)
    assert places(read(pencil(20), pencil(125), spot(140, 10, 1.6, (0.01, 0.12, 0.06)))) == (20.0, None)


def test_a_line_close_above_the_origin_is_no_front():
    """A run of less than 2 cm is not one that anybody measures."""
    assert read(pencil(20), pencil(32)).front is None


def test_of_two_drawn_fronts_the_upper():
    """The first was drawn too early."""
    assert read(pencil(20), pencil(100), pencil(120)).front.middle_mm == pytest.approx(120, abs=0.1)


def test_paper_without_lines_has_none():
    assert places(read(spot(60, 10, 1.6, RED))) == (None, None)


@pytest.mark.parametrize("at", [10.0, 135.0])
def test_letters_are_no_line(at):
    """A label below the origin, or beyond the front, on a picture with a photo's noise."""
    reading = read(pencil(22), pencil(120), writing(at, 2.5), picture=True)
    assert places(reading) == pytest.approx((22, 120), abs=0.15)


def test_a_word_under_the_origin_is_not_the_origin():
    """Its bars make a pale line over most of a narrow strip, with what looks like marks on it; a firm line runs right above it."""
    word = pencil(16.5, 0.12, span=(3, 16)), cross(16.5, 8)
    reading = read(pencil(23), *word, pencil(120))
    assert reading.origin is not None and reading.origin.middle_mm == pytest.approx(23, abs=0.15)


# ---- marks


def test_marks_stand_on_one_line_and_not_on_the_other():
    reading = read(pencil(20), cross(20, 10), pencil(120))
    marked, plain = (marks_beside(line, reading.field) for line in (reading.origin, reading.front))
    assert marked > 5
    assert plain < 1


@pytest.mark.parametrize("seed", range(8))
def test_grain_makes_no_marks(seed):
    reading = read(pencil(20), noise=0.008, seed=seed)
    assert marks_beside(reading.origin, reading.field) < 2


@pytest.mark.parametrize("gap", [0.8, 1.2, 1.6])
def test_a_dull_spot_that_ran_up_to_a_line_is_no_mark(gap):
    """Half as dark in green as in red and blue, it may pass for grey; but it lies on one side of the line."""
    dye = spot(120 - gap, 10, 0.8, (0.5, 0.28, 0.53))
    reading = read(pencil(20), dye, pencil(120))
    assert reading.front is not None and marks_beside(reading.front, reading.field) < 2


@pytest.mark.parametrize("radius", [0.45, 0.6])
def test_a_pencil_dot_on_the_line_is_a_mark(radius):
    """Where the sample goes, many put a dot; a line that wavers as much on one side only has none."""

    def dot(s, t):
        near = np.hypot(s - 20, t - 10)
        return (0.3 / (1 + np.exp((near - radius) / 0.08)))[..., None] * np.ones(3)

    dotted = read(pencil(20), dot)
    assert marks_beside(dotted.origin, dotted.field) > 4
    wavering = read(lambda s, t: (0.3 * gauss(s, 20 + 0.3 * np.sin(t), 0.2))[..., None] * np.ones(3))
    assert marks_beside(wavering.origin, wavering.field) < 2


@pytest.mark.parametrize("edge", [4, 7, 10, 13])
def test_a_shadows_side_across_a_line_makes_no_marks(edge):
    """It darkens one part of the line's surroundings evenly; a cross there still stands out of it."""

    def shade(s, t):
        return (0.08 / (1 + np.exp(-(t - edge - 0.2 * (s - 20)) / 0.4)))[..., None] * np.ones(3)

    plain, marked = read(pencil(20), shade), read(pencil(20), cross(20, 10), shade)
    assert marks_beside(plain.origin, plain.field) < 2
    assert marks_beside(marked.origin, marked.field) > 5


@pytest.mark.parametrize("colour", [RED, (0.3, 0.3, 0.3), (0.02, 0.1, 0.3)])
def test_a_spot_on_a_line_makes_no_marks(colour):
    """Whether it stayed on the origin or ran with the front: it is wider than a pencil's stroke, or coloured."""
    reading = read(pencil(20), spot(20.5, 10, 1.6, colour), pencil(120))
    assert marks_beside(reading.origin, reading.field) < 2
