"""Corrections made by hand on top of a measured strip, worked out by the same formulas as the measurement.

What was measured is never changed: the changes are laid over it in their order, so that taking one back gives what would be
there without it. Places are s, millimetres along the strip from its origin end. A spot is named by a key that no other change
moves: its number as measured (``"2"``), or what the one who adds it says.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from webcapture.errors import UsageError
from webcapture.measure.frame import Frame, strip_frame
from webcapture.measure.recount import Ground, LaneState, Mark, flags_now, lane_now, line_now, state_of
from webcapture.measure.relate import colour_of
from webcapture.measure.turn import mirrored, settled, state_turned, turned
from webcapture.model import Floats, Lane, Spot, Strip
from webcapture.settings import Settings

CENTRE, DENSEST = "centre", "densest"
"""What Rf follows: the centre (IUPAC Gold Book R05353) or the point of maximum intensity (USP <621>)."""
KINDS = ("origin", "front", "spot", "add", "remove", "name", "follow", "turn", "keep")
_RELOAD = "Load the page again: it may show an older state."


@dataclass(frozen=True, slots=True)
class Change:
    """One correction. Fields that its kind does not use are None."""

    kind: str
    """``origin`` or ``front``: that line passes ``s_mm`` in ``lane``, and in the other lanes moves along unless ``only``; where
    one of them has no such line, it passes there at the same place.
    ``spot``: the spot ``key`` lies at ``s_mm``. ``add``: a spot at ``s_mm`` with the new ``key``. ``remove``: the spot ``key``.
    ``name``: the lane holds ``label``. ``follow``: Rf follows ``label``, the centre or the densest place.
    ``turn``: the strip's other end is the origin end; ``keep``: it is the one taken for it. Lanes, like spots, are numbered
    anew by the first; a spot's key stays."""
    bay: int
    lane: int | None = None
    key: str | None = None
    s_mm: float | None = None
    only: bool = False
    label: str | None = None
    turned: bool = False
    """Whether the strip was read from its other end when this was given: its places and lanes are told so."""
    strip: int = 1
    """Which of the strips in that bay."""


@dataclass(frozen=True, slots=True, eq=False)
class Corrected:
    """A strip with its corrections."""

    strip: Strip
    keys: dict[tuple[int, int], str]
    """(lane, spot number) to the spot's key."""
    labels: dict[int, str]
    """Lane to what it holds, where it was named."""
    follows: str
    turned: bool = False
    """Whether it is read from the other end than it was measured from."""
    idle: tuple[Change, ...] = ()
    """Changes that fit nothing any more, because an earlier one that they built on was taken back."""


@dataclass(frozen=True, slots=True, eq=False)
class _State:
    """The strip on its way; never changed, always replaced."""

    measured: Strip
    strip: Strip
    """The same, or that read from its other end."""
    frame: Frame
    lanes: dict[int, LaneState]
    labels: dict[int, str] = field(default_factory=dict)
    follows: str = CENTRE
    turned: bool = False

    def put(self, *lanes: LaneState) -> _State:
        """With these lanes in the place of those of the same number."""
        return replace(self, lanes=self.lanes | {state.lane.lane: state for state in lanes})


def corrected(
    strip: Strip, changes: Sequence[Change], settings: Settings, *, residual_mm: float = 0.0, strict: bool = True
) -> Corrected:
    """The strip with these changes, in their order; those of other strips are passed over.

    ``residual_mm`` is the card's: it stands in the budget where the strip had no Rf that could tell. The last change has to fit
    where ``strict``: UsageError is raised for one that fits nothing on the strip. Earlier ones did fit when they were made;
    what no longer does, because another was taken back, is left out and handed back as ``idle``.
    """
    frame = strip_frame(strip)
    state = _State(strip, strip, frame, {lane.lane: state_of(lane, frame) for lane in strip.lanes})
    idle = []
    for n, change in enumerate(changes):
        if (change.bay, change.strip) != (strip.bay, strip.strip):
            continue
        try:
            state = _applied(change, state, settings)
        except UsageError:
            if strict and n == len(changes) - 1:
                raise
            idle.append(change)
    ground = Ground(state.strip, state.frame, residual_mm, state.follows == DENSEST, settings)
    keys = {(n, k + 1): mark.key for n, lane in state.lanes.items() for k, mark in enumerate(lane.ordered)}
    now = _strip(list(state.lanes.values()), ground)
    return Corrected(now, keys, state.labels, state.follows, state.turned, tuple(idle))


