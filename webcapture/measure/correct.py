"""Corrections made by hand on top of a measured strip, worked out by the same formulas as the measurement.

What was measured is never changed: the changes are laid over it in their order, so that taking one back gives what would be
there without it. Places are s, millimetres along the strip from its origin end. A spot is named by a key that no other change
moves: its number as measured (``"2"``), or what the one who adds it says.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from webcapture.errors import UsageError
from webcapture.flags import Flag, flags
from webcapture.measure.frame import Frame, strip_frame
from webcapture.measure.ratios import resolution
from webcapture.measure.relate import colour_of, place_codes
from webcapture.measure.uncertainty import expanded, rf_budget
from webcapture.model import Component, Lane, Line, Point, Spot, Strip
from webcapture.settings import Settings

CENTRE, DENSEST = "centre", "densest"
"""What Rf follows: the centre (IUPAC Gold Book R05353) or the point of maximum intensity (USP <621>)."""
KINDS = ("origin", "front", "spot", "add", "remove", "name", "follow")
_HAND_CODES = ("by-hand",)
_RECOMPUTED = ("did-not-move", "near-front", "by-hand")
_REASON = "Placed by hand: how well an eye and a finger find it."


@dataclass(frozen=True, slots=True)
class Change:
    """One correction. Fields that its kind does not use are None."""

    kind: str
    """``origin`` or ``front``: that line passes ``s_mm`` in ``lane``, and in the other lanes moves along unless ``only``.
    ``spot``: the spot ``key`` lies at ``s_mm``. ``add``: a spot at ``s_mm`` with the new ``key``. ``remove``: the spot ``key``.
    ``name``: the lane holds ``label``. ``follow``: Rf follows ``label``, the centre or the densest place."""
    bay: int
    lane: int | None = None
    key: str | None = None
    s_mm: float | None = None
    only: bool = False
    label: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Corrected:
    """A strip with its corrections."""

    strip: Strip
    keys: dict[tuple[int, int], str]
    """(lane, spot number) to the spot's key."""
    labels: dict[int, str]
    """Lane to what it holds, where it was named."""
    follows: str


@dataclass(frozen=True, slots=True)
class _Mark:
    """A spot on its way: the measured one, and where it lies now."""

    key: str
    spot: Spot
    s_mm: float
    densest_mm: float
    by_hand: bool


@dataclass(slots=True, eq=False)
class _LaneState:
    """A lane on its way."""

    lane: Lane
    t_mm: float
    origin: float | None
    front: float | None
    hand_origin: bool
    hand_front: bool
    marks: list[_Mark]


def corrected(strip: Strip, changes: Sequence[Change], settings: Settings) -> Corrected:
    """The strip with these changes, in their order. Raises UsageError for a change that fits nothing on the strip."""
    frame = strip_frame(strip)
    lanes = {lane.lane: _state(lane, frame) for lane in strip.lanes}
    labels: dict[int, str] = {}
    follows = CENTRE
    for change in changes:
        if change.kind == "follow":
            follows = DENSEST if change.label == DENSEST else CENTRE
        elif change.kind == "name":
            labels[_number(change, lanes)] = change.label or ""
        else:
            _apply(change, lanes, frame, settings)
    made = tuple(_lane(state, frame, follows, strip, settings) for state in lanes.values())
    keys = {
        (number, n + 1): mark.key for number, state in lanes.items() for n, mark in enumerate(_ordered(state.marks))
    }
    whole = replace(
        strip,
        lanes=made,
        origin=_line(strip.origin, [(s.t_mm, s.origin, s.hand_origin) for s in lanes.values()], settings),
        front=_line(strip.front, [(s.t_mm, s.front, s.hand_front) for s in lanes.values()], settings),
        flags=_strip_flags(strip, lanes.values()),
    )
    return Corrected(whole, keys, labels, follows)


def _state(lane: Lane, frame: Frame) -> _LaneState:
    """The lane as measured, in the strip's own places."""
    at = [frame.on_strip(p) for p in (lane.origin_mm, lane.front_mm) if p is not None]
    at += [frame.on_strip(spot.position_mm) for spot in lane.spots]
    t = at[0][1] if at else sum(lane.t_range_mm) / 2
    marks = [
        _Mark(
            str(s.spot),
            s,
            frame.on_strip(s.position_mm)[0],
            frame.on_strip(s.densest_mm)[0],
            "by-hand" in _codes(s.flags),
        )
        for s in lane.spots
    ]
    return _LaneState(lane, t, _s(lane.origin_mm, frame), _s(lane.front_mm, frame), False, False, marks)


def _s(point: Point | None, frame: Frame) -> float | None:
    return None if point is None else frame.on_strip(point)[0]


