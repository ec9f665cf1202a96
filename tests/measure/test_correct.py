"""Corrections by hand: numbers worked out beside each check, the GUM's formula by the package ``uncertainties``.

Photographed strips come from the drawing program; made-up ones from :mod:`tests.report.factory`, whose numbers are invented.
"""

from __future__ import annotations

import math
from dataclasses import fields, replace
from itertools import compress

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.polynomial.polynomial import polyval
from uncertainties import ufloat

from tests.report.factory import SpotSpec, StripSpec, make_result, sheet_of_lanes
from webcapture import measure_photo
from webcapture.errors import UsageError
from webcapture.flags import flags
from webcapture.measure.correct import CENTRE, DENSEST, KINDS, Change, corrected
from webcapture.measure.frame import strip_frame
from webcapture.measure.relate import without_ratios
from webcapture.settings import DEFAULTS
from webcapture.synthetic import render
from webcapture.synthetic.adverse import no_front, no_origin, upside_down
from webcapture.synthetic.scenes import typical

HAND = DEFAULTS.hand
SCENES = {"sheet": typical(501), "turned": upside_down(4), "no front": no_front(1), "no origin": no_origin(1)}


@pytest.fixture(scope="module")
def measured():
    """Name to (the card's residual, the one strip), from pictures."""
    results = {name: measure_photo(render(scene).data) for name, scene in SCENES.items()}
    assert {name: len(result.strips) for name, result in results.items()} == dict.fromkeys(SCENES, 1)
    return {name: (result.card.residual_mm, result.strips[0]) for name, result in results.items()}


def simple(**changes):
    """A made-up strip: origin at 22 mm, front at 112 mm, spots at 22 + 90 Rf with Rf 0.25, 0.6 and 0.82."""
    return make_result(StripSpec(**changes)).strips[0]


def wide():
    """A made-up sheet of five lanes with a front that rises by 0.012 mm a millimetre."""
    return make_result(sheet_of_lanes()).strips[0]


def change(kind, lane=1, bay=1, **more):
    return Change(kind, bay, lane, **more)


def after(strip, *changes, **more):
    return corrected(strip, changes, DEFAULTS, **more).strip


def codes(thing):
    return {flag.code for flag in thing.flags}


def place(strip, spot):
    return strip_frame(strip).on_strip(spot.position_mm)[0]


def ends(strip, lane):
    """(s of origin, s of front) of a lane."""
    frame = strip_frame(strip)
    return frame.on_strip(lane.origin_mm)[0], frame.on_strip(lane.front_mm)[0]


def inputs(spot):
    return {part.name: part.u_mm for part in spot.budget}


def by_hand(spot):
    return {part.name for part in spot.budget if part.reason.startswith("Placed by hand")}


def gum(spot, s, o, f):
    """Rf with its standard uncertainty by an outside program, from the budget's inputs alone.

    The rectification's error is independent at the three places, the flatness shifts the spot alone (JCGM 100:2008, 5.1.2).
    """
    u = inputs(spot)
    local = [uncertain(0, u.get("rectification")) for _ in range(3)]
    origin, front = uncertain(o, u["origin"]) + local[1], uncertain(f, u["front"]) + local[2]
    return (uncertain(s, u["centre"]) + uncertain(0, u.get("flatness")) + local[0] - origin) / (front - origin)


def uncertain(value, u):
    """Without an uncertainty it is a plain number."""
    return ufloat(value, u) if u else value


def same(one, other):
    """Whether two values, records or arrays, agree within a millionth."""
    if isinstance(one, float) and isinstance(other, float):
        return (math.isnan(one) and math.isnan(other)) or abs(one - other) < 1e-6
    if isinstance(one, np.ndarray):
        return one.shape == other.shape and bool(np.allclose(one, other, rtol=0, atol=1e-6))
    if isinstance(one, tuple):
        return len(one) == len(other) and all(same(a, b) for a, b in zip(one, other, strict=True))
    if hasattr(one, "__dataclass_fields__"):
        return type(one) is type(other) and all(same(getattr(one, f.name), getattr(other, f.name)) for f in fields(one))
    return one == other


# ---- nothing changed


@pytest.mark.parametrize("name", SCENES)
def test_without_changes_everything_is_as_measured(measured, name):
    residual, strip = measured[name]
    assert sum(len(lane.spots) for lane in strip.lanes) > 0
    assert same(after(strip, residual_mm=residual), strip)


def test_the_comparison_would_see_a_difference(measured):
    strip = measured["sheet"][1]
    first = replace(strip.lanes[0].spots[0], u_rf=strip.lanes[0].spots[0].u_rf + 2e-6)
    lane = replace(strip.lanes[0], spots=(first, *strip.lanes[0].spots[1:]))
    assert not same(replace(strip, lanes=(lane, *strip.lanes[1:])), strip)


