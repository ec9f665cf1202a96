"""A result as plain JSON types: the object that ``measure`` prints and the web tool answers.

``result.schema.json`` beside this module describes every field. Absent knowledge is None, never 0 and never NaN.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from webcapture.errors import WebcaptureError
from webcapture.flags import Flag
from webcapture.measure.ratios import hrf
from webcapture.measure.uncertainty import expanded
from webcapture.model import CardSeen, Component, Lane, Line, PhotoResult, Spot, Strip
from webcapture.report.relative import Place, u_r_rel
from webcapture.report.wording import RECORDED

Json = dict[str, Any]
SpotPlace = tuple[int, int, int]
"""Where a spot is: bay, lane, spot."""

RF_FOLLOWS = "centre"
"""What Rf is measured to: the spot's centre (IUPAC Gold Book R05353), not its point of maximum intensity (USP <621>)."""


def as_dict(result: PhotoResult, relative_to: SpotPlace | None = None) -> Json:
    """The result of one photo as JSON types.

    With ``relative_to``, a spot's (bay, lane, spot), each spot also tells its ``r_rel`` to that one, with its uncertainty: numbers on
    the same strip, None elsewhere, where that spot does not exist, and on a strip that nobody knows the ends of.
    """
    found = {
        "photo": result.photo,
        "card": _card(result.card),
        "rf_follows": RF_FOLLOWS,
        "strips": [_strip(strip) for strip in result.strips],
        "flags": _flags(result.flags),
        "error": None,
    }
    if relative_to is not None:
        _add_r_rel(found, result, relative_to)
    return found


def error_dict(name: str, error: WebcaptureError) -> Json:
    """The same object for a photo that could not be measured."""
    return {
        "photo": name,
        "card": None,
        "rf_follows": RF_FOLLOWS,
        "strips": [],
        "flags": [],
        "error": {"code": error.code, "message": error.message, "hint": error.hint},
    }


def schema() -> Json:
    """The JSON Schema (2020-12) of the list that ``measure`` prints; one photo's object is its ``$defs/photo``."""
    loaded: Json = json.loads(Path(__file__).with_name("result.schema.json").read_text(encoding="utf-8"))
    return loaded


def r_rel(lane: Lane, spot: Spot, reference_lane: Lane, reference: Spot) -> float | None:
    """How far ``spot`` ran relative to ``reference`` on the same strip (IUPAC Gold Book R05276).

    In one lane the ratio of the distances, for which no front is needed; between lanes the ratio of the Rf, since the
    front may be slanted. None where these are not known or the reference did not move; 0 for a spot a hair below the origin
    line, as its Rf is.
    """
    if lane.origin_mm is None or reference_lane.origin_mm is None:
        return None
    if lane.lane == reference_lane.lane:
        above, below = spot.distance_mm, reference.distance_mm
    elif spot.rf is not None and reference.rf is not None:
        above, below = spot.rf, reference.rf
    else:
        return None
    return max(above / below, 0.0) if below > 0 else None


def _add_r_rel(found: Json, result: PhotoResult, place: SpotPlace) -> None:
    found["relative_to"] = dict(zip(("bay", "lane", "spot"), place, strict=True))
    reference = _reference(result, place)
    for strip, strip_json in zip(result.strips, found["strips"], strict=True):
        # Strips of one bay were run apart: they share neither origin line nor front.
        beside = reference[1:] if reference is not None and strip is reference[0] and strip.decided else None
        for lane, lane_json in zip(strip.lanes, strip_json["lanes"], strict=True):
            for spot, spot_json in zip(lane.spots, lane_json["spots"], strict=True):
                spot_json["r_rel"] = None if beside is None else _round(r_rel(lane, spot, *beside), 4)
                there = None if spot_json["r_rel"] is None else beside
                spot_json.update(_u_r_rel(strip, (lane, spot), there, result.card.residual_mm))


