"""A measured strip read from its other end: what was the front is the origin, and lanes and spots count the other way.

Nothing is measured anew. Places along a lane turn into ``span − s``, so that distances stay what they were to the last digit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.polynomial.polynomial import polyfit, polyval

from webcapture.flags import OF_THE_FRONT, Flag, flags
from webcapture.measure.frame import Frame, strip_frame
from webcapture.measure.recount import LaneState, Mark, state_of
from webcapture.measure.relate import PLACES
from webcapture.model import Component, Lane, Line, Spot, Strip
from webcapture.settings import SpotSettings

SOFT = ("wet-edge", "stain")
"""Kinds of front that no origin line can be: nobody drew them."""
OTHER = {"origin": "front", "front": "origin"}
ABOUT_ENDS = ("upside-down", "ends-undecided", "ends-alike")
ABOUT_LINES = (*OF_THE_FRONT, "front-slanted", "ink-line")
"""Said of a line as the origin or as the front: no longer true of it as the other."""


def settled(strip: Strip) -> Strip:
    """The strip as somebody says that it lies: the doubt about its ends is gone."""
    return replace(strip, decided=True, flags=_flags(strip))


def turned(strip: Strip, rule: SpotSettings) -> Strip:
    """The strip with its other end as the origin end, without Rf, which follow from the places: see :mod:`.recount`."""
    old = strip_frame(strip)
    other = replace(strip, upright=not strip.upright)
    new = strip_frame(other)
    drawn = strip.front is not None and strip.front.kind not in SOFT
    other = replace(
        other,
        origin=_line(strip.front, old, new) if drawn else None,
        front=_line(strip.origin, old, new),
        lanes=tuple(
            _lane(lane, mirrored(lane.lane, strip.lanes), drawn, old, new, rule) for lane in reversed(strip.lanes)
        ),
    )
    rest = tuple(flag for flag in strip.flags if flag.code not in ABOUT_LINES)
    return settled(replace(other, flags=rest))


def mirrored(number: int, lanes: Sequence[Lane]) -> int:
    """A lane's number where the strip's ``lanes`` count from the other side. The strip keeps its numbers among those of its bay."""
    return lanes[0].lane + lanes[-1].lane - number


def state_turned(state: LaneState, lane: Lane, old: Frame, new: Frame) -> LaneState:
    """What was corrected so far, on ``lane``, which is the same one turned."""
    span, measured = _span(state.lane, old, new), state_of(lane, new)
    spots = {spot.spot: spot for spot in lane.spots}
    last = len(spots) + 1
    marks = tuple(
        Mark(
            mark.key,
            spots.get(last - mark.spot.spot, mark.spot),
            span - mark.s_mm,
            span - mark.densest_mm,
            mark.by_hand,
        )
        for mark in state.marks
    )
    return LaneState(
        lane=lane,
        t_mm=_mapped(0.0, state.t_mm, old, new)[1],
        origin=span - state.front if state.hand_front and state.front is not None else measured.origin,
        front=span - state.origin if state.hand_origin and state.origin is not None else measured.front,
        marks=marks,
        hand_origin=state.hand_front,
        hand_front=state.hand_origin,
    )


def _mapped(s_mm: float, t_mm: float, old: Frame, new: Frame) -> tuple[float, float]:
    """(s, t) of one frame in the other."""
    return new.on_strip(old.on_card(s_mm, t_mm))


def _line(line: Line | None, old: Frame, new: Frame) -> Line | None:
    if line is None:
        return None
    t = np.linspace(0, old.width, PLACES)
    curve = _points(t, polyval(t, line.coefficients), old, new)
    seen = _points(line.t_mm, line.s_mm, old, new)[:, ::-1]
    coefficients = polyfit(curve[0], curve[1], len(line.coefficients) - 1)
    return replace(line, t_mm=seen[0], s_mm=seen[1], coefficients=coefficients)


def _points(t: np.ndarray, s: np.ndarray, old: Frame, new: Frame) -> np.ndarray:
    """(2, n) t and s of these places in the other frame."""
    mapped = [_mapped(float(a), float(b), old, new) for a, b in zip(s, t, strict=True)]
    return np.array(mapped, float).reshape(-1, 2).T[::-1]


def _span(lane: Lane, old: Frame, new: Frame) -> float:
    """What a place's s before and after add up to, so that the lane's own line falls where it lies on the card."""
    state = state_of(lane, old)
    for point, s in ((lane.front_mm, state.front), (lane.origin_mm, state.origin)):
        if point is not None and s is not None:
            return new.on_strip(point)[0] + s
    return _mapped(0.0, state.t_mm, old, new)[0]


def _lane(lane: Lane, number: int, drawn: bool, old: Frame, new: Frame, rule: SpotSettings) -> Lane:
    span, state = _span(lane, old, new), state_of(lane, old)
    origin_mm = lane.front_mm if drawn else None
    base = span - state.front if origin_mm is not None and state.front is not None else 0.0
    ends = sorted(_mapped(0.0, t, old, new)[1] for t in lane.t_range_mm)
    below = (None, *(spot.resolution for spot in lane.spots[:-1]))
    spots = [
        _spot(spot, span - (state.origin or 0.0) - base, resolution, len(lane.spots) + 1, rule)
        for spot, resolution in zip(lane.spots, below, strict=True)
    ]
    return replace(
        lane,
        lane=number,
        origin_mm=origin_mm,
        front_mm=lane.origin_mm,
        run_mm=lane.run_mm if origin_mm is not None else None,
        t_range_mm=(ends[0], ends[1]),
        profile_s_mm=span - lane.profile_s_mm[::-1],
        profile=lane.profile[::-1],
        spots=tuple(reversed(spots)),
    )


def _spot(spot: Spot, span: float, resolution: float | None, last: int, rule: SpotSettings) -> Spot:
    """``span``: what its distances from the one line and from the other add up to; ``last``: one more than there are spots."""
    tailing = 1 / spot.tailing
    codes = [flag.code for flag in spot.flags if flag.code != "tailing"]
    return replace(
        spot,
        spot=last - spot.spot,
        distance_mm=span - spot.distance_mm,
        densest_distance_mm=span - spot.densest_distance_mm,
        edges_mm=(span - spot.edges_mm[1], span - spot.edges_mm[0]),
        rf=None,
        u_rf=None,
        U_rf=None,
        resolution=resolution,
        tailing=tailing,
        flags=flags(*codes, *(["tailing"] if tailing > rule.tailing else [])),
        budget=tuple(_part(part) for part in spot.budget),
    )


def _part(part: Component) -> Component:
    return replace(part, name=OTHER.get(part.name, part.name))


def _flags(strip: Strip) -> tuple[Flag, ...]:
    """What is said of the strip, its ends being known."""
    about = {"origin-missing": strip.origin is None, "front-missing": strip.front is None}
    codes = ["upside-down"] if not strip.upright else []
    codes += [code for code, holds in about.items() if holds]
    rest = (flag.code for flag in strip.flags if flag.code not in (*ABOUT_ENDS, *about))
    return flags(*codes, *rest)