def test_the_turned_strip_is_one():
    strip = simple(upright=False)
    assert not strip.upright
    assert strip_frame(strip).along[1] > 0.99  # its origin end is at the top of the page, y runs down


def test_changes_of_other_bays_are_passed_over():
    strip = simple()
    found = corrected(strip, [change("front", s_mm=130.0, bay=2)], DEFAULTS)
    assert same(found.strip, after(strip))
    assert found.idle == ()


# ---- lines


def test_rf_of_a_moved_front_checked_by_hand():
    """22 mm, 76 mm and 122 mm: (76 − 22) / (122 − 22) = 0.54."""
    lane = after(simple(), change("front", s_mm=122.0)).lanes[0]
    assert lane.run_mm == pytest.approx(100)
    assert lane.spots[1].rf == pytest.approx(0.54)
    assert [spot.distance_mm for spot in lane.spots] == pytest.approx([22.5, 54, 73.8])


def test_rf_of_a_moved_origin_checked_by_hand():
    """Origin from 22 to 32 mm: (76 − 32) / (112 − 32) = 0.55; the spot's edges stay where they are on the paper."""
    strip = simple()
    lane = after(strip, change("origin", s_mm=32.0)).lanes[0]
    assert lane.spots[1].rf == pytest.approx(0.55)
    assert lane.spots[1].distance_mm == pytest.approx(44)
    assert np.subtract(strip.lanes[0].spots[1].edges_mm, lane.spots[1].edges_mm) == pytest.approx([10, 10])


@pytest.mark.parametrize("name", ["sheet", "turned"])
@pytest.mark.parametrize("kind", ["origin", "front"])
def test_a_line_moves_in_all_lanes(measured, name, kind):
    strip = measured[name][1]
    index = ("origin", "front").index(kind)
    target = ends(strip, strip.lanes[-1])[index] + 3.0
    new = after(strip, change(kind, lane=len(strip.lanes), s_mm=target))
    for old, lane in zip(strip.lanes, new.lanes, strict=True):
        assert ends(new, lane)[index] - ends(strip, old)[index] == pytest.approx(3.0, abs=1e-6)
        assert ends(new, lane)[1 - index] == pytest.approx(ends(strip, old)[1 - index], abs=0.02)
        assert "by-hand" in codes(lane)
        for spot, before in zip(lane.spots, old.spots, strict=True):
            assert spot.position_mm == before.position_mm
            distance = before.distance_mm - (3.0 if kind == "origin" else 0.0)
            assert spot.rf == pytest.approx(distance / (old.run_mm + (3.0 if kind == "front" else -3.0)))
            assert by_hand(spot) == {kind}
            assert inputs(spot)[kind] == HAND.u_line_mm
            assert spot.U_rf == pytest.approx(2 * spot.u_rf)


@pytest.mark.parametrize("name", ["sheet", "turned"])
def test_the_drawn_line_moves_along(measured, name):
    strip = measured[name][1]
    new = after(strip, change("front", s_mm=ends(strip, strip.lanes[0])[1] - 2.0))
    assert new.front.kind == strip.front.kind
    assert new.front.u_mm == HAND.u_line_mm
    t = np.linspace(2, 15, 5)
    moved = polyval(t, new.front.coefficients) - polyval(t, strip.front.coefficients)
    assert moved == pytest.approx(np.full(5, -2.0), abs=1e-4)
    assert new.front.s_mm == pytest.approx(strip.front.s_mm - 2.0, abs=1e-4)
    assert new.origin is strip.origin


def test_a_line_moves_in_one_lane_only():
    strip = wide()
    new = after(strip, change("front", lane=2, s_mm=120.0, only=True))
    assert [codes(lane) for lane in new.lanes] == [{"by-hand"} if lane.lane == 2 else set() for lane in new.lanes]
    assert [lane.run_mm for lane in new.lanes if lane.lane != 2] == [x.run_mm for x in strip.lanes if x.lane != 2]
    assert new.lanes[1].run_mm == pytest.approx(98)
    assert new.front.kind == "by-hand"


def test_a_line_between_two_lanes_goes_through_both():
    strip = make_result(sheet_of_lanes(2)).strips[0]
    new = after(strip, change("front", lane=2, s_mm=125.0, only=True))
    frame = strip_frame(strip)
    for lane in new.lanes:
        s, t = frame.on_strip(lane.front_mm)
        assert polyval(t, new.front.coefficients) == pytest.approx(s)
    # 125 − 112.4 mm over half of 140 mm is a slant that nobody should overlook; before, it was 0.012 · 140 = 1.7 mm.
    assert "front-slanted" in codes(new)


def test_a_slant_that_was_put_right_is_told_no_more():
    strip = simple(slant=0.2, flags=("front-slanted",), lanes=((SpotSpec(0.3),), (SpotSpec(0.4),)))
    assert "front-slanted" in codes(after(strip))
    level = [change("front", lane=n, s_mm=115.0, only=True) for n in (1, 2)]
    assert codes(after(strip, *level)) == set()


