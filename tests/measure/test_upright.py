"""Which way up a strip lies: drawn strips whose answer is known, and what says nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.polynomial import Polynomial
from numpy.polynomial.polynomial import polyval
from scipy.stats import norm

from tests.measure.drawn import (
    BLUE,
    RED,
    celled,
    cross,
    drawn,
    from_above,
    gauss,
    pencil,
    read,
    read_cells,
    spot,
    writing,
)
from webcapture.measure.strip import measure_strip
from webcapture.measure.upright import Trails, odds_upright, ruled_odds, turned_round, widening_odds
from webcapture.settings import DEFAULTS

NONE = np.zeros(0)


def odds(reading, widening=NONE, tails=NONE, covers=False):
    return odds_upright(reading, Trails(widening, tails, covers), DEFAULTS)[0]


def straightness(reading):
    return ruled_odds(reading.origin, max(reading.thin, key=lambda c: c.middle_mm), reading.field)


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
    """The arrow alone: seven of eight, ln 7 = 1.95, either way."""
    strip = drawn()
    for one in (strip, turned_round(strip)):
        alone = replace(read_cells(one), thin=[], origin=None, front=None)
        assert odds(alone) == pytest.approx(DEFAULTS.upright.arrow * (-1 if one.turned else 1))


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
    assert odds(read_cells(right)) > DEFAULTS.upright.arrow + 1
    assert odds(read_cells(wrong)) < DEFAULTS.upright.arrow - 1


def test_two_like_lines_say_nothing_but_the_arrow():
    """Both 20 mm from their end: whatever one says, the other says too."""
    reading = read(pencil(20), pencil(130))
    assert odds(reading) == pytest.approx(DEFAULTS.upright.arrow, abs=0.3)


@pytest.mark.parametrize("gap", [25, 38, 44])
def test_the_line_nearer_to_its_end_is_rather_the_origin(gap):
    """12 mm from the one end and ``gap`` from the other: as drawn that speaks for it, turned round as much against it; up to a limit."""
    told = DEFAULTS.upright.height * min(np.log(gap / 12), DEFAULTS.upright.most_height)
    for strip, sign in (
        (drawn(pencil(12), pencil(150 - gap)), 1),
        (turned_round(drawn(pencil(12), pencil(150 - gap))), -1),
    ):
        reading = read_cells(strip)
        none = replace(DEFAULTS, upright=replace(DEFAULTS.upright, height=0.0))
        more = odds_upright(reading, Trails(NONE, NONE, False), DEFAULTS)[0]
        more -= odds_upright(reading, Trails(NONE, NONE, False), none)[0]
        assert more == pytest.approx(sign * told, abs=0.02)


def test_a_label_stands_below_the_origin():
    """Letters under the lower of two like lines speak for it, letters beyond the upper against it."""
    plain = odds(read(pencil(20), pencil(130), picture=True))
    below = odds(read(pencil(20), pencil(130), writing(9, 3), picture=True))
    beyond = odds(read(pencil(20), pencil(130), writing(141, 3), picture=True))
    assert beyond < plain < below
    assert below - beyond == pytest.approx(2 * DEFAULTS.upright.writing, abs=0.5)


def test_labels_under_the_lanes_outweigh_a_name_at_the_other_end():
    """Three lanes, each with a label under the lower of two like lines, and a name beyond the upper one; a name alone is no label."""
    lanes = (12.0, 32.0, 52.0)
    labels = [writing(9, t - 2, count=2) for t in lanes]

    def told(*things):
        reading = read(pencil(20), pencil(130), *things, picture=True, width=64.0)
        return odds_upright(reading, Trails(NONE, NONE, False, lanes), DEFAULTS)[0]

    plain, rule = told(), DEFAULTS.upright
    assert told(*labels, writing(141, 25)) - plain == pytest.approx(2 * rule.labels, abs=0.5)
    assert told(writing(141, 25)) - plain == pytest.approx(-rule.writing, abs=0.5)
    upper = [writing(141, t - 2, count=2) for t in lanes]
    assert told(*upper) - plain == pytest.approx(-rule.writing - 2 * rule.labels, abs=0.5)


def test_spots_that_widen_upwards_and_tail_downwards_speak_for_it():
    reading = read(pencil(20), pencil(130))
    plain = odds(reading)
    assert odds(reading, widening=np.array([0.6])) > plain > odds(reading, widening=np.array([-0.6]))
    assert odds(reading, tails=np.log([3.0])) > plain > odds(reading, tails=np.log([1 / 3]))


def test_widths_speak_as_two_normal_distributions_of_opposite_mean_do():
    """ln of the ratio of scipy.stats.norm's densities at the fitted slope, whose variance is that of a least-squares line."""
    rule, rf = DEFAULTS.upright, np.array([0.2, 0.5, 0.9])
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
    assert much == pytest.approx(DEFAULTS.upright.most_spots)


