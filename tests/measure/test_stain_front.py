"""A front shown by its stain alone: seen among bands, itself no spot; and no band, no letter is taken for one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.measure.drawn import (
    RED,
    ROW,
    celled,
    cross,
    drawn,
    from_above,
    gauss,
    pencil,
    shaded,
    spot,
    stain,
    wet,
    writing,
)
from webcapture.measure.field import field_of
from webcapture.measure.stains import narrow_stains, stains
from webcapture.measure.strip import measure_strip
from webcapture.settings import DEFAULTS

LENGTH, ORIGIN, FRONT = 112.0, 14.0, 94.0
YELLOW, ORANGE, GREY = (0.01, 0.08, 0.35), (0.02, 0.25, 0.4), (0.36, 0.4, 0.38)
PLACES = {24.0: RED, 37.0: YELLOW, 50.0: GREY, 63.0: ORANGE, 76.0: (0.12, 0.2, 0.26)}


def band(s0, colour, sd=1.7):
    """A streak of dye right across, wider than it was applied."""
    return lambda s, t: (gauss(s, s0, sd) + 0 * t)[..., None] * np.array(colour)


BANDS = tuple(band(s0, colour) for s0, colour in PLACES.items())


def measured(*things, draw=drawn, **how):
    return measure_strip(draw(*things, **how), from_above(), DEFAULTS)


def spots(strip):
    return [spot for lane in strip.lanes for spot in lane.spots]


@pytest.mark.parametrize("depth", [0.06, 0.12])
@pytest.mark.parametrize("seed", range(4))
def test_a_stain_above_bands_that_leave_hardly_any_bare_paper(depth, seed):
    strip = measured(pencil(ORIGIN), *BANDS, stain(FRONT, depth), length=LENGTH, seed=seed)
    assert strip.front is not None and strip.front.kind == "stain"
    assert float(np.median(strip.front.s_mm)) == pytest.approx(FRONT, abs=0.3)
    true = [(s0 - ORIGIN) / (FRONT - ORIGIN) for s0 in PLACES]
    assert [spot.rf for spot in spots(strip)] == pytest.approx(true, abs=0.006)


@pytest.mark.parametrize("gap", [7.0, 10.0])
def test_a_stain_beside_a_band_is_seen_on_its_slope(gap):
    strip = measured(pencil(ORIGIN), *BANDS, band(FRONT - gap, ORANGE), stain(FRONT, 0.1), length=LENGTH)
    assert strip.front is not None and strip.front.kind == "stain"
    assert float(np.median(strip.front.s_mm)) == pytest.approx(FRONT, abs=0.3)


@pytest.mark.parametrize("sd", [0.8, 1.0])
def test_bands_alone_have_no_front(sd):
    """Nor is a band a stain that is as narrow as when it was applied, of a yellow dye, faint and topmost."""
    for seed in range(12):
        assert measured(pencil(ORIGIN), *BANDS[seed % 5 :], length=LENGTH, seed=seed).front is None
        narrow = band(FRONT, np.array((YELLOW, ORANGE)[seed % 2]) * (0.15, 0.3, 1.0)[seed % 3], sd)
        for others in ((), BANDS[:3], BANDS):
            seen = field_of(drawn(pencil(ORIGIN), *others, narrow, length=LENGTH, seed=seed), DEFAULTS.profile)
            assert narrow_stains(seen, DEFAULTS.trace, DEFAULTS.landmark) == []


def test_a_grey_line_among_bands_is_no_stain():
    """A crease or a shadow is grey, and what grey line was drawn is looked for elsewhere."""

    def line(s, t):
        return (0.06 * gauss(s, FRONT, 0.4) + 0 * t)[..., None] * np.ones(3)

    seen = field_of(drawn(*BANDS, line, length=LENGTH), DEFAULTS.profile)
    assert narrow_stains(seen, DEFAULTS.trace, DEFAULTS.landmark) == []


@pytest.mark.parametrize("find", [stains, narrow_stains])
def test_a_row_of_brown_strokes_with_gaps_is_no_stain(find):
    """Whole it is one."""

    def strokes(s, t):
        return stain(120, 0.1)(s, t) * ((t < 8) | (t > 14))[..., None]

    for seed in range(6):
        whole, broken = (field_of(drawn(what, seed=seed), DEFAULTS.profile) for what in (stain(120, 0.1), strokes))
        assert len(find(whole, DEFAULTS.trace, DEFAULTS.landmark)) == 1
        assert find(broken, DEFAULTS.trace, DEFAULTS.landmark) == []


@pytest.mark.parametrize("seed", range(4))
def test_the_fringe_of_a_stain_is_no_spot(seed):
    """It fades so far behind the front that what was filled in does not hold all of it."""

    def fringe(s, t):
        return ((0.03 * np.exp((s - FRONT) / 2.0) * (s < FRONT)) + 0 * t)[..., None] * np.array([0.3, 0.6, 1.0])

    strip = measured(pencil(ORIGIN), spot(50, 10, 1.7, RED), stain(FRONT, 0.12, 0.7), fringe, length=LENGTH, seed=seed)
    assert strip.front is not None and strip.front.kind == "stain"
    assert [round(spot.rf, 2) for spot in spots(strip)] == [0.45]


def left(colour, fade, depth=0.14, outside=0.25):
    """What a solvent left at its edge: half a Gaussian on the dry side, half of it left at FRONT, and fading over ``fade`` mm behind."""
    top = FRONT - 1.177 * outside

    def laid(s, t):
        away = s - top
        shape = np.where(away > 0, np.exp(-0.5 * (away / outside) ** 2), np.exp(np.minimum(away, 0) / fade))
        return (depth * shape + 0 * t)[..., None] * np.array(colour)

    return laid


@pytest.mark.parametrize("fade", [1.1, 1.5, 1.9])
@pytest.mark.parametrize(
    "colour", [(0.75, 0.9, 1.0), (0.66, 0.84, 1.0), (0.3, 0.6, 1.0)], ids=["grey", "dull", "brown"]
)
@pytest.mark.parametrize("seed", range(3))
def test_a_stain_that_fades_behind_its_edge_tells_where_the_edge_is(colour, fade, seed):
    """Grey enough for a pencil's, too; and what faded behind it is no spot."""
    dye = spot(50, 10, 1.7, RED)
    strip = measured(pencil(ORIGIN), dye, left(colour, fade), length=LENGTH, seed=seed)
    assert strip.front is not None and strip.front.kind == "stain"
    off = float(np.median(strip.front.s_mm)) - FRONT
    assert abs(off) < 0.3 and abs(off) < 2 * strip.front.u_mm
    assert [round(spot.rf, 2) for spot in spots(strip)] == [0.45]


