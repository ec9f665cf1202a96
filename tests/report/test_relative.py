"""How well an R_rel is known, against the package ``uncertainties`` and against Rf."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import permutations
from typing import Any

import jsonschema
import pytest
from uncertainties import ufloat

import webcapture
from tests.report.factory import RUN_MM, SpotSpec, StripSpec, make_result
from webcapture.measure.uncertainty import expanded, rf_budget
from webcapture.model import Lane, Spot, Strip
from webcapture.report.export import as_dict, r_rel, schema
from webcapture.report.relative import u_r_rel
from webcapture.synthetic import render
from webcapture.synthetic.scene import Scene
from webcapture.synthetic.scenes import tray, typical

U = {"centre": 0.15, "origin": 0.08, "front": 0.2, "rectification": 0.05, "flatness": 0.1}
"""Standard uncertainties of every spot's inputs, millimetres."""
RESIDUAL_MM = 0.04


def known(strip: Strip, **changes: float) -> Strip:
    """The strip with a whole budget on every spot that has an Rf."""
    given = {f"u_{name}_mm": u for name, u in (U | changes).items()}

    def spot(one: Spot, lane: Lane) -> Spot:
        if one.rf is None or lane.run_mm is None:
            return one
        u, budget = rf_budget(one.distance_mm, 0.0, lane.run_mm, **given)
        return replace(one, u_rf=u, U_rf=expanded(u), budget=budget, u_centre_mm=U["centre"])

    lanes = tuple(replace(lane, spots=tuple(spot(one, lane) for one in lane.spots)) for lane in strip.lanes)
    return replace(strip, lanes=lanes)


def strip_of(*lanes: tuple[float, ...], **changes: Any) -> Strip:
    spec = StripSpec(width_mm=60, lanes=tuple(tuple(SpotSpec(rf) for rf in lane) for lane in lanes), **changes)
    return make_result(spec).strips[0]


def u_of(strip: Strip, here: tuple[int, int], there: tuple[int, int]) -> float | None:
    """Of R_rel of one (lane, spot) to another, both from 0."""
    places = ((strip.lanes[lane], strip.lanes[lane].spots[spot]) for lane, spot in (here, there))
    return u_r_rel(strip, *places, RESIDUAL_MM)


@pytest.mark.parametrize(("one", "other"), [(0.25, 0.6), (0.6, 0.25), (0.5, 0.52), (0.05, 0.9)])
def test_in_a_lane_origin_and_geometry_are_shared(one: float, other: float) -> None:
    """Every input its own variable of the package, the shared ones only once."""
    origin = ufloat(0, U["origin"]) + ufloat(0, U["rectification"])
    spot, reference = (ufloat(rf * RUN_MM, U["centre"]) + ufloat(0, U["rectification"]) for rf in (one, other))
    bend = ufloat(0, 1)
    expected = (spot + U["flatness"] * bend - origin) / (reference + U["flatness"] * bend - origin)
    low, high = sorted((one, other))
    found = u_of(known(strip_of((low, high))), (0, int(one > other)), (0, int(other > one)))
    assert found == pytest.approx(expected.std_dev, rel=1e-9)


def test_it_is_the_quotient_of_the_two_rf_with_their_covariance() -> None:
    """The front drops out of R_rel, and with it what it does to both Rf."""
    strip = known(strip_of((0.25, 0.6)))
    front = ufloat(RUN_MM, U["front"]) + ufloat(0, U["rectification"])
    origin = ufloat(0, U["origin"]) + ufloat(0, U["rectification"])
    bend = U["flatness"] * ufloat(0, 1)
    rf = [
        (ufloat(x * RUN_MM, U["centre"]) + ufloat(0, U["rectification"]) + bend - origin) / (front - origin)
        for x in (0.25, 0.6)
    ]
    assert u_of(strip, (0, 0), (0, 1)) == pytest.approx((rf[0] / rf[1]).std_dev, rel=1e-9)
    blunt = known(strip_of((0.25, 0.6)), front=2.0)
    assert u_of(blunt, (0, 0), (0, 1)) == pytest.approx(u_of(strip, (0, 0), (0, 1)))