def test_lines_placed_twice_stand_where_they_were_placed_last():
    new = after(simple(), change("front", s_mm=130.0), change("front", s_mm=122.0))
    assert new.lanes[0].run_mm == pytest.approx(100)


@pytest.mark.parametrize("name", ["no front", "no origin"])
def test_a_missing_line_placed_by_hand_gives_rf_and_its_uncertainty(measured, name):
    residual, strip = measured[name]
    kind = name.split()[1]
    assert f"{kind}-missing" in codes(strip)
    assert {spot.rf for spot in strip.lanes[0].spots} == {None}
    places_ = [place(strip, spot) for spot in strip.lanes[0].spots]
    target = max(places_) + 20.0 if kind == "front" else min(places_) - 5.0
    new = after(strip, change(kind, s_mm=target), residual_mm=residual)
    assert f"{kind}-missing" not in codes(new)
    assert getattr(new, kind).kind == "by-hand"
    lane = new.lanes[0]
    origin, front = ends(new, lane)
    for spot, s in zip(lane.spots, places_, strict=True):
        assert spot.rf == pytest.approx((s - origin) / (front - origin), abs=2e-4)
        expected = gum(spot, s, origin, front)
        assert spot.u_rf == pytest.approx(expected.std_dev, rel=2e-3)
        other = "origin" if kind == "front" else "front"
        assert inputs(spot)[other] == pytest.approx(getattr(strip, other).u_mm)
        assert inputs(spot)["rectification"] == pytest.approx(residual)
        assert inputs(spot)[kind] == HAND.u_line_mm
        assert {part.kind for part in spot.budget if part.name == kind} == {"B"}


def test_a_hand_is_less_certain_than_the_measurement(measured):
    strip = measured["sheet"][1]
    front = ends(strip, strip.lanes[0])[1]
    new = after(strip, change("front", s_mm=front))
    for old, spot in zip(strip.lanes[0].spots, new.lanes[0].spots, strict=True):
        assert spot.rf == pytest.approx(old.rf, abs=1e-6)
        assert spot.u_rf > old.u_rf


def test_a_missing_front_placed_in_one_lane_is_still_missing_in_the_others():
    strip = make_result(sheet_of_lanes(3, has_front=False, flags=("front-missing",))).strips[0]
    new = after(strip, change("front", lane=2, s_mm=110.0, only=True))
    assert "front-missing" in codes(new)
    assert [lane.run_mm is None for lane in new.lanes] == [True, False, True]
    assert codes(after(strip, change("front", lane=2, s_mm=110.0))) == set()


@pytest.mark.parametrize(("kind", "s"), [("front", 10.0), ("front", 22.0), ("origin", 112.0), ("origin", 120.0)])
def test_a_front_below_the_origin_is_refused(kind, s):
    with pytest.raises(UsageError, match="above the origin"):
        after(simple(), change(kind, s_mm=s))


def test_a_front_below_the_origin_of_another_lane_is_refused():
    bare = [change("remove", lane=lane, key=str(n)) for lane in range(1, 6) for n in range(1, 5)]
    raised = [*bare, change("origin", lane=5, s_mm=60.0, only=True)]
    strip = after(wide(), *raised)
    assert [len(lane.spots) for lane in strip.lanes] == [0] * 5
    assert ends(strip, strip.lanes[4])[0] == pytest.approx(60)
    with pytest.raises(UsageError, match="above the origin"):
        after(wide(), *raised, change("front", lane=1, s_mm=58.0))


@pytest.mark.parametrize(("kind", "s"), [("front", 90.0), ("origin", 60.0)])
def test_a_line_that_leaves_a_spot_outside_is_refused_until_it_is_removed(kind, s):
    key = "3" if kind == "front" else "1"
    with pytest.raises(UsageError, match="a spot would lie"):
        after(simple(), change(kind, s_mm=s))
    lane = after(simple(), change("remove", key=key), change(kind, s_mm=s)).lanes[0]
    assert len(lane.spots) == 2
    assert all(0 <= spot.rf <= 1 for spot in lane.spots)


@pytest.mark.parametrize("s", [-0.1, 140.5, math.nan, math.inf, None])
@pytest.mark.parametrize("kind", ["origin", "front", "spot", "add"])
def test_places_off_the_strip_are_refused(kind, s):
    key = "new" if kind == "add" else "1"
    with pytest.raises(UsageError, match="not on the strip"):
        after(simple(), change(kind, key=key, s_mm=s))


# ---- spots