@pytest.mark.parametrize("seed", range(4))
def test_a_narrow_line_of_any_colour_is_a_front_where_none_else_is_seen_and_is_doubted(seed):
    """Pink, sharper on the dry side; one as narrow that fades alike on both sides may be a band, and tells of no front."""
    pink, dye = (0.4, 1.0, 0.85), spot(50, 10, 1.7, RED)
    strip = measured(pencil(ORIGIN), dye, left(pink, 0.9, depth=0.09, outside=0.35), length=LENGTH, seed=seed)
    assert strip.front is not None and strip.front.kind == "stain"
    assert abs(float(np.median(strip.front.s_mm)) - FRONT) < 2 * strip.front.u_mm
    assert "front-inked" in [flag.code for flag in strip.flags]
    assert (
        measured(pencil(ORIGIN), dye, band(FRONT, 0.09 * np.array(pink), 0.7), length=LENGTH, seed=seed).front is None
    )


@pytest.mark.parametrize("fade", [1.5, 2.5])
@pytest.mark.parametrize(
    ("colour", "depth"), [((0.3, 1.0, 0.5), 0.18), ((0.3, 1.0, 0.5), 0.09), ((0.8, 0.6, 0.3), 0.14)]
)
@pytest.mark.parametrize("seed", range(2))
def test_what_fades_behind_an_edge_of_any_colour_is_the_fronts(colour, depth, fade, seed):
    """Pink and blue-grey, over millimetres: no band of a dye ends so sharply. It is no spot, either, nor ink that ran."""
    dye = spot(50, 10, 1.7, RED)
    strip = measured(
        pencil(ORIGIN), dye, left(colour, fade, depth=depth, outside=0.35), length=LENGTH, seed=seed, noise=0.003
    )
    assert strip.front is not None and strip.front.kind == "stain"
    assert abs(float(np.median(strip.front.s_mm)) - FRONT) < 2 * strip.front.u_mm
    assert {flag.code for flag in strip.flags} & {"front-inked", "ink-line"} == {"front-inked"}
    assert [round(spot.rf, 2) for spot in spots(strip)] == [0.45]


