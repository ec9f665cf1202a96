"""A lane and its strip counted anew after corrections: the measurement's own formulas, on places moved by hand.

What no hand touched comes out as it was measured, number for number.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.polynomial.polynomial import polyfit

from webcapture.flags import OF_THE_FRONT, Flag, flags
from webcapture.measure.frame import Frame
from webcapture.measure.ratios import resolution
from webcapture.measure.relate import is_slanted, place_codes
from webcapture.measure.uncertainty import expanded, rf_budget
from webcapture.model import Component, Lane, Line, Point, Spot, Strip
from webcapture.settings import Settings

BY_HAND = "by-hand"
ALIKE_MM = 1e-6
"""Lanes whose line moved by the same, to within this, had it moved as a whole."""
_REASON = "Placed by hand: how well an eye and a finger find it."


@dataclass(frozen=True, slots=True)
class Mark:
    """A spot on its way: as measured, or as made up for one added by hand, and where it lies now (s, millimetres)."""

    key: str
    spot: Spot
    s_mm: float
    densest_mm: float
    by_hand: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class LaneState:
    """A lane on its way: as measured, and where its lines and spots lie now (s, millimetres)."""

    lane: Lane
    t_mm: float
    origin: float | None
    front: float | None
    marks: tuple[Mark, ...]
    hand_origin: bool = False
    hand_front: bool = False

    @property
    def ordered(self) -> list[Mark]:
        """The spots from the origin upwards."""
        return sorted(self.marks, key=lambda mark: mark.s_mm)


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """What all lanes of a strip stand on."""

    strip: Strip
    frame: Frame
    residual_mm: float
    """Standard uncertainty of the page's geometry, for strips without any Rf to tell it."""
    densest: bool
    """Whether Rf follows the densest place instead of the centre."""
    settings: Settings


def state_of(lane: Lane, frame: Frame) -> LaneState:
    """The lane as measured, in the strip's own places.

    Distances are the measurement's own, counted from its origin line: the frame of the strip's corners may lie a hair askew.
    """
    known = [point for point in (lane.origin_mm, lane.front_mm) if point is not None]
    known += [spot.position_mm for spot in lane.spots]
    t = frame.on_strip(known[0])[1] if known else sum(lane.t_range_mm) / 2
    origin, front = _s(lane.origin_mm, frame), _s(lane.front_mm, frame)
    if origin is not None and lane.run_mm is not None:
        front = origin + lane.run_mm
    base = origin or 0.0
    marks = (Mark(str(s.spot), s, base + s.distance_mm, base + s.densest_distance_mm) for s in lane.spots)
    return LaneState(lane, t, origin, front, tuple(marks))


def _s(point: Point | None, frame: Frame) -> float | None:
    return None if point is None else frame.on_strip(point)[0]


def lane_now(state: LaneState, ground: Ground) -> Lane:
    """The lane with everything that follows from where its lines and spots lie now."""
    spots = tuple(_spot(n, state, ground) for n in range(len(state.marks)))
    codes = [flag.code for flag in state.lane.flags if flag.code != "no-spots"]
    codes += [] if spots else ["no-spots"]
    codes += [BY_HAND] if state.hand_origin or state.hand_front else []
    run = None if state.origin is None or state.front is None else state.front - state.origin
    return replace(
        state.lane,
        origin_mm=_on_card(state.origin, state.lane.origin_mm, state.hand_origin, state.t_mm, ground.frame),
        front_mm=_on_card(state.front, state.lane.front_mm, state.hand_front, state.t_mm, ground.frame),
        run_mm=run if state.hand_origin or state.hand_front else state.lane.run_mm,
        spots=spots,
        flags=flags(*codes),
    )


def _on_card(s: float | None, measured: Point | None, by_hand: bool, t: float, frame: Frame) -> Point | None:
    return measured if s is None or not by_hand else frame.on_card(s, t)


def _spot(n: int, state: LaneState, ground: Ground) -> Spot:
    """Spot ``n`` of the lane, from 0 and in its order."""
    mark, old = state.ordered[n], state.ordered[n].spot
    base = state.origin or 0.0
    rf, u, budget = _ratio(mark, state, ground)
    distance = mark.s_mm - base
    shift = distance - old.distance_mm  # edges are told from the origin line, and go with the spot
    codes = [flag.code for flag in old.flags if flag.code not in ("did-not-move", "near-front")]
    codes += place_codes(distance if state.origin is not None and ground.strip.decided else None, rf, ground.settings)
    return replace(
        old,
        spot=n + 1,
        position_mm=_position(mark, mark.s_mm, old.position_mm, state, ground.frame),
        densest_mm=_position(mark, mark.densest_mm, old.densest_mm, state, ground.frame),
        distance_mm=distance,
        densest_distance_mm=mark.densest_mm - base,
        edges_mm=(old.edges_mm[0] + shift, old.edges_mm[1] + shift),
        rf=rf,
        u_rf=u,
        U_rf=None if u is None else expanded(u),
        u_centre_mm=_u_centre(mark, ground.settings),
        resolution=_resolution(mark, state.ordered[n + 1]) if n + 1 < len(state.marks) else None,
        budget=budget,
        flags=flags(*codes, *([BY_HAND] if mark.by_hand else [])),
    )


def _position(mark: Mark, s: float, measured: Point, state: LaneState, frame: Frame) -> Point:
    """On the card; a spot that was moved keeps its place across the strip."""
    if not mark.by_hand:
        return measured
    return frame.on_card(s, frame.on_strip(measured)[1] if mark.spot.spot else state.t_mm)