def test_a_moved_spot_checked_by_hand():
    """From 76 to 67 mm: (67 − 22) / 90 = 0.5, for the centre and for the densest place alike."""
    strip = simple()
    new = after(strip, change("spot", key="2", s_mm=67.0))
    spot, old = new.lanes[0].spots[1], strip.lanes[0].spots[1]
    assert spot.rf == pytest.approx(0.5)
    assert spot.distance_mm == pytest.approx(45)
    assert place(new, spot) == pytest.approx(67)
    assert spot.edges_mm == pytest.approx((45 - 2.5, 45 + 2.5))
    assert spot.u_centre_mm == inputs(spot)["centre"] == HAND.u_spot_mm
    assert by_hand(spot) == {"centre"}
    assert codes(spot) == {"by-hand"}
    assert codes(new.lanes[0]) == set()
    # 2 (67 − 44.5) / (5 + 5) and 2 (95.8 − 67) / (5 + 5)
    assert [s.resolution for s in new.lanes[0].spots] == pytest.approx([4.5, 5.76, None])
    across = [strip_frame(strip).on_strip(p)[1] for p in (spot.position_mm, old.position_mm)]
    assert across[0] == pytest.approx(across[1])
    densest = after(strip, change("spot", key="2", s_mm=67.0), Change("follow", 1, label=DENSEST))
    assert densest.lanes[0].spots[1].rf == pytest.approx(0.5)


def test_a_hand_makes_no_spot_more_certain():
    """A cloud whose centre is known to 0.9 mm is not known better by being pointed at."""
    strip = simple()
    cloud = replace(strip.lanes[0].spots[1], u_centre_mm=0.9)
    lane = replace(strip.lanes[0], spots=(strip.lanes[0].spots[0], cloud, strip.lanes[0].spots[2]))
    spot = after(replace(strip, lanes=(lane,)), change("spot", key="2", s_mm=67.0)).lanes[0].spots[1]
    assert spot.u_centre_mm == inputs(spot)["centre"] == 0.9
    assert spot.u_rf == pytest.approx(0.9 / 90)


def test_keys_stay_while_numbers_change():
    found = corrected(simple(), [change("spot", key="1", s_mm=85.0)], DEFAULTS)
    assert [spot.spot for spot in found.strip.lanes[0].spots] == [1, 2, 3]
    assert found.keys == {(1, 1): "2", (1, 2): "1", (1, 3): "3"}
    twice = corrected(simple(), [change("spot", key="1", s_mm=85.0), change("spot", key="1", s_mm=50.0)], DEFAULTS)
    assert twice.keys == {(1, 1): "1", (1, 2): "2", (1, 3): "3"}


def test_a_removed_spot():
    new = corrected(simple(), [change("remove", key="2")], DEFAULTS)
    assert new.keys == {(1, 1): "1", (1, 2): "3"}
    # 2 (95.8 − 44.5) / (5 + 5)
    assert new.strip.lanes[0].spots[0].resolution == pytest.approx(10.26)
    nothing = after(simple(), *[change("remove", key=key) for key in "123"])
    assert nothing.lanes[0].spots == ()
    assert codes(nothing.lanes[0]) == {"no-spots"}


def test_an_added_spot_checked_by_hand():
    """At 58 mm: (58 − 22) / 90 = 0.4. On bare paper it gets the usual width."""
    new = corrected(simple(), [change("add", key="mine", s_mm=58.0)], DEFAULTS)
    spot = new.strip.lanes[0].spots[1]
    assert new.keys[1, 2] == "mine"
    assert spot.rf == pytest.approx(0.4)
    assert place(new.strip, spot) == pytest.approx(58)
    assert spot.width_mm == HAND.width_mm
    assert spot.edges_mm == pytest.approx((36 - HAND.width_mm / 2, 36 + HAND.width_mm / 2))
    assert codes(spot) == {"by-hand"}
    assert spot.colour == "#ffffff"


def test_an_added_spot_takes_colour_and_width_from_the_profile():
    """A Gaussian of 1 mm: four of its standard deviations are its width. Absorbance 0.3 lets 10^-0.3 = 0.501 through."""
    strip = simple(lanes=((),), lane_flags={1: ("no-spots",)})
    s = np.arange(0, 140, 0.2)
    profile = np.exp(-((s - 60) ** 2) / 2)[:, None] * [0.0, 0.3, 0.0]
    strip = replace(strip, lanes=(replace(strip.lanes[0], profile_s_mm=s, profile=profile),))
    lane = after(strip, change("add", key="a", s_mm=60.0)).lanes[0]
    assert codes(lane) == set()
    assert lane.spots[0].width_mm == pytest.approx(4.0, rel=0.01)
    assert lane.spots[0].absorbance == pytest.approx((0, 0.3, 0), abs=1e-3)
    assert lane.spots[0].colour == "#ffbcff"  # sRGB of 0.501: 1.055 · 0.501^(1/2.4) − 0.055 = 0.736 → 188 = 0xbc