def _strip(lanes: list[LaneState], ground: Ground) -> Strip:
    strip = ground.strip
    origin, front = line_now("origin", strip.origin, lanes, ground), line_now("front", strip.front, lanes, ground)
    return replace(
        strip,
        lanes=tuple(lane_now(state, ground) for state in lanes),
        origin=origin,
        front=front,
        flags=flags_now(strip, lanes, (origin, front), ground),
    )


def _applied(change: Change, state: _State, settings: Settings) -> _State:
    """The state after one change; the one before stays as it is."""
    if change.turned is not state.turned and change.kind != "follow":
        raise UsageError("The strip was turned: this was told from its other end.", _RELOAD)
    if change.kind == "turn":
        return _turned(state, settings)
    if change.kind == "keep":
        return replace(state, strip=settled(state.strip))
    if change.kind == "follow":
        if change.label not in (CENTRE, DENSEST):
            raise UsageError("Rf follows the centre or the densest place.", f"Give “{CENTRE}” or “{DENSEST}”.")
        return replace(state, follows=change.label)
    lane = _lane(change, state)
    if change.kind == "name":
        return replace(state, labels=state.labels | {lane.lane.lane: change.label or ""})
    if change.kind in ("origin", "front"):
        after = state.put(*_line_moved(change, lane, state))
    elif change.kind in ("spot", "add", "remove"):
        after = state.put(replace(lane, marks=_marks(change, lane, state.frame, settings)))
    else:
        raise UsageError(f"“{change.kind}” is no kind of correction.", f"Kinds are {', '.join(KINDS)}.")
    for number, now in after.lanes.items():
        _refuse_outside(state.lanes[number], now, settings)
    return after


def _turned(state: _State, settings: Settings) -> _State:
    """With the strip read from its other end, and all that was corrected so far turned with it."""
    strip = settled(state.measured) if state.turned else turned(state.measured, settings.spot)
    frame = strip_frame(strip)
    before = [state.lanes[mirrored(lane.lane, strip.lanes)] for lane in strip.lanes]
    lanes = [state_turned(old, lane, state.frame, frame) for old, lane in zip(before, strip.lanes, strict=True)]
    labels = {mirrored(lane, strip.lanes): label for lane, label in state.labels.items()}
    by_number = {one.lane.lane: one for one in lanes}
    return replace(state, strip=strip, frame=frame, lanes=by_number, labels=labels, turned=not state.turned)


def _lane(change: Change, state: _State) -> LaneState:
    if change.lane is None or change.lane not in state.lanes:
        raise UsageError(f"This strip has no lane {change.lane}.", _RELOAD)
    return state.lanes[change.lane]


def _place(change: Change, frame: Frame) -> float:
    if change.s_mm is None or not 0 <= change.s_mm <= frame.length:
        raise UsageError("That place is not on the strip.", f"Give a place between 0 and {frame.length:.0f} mm.")
    return change.s_mm


