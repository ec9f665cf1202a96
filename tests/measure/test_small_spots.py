"""Spots hardly wider than strokes, of any colour, on strips and on sheets; and broad strokes, which are none."""

from __future__ import annotations

import numpy as np
import pytest

from tests.measure.drawn import BLUE, RED, celled, cross, from_above, gauss, pencil, spot
from webcapture.measure.strip import measure_strip
from webcapture.settings import DEFAULTS

GREY, BIRO = (0.35, 0.35, 0.34), (0.6, 0.5, 0.2)
PLACES = {20.0: [10.0], 90.0: [18.0, 36.0, 54.0, 72.0]}
"""Where the lanes of a strip, and of a sheet, are."""
HEIGHTS = (45.3, 62.1, 80.4, 98.7)
BAR = 1.3
"""Millimetres: a felt tip's stroke."""


def measured(*things, width=20.0, front=120.0, **how):
    lines = pencil(20), pencil(front), *(cross(20, t) for t in PLACES[width])
    return measure_strip(celled(*lines, *things, width=width, noise=0.004, **how), from_above(), DEFAULTS)


def found(strip):
    """(s, t) of all spots on the strip, which lies at x 40, y 250 and runs up the page."""
    return sorted((250 - s.position_mm[1], s.position_mm[0] - 40) for lane in strip.lanes for s in lane.spots)


@pytest.mark.parametrize("width", PLACES)
@pytest.mark.parametrize("colour", [RED, BLUE, GREY])
@pytest.mark.parametrize("base_mm", [3.0, 3.5])
def test_small_spots_are_found_where_they_are(width, colour, base_mm):
    """On sheets they were drawn a quarter of a millimetre up and to the right, or lost: an opening of even size moves what it opens."""
    true = sorted((s + 0.37 * n, t) for n, t in enumerate(PLACES[width]) for s in HEIGHTS)
    seen = found(measured(*(spot(s, t, base_mm / 4, colour) for s, t in true), width=width))
    off = np.array(seen) - np.array(true)
    assert np.abs(off).max() < 0.2
    assert np.abs(off.mean(axis=0)).max() < 0.05


@pytest.mark.parametrize("width", PLACES)
def test_small_spots_are_no_strokes(width):
    things = [spot(s, t, 0.75, GREY) for t in PLACES[width] for s in HEIGHTS]
    strip = celled(*things, width=width, noise=0.004)
    rows = [round(s / strip.cell_mm) for s in HEIGHTS]
    columns = [round(t / strip.cell_mm) for t in PLACES[width]]
    assert not strip.strokes[np.ix_(rows, columns)].any()


@pytest.mark.parametrize("width", PLACES)
def test_strokes_lie_evenly_under_their_mask(width):
    """A stroke in the middle of four cells: as many are marked on either side."""
    strip = celled(width=width, noise=0.004)
    cell = strip.length_mm / len(strip.cells)
    middle = 200 * cell
    marked = celled(pencil(middle), width=width, noise=0.004).strokes[:, 10:-10]
    below, above = marked[190:200].sum(), marked[200:210].sum()
    assert below == pytest.approx(above, rel=0.1) and below > 0


def four(s0, t0, colour=BIRO):
    """A 4 of broad strokes, 4 mm high, blurred as by a lens."""

    def bar(x, low, high):
        return 1 / (1 + np.exp(-(x - low) / 0.1)) - 1 / (1 + np.exp(-(x - high) / 0.1))

    def draw(s, t):
        y, x = s - s0, t - t0
        stem = bar(x, 0.3, 0.3 + BAR) * bar(y, -2, 2)
        foot = bar(y, -1.3, -1.3 + BAR) * bar(x, -1.8, 1.8)
        slope = bar(x - 0.8 * y, -1.8, -1.8 + BAR * 1.2) * bar(y, -1, 2)
        return np.maximum.reduce([stem, foot, slope])[..., None] * np.array(colour)

    return draw


@pytest.mark.parametrize("width", PLACES)
def test_a_number_in_broad_strokes_beyond_the_front_is_no_spot(width):
    """Written over the lanes with a felt tip: it ends sharply, as no spot does, so that the line below it stays the front."""
    spots = [spot(70, t, 1.6, RED) for t in PLACES[width]]
    strip = measured(*spots, *(four(128, t) for t in PLACES[width]), width=width, front=118.0)
    assert strip.front is not None
    assert [s.rf for lane in strip.lanes for s in lane.spots] == pytest.approx([50 / 98] * len(spots), abs=0.003)


@pytest.mark.parametrize("width", PLACES)
def test_a_real_spot_beyond_a_line_still_says_that_it_is_no_front(width):
    spots = [spot(s, t, 1.2, RED) for t in PLACES[width] for s in (70, 128)]
    assert measured(*spots, width=width, front=118.0).front is None


def test_a_lane_of_a_single_spot_without_a_mark_is_a_lane():
    """A small ragged spot was taken for a word, and its lane left out without saying so."""
    alone = [spot(60, 36, 0.65, BLUE), spot(61.3, 36.9, 0.5, BLUE)]
    others = [spot(70, t, 1.5, RED) for t in (18.0, 54.0, 72.0)]
    strip = measure_strip(
        celled(pencil(20), pencil(120), *alone, *others, width=90.0, noise=0.004), from_above(), DEFAULTS
    )
    assert [len(lane.spots) for lane in strip.lanes] == [1, 1, 1, 1]


def test_a_lane_beside_the_papers_edge_is_not_lost_to_the_edge():
    """What is left of the card there is darker than a pale spot 8 mm further in."""

    def edge(s, t):
        return (0.3 * gauss(t, 88.6, 0.8) + 0 * s)[..., None] * np.ones(3)

    spots = [spot(70, t, 1.5, RED) for t in (20.0, 45.0)] + [spot(70, 81, 1.3, (0.02, 0.12, 0.1))]
    strip = measure_strip(
        celled(pencil(20), pencil(120), edge, *spots, width=90.0, noise=0.004), from_above(), DEFAULTS
    )
    assert [s.position_mm[0] - 40 for lane in strip.lanes for s in lane.spots] == pytest.approx([20, 45, 81], abs=0.3)


@pytest.mark.parametrize("darker", [0.0, 0.06, 0.12, 0.2])
def test_a_pencil_dot_on_darker_paper_is_no_spot(darker):
    """Damp or shaded paper: its own darkness is no part of the dot's height, which would make its sides look gentle."""

    def dot(s, t):
        return (0.25 / (1 + np.exp((np.hypot(s - 70, t - 10) - 0.6) / 0.08)))[..., None] * np.ones(3)

    def damp(s, t):
        return (darker * gauss(s, 70, 25) + 0 * t)[..., None] * np.ones(3)

    with np.errstate(over="ignore"):
        assert found(measured(dot, damp)) == []
        assert len(found(measured(damp, spot(70.2, 10, 0.8, (0.25, 0.25, 0.25))))) == 1


@pytest.mark.parametrize("t", [4.5, 5.0, 6.0, 8.0])
def test_a_lane_near_the_edge_is_where_its_spots_are(t):
    """What is left out at the paper's rim must not move the lane inwards: the front is read where the lane runs."""
    spots = [spot(s, x, 1.25, RED) for s in (60, 85) for x in (t, 30.0)]
    strip = measure_strip(celled(pencil(20), pencil(120), *spots, width=60.0, noise=0.004), from_above(), DEFAULTS)
    assert [lane.origin_mm[0] - 40 for lane in strip.lanes] == pytest.approx([t, 30], abs=0.25)