def test_an_added_spot_beside_measured_ones_has_their_budget(measured):
    strip = measured["sheet"][1]
    lane = strip.lanes[0]
    s = (place(strip, lane.spots[0]) + place(strip, lane.spots[1])) / 2
    new = after(strip, change("add", key="a", s_mm=s))
    spot = new.lanes[0].spots[1]
    assert inputs(spot)["centre"] == HAND.u_spot_mm
    for name in ("origin", "front", "rectification"):
        assert inputs(spot)[name] == inputs(lane.spots[0])[name]
    assert inputs(spot)["flatness"] in [inputs(old)["flatness"] for old in lane.spots]
    assert spot.u_rf == pytest.approx(gum(spot, s, *ends(new, new.lanes[0])).std_dev, rel=1e-6)


@pytest.mark.parametrize("key", [None, "", "2", "mine"])
def test_an_added_spot_needs_a_key_of_its_own(key):
    """A removed spot's key is not free either: it comes back when the removal is undone."""
    before = [change("add", key="mine", s_mm=50.0), change("remove", key="2")]
    with pytest.raises(UsageError, match="key of its own"):
        after(simple(), *before, change("add", key=key, s_mm=60.0))


@pytest.mark.parametrize("s", [15.0, 118.0])
@pytest.mark.parametrize("kind", ["spot", "add"])
def test_no_spot_is_placed_below_the_origin_or_beyond_the_front(kind, s):
    with pytest.raises(UsageError, match="below the origin line or beyond the front"):
        after(simple(), change(kind, key="1" if kind == "spot" else "new", s_mm=s))


def test_a_spot_on_the_line_and_one_at_the_front():
    lane = after(simple(), change("spot", key="1", s_mm=21.5), change("spot", key="3", s_mm=112.5)).lanes[0]
    assert lane.spots[0].rf == 0  # a hair below the line is on it
    assert codes(lane.spots[0]) == {"by-hand", "did-not-move"}
    assert codes(lane.spots[2]) == {"by-hand", "near-front"}


def test_doubts_that_a_move_resolves_are_told_no_more():
    strip = simple(lanes=((SpotSpec(0.0, flags=("did-not-move", "tailing")),),))
    assert codes(after(strip).lanes[0].spots[0]) == {"did-not-move", "tailing"}
    assert codes(after(strip, change("spot", key="1", s_mm=60.0)).lanes[0].spots[0]) == {"tailing", "by-hand"}


@pytest.mark.parametrize("kind", ["spot", "remove"])
@pytest.mark.parametrize("key", ["9", "", None])
def test_a_spot_that_is_not_there_is_told(kind, key):
    with pytest.raises(UsageError, match="not there"):
        after(simple(), change(kind, key=key, s_mm=60.0))


@pytest.mark.parametrize("kind", ["origin", "front", "spot", "add", "remove", "name"])
@pytest.mark.parametrize("lane", [None, 0, 2])
def test_a_lane_that_is_not_there_is_told(kind, lane):
    with pytest.raises(UsageError, match="no lane"):
        after(simple(), change(kind, lane=lane, key="1", s_mm=60.0, label="x"))


def test_another_kind_is_refused():
    assert set(KINDS) == {"origin", "front", "spot", "add", "remove", "name", "follow", "turn", "keep"}
    with pytest.raises(UsageError, match="no kind"):
        after(simple(), change("erase", key="1"))


# ---- names, and what Rf follows


def test_names():
    found = corrected(
        wide(), [change("name", lane=2, label="Leaf 3"), change("name", lane=2, label="Leaf 4")], DEFAULTS
    )
    assert found.labels == {2: "Leaf 4"}
    assert same(found.strip, after(wide()))


def test_rf_follows_the_densest_place():
    """The made-up spots are densest 0.2 mm above their centre: (54 + 0.2) / 90."""
    found = corrected(simple(), [Change("follow", 1, label=DENSEST)], DEFAULTS)
    assert found.follows == DENSEST
    assert found.strip.lanes[0].spots[1].rf == pytest.approx(54.2 / 90)
    assert found.strip.lanes[0].spots[1].distance_mm == pytest.approx(54)
    back = corrected(simple(), [Change("follow", 1, label=DENSEST), Change("follow", 1, label=CENTRE)], DEFAULTS)
    assert (back.follows, back.strip.lanes[0].spots[1].rf) == (CENTRE, pytest.approx(0.6))


def test_rf_follows_nothing_else():
    with pytest.raises(UsageError, match="densest"):
        after(simple(), Change("follow", 1, label="top"))


# ---- strips lying upside down


def test_a_strip_upside_down_gives_the_same_numbers():
    changes = [
        change("front", s_mm=120.0), change("origin", s_mm=20.0), change("add", key="a", s_mm=60.0),
        change("spot", key="1", s_mm=40.0), change("remove", key="2"),
    ]  # fmt: skip
    one, other = after(simple(), *changes), after(simple(upright=False, turn_deg=-4.0), *changes)
    for up, down in zip(one.lanes[0].spots, other.lanes[0].spots, strict=True):
        assert down.rf == pytest.approx(up.rf)
        assert down.U_rf == pytest.approx(up.U_rf)
        assert place(other, down) == pytest.approx(place(one, up))
    assert other.lanes[0].spots[0].position_mm[1] < other.lanes[0].spots[-1].position_mm[1]
    assert one.lanes[0].spots[0].position_mm[1] > one.lanes[0].spots[-1].position_mm[1]