def _number(change: Change, lanes: dict[int, _LaneState]) -> int:
    if change.lane not in lanes:
        raise UsageError(f"This strip has no lane {change.lane}.", "Load the page again: it may show an older state.")
    return change.lane


def _apply(change: Change, lanes: dict[int, _LaneState], frame: Frame, settings: Settings) -> None:
    state = lanes[_number(change, lanes)]
    if change.kind in ("origin", "front"):
        _move_line(change, state, list(lanes.values()), frame)
    elif change.kind == "add":
        state.marks.append(_added(change, state, frame, settings))
    elif change.kind == "remove":
        state.marks.remove(_mark(change, state))
    elif change.kind == "spot":
        mark = _mark(change, state)
        shift = _place(change, frame) - mark.s_mm
        moved = replace(mark, s_mm=mark.s_mm + shift, densest_mm=mark.densest_mm + shift, by_hand=True)
        state.marks[state.marks.index(mark)] = moved
    else:
        raise UsageError(f"“{change.kind}” is no kind of correction.", f"Kinds are {', '.join(KINDS)}.")


def _place(change: Change, frame: Frame) -> float:
    if change.s_mm is None or not 0 <= change.s_mm <= frame.length:
        raise UsageError("That place is not on the strip.", f"Give a place between 0 and {frame.length:.0f} mm.")
    return change.s_mm


def _mark(change: Change, state: _LaneState) -> _Mark:
    for mark in state.marks:
        if mark.key == change.key:
            return mark
    raise UsageError("That spot is not there any more.", "Load the page again: it may show an older state.")


def _move_line(change: Change, state: _LaneState, lanes: list[_LaneState], frame: Frame) -> None:
    """Move origin or front in one lane, or in all by as much; where a lane has none it gets the same place."""
    name, hand = change.kind, f"hand_{change.kind}"
    new = _place(change, frame)
    old = getattr(state, name)
    for other in [state] if change.only else lanes:
        known = getattr(other, name)
        setattr(other, name, new if old is None or known is None else known + new - old)
        setattr(other, hand, True)
    for other in lanes:
        if other.origin is not None and other.front is not None and other.front <= other.origin:
            raise UsageError("The front must lie above the origin line.", "Move the other line first.")


def _added(change: Change, state: _LaneState, frame: Frame, settings: Settings) -> _Mark:
    """A spot placed by hand, with what the profile shows there of its colour and its width."""
    s, rule = _place(change, frame), settings.hand
    places, profile = state.lane.profile_s_mm, np.asarray(state.lane.profile, float)
    near = np.abs(places - s) <= rule.reach_mm
    height = np.maximum(profile[np.argmin(np.abs(places - s))], 0) if len(places) else np.zeros(3)
    mass = np.maximum(profile[near], 0).sum(axis=1) if near.any() else np.zeros(0)
    spread = float(np.sqrt(mass @ (places[near] - s) ** 2 / mass.sum())) if mass.sum() > 0 else rule.width_mm / 4
    r, g, b = (float(v) for v in height)
    spot = Spot(
        spot=0, position_mm=(0, 0), densest_mm=(0, 0), distance_mm=0, densest_distance_mm=0,
        edges_mm=(-2 * spread, 2 * spread), width_mm=4 * spread, absorbance=(r, g, b), colour=colour_of(height),
        rf=None, u_rf=None, U_rf=None, resolution=None, tailing=1.0, signal_to_noise=0.0, u_centre_mm=rule.u_spot_mm, budget=(),
    )  # fmt: skip
    return _Mark(change.key or "", spot, s, s, True)


def _ordered(marks: list[_Mark]) -> list[_Mark]:
    return sorted(marks, key=lambda mark: mark.s_mm)


def _lane(state: _LaneState, frame: Frame, follows: str, strip: Strip, settings: Settings) -> Lane:
    marks = _ordered(state.marks)
    run = None if state.origin is None or state.front is None else state.front - state.origin
    spots = tuple(_spot(n, marks, state, frame, follows, settings) for n in range(len(marks)))
    kept = [flag.code for flag in state.lane.flags if flag.code not in ("no-spots", *_HAND_CODES)]
    codes = [*kept, *(() if spots else ("no-spots",)), *(_HAND_CODES if state.hand_origin or state.hand_front else ())]
    return replace(
        state.lane,
        origin_mm=None if state.origin is None else frame.on_card(state.origin, state.t_mm),
        front_mm=None if state.front is None else frame.on_card(state.front, state.t_mm),
        run_mm=run,
        spots=spots,
        flags=flags(*codes),
    )


