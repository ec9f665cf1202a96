"""Spots that a line crosses: what lies under it, and beyond it, must not move their centres."""

from __future__ import annotations

import numpy as np
import pytest

from tests.measure.drawn import BLUE, RED, drawn, from_above, pencil, spot
from webcapture.measure.bridged import bridged
from webcapture.measure.strip import measure_strip
from webcapture.settings import DEFAULTS

ORIGIN, FRONT = 20.0, 110.0
SEEDS = range(6)


def nearest(place, colour, sd, seed):
    """The spot drawn at ``place`` as it is measured, between another two."""
    things = (
        pencil(ORIGIN),
        pencil(FRONT),
        spot(50, 10, 1.6, RED),
        spot(75, 10, 1.6, BLUE),
        spot(place, 10, sd, colour),
    )
    strip = measure_strip(drawn(*things, seed=seed), from_above(), DEFAULTS)
    found = [one for lane in strip.lanes for one in lane.spots]
    return min(found, key=lambda one: abs(one.distance_mm - (place - ORIGIN)))


@pytest.mark.parametrize("sd", [1.2, 1.6])
@pytest.mark.parametrize("colour", [RED, BLUE])
@pytest.mark.parametrize("distance", [2.0, 2.5, 3.0, 4.0])
def test_the_origin_line_does_not_draw_a_spot_beside_it(distance, colour, sd):
    found = [nearest(ORIGIN + distance, colour, sd, seed) for seed in SEEDS]
    off = np.array([one.distance_mm - distance for one in found])
    assert abs(np.median(off)) < 0.11
    assert sum(abs(off) / 90 <= [one.U_rf for one in found]) >= len(SEEDS) - 1


@pytest.mark.parametrize("colour", [RED, BLUE])
@pytest.mark.parametrize("short", [0.0, 0.5, 1.5, 3.0])
def test_a_spot_that_ran_with_the_front_is_measured_to_its_own_end(short, colour):
    found = [nearest(FRONT - short, colour, 1.4, seed) for seed in SEEDS]
    off = np.array([one.distance_mm - (FRONT - short - ORIGIN) for one in found])
    assert abs(np.median(off)) < 0.11
    assert sum(abs(off) / 90 <= [one.U_rf for one in found]) >= len(SEEDS) - 1


def test_what_a_line_hides_makes_a_centre_less_sure_the_nearer_it_lies():
    u = [nearest(ORIGIN + away, RED, 1.4, 1).u_centre_mm for away in (8.0, 3.0, 2.0)]
    assert u[0] < u[1] < u[2]


def test_a_bridge_follows_a_parabola_as_numpy_fits_it():
    """Against numpy.polynomial: a parabola is found again, whatever lies in the hidden cells."""
    rows, at = np.arange(40.0), np.array([19.3, 19.6, 20.0, 20.2, 20.7])
    hidden = np.abs(rows[:, None] - at) < 2.2
    truth = np.polynomial.Polynomial([0.3, -0.02, 0.004])(rows[:, None] - np.broadcast_to(at, hidden.shape))
    spoilt = np.where(hidden, 0.4, truth)[None]
    fitted = np.polynomial.Polynomial.fit((rows[:, None] - at)[~hidden], truth[~hidden], 2)
    found = bridged(spoilt, hidden, ~hidden, at, 4.0)
    assert found[0][hidden] == pytest.approx(fitted((rows[:, None] - at)[hidden]), abs=0.01)
    assert np.array_equal(found[:, ~hidden], spoilt[:, ~hidden])


def test_a_bridge_with_paper_on_one_side_alone_does_not_fly_off():
    rows = np.arange(40.0)
    hidden = np.zeros((40, 5), bool)
    hidden[18:24] = True
    planes = np.where(rows[:, None] >= 18, 0.1, 0.1 + 0.02 * np.sin(rows)[:, None]) + 0 * hidden
    known = np.broadcast_to(rows[:, None] < 18, hidden.shape)
    assert np.abs(bridged(planes[None], hidden, known, np.full(5, 20.0), 4.0) - 0.1).max() < 0.1
