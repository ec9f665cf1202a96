"""A front below a name or a date: neither the letters nor what they stand on may be taken for it, nor it for an underline."""

from __future__ import annotations

import numpy as np
import pytest

from tests.measure.drawn import RED, celled, cross, from_above, gauss, pencil, spot, wet, writing
from webcapture.measure.strip import measure_strip
from webcapture.settings import DEFAULTS

GROUND = (pencil(20), cross(20, 10), spot(60, 10, 1.6, RED))
RATIO = (60 - 20) / (115 - 20)


def measured(*things):
    return measure_strip(celled(*GROUND, *things, noise=0.006), from_above(), DEFAULTS)


def codes(strip):
    return {flag.code for flag in strip.flags}


def label(foot_mm, t0=2.5, count=6):
    """A word whose letters stand at this height."""
    return writing(foot_mm + 1.5, t0, count)


@pytest.mark.parametrize("gap", [4.0, 5.0, 6.0])
@pytest.mark.parametrize("span", [(3, 16), (1, 15)])
def test_a_short_front_well_below_a_word_is_the_front_and_the_word_is_said(gap, span):
    strip = measured(pencil(115, span=span), label(115 + gap))
    assert strip.front is not None
    assert strip.front.kind == "pencil"
    assert strip.lanes[0].spots[0].rf == pytest.approx(RATIO, abs=0.003)
    assert "front-under-word" in codes(strip)


@pytest.mark.parametrize("gap", [0.8, 1.5, 2.2])
@pytest.mark.parametrize("span", [(3, 16), (1, 15)])
def test_the_line_right_under_a_word_is_no_front(gap, span):
    strip = measured(pencil(115, span=span), label(115 + gap))
    assert strip.front is None
    assert "front-missing" in codes(strip)


@pytest.mark.parametrize("gap", [2.5, 5.0])
def test_a_word_above_a_whole_front_raises_no_doubt(gap):
    strip = measured(pencil(115), label(115 + gap))
    assert strip.lanes[0].spots[0].rf == pytest.approx(RATIO, abs=0.002)
    assert not codes(strip) & {"front-under-word", "two-lines", "two-fronts"}


@pytest.mark.parametrize("seed", range(4))
def test_a_row_of_letters_from_edge_to_edge_is_not_taken_for_the_line_below_it(seed):
    strip = measured(pencil(115, span=(2, 17)), writing(124, 0.6, 8, seed))
    assert strip.lanes[0].spots[0].rf == pytest.approx(RATIO, abs=0.003)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("depth", [0.04, 0.08])
def test_a_wet_edge_counts_before_the_upper_end_of_a_word(seed, depth):
    strip = measured(wet(115, depth), writing(124, 0.6, 8, seed))
    assert strip.front is not None
    assert strip.front.kind == "wet-edge"
    assert strip.lanes[0].spots[0].rf == pytest.approx(RATIO, abs=0.004)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("gap", [2.5, 3.5])
def test_a_label_close_above_a_wet_edge_does_not_move_it(gap, seed):
    """The paper beyond the edge is told between the letters; with their mean, it would lie a millimetre low."""
    strip = measured(wet(115, 0.045), writing(115 + gap + 1.5, 1.5, 7, seed))
    assert strip.front is not None
    assert strip.front.kind == "wet-edge"
    assert 250 - strip.lanes[0].front_mm[1] == pytest.approx(115, abs=0.25)


def small_word(s0, t0, count, seed, lean=0.12):
    """Letters 2 mm high on a line that leans, as on a narrow strip's top: each two stems and bars at random."""
    rng = np.random.default_rng(seed)
    bars = rng.random((count, 3)) < 0.6

    def draw(s, t):
        ink, up = np.zeros(np.broadcast_shapes(s.shape, t.shape)), s - s0 - lean * (t - t0)
        for n in range(count):
            left = t0 + 2.0 * n
            for stem in (left, left + 1.3):
                ink = np.maximum(ink, gauss(t, stem, 0.17) * (np.abs(up) < 1.1))
            for bar, height in zip(bars[n], (-1.1, 0.0, 1.1), strict=True):
                ink = np.maximum(ink, bar * gauss(up, height, 0.17) * ((t > left) & (t < left + 1.3)))
        return (0.35 * ink)[..., None] * np.ones(3)

    return draw


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("span", [None, (7.5, 11)])
def test_a_small_word_across_a_narrow_strip_is_no_front(span, seed):
    """Eleven of forty were; and a short stroke below it, at the edge, went unseen for it."""
    marked = () if span is None else (pencil(115, span=span),)
    things = pencil(20), cross(20, 5.5), spot(60, 5.5, 1.6, RED), small_word(126, 1.5 + 0.7 * (seed % 3), 4, seed)
    strip = measure_strip(celled(*things, *marked, width=11, noise=0.004, seed=seed), from_above(), DEFAULTS)
    if span is None:
        assert strip.front is None
    else:
        assert strip.lanes[0].spots[0].rf == pytest.approx(RATIO, abs=0.004)
