"""What somebody else's photos showed that ours had not: each fault in its plainest form, drawn, so that it stays mended."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.measure.drawn import (
    BLUE,
    GREEN,
    PAPER,
    RED,
    celled,
    cross,
    drawn,
    from_above,
    gauss,
    pencil,
    read,
    shaded,
    spot,
    stain,
    tailed,
    wet,
    writing,
)
from webcapture.measure.strip import measure_strip
from webcapture.settings import DEFAULTS

BROWN, GREY, BLACK = np.array([0.4, 0.65, 1.0]), np.ones(3), np.array([0.95, 1.0, 0.97])


def measured(*things, draw=drawn, **how):
    return measure_strip(draw(*things, **how), from_above(), DEFAULTS)


def spots(strip):
    return [spot for lane in strip.lanes for spot in lane.spots]


def codes(strip):
    return {flag.code for flag in strip.flags}


def line(s0, sd, height, colour):
    """An even line right across."""
    return lambda s, t: (height * gauss(s, s0, sd) + 0 * t)[..., None] * colour


def cloudy(height, length_mm, seed=0):
    """Paper that is a little darker here and there, over some millimetres: 0.6 % of its light."""
    phase = np.random.default_rng(seed).uniform(0, 7, 6)

    def draw(s, t):
        waves = sum(np.sin(2 * np.pi * (s / (length_mm * k) + t / 37) + phase[k]) for k in (1, 2, 3))
        return (height * waves / 3)[..., None] * np.ones(3)

    return draw


# ---- fronts


@pytest.mark.parametrize("behind", [0.2, 0.4])
@pytest.mark.parametrize("step", [0.008, 0.015])
@pytest.mark.parametrize("seed", range(3))
def test_a_stain_on_a_wet_edge_is_where_the_stain_is(behind, step, seed):
    """The box that finds a step would be drawn to the dry side by it."""
    strip = measured(pencil(20), wet(110, step), stain(110, 0.06, behind), spot(60, 10, 1.6, RED), seed=seed)
    assert strip.front is not None
    assert float(np.median(strip.front.s_mm)) == pytest.approx(110, abs=0.35)


@pytest.mark.parametrize("height", [0.01, 0.02])
@pytest.mark.parametrize("seed", range(3))
def test_a_wet_edge_with_a_dark_rim_ends_where_the_rim_ends(height, seed):
    rim = line(109.5, 0.45, height, GREY)
    strip = measured(pencil(20), wet(110, 0.015), rim, spot(60, 10, 1.6, RED), seed=seed, noise=0.006)
    assert strip.front is not None and strip.front.kind == "wet-edge"
    assert float(np.median(strip.front.s_mm)) == pytest.approx(110, abs=0.35)


@pytest.mark.parametrize(("sd", "kind"), [(0.5, "stain"), (1.0, None)])
def test_a_dark_brown_line_is_a_front_where_it_is_narrower_than_bands(sd, kind):
    strip = measured(pencil(20), line(110, sd, 0.16, BROWN), spot(60, 10, 1.6, RED), noise=0.006)
    assert (strip.front and strip.front.kind) == kind


def test_a_clear_edge_over_half_of_the_width_is_no_front():
    """A spot's rim in a shadow's fringe looks so; a faint edge that is lost here and there does not."""

    def half(s, t):
        return (0.02 / (1 + np.exp((s - 100) / 0.15)) * (t < 11))[..., None] * np.ones(3)

    assert measured(pencil(20), half, spot(60, 10, 1.6, RED), noise=0.004).front is None


def bar(s0, t0, slope, half=5.5):
    """A staple: 11 mm long and 0.6 mm thick."""
    return lambda s, t: (0.4 * gauss(s, s0 + slope * (t - t0), 0.27) * (np.abs(t - t0) < half))[..., None] * GREY


FRONTS = {"pencil": pencil(110), "wet edge": wet(110, 0.03), "stain": stain(110, 0.08)}


@pytest.mark.parametrize("name", FRONTS)
@pytest.mark.parametrize("staple", [bar(139, 10, 0.3), bar(141, 9, 0.05), bar(146, 12, -0.1)])
def test_what_held_the_paper_is_no_front(name, staple):
    strip = measured(pencil(20), FRONTS[name], staple, spot(60, 10, 1.6, RED), noise=0.006)
    assert strip.front is not None
    assert float(np.median(strip.front.s_mm)) == pytest.approx(110, abs=0.4)


@pytest.mark.parametrize("bow", [-1.2, 0.9, 1.2])
def test_a_bowed_front_leans_at_the_edges_and_is_one(bow):
    """There more than a staple does; in the middle it is level."""
    assert read(pencil(20), pencil(120, bow=bow)).front is not None


def test_a_short_stroke_near_the_end_is_the_front_where_nothing_else_is():
    strip = measured(pencil(20), pencil(138, span=(5, 15)), spot(60, 10, 1.6, RED))
    assert strip.front is not None
    assert float(np.median(strip.front.s_mm)) == pytest.approx(138, abs=0.3)


# ---- holes


def hole(s0, t0, diameter):
    """A punched one: as dark as the card, with the photo's blur."""
    depth = PAPER + 0.35

    def draw(s, t):
        out = np.hypot(s - s0, t - t0) - diameter / 2
        return (depth / (1 + np.exp(np.clip(out / 0.1, -50, 50))))[..., None] * GREY

    return draw