def _resolution(mark: Mark, above: Mark) -> float | None:
    """As measured where neither was touched and nothing between them was removed."""
    if not (mark.by_hand or above.by_hand) and above.spot.spot == mark.spot.spot + 1:
        return mark.spot.resolution
    return resolution(mark.s_mm, mark.spot.width_mm, above.s_mm, above.spot.width_mm)


def _ratio(mark: Mark, state: LaneState, ground: Ground) -> tuple[float | None, float | None, tuple[Component, ...]]:
    """(Rf, its standard uncertainty, the budget), or Nones where there is no run, or no telling which way it went."""
    if not ground.strip.decided or state.origin is None or state.front is None or state.front <= state.origin:
        return None, None, ()
    hand, known = ground.settings.hand, _as_measured(mark, state, ground)
    placed = {"centre": mark.by_hand, "origin": state.hand_origin, "front": state.hand_front}
    s = mark.densest_mm if ground.densest else mark.s_mm
    u, budget = rf_budget(
        s,
        state.origin,
        state.front,
        u_centre_mm=_u_centre(mark, ground.settings),
        u_origin_mm=hand.u_line_mm if state.hand_origin else known["origin"],
        u_front_mm=hand.u_line_mm if state.hand_front else known["front"],
        u_rectification_mm=known["rectification"],
        u_flatness_mm=known["flatness"],
        reasons={name: _REASON for name, by_hand in placed.items() if by_hand},
    )
    told = tuple(replace(part, kind="B") if placed.get(part.name) else part for part in budget)
    return max((s - state.origin) / (state.front - state.origin), 0.0), u, told


def _u_centre(mark: Mark, settings: Settings) -> float:
    """As measured; by hand no less: what made a spot hard to place for the program does so for an eye."""
    return max(mark.spot.u_centre_mm, settings.hand.u_spot_mm) if mark.by_hand else mark.spot.u_centre_mm


def _as_measured(mark: Mark, state: LaneState, ground: Ground) -> dict[str, float]:
    """What the measurement knew, millimetres: of this spot; else of the nearest that has a budget; else of lines and page."""
    none = dict.fromkeys(("origin", "front", "rectification", "flatness"), 0.0)
    if mark.spot.budget:
        return none | _inputs(mark.spot)
    strip = ground.strip
    rest = none | {"rectification": ground.residual_mm}
    rest |= {name: line.u_mm for name, line in (("origin", strip.origin), ("front", strip.front)) if line is not None}
    own = [(abs(other.s_mm - mark.s_mm), other.spot) for other in state_of(state.lane, ground.frame).marks]
    near = [spot for _, spot in sorted(own, key=lambda pair: pair[0])]
    near += [spot for lane in strip.lanes for spot in lane.spots]
    beside = next((spot for spot in near if spot.budget), None)
    return rest if beside is None else rest | {"rectification": 0.0} | _inputs(beside)


def _inputs(spot: Spot) -> dict[str, float]:
    return {part.name: part.u_mm for part in spot.budget}


def line_now(kind: str, line: Line | None, lanes: Sequence[LaneState], ground: Ground) -> Line | None:
    """The strip's ``origin`` or ``front``: as measured; moved as a whole; or straight through where the lanes meet it."""
    if not any(getattr(state, f"hand_{kind}") for state in lanes):
        return line
    u_mm = ground.settings.hand.u_line_mm
    now = [(state.t_mm, s) for state in lanes if (s := getattr(state, kind)) is not None]
    shifts = [_shift(kind, state, ground.frame) for state in lanes]
    moved = [shift for shift in shifts if shift is not None]
    if line is not None and len(moved) == len(shifts) and np.ptp(moved) < ALIKE_MM:
        by = float(np.mean(moved))
        coefficients = np.concatenate([[line.coefficients[0] + by], line.coefficients[1:]])
        return replace(line, s_mm=line.s_mm + by, coefficients=coefficients, u_mm=u_mm)
    t, s = (np.array(values, float) for values in zip(*now, strict=True))
    through = polyfit(t, s, 1) if len(now) > 1 else s
    return Line(BY_HAND, t, s, np.asarray(through, float), u_mm, 0.0)


def _shift(kind: str, state: LaneState, frame: Frame) -> float | None:
    """How far the line moved in that lane; None where it was not known before, or is not now."""
    before, now = getattr(state_of(state.lane, frame), kind), getattr(state, kind)
    return None if before is None or now is None else float(now - before)


def flags_now(
    strip: Strip, lanes: Sequence[LaneState], lines: tuple[Line | None, Line | None], ground: Ground
) -> tuple[Flag, ...]:
    """The strip's flags without what is no longer true of its lines; ``lines`` are origin and front as they are now."""
    gone = {f"{kind}-missing" for kind in ("origin", "front") if all(getattr(s, kind) is not None for s in lanes)}
    codes = [flag.code for flag in strip.flags if flag.code not in (gone if lanes else ())]
    if not any(state.hand_origin or state.hand_front for state in lanes):
        return flags(*codes)
    codes = [code for code in codes if code != "front-slanted"]
    if all(state.hand_front for state in lanes):
        codes = [code for code in codes if code not in OF_THE_FRONT]
    return flags(
        *codes, *(["front-slanted"] if is_slanted(*lines, ground.frame.width, ground.settings.reading) else [])
    )