def test_a_photographed_strip_upside_down(measured):
    strip = measured["turned"][1]
    assert not strip.upright
    origin, front = ends(strip, strip.lanes[0])
    new = after(strip, change("spot", key="1", s_mm=origin + 0.3 * (front - origin)))
    assert new.lanes[0].spots[0].rf == pytest.approx(0.3)


# ---- the other end


def turn(back=False):
    return Change("turn", 1, turned=back)


def drawn_twice(strip):
    """With a front drawn in pencil: a line that could be the origin."""
    return replace(strip, front=replace(strip.front, kind="pencil"))


def test_the_other_end_gives_the_rest_of_the_run():
    """(d from the one line) + (d from the other) = run, so Rf and Rf turned add up to 1 (by hand: 0.25, 0.6, 0.82 of 90 mm)."""
    strip = drawn_twice(simple(turn_deg=3.0))
    new = after(strip, turn())
    spots = new.lanes[0].spots
    assert [spot.rf for spot in spots] == pytest.approx([0.18, 0.4, 0.75])
    assert [spot.distance_mm for spot in spots] == pytest.approx([16.2, 36.0, 67.5])
    assert [spot.spot for spot in spots] == [1, 2, 3]
    assert [spot.colour for spot in spots] == [spot.colour for spot in reversed(strip.lanes[0].spots)]
    assert [spot.U_rf for spot in spots] == pytest.approx(
        [2 * 0.15 / 90] * 3
    )  # the made-up budget holds the centre alone
    assert [spot.position_mm for spot in spots] == [spot.position_mm for spot in reversed(strip.lanes[0].spots)]
    assert (new.upright, codes(new)) == (False, {"upside-down"})
    assert [spot.tailing for spot in spots] == pytest.approx([1 / 1.1] * 3)
    for spot in spots:
        low, high = spot.edges_mm
        assert (low + high) / 2 == pytest.approx(spot.distance_mm)


@pytest.mark.parametrize("name", ["sheet", "turned"])
def test_turned_twice_is_as_measured(measured, name):
    strip = drawn_twice(measured[name][1])
    again = after(strip, turn(), turn(back=True))
    for old, new in zip(strip.lanes, again.lanes, strict=True):
        assert new.run_mm == old.run_mm
        assert new.profile == pytest.approx(old.profile)
        for one, other in zip(old.spots, new.spots, strict=True):
            assert same(other, replace(one, tailing=other.tailing))
            assert other.tailing == pytest.approx(one.tailing)
    t = np.linspace(0, strip_frame(strip).width, 5)
    for one, other in ((strip.origin, again.origin), (strip.front, again.front)):
        assert polyval(t, other.coefficients) == pytest.approx(polyval(t, one.coefficients), abs=1e-6)


def test_lines_and_places_of_a_turned_strip_lie_where_they_lay(measured):
    strip = drawn_twice(measured["sheet"][1])
    new = after(strip, turn())
    one, other = strip_frame(strip), strip_frame(new)
    for t in np.linspace(1, one.width - 1, 7):
        for before, now in ((strip.origin, new.front), (strip.front, new.origin)):
            point = one.on_card(float(polyval(t, before.coefficients)), float(t))
            s, across = other.on_strip(point)
            assert polyval(across, now.coefficients) == pytest.approx(s, abs=1e-6)
    assert [lane.lane for lane in new.lanes] == list(range(1, len(new.lanes) + 1))
    for lane, mirrored in zip(strip.lanes, reversed(new.lanes), strict=True):
        assert (mirrored.origin_mm, mirrored.front_mm) == (lane.front_mm, lane.origin_mm)
        for spot in mirrored.spots:
            assert place(new, spot) == pytest.approx(ends(new, mirrored)[0] + spot.distance_mm, abs=0.05)


def test_what_was_corrected_before_turns_with_it():
    """Front to 120 mm, spots at 60, 95.8 and, added, 100 mm: 60, 24.2 and 20 mm from what is the origin then, of 98 mm."""
    changes = [
        change("front", s_mm=120.0), change("spot", key="1", s_mm=60.0), change("add", key="a", s_mm=100.0),
        change("name", label="fern"), change("remove", key="2"),
    ]  # fmt: skip
    found = corrected(simple(), [*changes, turn()], DEFAULTS)
    lane = found.strip.lanes[0]
    assert [spot.rf for spot in lane.spots] == pytest.approx([20 / 98, 24.2 / 98, 60 / 98])
    assert [found.keys[1, n] for n in (1, 2, 3)] == ["a", "3", "1"]
    assert found.labels == {1: "fern"}
    assert by_hand(lane.spots[0]) == {"centre", "origin"}
    assert by_hand(lane.spots[1]) == {"origin"}
    back = after(simple(), *changes, turn(), turn(back=True))
    plain = after(simple(), *changes)
    assert [s.rf for s in back.lanes[0].spots] == pytest.approx([s.rf for s in plain.lanes[0].spots])