@pytest.mark.parametrize("diameter", [3.5, 5.0, 7.0])
def test_a_hole_is_no_spot_and_lets_the_front_be(diameter):
    things = (pencil(20), cross(20, 10), pencil(120), spot(60, 10, 1.6, RED), hole(138, 10, diameter))
    strip = measured(*things, draw=celled)
    assert strip.front is not None
    assert float(np.median(strip.front.s_mm)) == pytest.approx(120, abs=0.2)
    assert [round(s.rf, 2) for s in spots(strip)] == [0.4]


def test_without_a_front_a_hole_is_no_spot_either():
    strip = measured(pencil(20), cross(20, 10), spot(60, 10, 1.6, RED), hole(138, 10, 5.0), draw=celled)
    assert strip.front is None
    assert [round(s.distance_mm) for s in spots(strip)] == [40]


def test_a_black_spot_as_dark_as_the_card_is_one():
    """It has no flat bottom and no sharp rim."""
    dark = PAPER + 0.35
    strip = measured(pencil(20), pencil(120), spot(60, 10, 1.6, (dark, dark, dark)), draw=celled)
    assert [round(s.rf, 2) for s in spots(strip)] == [0.4]


# ---- origins


@pytest.mark.parametrize("seed", range(4))
def test_of_two_ruled_lines_the_origin_is_the_one_near_the_end(seed):
    """Both lie in the lower part of a long strip, and the solvent ran on past the upper."""
    things = (pencil(17), pencil(92), spot(40, 10, 1.5, RED), spot(60, 10, 1.6, RED))
    reading = read(*things, length=212, seed=seed)
    assert (round(reading.origin.middle_mm), round(reading.front.middle_mm)) == (17, 92)


def smear(s0, up_mm, colour=BLACK):
    """Ink that ran from its line: up, all along it."""
    return lambda s, t: (0.25 * np.exp(-np.abs(s - s0) / np.where(s > s0, up_mm, 0.6)) + 0 * t)[..., None] * colour


@pytest.mark.parametrize("up", [3.0, 5.0])
def test_black_ink_that_ran_is_told_by_its_smear(up):
    strip = measured(line(20, 0.3, 0.3, BLACK), smear(20, up), pencil(120), spot(70, 10, 1.6, RED))
    assert "ink-line" in codes(strip)


@pytest.mark.parametrize("thing", [spot(20.3, 10, 1.6, (0.3, 0.3, 0.3)), line(20, 1.3, 0.3, GREY)])
def test_what_stayed_on_the_origin_is_no_ink(thing):
    """Nor is a grey streak, which lies on the line as far below as above."""
    assert "ink-line" not in codes(measured(pencil(20), thing, pencil(120), spot(70, 10, 1.6, RED)))


@pytest.mark.parametrize("waver_mm", [0.25, 0.6])
def test_a_line_that_a_hand_drew_is_a_line(waver_mm):
    """Clear from edge to edge, with a cross on it or ending short of the edges: no word is."""

    def by_hand(s0, low=0.0, high=20.0):
        def draw(s, t):
            on = (t > low) & (t < high)
            return (0.25 * gauss(s, s0 + waver_mm * np.sin(t / 2.5), 0.2) * on)[..., None] * np.ones(3)

        return draw

    strip = measured(by_hand(20), cross(20, 10), by_hand(120, 1.5, 18.5), spot(60, 10, 1.6, RED), draw=celled)
    assert strip.origin is not None
    assert [one.rf for one in spots(strip)] == pytest.approx([0.4], abs=0.008)


