"""Which line is the origin, which the front, and which way up: drawn strips whose answer is known, and what must not be guessed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from tests.measure.drawn import BLUE, RED, celled, cross, drawn, pencil, spot, stain, wet, writing
from webcapture.measure.field import field_of
from webcapture.measure.reading import marks_beside, odds_upright, origin_among, read_lines, turned_round, widening_odds
from webcapture.settings import DEFAULTS

NONE = np.zeros(0)


def read(*things, picture=False, **how):
    return read_cells((celled if picture else drawn)(*things, **how))


def read_cells(strip):
    return read_lines(strip, field_of(strip, DEFAULTS.profile), DEFAULTS)


def places(reading):
    return tuple(None if c is None else round(c.middle_mm, 1) for c in (reading.origin, reading.front))


def odds(reading, widening=NONE, tails=NONE):
    return odds_upright(reading, widening, tails, DEFAULTS)


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


# ---- turned round


def test_turned_twice_is_the_strip_as_it_was():
    strip = drawn(pencil(20), spot(60, 12, 1.6, RED))
    twice = turned_round(turned_round(strip))
    assert (twice.cells == strip.cells).all()
    assert (twice.bins == strip.bins).all()
    assert (twice.light == strip.light).all()
    assert (twice.start_mm, twice.axis, twice.turned) == (pytest.approx(strip.start_mm), strip.axis, strip.turned)


@pytest.mark.parametrize(("s", "t"), [(0.0, 0.0), (60.0, 12.0), (150.0, 20.0)])
def test_every_place_stays_where_it_is_on_the_card(s, t):
    """s and t count from the opposite corner."""
    strip = drawn(noise=0.01)
    other = turned_round(strip)

    def on_card(frame, s, t):
        axis = np.array(frame.axis)
        return np.array(frame.start_mm) + s * axis + t * np.array([-axis[1], axis[0]])

    assert on_card(other, 150 - s, 20 - t) == pytest.approx(on_card(strip, s, t))
    assert other.turned is not strip.turned


def test_what_is_drawn_is_found_from_the_other_end():
    """The origin is now the upper line; the short front at the other end is none."""
    reading = read_cells(turned_round(drawn(pencil(30), pencil(130, span=(0, 8)))))
    assert reading.origin is None
    assert [c.middle_mm for c in reading.thin] == pytest.approx([20, 120], abs=0.2)


# ---- which way up


def test_a_bare_strip_lies_as_the_card_says():
    """The arrow alone: 19 of 20, ln 19 = 2.94, either way."""
    strip = drawn()
    for one in (strip, turned_round(strip)):
        alone = replace(read_cells(one), thin=[], origin=None, front=None)
        assert odds(alone) == pytest.approx(DEFAULTS.reading.arrow * (-1 if one.turned else 1))


THINGS = {
    "a cross on its line": (pencil(20), cross(20, 10), pencil(120)),
    "a front of half the width": (pencil(20), pencil(120, span=(10, 21))),
    "an origin and no front": (pencil(20), spot(60, 10, 1.6, BLUE)),
}


@pytest.mark.parametrize("name", THINGS)
def test_what_is_drawn_speaks_for_the_right_end(name):
    """More than the arrow does when it lies right; and against it when it lies wrong."""
    right = drawn(*THINGS[name])
    wrong = replace(turned_round(right), turned=False)
    assert odds(read_cells(right)) > DEFAULTS.reading.arrow + DEFAULTS.reading.plain
    assert odds(read_cells(wrong)) < DEFAULTS.reading.arrow - DEFAULTS.reading.plain


def test_two_like_lines_say_nothing_but_the_arrow():
    """Both 20 mm from their end: whatever one says, the other says too."""
    reading = read(pencil(20), pencil(130))
    assert odds(reading) == pytest.approx(DEFAULTS.reading.arrow, abs=0.3)


def test_a_label_stands_below_the_origin():
    """Letters under the lower of two like lines speak for it, letters beyond the upper against it."""
    plain = odds(read(pencil(20), pencil(130), picture=True))
    below = odds(read(pencil(20), pencil(130), writing(9, 3), picture=True))
    beyond = odds(read(pencil(20), pencil(130), writing(141, 3), picture=True))
    assert beyond < plain < below
    assert below - beyond == pytest.approx(2 * DEFAULTS.reading.writing, abs=0.5)


def test_spots_that_widen_upwards_and_tail_downwards_speak_for_it():
    reading = read(pencil(20), pencil(130))
    plain = odds(reading)
    assert odds(reading, widening=np.array([0.6])) > plain > odds(reading, widening=np.array([-0.6]))
    assert odds(reading, tails=np.log([3.0])) > plain > odds(reading, tails=np.log([1 / 3]))


def test_widths_speak_as_two_normal_distributions_of_opposite_mean_do():
    """ln of the ratio of scipy.stats.norm's densities at the fitted slope, whose variance is that of a least-squares line."""
    rule, rf = DEFAULTS.reading, np.array([0.2, 0.5, 0.9])
    width = 1.0 + 0.4 * rf
    sd = np.hypot(rule.growth_sd, rule.width_sd / np.sqrt(((rf - rf.mean()) ** 2).sum()))
    wanted = norm.logpdf(0.4, rule.growth, sd) - norm.logpdf(0.4, -rule.growth, sd)
    assert widening_odds(rf, width) == pytest.approx(wanted)
    assert widening_odds(1 - rf, width) == pytest.approx(-wanted)
    assert 0 < widening_odds(rf, width + np.array([0.3, -0.5, 0.2])) < wanted / 2  # scattered widths tell less
    assert 0 < widening_odds(np.array([0.4, 0.5]), np.array([1.0, 1.05])) < wanted / 2  # so do spots side by side
    assert widening_odds(rf[:1], width[:1]) == 0


def test_all_that_spots_say_has_a_limit():
    """They share their causes: twenty of them say no more than a few."""
    reading = read(pencil(20), pencil(130))
    much = odds(reading, widening=np.full(20, 5.0), tails=np.full(20, 5.0)) - odds(reading)
    assert much == pytest.approx(DEFAULTS.reading.most_spots)
