"""Between card millimetres and photo pixels: a plane seen in perspective through a lens.

A point of the card goes through a homography to undistorted coordinates ``u`` (normalised to half the photo's diagonal,
origin at the picture's middle), and through radial distortion to the photo: ``px = centre + scale · u (1 + k1 r² + k2 r⁴)``
with ``r = |u|`` (the even-order model of Brown 1966, without its tangential terms).
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import least_squares

from webcapture.model import Floats, Mapping
from webcapture.settings import ViewSettings


def project(mapping: Mapping, points_mm: Floats) -> Floats:
    """(…, 2) card millimetres to (…, 2) photo pixels."""
    return _distort(_apply(mapping.homography, np.asarray(points_mm, float)), mapping)


def unproject(mapping: Mapping, points_px: Floats) -> Floats:
    """(…, 2) photo pixels to (…, 2) card millimetres; the distortion is undone by fixed-point iteration."""
    distorted = (np.asarray(points_px, float) - mapping.centre_px) / mapping.scale_px
    u = distorted
    for _ in range(12):  # each round gains a factor of about 10 at |k1| = 0.05
        r2 = np.sum(u * u, axis=-1, keepdims=True)
        u = distorted / (1 + r2 * (mapping.k1 + mapping.k2 * r2))
    return _apply(np.linalg.inv(mapping.homography), u)


def scale_at(mapping: Mapping, points_mm: Floats) -> Floats:
    """(…, 2, 2) derivative of photo pixels by card millimetres: rows x, y of the photo, columns x, y of the card."""
    step = 0.5
    points = np.asarray(points_mm, float)
    columns = [
        (project(mapping, points + step * e) - project(mapping, points - step * e)) / (2 * step) for e in np.eye(2)
    ]
    return np.stack(columns, axis=-1)


def fit_mapping(
    points_mm: Floats, points_px: Floats, shape: tuple[int, ...], u_px: float, settings: ViewSettings
) -> Mapping:
    """Homography and distortion fitted together to (n, 2) matched points; ``shape`` (height, width) is the photo's.

    ``u_px`` is the points' standard uncertainty: with few or coarse points the lens stays near none at all. Some points
    may be wrong: the loss grows only linearly beyond three standard uncertainties.
    """
    height, width = shape[:2]
    centre = ((width - 1) / 2, (height - 1) / 2)
    scale = float(np.hypot(width, height) / 2)
    unit, shift = float(np.std(points_mm)), points_mm.mean(axis=0)
    to_unit = np.array([[1 / unit, 0, -shift[0] / unit], [0, 1 / unit, -shift[1] / unit], [0, 0, 1]])
    plain = (points_mm - shift) / unit
    target = (points_px - centre) / scale
    start = _homography(plain, target)

    def residuals(p: Floats) -> Floats:
        u = _apply(np.append(p[:8], 1.0).reshape(3, 3), plain)
        r2 = np.sum(u * u, axis=1, keepdims=True)
        misfit = (u * (1 + r2 * (p[8] + p[9] * r2)) - target) * (scale / u_px)
        excess = np.linalg.norm(misfit, axis=1, keepdims=True) / 3.0
        damped = misfit * np.where(excess > 1, np.sqrt(2 * np.maximum(excess, 1) - 1) / np.maximum(excess, 1), 1.0)
        return np.concatenate([damped.ravel(), p[8:] / (settings.prior_k1, settings.prior_k2)])

    fit = least_squares(residuals, np.append(start.ravel()[:8] / start[2, 2], [0.0, 0.0]), method="lm", xtol=1e-10)
    homography = np.append(fit.x[:8], 1.0).reshape(3, 3) @ to_unit
    return Mapping(homography, float(fit.x[8]), float(fit.x[9]), centre, scale)


def _apply(homography: Floats, points: Floats) -> Floats:
    x, y = points[..., 0], points[..., 1]
    (a, b, c), (d, e, f), (g, h, i) = homography
    w = g * x + h * y + i
    return np.stack([(a * x + b * y + c) / w, (d * x + e * y + f) / w], axis=-1)


def _distort(u: Floats, mapping: Mapping) -> Floats:
    r2 = np.sum(u * u, axis=-1, keepdims=True)
    return mapping.centre_px + mapping.scale_px * u * (1 + r2 * (mapping.k1 + mapping.k2 * r2))


def _homography(source: Floats, target: Floats) -> Floats:
    """Direct linear solution, both sides already near unit scale."""
    x, y = source.T
    u, v = target.T
    zero, one = np.zeros_like(x), np.ones_like(x)
    rows_u = np.stack([x, y, one, zero, zero, zero, -u * x, -u * y, -u], axis=1)
    rows_v = np.stack([zero, zero, zero, x, y, one, -v * x, -v * y, -v], axis=1)
    return np.linalg.svd(np.concatenate([rows_u, rows_v]))[2][-1].reshape(3, 3)