def _u_r_rel(strip: Strip, here: Place, there: Place | None, residual_mm: float) -> Json:
    """The two fields that tell how well an R_rel is known; Nones where there is none, which is where ``there`` is None."""
    u = None if there is None else u_r_rel(strip, here, there, residual_mm)
    return {"u_r_rel": _round(u, 5), "U_r_rel": _round(None if u is None else expanded(u), RECORDED["U_rf"])}


def _reference(result: PhotoResult, place: SpotPlace) -> tuple[Strip, Lane, Spot] | None:
    for strip in result.strips:
        for lane in strip.lanes:
            for spot in lane.spots:
                if (strip.bay, lane.lane, spot.spot) == tuple(place):
                    return strip, lane, spot
    return None


def _card(card: CardSeen) -> Json:
    return {
        "layout": card.layout,
        "paper": card.paper,
        "residual_mm": _round(card.residual_mm, 4),
        "tilt_deg": _round(card.tilt_deg, 1),
        "px_per_mm": _round(card.px_per_mm, 2),
    }


def _strip(strip: Strip) -> Json:
    return {
        "bay": strip.bay,
        "strip": strip.strip,
        "corners_mm": [_point(corner) for corner in strip.corners_mm],
        "upright": strip.upright,
        "origin_line": _line(strip.origin),
        "front_line": _line(strip.front),
        "lanes": [_lane(lane) for lane in strip.lanes],
        "flags": _flags(strip.flags),
    }


def _line(line: Line | None) -> Json | None:
    return None if line is None else {"kind": line.kind, "u_mm": _round(line.u_mm, 4)}


def _lane(lane: Lane) -> Json:
    return {
        "lane": lane.lane,
        "origin_mm": _point(lane.origin_mm),
        "front_mm": _point(lane.front_mm),
        "run_mm": _round(lane.run_mm, 3),
        "spots": [_spot(spot, lane.origin_mm is not None) for spot in lane.spots],
        "flags": _flags(lane.flags),
    }


def _spot(spot: Spot, origin_seen: bool) -> Json:
    """One spot; without an origin line there is nothing to tell its distances from."""
    edges = spot.edges_mm if origin_seen else (None, None)
    return {
        "spot": spot.spot,
        "position_mm": _point(spot.position_mm),
        "densest_mm": _point(spot.densest_mm),
        "distance_mm": _round(spot.distance_mm if origin_seen else None, 3),
        "densest_distance_mm": _round(spot.densest_distance_mm if origin_seen else None, 3),
        "edges_mm": [_round(edge, 2) for edge in edges],
        "width_mm": _round(spot.width_mm, 2),
        "rf": _round(spot.rf, RECORDED["rf"]),
        "u_rf": _round(spot.u_rf, 5),
        "U_rf": _round(spot.U_rf, RECORDED["U_rf"]),
        "hrf": None if spot.rf is None else _round(hrf(spot.rf), 2),
        "colour": spot.colour,
        "absorbance": [_round(value, 4) for value in spot.absorbance],
        "resolution": _round(spot.resolution, 2),
        "tailing": _round(spot.tailing, 2),
        "signal_to_noise": _round(spot.signal_to_noise, 1),
        "budget": [_component(component) for component in (spot.budget if spot.rf is not None else ())],
        "flags": _flags(spot.flags),
    }


def _component(component: Component) -> Json:
    return {
        "name": component.name,
        "kind": component.kind,
        "u_mm": _round(component.u_mm, 4),
        "sensitivity_per_mm": _round(component.sensitivity, 6),
        "reason": component.reason,
    }


def _flags(flags: Iterable[Flag]) -> list[Json]:
    return [{"code": flag.code, "text": flag.text, "advice": flag.advice} for flag in flags]


def _point(point: tuple[float, float] | None) -> list[float | None] | None:
    return None if point is None else [_round(point[0], 3), _round(point[1], 3)]


def _round(value: float | None, digits: int) -> float | None:
    """``value`` as a plain float to ``digits`` decimals; None for None, NaN and infinities; never −0."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), digits) + 0.0
