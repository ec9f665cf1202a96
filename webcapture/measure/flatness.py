"""Does the strip lie flat? What stands off the card is seen shifted, away from the point below the camera.

A place at height z appears at ``X + z (X − C) / H``: C is the point of the card below the camera, H the camera's height.
Straight cut edges therefore look curved where a strip arches, and tell how far; what they cannot tell stays in the budget.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from webcapture.model import Floats, StripCells, View
from webcapture.settings import FlatnessSettings

UNKNOWN_MM = 1e3
"""Standard deviation of what nothing is known of beforehand: place and direction of an edge."""


Part = TypeVar("Part", float, Floats)
"""Of the strip's length."""


@dataclass(frozen=True, slots=True, eq=False)
class Rise:
    """The strip's height over the card, as far as its edges tell."""

    arch_mm: float
    """Height of the middle over the ends."""
    skew_mm: float
    """How far the rise leans towards the front end."""
    u_arch_mm: float
    """Standard uncertainty of ``arch_mm``."""
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

    def u_shift(self, s_mm: float, origin_mm: float, front_mm: float) -> float:
        """Standard uncertainty of a spot's shift against the line from origin to front, from the arch's uncertainty."""
        share = (s_mm - origin_mm) / max(front_mm - origin_mm, 1e-6)
        at = [self.lean(s) * _arch(s / self.length_mm) for s in (s_mm, origin_mm, front_mm)]
        return abs(at[0] - (1 - share) * at[1] - share * at[2]) * float(np.hypot(self.u_arch_mm, self.u_shape_mm))


def rise_of(strip: StripCells, view: View, settings: FlatnessSettings) -> Rise:
    """The strip's rise from the curvature of its two long edges, held by what is usual for a strip laid flat.

    Unknown besides the rise: place and direction of each edge, and how far each was cut from straight.
    """
    outline = strip.outline
    start, axis = np.array(strip.start_mm), np.array(strip.axis)
    side = np.array([-axis[1], axis[0]])
    rows, values, weights = [], [], []
    scatter = max(outline.u_edge_mm, settings.u_edge_least_mm)
    for n, edge in enumerate((outline.left_edge_mm, outline.right_edge_mm)):
        s, t = (edge - start) @ axis, (edge - start) @ side
        x = s / outline.length_mm
        lean = (edge - view.camera_mm[:2]) @ side / view.camera_mm[2]
        terms = np.zeros((len(edge), 8))
        terms[:, 0], terms[:, 1] = _arch(x) * lean, _skew(x) * lean
        terms[:, 2 + 3 * n], terms[:, 3 + 3 * n], terms[:, 4 + 3 * n] = 1, x, _arch(x)
        rows.append(terms)
        values.append(t)
        alike = max(len(edge) / settings.edge_points, 1.0)
        weights.append(np.full(len(edge), 1 / (scatter * np.sqrt(alike))))
    edge_prior = [UNKNOWN_MM, UNKNOWN_MM, settings.cut_mm]
    prior = np.array([settings.prior_mm, settings.prior_skew_mm, *edge_prior, *edge_prior])
    design = np.concatenate(rows) * np.concatenate(weights)[:, None]
    normal = design.T @ design + np.diag(prior**-2.0)
    covariance = np.linalg.inv(normal)
    fit = covariance @ (design.T @ (np.concatenate(values) * np.concatenate(weights)))
    return Rise(
        arch_mm=float(fit[0]),
        skew_mm=float(fit[1]),
        u_arch_mm=float(np.sqrt(covariance[0, 0])),
        u_shape_mm=settings.shape_share * abs(float(fit[0])),
        length_mm=outline.length_mm,
        start_mm=start,
        axis=axis,
        camera_mm=view.camera_mm,
    )


def _arch(x: Part) -> Part:
    """A parabola over the length (x from 0 to 1) that is 0 at the ends and 1 in the middle."""
    return 4 * x * (1 - x)


def _skew(x: Part) -> Part:
    """The cubic that is 0 at the ends and in the middle, and about 1 (0.96) between middle and front end, -1 below."""
    return 10 * x * (1 - x) * (2 * x - 1)