def test_a_wet_edge_is_no_origin():
    new = after(simple(), turn())
    assert codes(new) == {"upside-down", "origin-missing"}
    assert new.origin is None
    assert [spot.rf for spot in new.lanes[0].spots] == [None] * 3
    placed = after(simple(), turn(), change("origin", s_mm=28.0, turned=True))
    assert codes(placed) == {"upside-down"}
    assert [spot.rf for spot in placed.lanes[0].spots] == pytest.approx([0.18, 0.4, 0.75])


def test_turned_back_a_wet_edge_is_the_front_again():
    """Nothing of the measurement is lost on the way there and back."""
    back, plain = after(simple(), turn(), turn(back=True)), simple()
    assert [spot.rf for spot in back.lanes[0].spots] == pytest.approx([spot.rf for spot in plain.lanes[0].spots])
    assert (back.front.kind, codes(back)) == ("wet-edge", set())


def test_what_was_told_from_the_other_end_is_idle_without_the_turn():
    """The turn undone, a place of 50 mm counted from that end is not taken for 50 mm from this one."""
    later = [change("spot", key="1", s_mm=50.0, turned=True), change("name", label="fern", turned=True)]
    found = corrected(simple(), later, DEFAULTS, strict=False)
    assert found.idle == tuple(later)
    assert [spot.rf for spot in found.strip.lanes[0].spots] == pytest.approx([0.25, 0.6, 0.82])
    assert found.labels == {}


@pytest.mark.parametrize("late", [turn(), change("front", s_mm=110.0), Change("keep", 1)])
def test_what_was_told_before_the_turn_is_refused_after_it(late):
    """A page loaded earlier, or a button pressed twice."""
    with pytest.raises(UsageError, match="turned"):
        after(drawn_twice(simple()), turn(), late)


def test_what_is_said_of_lines_and_tails_is_said_of_the_strip_as_it_is_read():
    told = flags("two-fronts", "front-short", "front-faint", "ink-line", "front-slanted", "strip-bent")
    strip = replace(drawn_twice(simple()), flags=told)
    trailing = replace(strip.lanes[0].spots[0], tailing=3.0, flags=flags("tailing"))
    strip = replace(strip, lanes=(replace(strip.lanes[0], spots=(trailing, *strip.lanes[0].spots[1:])),))
    new = after(strip, turn())
    assert codes(new) == {"upside-down", "strip-bent"}
    assert [codes(spot) for spot in new.lanes[0].spots] == [set()] * 3
    back = after(strip, turn(), turn(back=True))
    assert codes(back) == codes(strip)
    assert codes(back.lanes[0].spots[0]) == {"tailing"}


def test_a_front_placed_by_hand_is_in_no_doubt_of_the_programs():
    strip = replace(simple(), flags=flags("two-fronts", "front-short", "front-faint", "two-lines"))
    assert codes(after(strip, change("front", s_mm=110.0))) == {"two-lines"}


def undecided(strip):
    lanes = tuple(without_ratios(lane) for lane in strip.lanes)
    return replace(drawn_twice(strip), lanes=lanes, flags=flags("upside-down", "ends-undecided"), decided=False)


def test_an_undecided_strip_has_no_rf_until_somebody_says_which_end():
    strip = undecided(simple())
    named = after(strip, change("name", label="fern"), change("spot", key="1", s_mm=45.0))
    assert [spot.rf for spot in named.lanes[0].spots] == [None] * 3
    assert codes(named) == {"upside-down", "ends-undecided"}
    kept = after(strip, Change("keep", 1))
    assert [spot.rf for spot in kept.lanes[0].spots] == pytest.approx([0.25, 0.6, 0.82])
    assert codes(kept) == set()
    other = after(strip, turn())
    assert [spot.rf for spot in other.lanes[0].spots] == pytest.approx([0.18, 0.4, 0.75])
    assert codes(other) == {"upside-down"}
    assert [spot.U_rf for spot in kept.lanes[0].spots] == [spot.U_rf for spot in after(simple()).lanes[0].spots]
    assert all(spot.U_rf > 0 for spot in other.lanes[0].spots)


def test_lanes_of_a_turned_sheet_are_numbered_from_its_own_left():
    strip = drawn_twice(wide())
    names = change("name", lane=1, label="a"), turn(), change("name", lane=1, label="e", turned=True)
    found = corrected(strip, names, DEFAULTS)
    assert found.labels == {5: "a", 1: "e"}
    assert [len(lane.spots) for lane in found.strip.lanes] == [len(lane.spots) for lane in reversed(strip.lanes)]


# ---- the formula