def _line_moved(change: Change, lane: LaneState, state: _State) -> list[LaneState]:
    """The lanes with that line moved: by as much in each, or to the same place where there was none."""
    new, old = _place(change, state.frame), getattr(lane, change.kind)
    moved = []
    for other in [lane] if change.only else state.lanes.values():
        known = getattr(other, change.kind)
        place = new if other is lane or old is None or known is None else known + new - old
        origin, front = (place, other.front) if change.kind == "origin" else (other.origin, place)
        if origin is not None and front is not None and front <= origin:
            raise UsageError("The front must lie above the origin line.", "Move the other line first.")
        by_hand = (other.hand_origin or change.kind == "origin", other.hand_front or change.kind == "front")
        moved.append(replace(other, origin=origin, front=front, hand_origin=by_hand[0], hand_front=by_hand[1]))
    return moved


def _marks(change: Change, lane: LaneState, frame: Frame, settings: Settings) -> tuple[Mark, ...]:
    """The lane's spots after one of them is added, moved or removed."""
    if change.kind == "add":
        return (*lane.marks, _added(change, lane, frame, settings))
    mark = next((mark for mark in lane.marks if mark.key == change.key), None)
    if mark is None:
        raise UsageError("That spot is not there any more.", _RELOAD)
    rest = tuple(other for other in lane.marks if other is not mark)
    if change.kind == "remove":
        return rest
    s = _place(change, frame)
    # A hand points at one place: it is both the centre and the densest one.
    return (*rest, replace(mark, s_mm=s, densest_mm=s, by_hand=True))


def _refuse_outside(before: LaneState, now: LaneState, settings: Settings) -> None:
    """No spot runs the other way or ahead of the front; one that was measured there already may stay."""
    if now is not before and _outside(now, settings) - _outside(before, settings):
        raise UsageError(
            f"In lane {now.lane.lane} a spot would lie below the origin line or beyond the front.",
            "Remove what is no spot first, then place the line.",
        )


def _outside(lane: LaneState, settings: Settings) -> set[str]:
    """Keys of the lane's spots that lie off its run, by more than a spot on a line may."""
    low = -np.inf if lane.origin is None else lane.origin - settings.spot.origin_mm
    high = np.inf if lane.front is None else lane.front + settings.spot.beyond_mm
    return {mark.key for mark in lane.marks if not low <= mark.s_mm <= high}


def _added(change: Change, lane: LaneState, frame: Frame, settings: Settings) -> Mark:
    """A spot placed by hand, with what the profile shows there of its colour and its width."""
    taken = {mark.key for mark in lane.marks} | {str(spot.spot) for spot in lane.lane.spots}
    if not change.key or change.key in taken:
        raise UsageError("A spot that is added needs a key of its own.", _RELOAD)
    s = _place(change, frame)
    height, width = _seen_at(s, lane.lane, settings)
    r, g, b = (float(value) for value in height)
    spot = Spot(
        spot=0, position_mm=(0, 0), densest_mm=(0, 0), distance_mm=0, densest_distance_mm=0,
        edges_mm=(-width / 2, width / 2), width_mm=width, absorbance=(r, g, b), colour=colour_of(height),
        rf=None, u_rf=None, U_rf=None, resolution=None, tailing=1.0, signal_to_noise=0.0,
        u_centre_mm=settings.hand.u_spot_mm, budget=(),
    )  # fmt: skip
    return Mark(change.key, spot, s, s, by_hand=True)


def _seen_at(s: float, lane: Lane, settings: Settings) -> tuple[Floats, float]:
    """(absorbance in R, G, B, width in millimetres) that the profile shows at a place; the usual width where it shows nothing."""
    places, profile = lane.profile_s_mm, np.maximum(np.asarray(lane.profile, float), 0)
    near = np.abs(places - s) <= settings.hand.reach_mm
    if not near.any():
        return np.zeros(3), settings.hand.width_mm
    height = profile[np.argmin(np.abs(places - s))]
    weight, where = profile[near].sum(axis=1), places[near]
    if height.max() < settings.spot.least_absorbance or np.count_nonzero(weight) < 2:
        return height, settings.hand.width_mm
    middle = weight @ where / weight.sum()
    return height, 4 * float(np.sqrt(weight @ (where - middle) ** 2 / weight.sum()))