def washed(s0, colour, seed=0):
    """What ran from a line of ink: a wash right across above it, cloudy, fading over 6 mm."""
    phase = np.random.default_rng(seed).uniform(0, 7, 3)

    def draw(s, t):
        up = np.where(s > s0, np.exp(-(s - s0) / 6.0), 0)
        clouds = 1 + 0.3 * np.sin(t / 1.1 + phase[0]) * np.sin(s / 1.3 + phase[1])
        return (0.09 * up * clouds)[..., None] * np.array(colour)

    return draw


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("colour", [(1.0, 0.95, 0.9), (1.0, 0.45, 0.1), (0.8, 0.5, 0.65)])
def test_ink_of_any_colour_is_told_by_what_ran_from_it(colour, seed):
    """Black, blue and green; the line itself is found, with the wash on one of its sides."""
    ink = line(20, 0.2, 0.5, np.array(colour)), washed(20, colour, seed)
    strip = measured(*ink, cross(20, 10), pencil(120), spot(70, 10, 1.6, RED), seed=seed)
    assert strip.origin.s_mm.mean() == pytest.approx(20, abs=0.15)
    assert "ink-line" in codes(strip)
    drawn_in_pencil = measured(pencil(20), cross(20, 10), pencil(120), spot(24, 10, 1.6, RED), seed=seed)
    assert "ink-line" not in codes(drawn_in_pencil)


# ---- spots


@pytest.mark.parametrize("seed", range(6))
def test_a_pale_spot_keeps_its_centre_on_cloudy_paper(seed):
    clouds = cloudy(0.0026, 11.0, seed)
    strip = measured(pencil(20), pencil(120), spot(70, 10, 1.3, (0.06, 0.02, 0.01)), clouds, seed=seed, noise=0.006)
    near = [s for s in spots(strip) if abs(s.rf - 0.5) < 0.03]
    assert len(near) == 1
    assert near[0].rf == pytest.approx(0.5, abs=max(near[0].U_rf, 0.004))
    assert near[0].width_mm < 10


@pytest.mark.parametrize("seed", range(3))
def test_a_pale_spot_of_a_clear_colour_is_seen_on_cloudy_paper(seed):
    """Clouds are grey: yellow stands out of them to the eye where in blue light alone it hardly does; clouds are no spots."""
    clouds = cloudy(0.03, 13.0, seed)
    yellow = spot(70, 10, 1.3, (0.004, 0.008, 0.11))
    found = spots(measured(pencil(20), cross(20, 10), pencil(120), yellow, clouds, seed=seed, noise=0.006))
    assert [one.rf for one in found] == pytest.approx([0.5], abs=0.005)
    assert spots(measured(pencil(20), cross(20, 10), pencil(120), clouds, seed=seed, noise=0.006)) == []


def damp(front, height, fade_mm):
    """Paper that still holds solvent below the front: grey, darker the nearer to it."""

    def draw(s, t):
        below = np.where(s < front, np.exp((s - front) / fade_mm), 0)
        return (height * below + 0 * t)[..., None] * np.ones(3)

    return draw


@pytest.mark.parametrize("height", [0.03, 0.06])
@pytest.mark.parametrize("colour", [(0.27, 0.12, 0.03), (0.02, 0.09, 0.15)])
def test_damp_below_the_front_is_no_spot_and_hides_none(colour, height):
    strip = measured(pencil(20), cross(20, 10), pencil(120), spot(105, 10, 1.7, colour), damp(120, height, 9.0))
    assert [one.rf for one in spots(strip)] == pytest.approx([0.85], abs=0.006)
    bare = measured(pencil(20), cross(20, 10), pencil(120), spot(50, 10, 1.7, colour), damp(120, height, 9.0))
    assert [one.rf for one in spots(bare)] == pytest.approx([0.3], abs=0.003)


@pytest.mark.parametrize(("rf", "sd", "colour"), [(0.95, 3.0, (0.5, 0.45, 0.4)), (0.95, 4.0, (0.25, 0.6, 0.5))])
def test_a_wide_spot_that_ran_almost_with_the_front_is_no_damp(rf, sd, colour):
    """It fills most of a narrow strip, and fades as slowly as damp does; damp is never as dark."""
    things = pencil(20), cross(20, 7), pencil(120), spot(20 + 100 * rf, 7, sd, colour, 6.0)
    found = spots(measured(*things, width=14.0))
    assert [one.rf for one in found] == pytest.approx([rf], abs=0.006)
    assert found[0].absorbance == pytest.approx(colour, rel=0.2)


def test_a_band_at_the_front_is_no_damp():
    """It covers the width as damp does, but ends within some millimetres."""
    band = line(117, 1.4, 0.2, np.ones(3))
    strip = measured(pencil(20), cross(20, 10), pencil(120), band)
    assert [one.rf for one in spots(strip)] == pytest.approx([0.97], abs=0.01)


@pytest.mark.parametrize("colour", [(0.03, 0.25, 0.12), (0.15, 0.35, 0.3), (0.3, 0.45, 0.55)])
def test_a_coloured_spot_in_a_grey_shade_is_measured_by_its_colour(colour):
    shade = spot(66, 10, 8.0, (0.05, 0.05, 0.05))
    strip = measured(pencil(20), cross(20, 10), pencil(120), shade, spot(74, 10, 1.5, colour))
    assert [one.rf for one in spots(strip)] == pytest.approx([0.54], abs=0.006)


