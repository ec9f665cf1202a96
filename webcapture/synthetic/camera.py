"""The pinhole camera: where a place on the card, or above it, appears in the upright photo.

Pixel (0, 0) is the middle of the top-left pixel. Radial distortion is about the picture's middle, with the radius in
halves of its diagonal: r_seen = r (1 + k1 r² + k2 r⁴), as in :class:`webcapture.model.View`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from webcapture.model import Floats, Point
from webcapture.synthetic.scene import CameraSetup


@dataclass(frozen=True, slots=True, eq=False)
class Pinhole:
    """A camera in its place over the card. World axes: x and y of the card, z into the table."""

    size_px: tuple[int, int]
    focal_px: float
    rotation: Floats
    """(3, 3), world to camera (x right, y down, z forwards)."""
    place: Floats
    """(3,) in the world, so its height over the card is ``-place[2]``."""
    k1: float
    k2: float

    @property
    def centre_px(self) -> Point:
        """The middle of the picture."""
        return (self.size_px[0] - 1) / 2, (self.size_px[1] - 1) / 2

    @property
    def half_diagonal_px(self) -> float:
        """The unit of the distortion's radius."""
        return math.hypot(*self.size_px) / 2

    def project(self, points_mm: Floats, height_mm: Floats | float = 0.0) -> Floats:
        """(n, 2) photo pixels of (n, 2) card millimetres, each ``height_mm`` above the card."""
        points = np.atleast_2d(np.asarray(points_mm, dtype=float))
        depth = -np.broadcast_to(np.asarray(height_mm, dtype=float), points.shape[:1])
        rays = (np.column_stack([points, depth]) - self.place) @ self.rotation.T
        flat = rays[:, :2] / rays[:, 2:] * (self.focal_px / self.half_diagonal_px)
        r2 = (flat**2).sum(axis=1, keepdims=True)
        bent = flat * (1 + self.k1 * r2 + self.k2 * r2**2)
        return np.asarray(bent * self.half_diagonal_px + np.array(self.centre_px))

    def ground(self, pixels: Floats) -> Floats:
        """(n, 2) card millimetres seen at (n, 2) photo pixels, on the card's plane."""
        seen = (np.asarray(pixels, dtype=float) - np.array(self.centre_px)) / self.half_diagonal_px
        flat = self._straighten(seen) * (self.half_diagonal_px / self.focal_px)
        rays = np.column_stack([flat, np.ones(len(flat))]) @ self.rotation
        # A ray above the horizon never meets the table; the floor sends it very far away instead.
        reach = -self.place[2] / np.maximum(rays[:, 2], 1e-3)
        return np.asarray(self.place[:2] + rays[:, :2] * reach[:, None])

    def _straighten(self, seen: Floats) -> Floats:
        """Undo the distortion by Newton's method on the radius."""
        r_seen = np.hypot(seen[:, 0], seen[:, 1])
        r = r_seen.copy()
        for _ in range(8):
            r2 = r * r
            slope = 1 + 3 * self.k1 * r2 + 5 * self.k2 * r2 * r2
            r -= (r * (1 + self.k1 * r2 + self.k2 * r2 * r2) - r_seen) / slope
        return np.asarray(seen * (r / np.maximum(r_seen, 1e-12))[:, None])

    def tilt_deg(self, place_mm: Point) -> float:
        """Angle between the card's normal and the direction to the camera, at ``place_mm``."""
        sideways = math.hypot(self.place[0] - place_mm[0], self.place[1] - place_mm[1])
        return math.degrees(math.atan2(sideways, -self.place[2]))

    def px_per_mm(self, place_mm: Point) -> float:
        """Photo pixels per millimetre at ``place_mm``: the root of the ratio of areas."""
        x, y = place_mm
        h = 0.5
        px = self.project(np.array([[x + h, y], [x - h, y], [x, y + h], [x, y - h]]))
        across, along = px[0] - px[1], px[2] - px[3]
        return math.sqrt(abs(across[0] * along[1] - across[1] * along[0])) / (2 * h)


def aim(setup: CameraSetup, page_mm: tuple[float, float]) -> Pinhole:
    """The camera of that ``setup``, at the distance and aim that frame the page as asked."""
    middle = np.array([page_mm[0] / 2, page_mm[1] / 2])
    target, distance = middle, 1.5 * max(page_mm)
    frame = np.array(setup.size_px, dtype=float)
    outline = np.array([[x, y] for x in (0.0, page_mm[0]) for y in (0.0, page_mm[1])])
    wanted = (frame - 1) / 2 + frame * np.array(setup.offset)
    camera = _placed(setup, middle, target, distance)
    for _ in range(40):
        px = camera.project(outline)
        low, high = px.min(axis=0), px.max(axis=0)
        distance *= (float(((high - low) / frame).max()) / setup.fill) ** 0.8
        seen = camera.ground(np.stack([(low + high) / 2, wanted]))
        target = target + 0.8 * (seen[0] - seen[1])
        camera = _placed(setup, middle, target, distance)
    return camera


def _placed(setup: CameraSetup, middle: Floats, target: Floats, distance: float) -> Pinhole:
    """A camera ``distance`` from the page's ``middle``, in the direction asked for, looking at ``target``."""
    tilt, azimuth = math.radians(setup.tilt_deg), math.radians(setup.azimuth_deg)
    lean = np.array([math.sin(tilt) * math.cos(azimuth), math.sin(tilt) * math.sin(azimuth), -math.cos(tilt)])
    place = np.array([*middle, 0.0]) + distance * lean
    sight = np.array([*target, 0.0]) - place
    return Pinhole(
        size_px=setup.size_px,
        focal_px=math.hypot(*setup.size_px) / 2 / math.tan(math.radians(setup.fov_deg) / 2),
        rotation=_rotation(sight / np.linalg.norm(sight), math.radians(setup.roll_deg)),
        place=place,
        k1=setup.k1,
        k2=setup.k2,
    )


def _rotation(forward: Floats, roll: float) -> Floats:
    """World to camera: the shortest turn from straight down to ``forward``, then a ``roll`` about it."""
    axis = np.cross([0.0, 0.0, 1.0], forward)
    x, y, z = axis
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    turn = np.eye(3) + cross + cross @ cross / (1 + forward[2])
    c, s = math.cos(roll), math.sin(roll)
    return np.asarray(np.array([[c, s, 0], [-s, c, 0], [0, 0, 1]]) @ turn.T)
