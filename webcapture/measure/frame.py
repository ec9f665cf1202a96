"""A measured strip's own frame on the card: s along it from the origin end, t across it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from webcapture.model import Point, Strip


@dataclass(frozen=True, slots=True)
class Frame:
    """Where (s, t) lies on the card; ``along`` and ``across`` are unit vectors."""

    corner: Point
    """Card millimetres of s = 0, t = 0."""
    along: Point
    across: Point
    length: float
    width: float

    def on_strip(self, point: Point) -> Point:
        """(s, t) of a place on the card."""
        x, y = point[0] - self.corner[0], point[1] - self.corner[1]
        return x * self.along[0] + y * self.along[1], x * self.across[0] + y * self.across[1]

    def on_card(self, s_mm: float, t_mm: float) -> Point:
        """Card millimetres of a place on the strip."""
        (x, y), (ax, ay), (bx, by) = self.corner, self.along, self.across
        return x + s_mm * ax + t_mm * bx, y + s_mm * ay + t_mm * by


def strip_frame(strip: Strip) -> Frame:
    """The frame of a strip from its corners, whichever way up it lies."""
    turned = strip.corners_mm if strip.upright else strip.corners_mm[2:] + strip.corners_mm[:2]
    start, right, _, front = turned
    length, width = math.dist(start, front), math.dist(start, right)
    along = ((front[0] - start[0]) / length, (front[1] - start[1]) / length)
    return Frame(start, along, (-along[1], along[0]), length, width)