def test_a_spot_seen_by_its_colour_alone_keeps_its_own_darkness():
    """Olive on cloudy paper: what it darkens all channels by is not lost with the clouds."""
    colour = (0.05, 0.06, 0.16)
    strip = measured(
        pencil(20), cross(20, 10), pencil(120), spot(70, 10, 1.3, colour), cloudy(0.03, 13.0, 1), noise=0.006
    )
    assert [one.rf for one in spots(strip)] == pytest.approx([0.5], abs=0.005)
    assert spots(strip)[0].absorbance == pytest.approx(colour, abs=0.04)


def test_a_tail_is_not_cut_off():
    """An exponential one counts to a fiftieth of the height: its mean lies there, by numpy, within a tenth of its length."""
    length, sd = 4.0, 1.2
    s = np.linspace(20, 120, 4001)
    tail = np.where(s < 80, np.exp((s - 80) / length), 0)
    shape = np.convolve(tail, gauss(np.arange(-6, 6, 0.025), 0, sd), mode="same")
    shape /= shape.max()

    def draw(s_mm, t):
        return (np.interp(s_mm, s, shape) * gauss(t, 10, 2.2))[..., None] * np.array([0.05, 0.4, 0.3])

    (found,) = spots(measured(pencil(20), pencil(120), draw))
    assert 20 + 100 * found.rf == pytest.approx(float(np.average(s, weights=shape)), abs=0.1 * length)


@pytest.mark.parametrize("kind", ["pencil", "wet"])
@pytest.mark.parametrize("height", [0.03, 0.06])
def test_what_dried_at_the_front_is_no_spot(kind, height):
    """Pale, brownish, a millimetre below the front, and thickest in one place."""

    def rim(s, t):
        return (height * gauss(s, 109, 1.3) * (0.5 + 0.5 * gauss(t, 7, 4)))[..., None] * np.array([0.45, 0.6, 1.0])

    front = pencil(110) if kind == "pencil" else wet(110, 0.03)
    strip = measured(pencil(20), front, rim, spot(60, 10, 1.6, RED))
    assert strip.front is not None
    assert [round(s.rf, 2) for s in spots(strip)] == [0.44]


@pytest.mark.parametrize("seed", range(3))
def test_writing_along_the_side_is_no_spot(seed):
    letters = writing(75, 3, count=2, seed=seed)
    strip = measured(pencil(20), cross(20, 10), pencil(120), spot(50, 12, 1.6, RED), letters, draw=celled)
    assert [round(s.rf, 2) for s in spots(strip)] == [0.3]


@pytest.mark.parametrize("sd", [0.8, 1.0, 1.6])
def test_a_small_grey_spot_on_its_way_is_one(sd):
    strip = measured(pencil(20), cross(20, 10), pencil(120), spot(35, 10, sd, (0.25, 0.25, 0.25)), draw=celled)
    assert [round(s.rf, 2) for s in spots(strip)] == [0.15]


@pytest.mark.parametrize("depth", [0.6, 1.0])
def test_a_dark_cross_is_no_spot_that_stayed(depth):
    """However dark: all of it is thin."""

    def dark(s, t):
        return cross(20, 10)(s, t) * depth / 0.3

    strip = measured(pencil(20), dark, pencil(120), spot(70, 10, 1.6, RED), draw=celled)
    assert [round(s.rf, 2) for s in spots(strip)] == [0.5]


def test_a_grey_spot_that_stayed_is_one():
    strip = measured(pencil(20), spot(20, 10, 1.4, (0.3, 0.3, 0.3)), pencil(120), spot(70, 10, 1.6, RED))
    assert [round(s.rf, 2) for s in spots(strip)] == [0.0, 0.5]


def test_a_cross_on_the_line_that_carries_a_spot_leaves_the_spot():
    """What pencil marks are taken for must not swallow what stayed there."""
    strip = measured(pencil(20), cross(20, 10), pencil(120), spot(20, 10, 1.6, RED), spot(70, 10, 1.6, RED))
    assert [round(s.rf, 2) for s in spots(strip)] == [0.0, 0.5]


# ---- from a seventh generator


@pytest.mark.parametrize("depth", [0.45, 0.6, 0.9])
def test_a_spot_as_black_as_ink_is_no_hole(depth):
    """Its slopes pass through the tint's own level, and it is as round; but its middle is darker."""
    black = spot(80, 10, 2.2, (depth, depth, depth))
    strip = measured(pencil(20), cross(20, 10), pencil(120), black, draw=celled)
    assert [one.rf for one in spots(strip)] == pytest.approx([0.6], abs=0.004)


