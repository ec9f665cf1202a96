"""Does the strip lie flat? What stands off the card is seen shifted, away from the point below the camera.

A place at height z appears at ``X + z (X − C) / H``: C is the point of the card below the camera, H the camera's height.
Straight cut edges therefore look curved where a strip arches, and tell how far; crooked ones tell less. What they cannot tell stays in the budget.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from webcapture.measure.crooked import Edges, likeliest_rise
from webcapture.model import Floats, StripCells, View
from webcapture.settings import FlatnessSettings

Part = TypeVar("Part", float, Floats)
"""Of the strip's length."""


@dataclass(frozen=True, slots=True, eq=False)
class Rise:
    """The strip's height over the card, as far as its edges tell."""

    arch_mm: float
    """Height of the middle over the ends."""
    skew_mm: float
    """How far the rise leans towards the front end."""
    covariance: Floats
    """(2, 2) of both, square millimetres."""
    u_shape_mm: float
    """Standard uncertainty of a height, from how far paper departs from the shape assumed."""
    length_mm: float
    start_mm: Floats
    """(2,) card millimetres of s = 0, t = 0."""
    axis: Floats
    """(2,) unit vector along s."""
    camera_mm: tuple[float, float, float]

    def shift(self, s_mm: float) -> float:
        """How far a place on the strip appears shifted along it, millimetres; across it all places are alike."""
        x = s_mm / self.length_mm
        return (self.arch_mm * _arch(x) + self.skew_mm * _skew(x)) * self.lean(s_mm)

    def lean(self, s_mm: float) -> float:
        """Shift along the strip for each millimetre of height."""
        (x, y), (along_x, along_y) = self.start_mm, self.axis
        camera_x, camera_y, height = self.camera_mm
        return float((s_mm + (x - camera_x) * along_x + (y - camera_y) * along_y) / height)

    @property
    def u_arch_mm(self) -> float:
        """Standard uncertainty of ``arch_mm``."""
        return float(np.sqrt(self.covariance[0, 0]))

    def u_shift(self, s_mm: float, origin_mm: float, front_mm: float) -> float:
        """Standard uncertainty of a spot's shift against the line from origin to front, from the rise's uncertainty."""
        share = (s_mm - origin_mm) / max(front_mm - origin_mm, 1e-6)
        shifts = [
            self.lean(s) * np.array([_arch(s / self.length_mm), _skew(s / self.length_mm)])
            for s in (s_mm, origin_mm, front_mm)
        ]
        against = shifts[0] - (1 - share) * shifts[1] - share * shifts[2]
        return float(np.sqrt(against @ self.covariance @ against + (against[0] * self.u_shape_mm) ** 2))


def rise_of(strip: StripCells, view: View, settings: FlatnessSettings) -> Rise:
    """The strip's rise from the curvature of its two long edges, held by what is usual for a strip laid flat."""
    outline, start, axis = strip.outline, np.array(strip.start_mm), np.array(strip.axis)
    edges = _edges(strip, view, settings.edge_points)
    rise, covariance = likeliest_rise(edges, max(outline.u_edge_mm, settings.u_edge_least_mm), settings)
    return Rise(
        arch_mm=float(rise[0]),
        skew_mm=float(rise[1]),
        covariance=covariance,
        u_shape_mm=settings.shape_share * abs(float(rise[0])),
        length_mm=outline.length_mm,
        start_mm=start,
        axis=axis,
        camera_mm=view.camera_mm,
    )


def _edges(strip: StripCells, view: View, count: int) -> Edges:
    """Both long edges in the strip's own frame, averaged over ``count`` stretches each."""
    outline, axis = strip.outline, np.array(strip.axis)
    side = np.array([-axis[1], axis[0]])
    both = outline.left_edge_mm, outline.right_edge_mm
    count = min(count, *(len(edge) for edge in both))
    places = np.stack([_stretches(edge, count) for edge in both])
    lean = (places - view.camera_mm[:2]) @ side / view.camera_mm[2]
    from_start = places - strip.start_mm
    s_mm = from_start @ axis
    x = s_mm / outline.length_mm
    arch = _arch(x)
    return Edges(s_mm, from_start @ side, np.stack([arch * lean, _skew(x) * lean], axis=-1), arch)


def _stretches(edge: Floats, count: int) -> Floats:
    """(count, 2) means of an edge's (n, 2) places over equal stretches."""
    bounds = np.arange(count + 1) * len(edge) // count
    return np.asarray(np.add.reduceat(edge, bounds[:-1]) / np.diff(bounds)[:, None], float)


def _arch(x: Part) -> Part:
    """A parabola over the length (x from 0 to 1) that is 0 at the ends and 1 in the middle."""
    return 4 * x * (1 - x)


def _skew(x: Part) -> Part:
    """The cubic that is 0 at the ends and in the middle, and about 1 (0.96) between middle and front end, -1 below."""
    return 10 * x * (1 - x) * (2 * x - 1)