@pytest.mark.parametrize("name", ["sheet", "turned"])
def test_the_budget_is_that_of_the_gum(measured, name):
    strip = measured[name][1]
    origin, front = ends(strip, strip.lanes[0])
    moves = [
        change("origin", s_mm=origin + 0.4),
        change("front", s_mm=front - 0.7),
        change("spot", key="2", s_mm=origin + 40),
    ]
    for count in range(4):
        new = after(strip, *moves[:count])
        lane = new.lanes[0]
        at = ends(new, lane)
        for spot in lane.spots:
            s = at[0] + spot.distance_mm
            expected = gum(spot, s, at[0], at[0] + lane.run_mm)
            assert spot.rf == pytest.approx(expected.nominal_value)
            assert spot.u_rf == pytest.approx(expected.std_dev, rel=1e-6)
            assert spot.U_rf == pytest.approx(2 * expected.std_dev, rel=1e-6)


# ---- undoing


def test_what_was_measured_is_not_touched():
    strip, again = wide(), wide()
    after(
        strip,
        change("front", lane=3, s_mm=125.0),
        change("origin", lane=1, s_mm=25.0),
        change("add", key="a", s_mm=50.0),
    )
    assert same(strip, again)


def test_a_refused_change_leaves_nothing_behind():
    """Lane 5's front may not move, so no lane's does, though lane 1 was looked at first."""
    raised = change("origin", lane=5, s_mm=100.0, only=True)
    removed = [change("remove", lane=5, key=str(n)) for n in range(1, 9)]
    found = corrected(wide(), [*removed, raised, change("front", lane=1, s_mm=95.0)], DEFAULTS, strict=False)
    assert found.idle[-1].kind == "front"
    assert same(found.strip.lanes[0], after(wide()).lanes[0])


def test_what_built_on_an_undone_change_is_idle():
    move = change("spot", key="mine", s_mm=60.0)
    rest = [move, change("name", label="Leaf")]
    found = corrected(simple(), rest, DEFAULTS)
    assert found.idle == (move,)
    assert found.labels == {1: "Leaf"}
    assert same(found.strip, after(simple()))
    with pytest.raises(UsageError):
        corrected(simple(), [move], DEFAULTS)
    assert corrected(simple(), [move], DEFAULTS, strict=False).idle == (move,)


KEYS = ("1", "2", "3", "a", "b")
MOVES = st.one_of(
    st.builds(change, st.just("origin"), s_mm=st.floats(5, 45)),
    st.builds(change, st.just("front"), s_mm=st.floats(85, 139)),
    st.builds(change, st.just("spot"), key=st.sampled_from(KEYS), s_mm=st.floats(5, 135)),
    st.builds(change, st.just("add"), key=st.sampled_from(KEYS), s_mm=st.floats(5, 135)),
    st.builds(change, st.just("remove"), key=st.sampled_from(KEYS)),
    st.builds(change, st.just("name"), label=st.sampled_from(["x", "y"])),
)


def foretold(changes):
    """(origin, front, key to place, names) after those changes: the same rules in a few plain lines."""
    origin, front, spots, names = 22.0, 112.0, {"1": 44.5, "2": 76.0, "3": 95.8}, {}
    for c in changes:
        o, f, now = origin, front, dict(spots)
        if c.kind in ("spot", "remove") and c.key not in spots:
            continue
        if c.kind == "add" and (c.key in spots or c.key in ("1", "2", "3")):
            continue
        if c.kind == "origin":
            o = c.s_mm
        elif c.kind == "front":
            f = c.s_mm
        elif c.kind == "remove":
            del now[c.key]
        elif c.kind == "name":
            names[1] = c.label
        else:
            now[c.key] = c.s_mm
        low, high = DEFAULTS.spot.origin_mm, DEFAULTS.spot.beyond_mm
        out = {k for k, s in now.items() if not o - low <= s <= f + high}
        was = {k for k, s in spots.items() if not origin - low <= s <= front + high}
        if f > o and not out - was:
            origin, front, spots = o, f, now
    return origin, front, spots, names


@given(st.lists(st.tuples(MOVES, st.booleans()), max_size=8))
def test_any_changes_with_any_of_them_undone(history):
    """Only those in force count, in their order; every spot keeps its key; Rf = (s − o) / (f − o)."""
    changes = list(compress((c for c, _ in history), (kept for _, kept in history)))
    found = corrected(simple(), changes, DEFAULTS, strict=False)
    origin, front, spots, names = foretold(changes)
    lane = found.strip.lanes[0]
    seen = {found.keys[1, spot.spot]: spot for spot in lane.spots}
    assert found.labels == names
    assert set(seen) == set(spots)
    assert lane.run_mm == pytest.approx(front - origin)
    for key, s in spots.items():
        assert place(found.strip, seen[key]) == pytest.approx(s)
        assert seen[key].rf == pytest.approx(max((s - origin) / (front - origin), 0), abs=1e-9)
    assert [spot.distance_mm for spot in lane.spots] == sorted(spot.distance_mm for spot in lane.spots)