def test_a_wet_edge_shows_in_the_channels_that_are_not_clipped():
    """Dry paper too light for the camera in green: there the step is lost, in red and blue it is that of wet paper."""
    things = pencil(20), wet(110, 0.03), spot(60, 10, 1.6, RED)
    whole = drawn(*things, noise=0.004)
    light = -PAPER + 0.03  # all of the dry paper's green, and the wet paper's, at the end of the scale
    burnt = [np.minimum(values + np.array([0, light, 0]), np.array([9, 0, 9])) for values in (whole.cells, whole.bins)]
    clipped = replace(whole, cells=burnt[0].astype(np.float32), bins=burnt[1].astype(np.float32))
    strip = measure_strip(clipped, from_above(), DEFAULTS)
    assert strip.front is not None
    assert float(np.median(strip.front.s_mm)) == pytest.approx(110, abs=0.4)


def ink_word(s0, t0, count=3, colour=(1.0, 0.8, 0.3)):
    """A name in blue biro."""
    pencilled = writing(s0, t0, count)
    return lambda s, t: pencilled(s, t) * np.array(colour)


def stained(s0, t0, sd_s, sd_t, colour=(0.02, 0.06, 0.14)):
    """Tea, or tape, over part of the paper."""
    return lambda s, t: (gauss(s, s0, sd_s) * gauss(t, t0, sd_t))[..., None] * np.array(colour)


def test_a_name_in_ink_beyond_the_front_is_no_spot():
    strip = measured(pencil(20), pencil(110), spot(60, 10, 1.6, RED), ink_word(138, 5))
    assert strip.front is not None
    assert float(np.median(strip.front.s_mm)) == pytest.approx(110, abs=0.2)
    assert "colour-beyond" not in codes(strip)


def test_a_spot_beyond_a_drawn_line_still_says_that_it_is_no_front():
    strip = measured(pencil(20), pencil(90), spot(60, 10, 1.6, RED), spot(120, 10, 1.8, BLUE))
    assert strip.front is None


@pytest.mark.parametrize("stain_", [stained(149, 10, 5, 30), stained(130, 21, 5, 5)])
def test_tape_and_stains_beyond_a_drawn_front_are_said_and_change_nothing(stain_):
    strip = measured(pencil(20), pencil(100), spot(60, 10, 1.6, RED), stain_)
    assert [one.rf for one in spots(strip)] == pytest.approx([0.5], abs=0.003)
    assert "colour-beyond" in codes(strip)


def test_a_spot_that_touches_the_front_neither_hides_nor_colours_it():
    """Over the middle of a narrow strip, and over half of a wider one."""
    brown, orange = spot(107.5, 6, 2.2, (0.25, 0.45, 0.6), 2.4), spot(106.5, 9, 2.4, (0.03, 0.2, 0.6), 3.5)
    for width, touching, rf in ((12.0, brown, 87.5 / 90), (22.0, orange, 86.5 / 90)):
        strip = measured(pencil(20, 0.1), pencil(110, 0.1), touching, width=width, noise=0.006)
        assert strip.front is not None and strip.front.kind == "pencil"
        assert spots(strip)[-1].rf == pytest.approx(rf, abs=0.006)


def test_half_a_straight_line_on_a_narrow_strip_is_a_front():
    strip = measured(pencil(20), pencil(110, span=(5.6, 99)), spot(60, 6, 1.6, RED), width=12.0)
    assert strip.front is not None
    assert [one.rf for one in spots(strip)] == pytest.approx([40 / 90], abs=0.003)


def wavering(s0, low, high, waver_mm=0.16):
    def draw(s, t):
        path = s0 + waver_mm * (np.sin(t / 2.9) + np.sin(t / 1.7 + 1))
        return (0.3 * gauss(s, path, 0.2) * ((t > low) & (t < high)))[..., None] * GREY

    return draw


def ragged(t, waver_mm):
    """How far a front stood off at places across."""
    return waver_mm * (np.sin(t / 3.5) + np.sin(t / 5 + 1))


SOFT_FRONTS = {"stain": stain, "wet edge": lambda s0: wet(s0, 0.05)}


def soft_front(kind, waver_mm):
    return lambda s, t: SOFT_FRONTS[kind](110 + ragged(t, waver_mm))(s, t)


def across_a_sheet(*front, at=(15, 45, 75), **how):
    """A sheet with a lane and a spot at each of these places and that front."""
    lanes = [thing for t in at for thing in (cross(20, t), spot(60, t, 1.6, RED))]
    return measured(pencil(20), *lanes, *front, width=90.0, **how)


def u_front(strip):
    return max(part.u_mm for lane in strip.lanes for part in lane.spots[0].budget if part.name == "front")