@pytest.mark.parametrize("colour", [(0.9, 0.7, 0.2), (0.1, 1.0, 0.7)])
@pytest.mark.parametrize("seed", range(4))
def test_a_word_in_coloured_ink_is_no_front(colour, seed):
    """Right across a narrow strip from which the solvent ran off."""
    word = writing(FRONT, 1.5, 4, seed)
    inked = lambda s, t: 0.6 * word(s, t) * np.array(colour)  # noqa: E731 - it is the same word
    assert measured(pencil(ORIGIN), spot(50, 6, 1.7, RED), inked, length=LENGTH, width=12.0, seed=seed).front is None


@pytest.mark.parametrize("tail", [4.5, 7.0])
@pytest.mark.parametrize("seed", range(3))
def test_a_band_with_a_sharp_head_and_a_long_tail_is_no_front(tail, seed):
    """As streaks of a dye are; what a solvent leaves at its edge fades sooner."""
    pink = left((0.3, 1.0, 0.5), tail, depth=0.2, outside=0.35)
    assert measured(pencil(ORIGIN), spot(50, 10, 1.7, RED), pink, length=LENGTH, seed=seed).front is None


@pytest.mark.parametrize("sd", [0.2, 0.3, 0.4])
def test_a_drawn_front_is_none_however_blurred(sd):
    """Nor where the solvent left the paper a little darker below it. sd: 0.4 mm is a line in a photo blurred by 2 px."""

    def line(s, t):
        return (0.06 / sd * gauss(s, FRONT, sd) + 0 * t)[..., None] * np.ones(3)

    for below in ((), (wet(FRONT, 0.02),)):
        strip = measured(pencil(ORIGIN), spot(50, 10, 1.7, RED), *below, line, length=LENGTH)
        assert strip.front is not None and strip.front.kind == "pencil"


@pytest.mark.parametrize("colour", [RED, GREY, ORANGE])
def test_a_spot_that_ran_with_the_front_is_one(colour):
    strip = measured(pencil(ORIGIN), spot(FRONT - 0.5, 10, 1.8, colour), stain(FRONT, 0.06), length=LENGTH)
    assert strip.front is not None
    (found,) = spots(strip)
    assert "near-front" in [flag.code for flag in found.flags]


# ---- a label at the end of a strip without a front


@pytest.mark.parametrize(("draw", "count"), [(drawn, 2), (celled, 2), (celled, 4)])
@pytest.mark.parametrize("seed", range(4))
def test_a_label_beyond_a_front_that_is_not_seen_is_no_spot(draw, count, seed):
    """Whether its strokes were marked as such or, too blurred for that, not."""
    things = pencil(20), cross(20, 10), spot(70, 10, 1.8, RED), writing(140, 4, count, seed)
    strip = measured(*things, draw=draw, seed=seed)
    assert strip.front is None
    assert [round(spot.position_mm[1]) for spot in spots(strip)] == [250 - 70]


@pytest.mark.parametrize("sd", [1.25, 2.0])
def test_a_grey_spot_in_its_place_is_one(sd):
    """Of a strip from which the solvent ran off, with a spot near its end."""
    strip = measured(pencil(20), cross(20, 10), spot(140, 10, sd, GREY))
    assert strip.front is None
    assert [round(spot.position_mm[1]) for spot in spots(strip)] == [250 - 140]


def test_a_grey_spot_in_a_pencilled_ring_is_one():
    """Spots are ringed in pencil before they fade (common practice, no source)."""

    def ring(s, t):
        return (0.35 * gauss(np.hypot(s - 120, t - 10), 4.0, 0.2))[..., None] * np.ones(3)

    strip = measured(pencil(20), cross(20, 10), spot(120, 10, 1.5, np.array(GREY) / 2), ring, draw=celled)
    assert 250 - 120 in [round(spot.position_mm[1]) for spot in spots(strip)]


