"""Lines as people draw them: wavering, crossed by marks, one too many. None is lost, and no choice is made in silence."""

from __future__ import annotations

import numpy as np
import pytest

from tests.measure.drawn import BLUE, RED, celled, cross, from_above, gauss, pencil, spot, wet
from webcapture.measure.strip import measure_strip
from webcapture.settings import DEFAULTS

SPOTS = spot(50, 10, 1.6, RED), spot(80, 10, 1.8, BLUE)


def measured(*things, **how):
    return measure_strip(celled(*things, noise=0.006, **how), from_above(), DEFAULTS)


def codes(strip):
    return [flag.code for flag in strip.flags]


def freehand(s0, sd, seed, depth=0.3):
    """A pencil line that wavers by ``sd`` mm about its middle, over some millimetres at a time."""
    rng = np.random.default_rng(seed)
    knots = np.arange(-4.0, 80.0, 4.0)
    off = rng.normal(0, sd, len(knots))

    def draw(s, t):
        return (depth * gauss(s, s0 + np.interp(t, knots, off), 0.2))[..., None] * np.ones(3)

    return draw


@pytest.mark.parametrize("seed", range(6))
def test_a_front_marked_in_haste(seed):
    strip = measured(pencil(20), cross(20, 10), freehand(120, 0.3, seed), *SPOTS)
    assert strip.front is not None
    assert strip.front.kind == "pencil"
    assert np.mean(strip.front.s_mm) == pytest.approx(120, abs=0.5)


@pytest.mark.parametrize("seed", range(6))
def test_a_freehand_origin_with_a_cross_on_it(seed):
    """The arms of a cross look like the stems of letters."""
    strip = measured(freehand(20, 0.15, seed), cross(20, 10), pencil(120), *SPOTS)
    assert strip.origin is not None
    assert np.mean(strip.origin.s_mm) == pytest.approx(20, abs=0.3)


@pytest.mark.parametrize("gap", [3, 7, 15])
def test_two_lines_that_could_be_the_front(gap):
    strip = measured(pencil(20), cross(20, 10), pencil(115), pencil(115 + gap), *SPOTS)
    assert "two-lines" in codes(strip)


def test_the_paper_tells_which_of_two_lines_is_the_front():
    strip = measured(pencil(20), cross(20, 10), pencil(115), pencil(125), wet(115, 0.04), *SPOTS)
    assert np.mean(strip.front.s_mm) == pytest.approx(115, abs=0.2)
    assert "two-lines" in codes(strip)


def test_two_lines_that_could_be_the_origin():
    assert "two-lines" in codes(measured(pencil(17), pencil(22), pencil(120), *SPOTS))
    marked = measured(pencil(17), pencil(24), cross(24, 10), pencil(120), *SPOTS)
    assert np.mean(marked.origin.s_mm) == pytest.approx(24, abs=0.2)
    assert "two-lines" not in codes(marked)


def test_what_lies_below_the_origin_is_no_spot():
    """A label's pencil; and a ratio is never below zero."""
    below = spot(17.5, 10, 0.8, (0.2, 0.2, 0.2))
    strip = measured(pencil(20), pencil(120), below, *SPOTS)
    assert [round(s.rf, 2) for s in strip.lanes[0].spots] == [0.3, 0.6]
    stayed = measured(pencil(20), pencil(120), spot(19.6, 10, 1.2, RED), *SPOTS)
    assert stayed.lanes[0].spots[0].rf == 0
    assert [flag.code for flag in stayed.lanes[0].spots[0].flags] == ["did-not-move"]


def test_an_ink_line_that_ran_is_told_even_though_its_colour_covers_it():
    ink = pencil(20, depth=0.5, colour=(1, 0.6, 0.2))
    ran = spot(22, 10, 1.2, (0.4, 0.2, 0.05), sd_t=60)
    assert "ink-line" in codes(measured(ink, ran, pencil(120), *SPOTS))


def test_grey_at_the_papers_edge_is_the_cards_print():
    strip = measured(pencil(20), pencil(120), spot(70, 1.0, 1.5, (0.15, 0.15, 0.15), sd_t=0.5), *SPOTS)
    assert len(strip.lanes[0].spots) == 2