@pytest.mark.parametrize("kind", SOFT_FRONTS)
def test_a_ragged_soft_front_leaves_that_of_a_lane_as_uncertain_as_it_is_ragged(kind):
    """A drawn line that wavers as much is the front itself; of where the solvent stood between the bins the paper tells less."""
    waver = 0.25
    even, ragged_one = (u_front(across_a_sheet(soft_front(kind, mm))) for mm in (0.0, waver))
    assert ragged_one > np.hypot(even, 0.5 * waver)
    assert u_front(across_a_sheet(wavering(110, -1, 99, waver))) < 0.5 * waver


@pytest.mark.parametrize("kind", SOFT_FRONTS)
def test_a_ragged_soft_front_is_followed_from_lane_to_lane(kind):
    """Lanes where it stood furthest up and down. The mean of five bins left two fifths of that, three leave more than half."""
    across = np.linspace(8, 82, 200)
    at = sorted(float(across[pick(ragged(across, 1.0))]) for pick in (np.argmax, np.argmin))
    strip = across_a_sheet(soft_front(kind, 0.3), at=at)
    runs = [lane.origin_mm[1] - lane.front_mm[1] for lane in strip.lanes]
    true = ragged(np.array(at), 0.3) + 90
    assert abs(true[1] - true[0]) > 0.9
    assert 0.5 < (runs[1] - runs[0]) / (true[1] - true[0]) <= 1


@pytest.mark.parametrize("seed", range(3))
def test_an_even_front_with_gaps_is_not_followed_into_them(seed):
    """Nothing of it 3 mm wide at each lane, as where a spot's edge pushes it aside: noise there is no front's place."""
    at = (15, 45, 75)

    def broken(s, t):
        return stain(110)(s, t) * (np.abs(t[..., None] - np.array(at)) > 1.5).all(axis=-1)[..., None]

    strip = across_a_sheet(broken, at=at, seed=seed)
    runs = [lane.origin_mm[1] - lane.front_mm[1] for lane in strip.lanes]
    assert strip.front.kind == "stain"
    assert np.ptp(runs) < 0.1
    whole = across_a_sheet(stain(110), at=at, seed=seed)
    assert u_front(strip) == pytest.approx(u_front(whole), abs=0.03)


def test_a_freehand_line_over_half_of_a_sheet_is_a_front_and_less_sure_beyond_it():
    lanes = [thing for t in (15, 45, 75) for thing in (cross(20, t), spot(60, t, 1.6, RED))]
    strip = measured(pencil(20), *lanes, wavering(110, -1, 50), width=90.0)
    assert [lane.spots[0].rf for lane in strip.lanes] == pytest.approx([40 / 90] * 3, abs=0.006)
    assert "front-short" in codes(strip)
    near, _, far = (lane.spots[0].U_rf for lane in strip.lanes)
    assert far > 3 * near
    # Where it ends, 25 mm off, a front may have left it by 0.6 mm: 40/90 of that over the run.
    assert far == pytest.approx(2 * (40 / 90) * 0.025 * 25 / 90, rel=0.3)


@pytest.mark.parametrize("word", [writing(124, 3, 5), writing(124, 4, 4, seed=2)])
def test_a_line_under_a_word_is_no_front(word):
    strip = measured(pencil(20), spot(60, 10, 1.6, RED), word, pencil(120.5, span=(2.5, 16)), draw=celled)
    assert strip.front is None


def test_a_wet_edge_well_below_a_drawn_line_is_said():
    """The solvent stopped short of a line that was drawn beforehand; which one is meant, somebody has to say."""
    short = measured(pencil(20), pencil(130), wet(105), spot(60, 10, 1.6, RED))
    assert "two-fronts" in codes(short)
    for front in (wet(130), wet(128.5), lambda s, t: 0 * wet(130)(s, t)):
        assert "two-fronts" not in codes(measured(pencil(20), pencil(130), front, spot(60, 10, 1.6, RED)))


def test_a_wet_edge_close_above_a_coloured_spot_is_a_front():
    """Over most of the width the step has the spot's colour; beside it the wet paper's own grey."""
    near = spot(107, 9, 1.6, (0.05, 0.3, 0.35), 3.2)
    strip = measured(pencil(20), wet(110), near, spot(60, 9, 1.6, RED), width=18.0, noise=0.006)
    assert strip.front is not None and strip.front.kind == "wet-edge"
    assert float(np.median(strip.front.s_mm)) == pytest.approx(110, abs=0.4)


def test_bands_from_edge_to_edge_among_spots_came_from_the_line():
    def band(s0, colour):
        return line(s0, 1.6, 1.0, np.array(colour))

    ran = band(50, (0.0, 0.2, 0.1)), band(90, (0.2, 0.1, 0.02))
    assert "ink-line" in codes(measured(pencil(20), pencil(120), *ran, spot(70, 10, 1.6, RED)))
    # Where nothing but bands is seen, the sample was applied as one.
    assert "ink-line" not in codes(measured(pencil(20), pencil(120), *ran))
    assert "ink-line" not in codes(measured(pencil(20), pencil(120), spot(50, 10, 1.6, BLUE), spot(70, 10, 1.6, RED)))