def test_between_lanes_the_two_lines_are_shared_and_the_places_are_not() -> None:
    """Two Rf of 0.3 and 0.6 on one run: origin and front the same readings, centres, geometry and bend each lane's own."""
    strip = known(strip_of((0.3,), (0.6,)))
    origin, front = ufloat(0, U["origin"]), ufloat(RUN_MM, U["front"])

    def rf(x: float) -> Any:
        u, own = U["rectification"], [ufloat(0, 1) for _ in range(4)]
        there = ufloat(x * RUN_MM, U["centre"]) + u * own[0] + U["flatness"] * own[3]
        return (there - origin - u * own[1]) / (front + u * own[2] - origin - u * own[1])

    expected = (rf(0.3) / rf(0.6)).std_dev
    assert u_of(strip, (0, 0), (1, 0)) == pytest.approx(expected, rel=1e-6)


def test_without_a_front_the_lines_own_and_the_cards_residual_stand() -> None:
    strip = strip_of((0.25, 0.6), has_front=False)
    assert strip.origin is not None
    local = [ufloat(0, RESIDUAL_MM) for _ in range(3)]
    origin = ufloat(0, strip.origin.u_mm) + local[0]
    spot, reference = (
        ufloat(x * RUN_MM, one.u_centre_mm) + here
        for x, one, here in zip((0.25, 0.6), strip.lanes[0].spots, local[1:], strict=True)
    )
    assert u_of(strip, (0, 0), (0, 1)) == pytest.approx(((spot - origin) / (reference - origin)).std_dev, rel=1e-9)


def test_the_reference_itself_is_one_by_definition() -> None:
    assert u_of(known(strip_of((0.25, 0.6))), (0, 1), (0, 1)) == 0.0


def test_what_did_not_move_or_has_no_rf_gives_none() -> None:
    assert u_of(strip_of((0.0, 0.5)), (0, 1), (0, 0)) is None
    assert u_of(strip_of((0.3,), (0.6,), has_front=False), (0, 0), (1, 0)) is None
    assert u_of(strip_of((0.3,), (0.0,)), (0, 0), (1, 0)) is None


def test_it_stands_beside_r_rel_and_nowhere_else() -> None:
    result = make_result(StripSpec(bay=1), StripSpec(bay=2), layout="tray")
    result = replace(result, strips=tuple(known(strip) for strip in result.strips))
    photo = as_dict(result, relative_to=(2, 1, 2))
    jsonschema.Draft202012Validator(schema()).validate([photo])
    elsewhere, here = ([spot for lane in strip["lanes"] for spot in lane["spots"]] for strip in photo["strips"])
    assert [(spot["r_rel"], spot["u_r_rel"], spot["U_r_rel"]) for spot in elsewhere] == [(None, None, None)] * 3
    assert here[0]["u_r_rel"] == pytest.approx(u_of(result.strips[1], (0, 0), (0, 1)), abs=5e-6)
    assert here[0]["U_r_rel"] == pytest.approx(2 * here[0]["u_r_rel"], abs=1.1e-5)
    assert (here[1]["r_rel"], here[1]["u_r_rel"], here[1]["U_r_rel"]) == (1.0, 0.0, 0.0)
    plain = as_dict(result)["strips"][0]["lanes"][0]["spots"][0]
    assert not {"r_rel", "u_r_rel", "U_r_rel"} & set(plain)


@pytest.mark.slow
def test_the_true_r_rel_lies_within_u() -> None:
    """Of drawn sheets and trays, for every pair of spots; U is meant to hold 95 of 100."""
    inside = [abs(error) <= 2 for scene in (typical(601), tray(601), typical(602)) for error in errors_in_u(scene)]
    assert len(inside) > 60
    assert sum(inside) / len(inside) >= 0.95


def errors_in_u(scene: Scene) -> list[float]:
    """Of every R_rel of a photo, measured minus true in standard uncertainties; between spots that are one substance each and moved."""
    photograph = render(scene)
    result = webcapture.measure_photo(photograph.data)
    drawn = [spot for strip in photograph.truth.strips for lane in strip.lanes for spot in lane.spots]
    found = []
    for strip in result.strips:
        told = [
            (lane, spot, near[0].rf)
            for lane in strip.lanes
            for spot in lane.spots
            if len(near := [one for one in drawn if math.dist(one.position_mm, spot.position_mm) < 1.5]) == 1
            and not {"merged", "did-not-move"} & {flag.code for flag in spot.flags}
        ]
        for (*here, rf), (*there, reference) in permutations(told, 2):
            ratio = r_rel(here[0], here[1], there[0], there[1])
            u = u_r_rel(strip, (here[0], here[1]), (there[0], there[1]), result.card.residual_mm)
            if ratio is not None and u:
                found.append((ratio - rf / reference) / u)
    return found
