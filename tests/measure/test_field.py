"""Absorbance above the palest paper, and what light makes of it: what the card beside shows too is no stain."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.measure.drawn import CELL, RED, drawn, pencil, shaded, spot
from webcapture.measure.field import _misfits, field_of
from webcapture.settings import DEFAULTS

RULE = DEFAULTS.profile
THINGS = (pencil(20), spot(60, 10, 1.6, RED))


def field(*things, **how):
    return field_of(drawn(*things, **how), RULE)


def test_bare_paper_is_zero_but_for_its_grain():
    """Against numpy: the palest paper is the 75th percentile of brightness, two thirds of a standard deviation above the mean."""
    noise = 0.004
    seen = field(noise=noise)
    total = np.hypot(noise, noise / 3)  # as drawn: common to the channels, and each channel's own
    assert seen.absorbance.std() == pytest.approx(total, rel=0.03)
    assert seen.absorbance.mean() == pytest.approx(0.6745 * total, abs=0.0004)


def test_absorbance_is_what_was_drawn():
    """log10 of intensities as measured, base ten as IUPAC defines absorbance (Gold Book A00028, from memory)."""
    seen = field(*THINGS, noise=0.002)
    at = seen.absorbance[np.argmin(np.abs(seen.s_mm - 60)), np.argmin(np.abs(seen.t_mm - 10))]
    assert at == pytest.approx(RED, abs=0.01)


def test_places_are_the_middles_of_cells_and_bins():
    seen = field(*THINGS, length=150, width=20)
    assert (seen.s_mm[0], seen.s_mm[-1]) == pytest.approx((CELL / 2, 150 - CELL / 2))
    assert (seen.t_mm[0] + seen.t_mm[-1]) / 2 == pytest.approx(10, abs=0.01)
    assert (seen.bin_t_mm[0] + seen.bin_t_mm[-1]) / 2 == pytest.approx(10)
    darkest = [seen.fine_s_mm[n] for n in np.argmax(seen.fine.mean(axis=2), axis=0)]
    clear = np.abs(seen.bin_t_mm - 10) > 5
    assert np.array(darkest)[clear] == pytest.approx(20, abs=0.2)


def test_a_gradient_of_the_light_is_undone():
    """30 % less light at one end, and aslant: less than a twentieth of it is left anywhere."""
    bare = drawn(noise=0.002, light=lambda s, t: -0.15 * s / 150 - 0.03 * t / 20)
    seen = field_of(bare, RULE)
    lit_alike = field(noise=0.002)
    assert np.ptp(bare.cells.mean(axis=(1, 2))) > 0.14
    left = (seen.absorbance - lit_alike.absorbance).mean(axis=(1, 2))
    assert left == pytest.approx(np.median(left), abs=0.006)
    assert not seen.uneven


@pytest.mark.parametrize("slope", [0.0, 0.5, -1.2])
def test_a_shadows_edge_is_undone_along_its_slant(slope):
    """A shadow that takes a fifth of the light, its edge across the strip at up to 50°."""
    seen = field(noise=0.002, light=shaded(75, 0.1, slope))
    calm = np.abs(seen.s_mm[:, None] - 75 - slope * seen.t_mm) > 2
    assert not seen.uneven
    off = seen.absorbance.mean(axis=2)[calm]
    assert np.percentile(np.abs(off - np.median(off)), 99) < 0.01
    below, above = (off_side.mean() for off_side in _sides(seen, slope))
    assert below == pytest.approx(above, abs=0.003)


def _sides(seen, slope):
    grey = seen.absorbance.mean(axis=2)
    away = seen.s_mm[:, None] - 75 - slope * seen.t_mm
    return grey[away < -3], grey[away > 3]


def test_without_the_card_beside_a_shadow_stays():
    """So that the test before can fail: it is the card that tells shadow from stain."""
    below, above = (side.mean() for side in _sides(field(noise=0.002, light=shaded(75, 0.1), beside=False), 0.0))
    assert below - above == pytest.approx(0.1, abs=0.005)


def test_light_that_no_straight_edge_explains_is_said_to_be_uneven():
    """Only the card at the right is dimmed, in a bump."""
    strip = drawn(noise=0.002)
    light = np.zeros_like(strip.light)
    light[300:700, 1] = -0.12
    assert field_of(replace(strip, light=light), RULE).uneven
    assert not field_of(strip, RULE).uneven


def test_a_wide_sheet_is_taken_as_uneven():
    """In its middle nobody knows the light."""
    assert field(width=60).uneven


def test_the_grain_of_the_print_does_not_reach_the_paper():
    """The tint beside is printed in dots: noise of a twentieth must not be painted across the strip."""
    strip = drawn(noise=0.002)
    grain = np.random.default_rng(3).normal(0, 0.02, strip.light.shape).astype(np.float32)
    seen = field_of(replace(strip, light=grain), RULE)
    assert seen.absorbance.mean(axis=(1, 2)).std() < 0.004
    assert seen.absorbance.mean(axis=(1, 2)).std() < np.std(grain) / 4


def test_where_the_light_steps_the_paper_of_a_wide_sheet_keeps_it():
    """Across a wide sheet only slow changes are taken from the card: its edges lie too far off."""
    seen = field(width=60, noise=0.002, light=shaded(75, 0.1))
    below, above = (side for side in _sides(seen, 0.0))
    assert below.mean() - above.mean() < 0.06
    step = seen.absorbance.mean(axis=(1, 2))
    near = [step[np.argmin(np.abs(seen.s_mm - s))] for s in (73, 77)]
    assert near[0] - near[1] > 0.05


def test_the_misfit_of_each_shift_is_the_variance_of_what_is_left():
    left, right = np.random.default_rng(3).normal(1.0, 0.1, (2, 40))
    found = _misfits(left, right, 15)
    for shift in range(-15, 16):
        low, high = max(shift, 0), 40 + min(shift, 0)
        assert found[shift + 15] == pytest.approx(np.var(left[low - shift : high - shift] - right[low:high]))