def test_a_small_spot_left_under_its_cross_is_seen_and_said_to_be_less_sure():
    """Line and cross hide its middle; what is left is pale, but the place is coloured, as pencil is not."""
    lanes = pencil(20), cross(20, 10), pencil(120), spot(70, 10, 1.6, RED)
    left = measured(*lanes, spot(20.2, 10, 0.9, (0.0, 0.09, 0.12)), draw=celled)
    assert "did-not-move" in {flag.code for flag in spots(left)[0].flags}
    assert spots(left)[0].U_rf > 3 * spots(left)[1].U_rf
    assert abs(spots(left)[0].rf - 0.002) < spots(left)[0].U_rf
    assert len(spots(measured(*lanes, draw=celled))) == 1


def test_a_word_between_the_lanes_makes_no_lane():
    lanes = [thing for t in (15, 75) for thing in (cross(20, t), spot(60, t, 1.6, RED), spot(90, t, 1.6, BLUE))]
    for word in (writing(75, 41, 3), ink_word(75, 41)):
        strip = measured(pencil(20), pencil(120), *lanes, word, width=90.0)
        assert [len(lane.spots) for lane in strip.lanes] == [2, 2]


def test_a_lane_with_a_mark_and_no_spot_is_one():
    lanes = [thing for t in (15, 75) for thing in (cross(20, t), spot(60, t, 1.6, RED))]
    strip = measured(pencil(20), pencil(120), *lanes, cross(20, 45), width=90.0)
    assert [len(lane.spots) for lane in strip.lanes] == [1, 0, 1]


def test_nothing_so_pale_ran_ahead_of_the_front():
    """Paper that grows darker towards a drawn front, and beyond it, is no spot with the front."""

    def gloom(s, t):
        return (0.05 / (1 + np.exp(111 - s)) * gauss(t, 10, 2.5))[..., None] * np.array((0.1, 0.1, 1.0))

    strip = measured(pencil(20), pencil(110), spot(60, 10, 1.6, RED), gloom)
    assert [one.rf for one in spots(strip)] == pytest.approx([40 / 90], abs=0.003)


# ---- from an attack


def test_spots_and_habits_alone_do_not_tell_two_like_lines_apart():
    """Spots that widen upwards and a number below the lower line: a sheet that lay upside down has shown as much."""
    widening = spot(60, 10, 1.5, RED), spot(100, 10, 1.9, BLUE)
    strip = measured(pencil(20), pencil(130), *widening, writing(9, 8, 1), draw=celled)
    assert strip.upright
    assert "ends-alike" in codes(strip)
    for more in (cross(20, 10), cross(20, 5)):
        assert "ends-alike" not in codes(measured(pencil(20), pencil(130), *widening, more, draw=celled))
    half = measured(pencil(20), pencil(130, span=(9, 99)), *widening, draw=celled)
    assert "ends-alike" not in codes(half)


def test_a_fold_that_looks_like_a_pale_line_is_said_to_be_hardly_seen():
    fold = pencil(110, 0.05)
    assert "front-faint" in codes(measured(pencil(20), fold, spot(60, 10, 1.6, RED), noise=0.006))
    assert "front-faint" not in codes(measured(pencil(20), pencil(110, 0.15), spot(60, 10, 1.6, RED), noise=0.006))


@pytest.mark.parametrize("ink", [(1.0, 0.8, 0.3), (0.15, 1.0, 0.85)])
def test_a_front_drawn_in_ink_is_one_and_said_to_be(ink):
    strip = measured(pencil(20), pencil(110, 0.4, colour=ink), spot(60, 10, 1.6, RED), noise=0.006)
    assert [one.rf for one in spots(strip)] == pytest.approx([40 / 90], abs=0.003)
    assert "front-inked" in codes(strip)


def test_a_band_of_a_dye_is_no_line_in_ink():
    band = line(110, 0.7, 0.4, np.array((0.15, 1.0, 0.85)))
    assert measured(pencil(20), band, spot(60, 10, 1.6, RED), noise=0.006).front is None


def test_a_line_in_ink_beside_one_in_pencil_is_said():
    strip = measured(pencil(20), pencil(110, 0.4, colour=(1.0, 0.8, 0.3)), pencil(135), spot(60, 10, 1.6, RED))
    assert "two-lines" in codes(strip)


def seam(t0, depth, sd=0.2):
    """The gap between two papers, along all of them."""
    return lambda s, t: (depth * gauss(t, t0, sd) + 0 * s)[..., None] * GREY


