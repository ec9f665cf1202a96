"""No front seen means no Rf, never a guess: shadows, grain and half-way stains are no fronts."""

from __future__ import annotations

import numpy as np
import pytest

from tests.measure.drawn import BLUE, RED, cross, drawn, from_above, pencil, shaded, spot, stain
from webcapture.measure.field import field_of
from webcapture.measure.landmarks import wet_edges
from webcapture.measure.stains import stains
from webcapture.measure.strip import measure_strip
from webcapture.settings import DEFAULTS


def measured(*things, **how):
    return measure_strip(drawn(*things, **how), from_above(), DEFAULTS)


def field(*things, **how):
    return field_of(drawn(*things, **how), DEFAULTS.profile)


@pytest.mark.parametrize("slope", [0.0, 0.1])
@pytest.mark.parametrize("seed", range(4))
def test_a_shadows_edge_on_a_wide_sheet(seed, slope):
    """The card beside shows the step too, however wide the sheet is."""
    marks = pencil(20), cross(20, 15), cross(20, 45)
    colours = spot(60, 15, 1.6, RED), spot(75, 45, 1.6, BLUE)
    sheet = measured(*marks, *colours, width=60, light=shaded(100, 0.1, slope), seed=seed)
    assert sheet.front is None
    assert "front-missing" in [flag.code for flag in sheet.flags]


def test_the_grain_of_the_paper():
    """Of 200 strips without a front, of which half carry a spot, none has one."""
    origin = pencil(20), cross(20, 10)
    seeds = range(100)
    bare = [measured(*origin, noise=0.002 * (1 + seed % 4), seed=seed).front for seed in seeds]
    spotted = [measured(*origin, spot(60, 10, 1.6, RED), noise=0.002 * (1 + seed % 4), seed=seed) for seed in seeds]
    assert [front for front in bare if front] == []
    assert [strip.front for strip in spotted if strip.front] == []


@pytest.mark.parametrize("reach_mm", [5, 7, 10])
def test_a_stain_over_a_part_of_the_width(reach_mm):
    """A solvent's own line runs right across; a drop's rim does not."""

    def part(s, t):
        return stain(120)(s, t) * (t < reach_mm)[..., None]

    for seed in range(10):
        assert stains(field(part, seed=seed), DEFAULTS.trace, DEFAULTS.landmark) == []
        assert len(stains(field(stain(120), seed=seed), DEFAULTS.trace, DEFAULTS.landmark)) == 1


def test_an_even_gradient_is_taken_off_as_it_is():
    """It has no edge that could slant: nothing is left of it, not even at the ends."""

    def gradient(s, t):
        return -0.15 * s / 150 - 0.03 * t / 20

    for seed in range(5):
        seen = field(noise=0.002, light=gradient, seed=seed)
        rows = np.stack([part.mean() for part in np.array_split(seen.absorbance.mean(axis=(1, 2)), 15)])
        assert np.ptp(rows) < 0.001
        assert wet_edges(seen, DEFAULTS.trace, DEFAULTS.landmark) == []