def test_a_line_under_a_spot_is_not_judged_by_its_straightness():
    """What lies on it bends what is seen of it."""
    reading = read(pencil(20, slope=0.05), pencil(130))
    assert odds(reading) < DEFAULTS.upright.arrow - 0.9 * DEFAULTS.upright.most_ruled
    assert odds(reading, covers=True) == pytest.approx(DEFAULTS.upright.arrow, abs=0.3)


BY_HAND = {"leaning": {"slope": 0.05}, "bowed": {"bow": 0.6}}


@pytest.mark.parametrize("name", BY_HAND)
def test_of_two_lines_the_ruled_one_is_likelier_the_origin(name):
    """A front is drawn where the solvent stood; two ruled lines say nothing."""
    ruled, by_hand = pencil(20), pencil(130, **BY_HAND[name])
    below = read(ruled, by_hand)
    above = read(pencil(20, **BY_HAND[name]), pencil(130))
    assert straightness(below) > 0.7
    assert straightness(above) < -0.7
    assert straightness(read(pencil(20), pencil(130))) == pytest.approx(0, abs=0.25)


def test_straightness_has_a_limit():
    reading = read(pencil(20), pencil(130, slope=0.15, bow=1.2))
    assert straightness(reading) == DEFAULTS.upright.most_ruled


def test_straightness_is_measured_as_numpys_own_fits_measure_it():
    """Slant and bow of the traced parabola, against numpy.polynomial's straight line through it."""
    reading = read(pencil(20), pencil(130, slope=0.03, bow=0.5))
    rule, line = DEFAULTS.upright, reading.front.trace
    t = np.linspace(0, reading.field.width_mm, 2001)
    s = polyval(t, line.coefficients)
    straight = Polynomial.fit(t, s, 1)
    slant, bow = straight.convert().coef[1], np.std(s - straight(t))
    low = reading.origin.trace
    by_hand = np.log(
        [
            (line.spread_mm + rule.ruled_scatter_mm) / (low.spread_mm + rule.ruled_scatter_mm),
            (abs(slant) + rule.ruled_slant) / (abs(low.coefficients[1]) + rule.ruled_slant),
            (bow + rule.ruled_bow_mm) / rule.ruled_bow_mm,
        ]
    )
    free = replace(rule, most_ruled=99.0)
    assert len(low.coefficients) == 2 or low.coefficients[2] == 0
    assert ruled_odds(reading.origin, reading.front, reading.field, free) == pytest.approx(by_hand.sum(), rel=1e-3)


@pytest.mark.parametrize("grows", [1, -1])
def test_bands_that_widen_leave_open_which_end_is_the_origin_s(grows):
    """Applied as streaks, the more of a dye the broader: a strip of leaf pigments lay the other way, and nobody was told."""

    def band(s0, sd, colour):
        return lambda s, t: (gauss(s, s0, sd) + 0 * t)[..., None] * np.array(colour)

    widths = (0.9, 1.2, 1.6, 2.0)[::grows]
    bands = [band(s0, sd, colour) for s0, sd, colour in zip((40, 60, 82, 104), widths, (RED, BLUE) * 2, strict=True)]
    strip = measure_strip(celled(pencil(20), pencil(120), *bands, noise=0.003), from_above(), DEFAULTS)
    assert {flag.code for flag in strip.flags} & {"ends-alike", "ends-undecided"}
