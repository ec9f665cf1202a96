"""From places to distances and Rf: examples computed by hand, beside each."""

from __future__ import annotations

from dataclasses import replace

import colour
import numpy as np
import pytest

from tests.measure.drawn import drawn, from_above, level_line
from webcapture.measure.flatness import Rise
from webcapture.measure.lanes import Track
from webcapture.measure.ratios import hrf, rf, rounded
from webcapture.measure.relate import Placement, lane_of
from webcapture.measure.spots import Blob
from webcapture.settings import DEFAULTS

STRIP = drawn(noise=0.01)
FLAT = Rise(
    np.zeros(4),
    np.zeros((4, 4)),
    np.zeros(4),
    150.0,
    np.array([40.0, 250.0]),
    np.array([0.0, -1.0]),
    (105.0, 148.0, 400.0),
)
EXACT = replace(from_above(), residual_mm=0.0, bend_mm=0.0)
PROFILE = (np.arange(3.0), np.zeros((3, 3)))
TRACK = Track(10.0, 0.8, 19.2)


def blob(centre, width=6.0, t=10.0, signal_to_noise=80.0, u=0.05, densest=None, **more):
    """A spot as found, with edges half its width off."""
    plain = Blob(
        centre_mm=centre,
        t_mm=t,
        densest_mm=centre if densest is None else densest,
        edges_mm=(centre - width / 2, centre + width / 2),
        width_mm=width,
        spread_t_mm=(t - 3, t + 3),
        fill=0.3,
        absorbance=np.array([0.05, 0.4, 0.3]),
        tailing=1.0,
        signal_to_noise=signal_to_noise,
        u_centre_mm=u,
        codes=(),
    )
    return replace(plain, **more)


def lane(*blobs, origin=20.0, front=120.0, o_slope=0.0, f_slope=0.0, rise=FLAT, view=EXACT, u=0.02, track=TRACK):
    low = None if origin is None else level_line(origin, slope=o_slope, u_mm=u)
    high = None if front is None else level_line(front, slope=f_slope, u_mm=u)
    return lane_of(1, track, list(blobs), low, high, PROFILE, Placement(STRIP, view, rise), DEFAULTS)


def codes(spot):
    return {flag.code for flag in spot.flags}


@pytest.mark.parametrize(
    ("origin", "front", "centre", "printed", "source"),
    [
        (0.001, 55, 33.0004, "0.60", "33 of 55, tutoring page (C)"),
        (10, 70, 64, "0.90", "54 mm of 60 mm, Cambridge IGCSE mark scheme (A)"),
        (10, 67, 40, "0.53", "30 mm of 57 mm, IB Chemistry May 2010, Paper 3 TZ2, A3 (A)"),
        (10, 90, 73, "0.79", "(73 − 10) / (90 − 10): measured from the line, not the paper's edge; computed by hand"),
    ],
)
def test_rf(origin, front, centre, printed, source):
    found = lane(blob(centre), origin=origin, front=front)
    assert rounded(found.spots[0].rf) == printed, source
    assert found.spots[0].rf == pytest.approx(rf(centre - origin, front - origin)), "IUPAC Gold Book R05353"


def test_rf_hrf_and_distances_by_hand():
    """Origin 20, front 120, centre 57, densest 55, base 53 to 61: 37 mm of 100 mm."""
    found = lane(blob(57.0, width=8.0, densest=55.0))
    (spot,) = found.spots
    assert found.run_mm == pytest.approx(100)
    assert (spot.distance_mm, spot.densest_distance_mm) == pytest.approx((37, 35))
    assert spot.edges_mm == pytest.approx((33, 41))
    assert spot.rf == pytest.approx(0.37)
    assert hrf(spot.rf) == pytest.approx(37)


def test_places_on_the_card_by_hand():
    """The strip starts at (40, 250) and runs up the page: s = 57, t = 12 is at (52, 193)."""
    found = lane(blob(57.0, t=12.0))
    assert found.spots[0].position_mm == pytest.approx((52, 193))
    assert found.origin_mm == pytest.approx((52, 230))
    assert found.front_mm == pytest.approx((52, 130))


def test_slanted_lines_count_where_the_lane_meets_them():
    """At t = 12: origin 20 + 0.05 · 12 = 20.6, front 120 − 0.1 · 12 = 118.8; (60 − 20.6) / 98.2 = 0.40122."""
    found = lane(blob(60.0, t=12.0), o_slope=0.05, f_slope=-0.1)
    assert found.run_mm == pytest.approx(98.2)
    assert found.spots[0].rf == pytest.approx(0.40122, abs=1e-5)


def test_the_axis_lies_where_the_clear_spots_lie():
    """Signal to noise 90 at t = 9 and 10 at t = 13: the axis is at 9.4, and meets a front 120 + 0.1 t at 120.94."""
    found = lane(
        blob(50.0, t=9.0, signal_to_noise=90.0), blob(80.0, t=13.0, signal_to_noise=10.0), origin=20.0, f_slope=0.1
    )
    assert found.run_mm == pytest.approx(100.94)