def test_what_runs_along_the_whole_strip_is_said():
    """Two papers side by side are read as one sheet: their origins may differ, and nobody would know."""
    lanes = [thing for t in (10, 32) for thing in (cross(20, t), spot(60, t, 1.6, RED), spot(90, t, 1.6, BLUE))]
    ground = pencil(20), pencil(120), *lanes
    assert "seam" in codes(measured(*ground, seam(21, 0.06), width=42.0, noise=0.006))
    assert "seam" not in codes(measured(*ground, width=42.0, noise=0.006))
    # A streak that a spot leaves on its way reaches from the origin to it, and is broader.
    streak = tailed(110, 10, (0.3, 0.2, 0.1), 60.0)
    assert "seam" not in codes(measured(*ground, streak, width=42.0, noise=0.006))


@pytest.mark.parametrize("sd", [0.7, 0.75, 0.8, 1.1])
@pytest.mark.parametrize("at", [30, 60])
def test_a_small_round_grey_spot_is_no_writing(sd, at):
    """Three to four millimetres wide at its base, as black ink leaves them that hardly ran."""
    strip = measured(pencil(20), pencil(120), spot(at, 10, sd, (0.39, 0.39, 0.38)), spot(90, 10, 1.6, RED), draw=celled)
    assert [one.rf for one in strip.lanes[0].spots] == pytest.approx([(at - 20) / 100, 0.7], abs=0.004)


@pytest.mark.parametrize("radius", [0.8, 1.0, 1.2])
@pytest.mark.parametrize("depth", [0.2, 0.35, 0.6])
def test_a_filled_dot_of_pencil_is_still_no_spot(radius, depth):
    def dot(s, t):
        return (depth * (np.hypot(s - 60, t - 10) < radius))[..., None] * np.ones(3)

    strip = measured(pencil(20), cross(20, 10), pencil(120), dot, spot(90, 10, 1.6, RED), draw=celled, noise=0.01)
    assert [one.rf for one in strip.lanes[0].spots] == pytest.approx([0.7], abs=0.004)


@pytest.mark.parametrize("slope", [1.5, 2.5, 5.0])
@pytest.mark.parametrize("depth", [0.1, 0.2])
def test_coloured_spots_in_what_a_steep_shadow_leaves_are_measured_by_their_colour(slope, depth):
    """A shadow's edge that runs along a strip more than across it is taken off incompletely; the rest is wide, and grey."""
    spots = spot(50, 14, 1.6, BLUE), spot(80, 14, 1.6, (0.03, 0.23, 0.1)), spot(100, 14, 1.8, GREEN)
    light = shaded(70, depth, slope, 2.0)
    strip = measured(pencil(20), pencil(120), *spots, width=29.0, light=light)
    assert [one.rf for one in strip.lanes[0].spots] == pytest.approx([0.3, 0.6, 0.8], abs=0.003)
    assert all(one.width_mm < 8 for one in strip.lanes[0].spots)


def tick(s0, t0, depth):
    return lambda s, t: (depth * gauss(t, t0, 0.2) * (np.abs(s - s0) < 1.7))[..., None] * np.ones(3)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("sd", [0.7, 0.75])
def test_a_black_spot_beneath_dark_marks_did_not_move(sd, seed):
    """As ink stays that is no dye in water: line, tick and cross on it are as grey and as dark, but not so wide."""
    ground = pencil(20, depth=0.6), cross(20, 10), tick(20, 10, 0.6), pencil(120), spot(90, 10, 1.6, RED)
    strip = measured(*ground, spot(20.1, 10, sd, (0.6, 0.6, 0.58)), draw=celled, seed=seed, noise=0.006)
    first, _ = strip.lanes[0].spots
    assert first.rf == pytest.approx(0.0, abs=0.01)
    assert "did-not-move" in {flag.code for flag in first.flags}
    bare = measured(*ground, draw=celled, seed=seed, noise=0.006)
    assert [one.rf for one in bare.lanes[0].spots] == pytest.approx([0.7], abs=0.003)


@pytest.mark.parametrize("colour", [np.array([0.15, 1.0, 0.5]), np.array([1.0, 0.35, 0.85])])
@pytest.mark.parametrize("sd", [0.45, 0.6])
def test_a_band_that_hardly_ran_is_not_the_origin_beside_a_ruled_one(colour, sd):
    strip = measured(pencil(20, 0.15), pencil(110), line(24.5, sd, 0.5, colour), spot(65, 10, 1.6, RED))
    assert strip.origin is not None and strip.origin.kind == "pencil" and "two-lines" not in codes(strip)
    assert spots(strip)[-1].rf == pytest.approx(0.5, abs=0.003)