def _spot(n: int, marks: list[_Mark], state: _LaneState, frame: Frame, follows: str, settings: Settings) -> Spot:
    mark, above = marks[n], marks[n + 1] if n + 1 < len(marks) else None
    old, base = mark.spot, state.origin or 0.0
    t = frame.on_strip(old.position_mm)[1] if old.spot else state.t_mm
    followed = mark.densest_mm if follows == DENSEST else mark.s_mm
    rf, u, budget = _ratio(mark, followed, state, settings)
    shift = mark.s_mm - old.distance_mm  # edges are told from the origin line: keep them where they are on the paper
    codes = [code for code in _codes(old.flags) if code not in _RECOMPUTED]
    distance = mark.s_mm - base
    codes += place_codes(distance if state.origin is not None else None, rf, settings)
    return replace(
        old,
        spot=n + 1,
        position_mm=frame.on_card(mark.s_mm, t),
        densest_mm=frame.on_card(mark.densest_mm, t),
        distance_mm=distance,
        densest_distance_mm=mark.densest_mm - base,
        edges_mm=(old.edges_mm[0] + shift - base, old.edges_mm[1] + shift - base),
        rf=rf,
        u_rf=u,
        U_rf=None if u is None else expanded(u),
        resolution=resolution(mark.s_mm, old.width_mm, above.s_mm, above.spot.width_mm) if above else None,
        budget=budget,
        flags=flags(*codes, *(_HAND_CODES if mark.by_hand else ())),
    )


def _ratio(
    mark: _Mark, s: float, state: _LaneState, settings: Settings
) -> tuple[float | None, float | None, tuple[Component, ...]]:
    """(Rf, its standard uncertainty, the budget), or Nones where origin or front is not known."""
    if state.origin is None or state.front is None:
        return None, None, ()
    known = _known(state, mark)
    hand = settings.hand
    inputs = {
        "centre": hand.u_spot_mm if mark.by_hand else mark.spot.u_centre_mm,
        "origin": hand.u_line_mm if state.hand_origin else known["origin"],
        "front": hand.u_line_mm if state.hand_front else known["front"],
    }
    placed = {"centre": mark.by_hand, "origin": state.hand_origin, "front": state.hand_front}
    u, budget = rf_budget(
        s,
        state.origin,
        state.front,
        u_centre_mm=inputs["centre"],
        u_origin_mm=inputs["origin"],
        u_front_mm=inputs["front"],
        u_rectification_mm=known["rectification"],
        u_flatness_mm=known["flatness"],
        reasons={name: _REASON for name, by_hand in placed.items() if by_hand},
    )
    return (s - state.origin) / (state.front - state.origin), u, budget


def _known(state: _LaneState, mark: _Mark) -> dict[str, float]:
    """What the measurement knew of the lane's lines and of the page there: from this spot's budget, or a neighbour's."""
    found = dict.fromkeys(("origin", "front", "rectification", "flatness"), 0.0)
    for spot in (*state.lane.spots, mark.spot):
        for part in spot.budget:
            if part.name in found:
                found[part.name] = part.u_mm
    return found


def _line(line: Line | None, places: list[tuple[float, float | None, bool]], settings: Settings) -> Line | None:
    """The line through where the lanes meet it, where any of them was moved; else as it was."""
    known = [(t, s) for t, s, _ in places if s is not None]
    if not known or not any(by_hand for _, _, by_hand in places):
        return line
    t, s = (np.array(values, float) for values in zip(*known, strict=True))
    if line is not None and len(known) > 1 and len(line.coefficients) > 1:
        shift = s - np.polynomial.polynomial.polyval(t, line.coefficients)
        if np.ptp(shift) < 0.01:  # moved as a whole
            return replace(
                line,
                s_mm=line.s_mm + shift.mean(),
                coefficients=line.coefficients + np.eye(len(line.coefficients))[0] * shift.mean(),
                u_mm=settings.hand.u_line_mm,
            )
    coefficients = np.polynomial.polynomial.polyfit(t, s, 1) if len(known) > 1 else np.array([s[0], 0.0])
    return Line("by-hand", t, s, coefficients, settings.hand.u_line_mm, 0.0)


def _strip_flags(strip: Strip, lanes: Iterable[_LaneState]) -> tuple[Flag, ...]:
    """Without what is no longer true: a line that was missing and has been placed."""
    lanes = list(lanes)
    have = {
        "origin-missing": all(s.origin is not None for s in lanes),
        "front-missing": all(s.front is not None for s in lanes),
    }
    return tuple(flag for flag in strip.flags if not have.get(flag.code, False))


def _codes(found: tuple[Flag, ...]) -> list[str]:
    return [flag.code for flag in found]
