"""Does the strip lie flat? What stands off the card is seen shifted, away from the point below the camera.

A place at height z appears at ``X + z (X − C) / H``: C is the point of the card below the camera, H the camera's height.
Straight cut edges therefore look curved where a strip arches or an end curls up, and tell how far; crooked ones tell less. What they
cannot tell stays in the budget.
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
PLACES = np.linspace(0, 1, 21)
"""Parts of the length at which the greatest height is looked for: it is flat there, or at an end."""


@dataclass(frozen=True, slots=True, eq=False)
class Rise:
    """The strip's height over the card, as far as its edges tell: so many millimetres of each of :func:`shapes_at`."""

    heights_mm: Floats
    """(4,) an arch, how far it leans towards the front end, and how far the origin's and the front's end curl up."""
    covariance: Floats
    """(4, 4) of these, square millimetres."""
    u_shapes_mm: Floats
    """(4,) standard uncertainties from how far paper departs from the shapes assumed."""
    length_mm: float
    start_mm: Floats
    """(2,) card millimetres of s = 0, t = 0."""
    axis: Floats
    """(2,) unit vector along s."""
    camera_mm: tuple[float, float, float]

    def shift(self, s_mm: float) -> float:
        """How far a place on the strip appears shifted along it, millimetres; across it all places are alike."""
        return float(self.heights_mm @ shapes_at(s_mm / self.length_mm)) * self.lean(s_mm)

    def lean(self, s_mm: float) -> float:
        """Shift along the strip for each millimetre of height."""
        (x, y), (along_x, along_y) = self.start_mm, self.axis
        camera_x, camera_y, height = self.camera_mm
        return float((s_mm + (x - camera_x) * along_x + (y - camera_y) * along_y) / height)

    @property
    def most_mm(self) -> tuple[float, float]:
        """(how far it stands off the card where it does so most, the standard uncertainty of that)."""
        shapes = np.stack(shapes_at(PLACES), axis=-1)
        heights = shapes @ self.heights_mm
        place = shapes[int(np.argmax(np.abs(heights)))]
        return float(place @ self.heights_mm), float(np.sqrt(place @ self.covariance @ place))

    def u_shift(self, s_mm: float, origin_mm: float, front_mm: float) -> float:
        """Standard uncertainty of a spot's shift against the line from origin to front, from the rise's uncertainty."""
        share = (s_mm - origin_mm) / max(front_mm - origin_mm, 1e-6)
        at_spot, at_origin, at_front = (
            self.lean(s) * np.array(shapes_at(s / self.length_mm)) for s in (s_mm, origin_mm, front_mm)
        )
        against = at_spot - (1 - share) * at_origin - share * at_front
        return float(np.sqrt(against @ self.covariance @ against + ((against * self.u_shapes_mm) ** 2).sum()))


def rise_of(strip: StripCells, view: View, settings: FlatnessSettings) -> Rise:
    """The strip's rise from the curvature of its two long edges, held by what is usual for a strip laid flat."""
    outline, start, axis = strip.outline, np.array(strip.start_mm), np.array(strip.axis)
    edges = _edges(strip, view, settings.edge_points)
    heights, covariance = likeliest_rise(edges, max(outline.u_edge_mm, settings.u_edge_least_mm), settings)
    return Rise(
        heights_mm=heights,
        covariance=covariance,
        u_shapes_mm=settings.shape_share * np.abs(heights),
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
    shapes = np.stack(shapes_at(s_mm / outline.length_mm), axis=-1)
    return Edges(s_mm, from_start @ side, shapes * lean[..., None], shapes[..., 0])


def _stretches(edge: Floats, count: int) -> Floats:
    """(count, 2) means of an edge's (n, 2) places over equal stretches."""
    bounds = np.arange(count + 1) * len(edge) // count
    return np.asarray(np.add.reduceat(edge, bounds[:-1]) / np.diff(bounds)[:, None], float)


def shapes_at(x: Part) -> tuple[Part, Part, Part, Part]:
    """How high each shape of 1 mm is at parts ``x`` of the length, from 0 to 1.

    The arch: a parabola, 1 in the middle and 0 at the ends. Its lean: the cubic that is 0 at the ends and in the middle, and about
    1 (0.96) between middle and front end, -1 below. The curls of both ends: parabolas from the middle, 1 at the end.
    """
    arch, above = 4 * x * (1 - x), 2 * x - 1
    away = abs(above)
    return arch, 2.5 * arch * above, ((away - above) / 2) ** 2, ((away + above) / 2) ** 2
