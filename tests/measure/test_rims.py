"""A spot with a darker rim is one spot, in its middle; two spots are two."""

from __future__ import annotations

import numpy as np
import pytest

from tests.measure.drawn import BLUE, GREEN, RED, celled, from_above, gauss, pencil, spot
from webcapture.measure.strip import measure_strip
from webcapture.settings import DEFAULTS


def rimmed(s0, t0, radius, colour, rim=0.35, soft=0.45):
    """A disc of even colour with a rim darker by the share ``rim``, its edges as soft as blur makes them."""

    def draw(s, t):
        away = np.hypot(s - s0, t - t0)
        disc = 1 / (1 + np.exp((away - radius) / (soft / 2)))
        return (disc * (1 + rim * gauss(away, radius - 0.8, 0.6)))[..., None] * np.array(colour)

    return draw


def spots_of(*things, seed=1, noise=0.003):
    strip = measure_strip(celled(pencil(20), pencil(120), *things, noise=noise, seed=seed), from_above(), DEFAULTS)
    return strip.lanes[0].spots


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("colour", [RED, BLUE, GREEN])
@pytest.mark.parametrize(("radius", "rim"), [(3.5, 0.35), (4.5, 0.35), (4.5, 0.7), (4.5, 1.0), (6.0, 0.5)])
def test_a_rim_is_no_pair(radius, rim, colour, seed):
    (one,) = spots_of(rimmed(70, 10, radius, colour, rim), seed=seed)
    assert "merged" not in [flag.code for flag in one.flags]
    assert abs(one.rf - 0.5) <= one.U_rf
    assert one.rf == pytest.approx(0.5, abs=0.003)


@pytest.mark.parametrize(("sd", "gap"), [(1.2, 4.0), (1.6, 5.2), (2.0, 7.0)])
def test_two_spots_of_one_dye_and_height_stay_two(sd, gap):
    found = spots_of(spot(70, 10, sd, RED), spot(70 + gap, 10, sd, RED))
    assert [one.distance_mm for one in found] == pytest.approx([50, 50 + gap], abs=0.2)


@pytest.mark.parametrize("gap", [4.2, 5.0])
def test_two_wide_spots_close_to_each_other_stay_two_where_they_dip(gap):
    """Ovals 8 mm broad, nearer to each other than that: bare paper shows between them."""
    found = spots_of(spot(70, 10, 1.0, RED, 2.0), spot(70 + gap, 10, 1.0, RED, 2.0))
    assert [one.distance_mm for one in found] == pytest.approx([50, 50 + gap], abs=0.2)


def test_a_second_colour_makes_it_two():
    found = spots_of(spot(70, 10, 1.6, (0.4, 0.2, 0.03), 2.2), spot(74.5, 10, 1.6, (0.4, 0.1, 0.2), 2.2))
    assert len(found) == 2
