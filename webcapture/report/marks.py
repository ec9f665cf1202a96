"""What is to be seen on a strip's picture, in the strip's own millimetres: lines, marks and labels. Painted by annotate.

``s`` runs along the strip from its origin end, ``t`` across it from its left edge as seen with the origin end at the bottom.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from webcapture.measure.curves import polynomial_at
from webcapture.measure.frame import Frame
from webcapture.model import Floats, Lane, Line, Point, Spot, Strip
from webcapture.report.wording import badge_text, distance_text, rf_text, u_text

LONGEST_HALF_WIDTH_MM = 4.5
"""A spot's mark is as wide as its lane, but never wider than twice this: else marks of a wide lane look like lines."""
LANE_SHARE = 0.3
"""Share of the lane's width that a spot's mark takes on either side of the axis."""
ENDS, BOW = np.linspace(0, 1, 2), np.linspace(0, 1, 12)
"""Shares of a line's length at which a straight one, and a bowed one, is drawn."""


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line on the strip; ``kind`` decides how it is drawn."""

    kind: str
    points: tuple[Point, ...]
    """(s, t) of its corners."""


@dataclass(frozen=True, slots=True)
class Label:
    """Words that belong to a place on the strip."""

    anchor: Point
    """(s, t) the label belongs to."""
    lane: int
    number: str
    """The spot's number, as in the table; empty for a line."""
    text: str
    """Rf, or a distance, or a line's name."""
    strong: bool
    """Whether ``text`` is an Rf, the result itself."""
    detail: str
    """The uncertainty, or empty."""
    badges: tuple[str, ...]


def strokes(strip: Strip, frame: Frame) -> Iterator[Stroke]:
    """Everything to draw on a strip, what may be covered first."""
    length, width = frame.length, frame.width
    yield Stroke("outline", ((0, 0), (0, width), (length, width), (length, 0), (0, 0)))
    for lane in strip.lanes:
        yield Stroke("axis", _axis(lane, frame))
    for kind, line in (("origin", strip.origin), ("front", strip.front)):
        if line is not None:
            yield Stroke(kind, _curve(line))
    spots = [(spot, lane) for lane in strip.lanes for spot in lane.spots]
    for spot, lane in spots:
        yield from _brackets(spot, lane, frame)
    for spot, lane in spots:
        yield from _cross(spot, lane, frame)


def labels(strip: Strip, frame: Frame, with_lane: bool) -> Iterator[Label]:
    """A label for each spot, lane by lane; ``with_lane`` numbers them lane.spot."""
    for lane in strip.lanes:
        prefix = f"{lane.lane}." if with_lane else ""
        for spot in lane.spots:
            value, u = rf_text(spot), u_text(spot)
            distance = None if lane.origin_mm is None else distance_text(spot.distance_mm)
            yield Label(
                frame.on_strip(spot.position_mm),
                lane.lane,
                f"{prefix}{spot.spot}",
                value or distance or "no Rf",
                value is not None,
                f"± {u}" if u else "",
                tuple(badge_text(flag) for flag in spot.flags),
            )


def line_labels(strip: Strip) -> Iterator[Label]:
    """The names of origin line and solvent front, at their right ends."""
    for name, line in (("origin", strip.origin), ("front", strip.front)):
        if line is not None:
            yield Label(_curve(line)[-1], 0, "", name, False, "", ())


def half_width(lane: Lane) -> float:
    """Half the width of this lane's marks, millimetres."""
    left, right = lane.t_range_mm
    return min(max(LANE_SHARE * (right - left), 1.0), LONGEST_HALF_WIDTH_MM)


def zero_of_scale(strip: Strip, frame: Frame) -> float:
    """Where the millimetre scale begins: the origin line at the strip's left edge, or the origin end without one."""
    origins = [frame.on_strip(lane.origin_mm)[0] for lane in strip.lanes if lane.origin_mm is not None]
    return origins[0] if origins else 0.0


def spread(wanted: Sequence[float], heights: Sequence[float], low: float, high: float) -> list[float]:
    """Middles for blocks of the given heights, in the order given, near the wanted places but without overlap.

    Blocks stay between ``low`` and ``high`` where they all fit there; the sum of squared shifts is smallest.

    >>> spread([10, 11], [4, 4], 0, 100)
    [8.5, 12.5]
    """
    if not wanted:
        return []
    # With each block moved down by all that stands above it, "no overlap" becomes "in ascending order".
    offsets = np.cumsum(heights) - np.asarray(heights) / 2
    fitted = _ascending(np.asarray(wanted, float) - offsets)
    room = max(high - low - float(np.sum(heights)), 0.0)
    return [float(value) for value in np.clip(fitted, low, low + room) + offsets]


def _ascending(values: Floats) -> Floats:
    """The nearest ascending sequence (least squares): neighbours out of order share their mean."""
    groups: list[tuple[float, int]] = []
    for value in values:
        total, count = float(value), 1
        while groups and groups[-1][0] / groups[-1][1] > total / count:
            before = groups.pop()
            total, count = total + before[0], count + before[1]
        groups.append((total, count))
    return np.concatenate([np.full(count, total / count) for total, count in groups])


def _axis(lane: Lane, frame: Frame) -> tuple[Point, ...]:
    """From origin to front, or as far as the strip goes where one of them is missing."""
    t = sum(lane.t_range_mm) / 2
    start = (0.0, t) if lane.origin_mm is None else frame.on_strip(lane.origin_mm)
    end = (frame.length, t) if lane.front_mm is None else frame.on_strip(lane.front_mm)
    return start, end


def _curve(line: Line) -> tuple[Point, ...]:
    """The fitted line across the part of the strip where it was seen."""
    low, high = float(line.t_mm.min()), float(line.t_mm.max())
    t = low + (high - low) * (ENDS if len(line.coefficients) <= 2 else BOW)
    s = polynomial_at(t, line.coefficients)
    return tuple((float(a), float(b)) for a, b in zip(s, t, strict=True))


def _brackets(spot: Spot, lane: Lane, frame: Frame) -> Iterator[Stroke]:
    """At the spot's lower and upper edge."""
    s, t = frame.on_strip(spot.position_mm)
    low, high = (s + edge - spot.distance_mm for edge in spot.edges_mm)
    if not (math.isfinite(low) and math.isfinite(high)):
        low, high = s - spot.width_mm / 2, s + spot.width_mm / 2
    half = half_width(lane)
    foot = min(1.2, (high - low) / 3)
    for edge, inward in ((low, foot), (high, -foot)):
        corners = ((edge + inward, t - half), (edge, t - half), (edge, t + half), (edge + inward, t + half))
        yield Stroke("spot", corners)


def _cross(spot: Spot, lane: Lane, frame: Frame) -> Iterator[Stroke]:
    """At the spot's centre."""
    s, t = frame.on_strip(spot.position_mm)
    arm = min(1.0, half_width(lane) / 2)
    yield Stroke("centre", ((s, t - arm), (s, t + arm)))
    yield Stroke("centre", ((s - arm, t), (s + arm, t)))