# ---- a stain that ends sharply where the solvent stopped, and fades slowly behind

BROWN, PALE_YELLOW = (0.35, 0.65, 1.0), (0.02, 0.15, 1.0)


def swept(s0, depth, colour, fade=3.0, lasting=0.3, edge=0.12):
    """Darkest at its edge; behind, ``lasting`` of it stays as far as the origin."""

    def draw(s, t):
        ends = 1 / (1 + np.exp(np.clip((s - s0) / edge, -50, 50)))
        behind = lasting + (1 - lasting) * np.exp(np.minimum(s - s0, 0) / fade)
        return (depth * ends * behind + 0 * t)[..., None] * np.array(colour)

    return draw


@pytest.mark.parametrize("colour", [BROWN, PALE_YELLOW])
@pytest.mark.parametrize(("fade", "lasting"), [(2.0, 0.3), (5.0, 0.3), (4.0, 0.0), (1.0, 1.0)])
@pytest.mark.parametrize("front", [68.0, FRONT])
def test_a_stain_with_a_long_tail_ends_at_the_front(front, fade, lasting, colour):
    """Wherever on the paper; its tail is no spot, and came from no line of ink."""
    ground = pencil(ORIGIN), spot(30, 10, 1.6, RED), spot(48, 10, 1.8, ORANGE)
    for seed in range(3):
        strip = measured(*ground, swept(front, 0.09, colour, fade, lasting), length=150, seed=seed)
        assert strip.front is not None and strip.front.kind == "stain"
        assert float(np.median(strip.front.s_mm)) == pytest.approx(front, abs=0.2)
        true = [(s0 - ORIGIN) / (front - ORIGIN) for s0 in (30, 48)]
        assert [one.rf for one in spots(strip)] == pytest.approx(true, abs=0.005)
        assert "ink-line" not in {flag.code for flag in strip.flags}


@pytest.mark.parametrize("noise", [0.002, 0.004])
@pytest.mark.parametrize(("edge", "depth"), [(0.2, 0.09), (0.3, 0.09), (0.3, 0.15)])
def test_a_softer_edge_is_no_less_the_front(edge, depth, noise):
    """It was told once and lies there: judged again from a little further up, one as soft seemed none, and fell back to its darkest place."""
    ground = pencil(ORIGIN), spot(50, 10, 1.6, RED)
    for seed in range(8):
        strip = measured(*ground, swept(FRONT, depth, BROWN, edge=edge), length=150, noise=noise, seed=seed)
        assert strip.front is not None
        assert float(np.median(strip.front.s_mm)) == pytest.approx(FRONT, abs=0.25)


@pytest.mark.parametrize("sd", [0.8, 1.2])
@pytest.mark.parametrize("depth", [0.1, 0.2])
def test_a_band_with_a_tail_is_no_front(depth, sd):
    """It is as brown, and drags as long a tail, but its head is as soft as when it was applied."""

    def streak(s, t):
        along = np.where(s < FRONT, np.exp(np.minimum(s - FRONT, 0) / 4.0), gauss(s, FRONT, sd))
        return (depth * along + 0 * t)[..., None] * np.array(BROWN)

    for seed in range(6):
        assert measured(pencil(ORIGIN), spot(30, 10, 1.6, RED), streak, length=150, seed=seed).front is None


@pytest.mark.parametrize("below", [3.5, 6.0])
@pytest.mark.parametrize("colour", [ORANGE, YELLOW, (0.01, 0.05, 0.09)])
def test_a_round_spot_in_the_tail_of_a_stain_is_one(colour, below):
    ran = spot(FRONT - below, 10, 1.4, colour)
    strip = measured(pencil(ORIGIN), spot(30, 10, 1.6, RED), ran, swept(FRONT, 0.09, BROWN), length=150)
    assert strip.front is not None
    first, second = spots(strip)
    assert first.rf == pytest.approx(0.2, abs=0.005)
    assert second.rf == pytest.approx(1 - below / (FRONT - ORIGIN), abs=0.01)