def test_without_spots_the_lane_has_its_ends_and_says_so():
    found = lane(track=Track(7.0, 0.8, 19.2))
    assert found.spots == ()
    assert [flag.code for flag in found.flags] == ["no-spots"]
    assert found.origin_mm == pytest.approx((47, 230))
    assert found.run_mm == pytest.approx(100)


@pytest.mark.parametrize(("origin", "front"), [(20.0, None), (None, 120.0), (None, None)])
def test_without_both_ends_no_ratio_is_made_up(origin, front):
    found = lane(blob(57.0), origin=origin, front=front)
    (spot,) = found.spots
    assert (spot.rf, spot.u_rf, spot.U_rf, spot.budget, found.run_mm) == (None, None, None, (), None)
    assert (found.origin_mm is None, found.front_mm is None) == (origin is None, front is None)


def test_a_front_below_the_origin_gives_no_ratio():
    assert lane(blob(57.0), origin=100.0, front=40.0).spots[0].rf is None


def test_resolution_by_hand():
    """2 · (70 − 58) / (6 + 10) = 1.5 (IUPAC Gold Book R05317, from memory); the uppermost has none above it."""
    low, high = lane(blob(58.0, width=6.0), blob(70.0, width=10.0)).spots
    assert low.resolution == pytest.approx(1.5)
    assert high.resolution is None
    assert (low.spot, high.spot) == (1, 2)


def test_the_uncertainty_by_hand():
    """Rf 0.4, run 100: √(0.05² + (0.6 · 0.03)² + (0.4 · 0.03)²) / 100 = 0.00054479 (JCGM 100:2008, 5.1.2); k = 2."""
    (spot,) = lane(blob(60.0, u=0.05), u=0.03).spots
    assert spot.u_rf == pytest.approx(0.00054479, abs=1e-8)
    assert spot.U_rf == pytest.approx(2 * spot.u_rf)
    assert {part.name for part in spot.budget} == {"centre", "origin", "front"}


def test_residuals_and_bends_of_the_card_are_counted():
    """√(1 + 0.4² + 0.6²) / 100 · √(0.03² + 0.04²) = 0.00061644, and nothing else."""
    view = replace(EXACT, residual_mm=0.03, bend_mm=0.04)
    (spot,) = lane(blob(60.0, u=0.0), u=0.0, view=view).spots
    assert [part.name for part in spot.budget] == ["rectification"]
    assert spot.u_rf == pytest.approx(0.00061644, abs=1e-8)


def test_a_front_that_was_seen_elsewhere_is_less_certain_here():
    """It is followed beyond the places at which it was seen."""
    seen = level_line(120)
    short = replace(seen, t_mm=seen.t_mm[:4], s_mm=seen.s_mm[:4])
    placed = Placement(STRIP, EXACT, FLAT)
    u = [
        lane_of(1, TRACK, [blob(100.0, t=17.0)], level_line(20), line, PROFILE, placed, DEFAULTS).spots[0].u_rf
        for line in (seen, short)
    ]
    assert u[1] > 1.5 * u[0]


def test_what_stands_off_the_card_is_put_back():
    """An arch of 2 mm seen from 400 mm above (105, 148): at s = 75, z = 2 and lean (75 − 102) / 400, −0.135 mm.

    At 20: z = 4 · 2 · (2/15)(13/15) = 0.92444, lean −82/400, −0.18951; at 120: z = 1.28, lean 18/400, +0.0576.
    """
    rise = replace(FLAT, heights_mm=np.array([2.0, 0, 0, 0]))
    found = lane(blob(75.0), rise=rise)
    assert found.run_mm == pytest.approx(100 - 0.0576 - 0.18951, abs=1e-4)
    assert found.spots[0].distance_mm == pytest.approx(55 + 0.135 - 0.18951, abs=1e-4)


@pytest.mark.parametrize(
    ("centre", "expected"), [(20.5, {"did-not-move"}), (70.0, set()), (118.0, {"near-front"}), (21.7, set())]
)
def test_places_that_are_flagged(centre, expected):
    """Within 1.6 mm of the line; beyond Rf 0.95."""
    assert codes(lane(blob(centre)).spots[0]) == expected


def test_flags_of_the_shape_are_kept():
    assert codes(lane(blob(70.0, codes=("tailing", "faint"))).spots[0]) == {"tailing", "faint"}


@pytest.mark.parametrize("absorbance", [(0, 0, 0), (0.30103, 0.30103, 0.30103), (0.05, 0.4, 0.3), (1.0, 2.0, 3.0)])
def test_colours_as_colour_science_has_them(absorbance):
    """IEC 61966-2-1 by colour-science, from the light that is left: half of it is #bcbcbc (188 of 255)."""
    (spot,) = lane(blob(60.0, absorbance=np.array(absorbance, float))).spots
    encoded = colour.cctf_encoding(10.0 ** -np.array(absorbance, float), function="sRGB")
    assert [int(spot.colour[n : n + 2], 16) for n in (1, 3, 5)] == pytest.approx(255 * encoded, abs=0.51)
    assert spot.colour == "#bcbcbc" or absorbance[0] != pytest.approx(0.30103)