def wandering(s0, reach, length_mm, phase, depth=0.1):
    """A stain whose front ran ahead here and there, in waves of that length."""
    ahead = reach * np.sqrt(2)
    return lambda s, t: (
        depth
        * gauss(s, s0 + ahead * np.sin(2 * np.pi * t / length_mm + phase), 0.45)[..., None]
        * np.array([0.3, 0.7, 1.0])
    )


@pytest.mark.parametrize("phase", [0.0, 2.0, 4.0])
@pytest.mark.parametrize("reach", [0.3, 0.4])
def test_a_ragged_stain_that_is_clear_from_edge_to_edge_is_the_front_and_leaves_no_spots(reach, phase):
    """The standard deviation of where it ended is more than a row of letters scatters, which is not brown."""
    strip = measured(pencil(20), spot(60, 10, 1.6, RED), wandering(120, reach, 14.0, phase), draw=celled, noise=0.006)
    assert strip.front is not None and strip.front.kind == "stain"
    (found,) = spots(strip)
    assert found.rf == pytest.approx(0.4, abs=max(found.U_rf, 0.004))


GROUND = (pencil(20), cross(20, 10), spot(55, 10, 1.6, RED), spot(85, 10, 1.9, RED))


def in_shadow(depth, beside_mm, *things):
    """A strip in whose upper part a shadow ends, a little aslant, and whose card shows the same end ``beside_mm`` further up."""
    place, lean = 124.0, 0.1
    fine = np.arange(ROW / 2, 150, ROW)[:, None]
    cells = drawn(*things, light=shaded(place - 10 * lean, depth, slope=lean, soft=0.5), noise=0.004)
    beside = shaded(place + beside_mm, depth, soft=0.5)(fine, np.zeros((1, 2)))
    return measure_strip(replace(cells, light=beside.astype(np.float32)), from_above(), DEFAULTS)


@pytest.mark.parametrize("depth", [0.06, 0.09, 0.12])
def test_a_stain_right_across_counts_before_a_shadows_edge(depth):
    """Whose end on the card lies 5 mm off its end on the paper; that both are there is said."""
    strip = in_shadow(depth, 5.0, *GROUND, stain(114))
    assert strip.front is not None and strip.front.kind == "stain"
    assert [s.rf for s in strip.lanes[0].spots] == pytest.approx([35 / 94, 65 / 94], abs=0.004)
    assert "two-fronts" in {flag.code for flag in strip.flags}


def test_a_wet_edge_in_even_light_still_counts_before_a_band_below_it():
    strip = measure_strip(drawn(*GROUND, stain(110), wet(124, 0.04), noise=0.004), from_above(), DEFAULTS)
    assert strip.front is not None and strip.front.kind == "wet-edge"


def broad(s0, depth, colour, sd=0.6):
    """A line wider than a pencil's, even on both sides."""
    return lambda s, t: (depth * gauss(s, s0, sd) + 0 * t)[..., None] * np.array(colour)


@pytest.mark.parametrize("depth", [0.06, 0.12])
def test_a_line_too_broad_and_too_brown_for_a_pencil_is_a_stain(depth):
    """Too grey to be told by its colour alone, too even by its shape: with a stain's uncertainty it covers where people read it."""
    for seed in range(4):
        strip = measured(pencil(ORIGIN), *BANDS[:3], broad(FRONT, depth, (0.75, 0.83, 1.0)), length=LENGTH, seed=seed)
        assert strip.front is not None and strip.front.kind == "stain"
        assert float(np.median(strip.front.s_mm)) == pytest.approx(FRONT, abs=0.2)
        assert 2 * strip.front.u_mm > 0.5


@pytest.mark.parametrize(("colour", "sd"), [((0.75, 0.83, 1.0), 0.25), ((0.95, 1.0, 1.0), 0.6)])
def test_a_line_that_is_only_broad_or_only_brown_stays_a_pencils(colour, sd):
    """A thin one under warm light, and a thick grey one."""
    strip = measured(pencil(ORIGIN), *BANDS[:3], broad(FRONT, 0.2, colour, sd), length=LENGTH)
    assert strip.front is not None and strip.front.kind == "pencil"
