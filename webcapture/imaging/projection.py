"""Between card millimetres and photo pixels: a plane seen in perspective through a lens.

A point of the card goes through a homography to undistorted coordinates ``u`` (normalised to half the photo's diagonal,
origin at the picture's middle), and through radial distortion to the photo: ``px = centre + scale · u (1 + k1 r² + k2 r⁴)``
with ``r = |u|`` (the even-order model of Brown 1966, without its tangential terms).
"""

from __future__ import annotations

from functools import partial

import numpy as np

from webcapture.descent import Terms, minimised
from webcapture.model import Floats, Mapping
from webcapture.settings import ViewSettings

MOST_STEPS = 60
CONVERGED = 1e-4
"""A step that gains no more than this share of the loss is the last: it moves points by a hundredth of their uncertainty."""


def project(mapping: Mapping, points_mm: Floats) -> Floats:
    """(…, 2) card millimetres to (…, 2) photo pixels."""
    u = _apply(mapping.homography, np.asarray(points_mm, float))
    # In whole planes: along pairs numpy takes several times as long.
    x, y = u[..., 0], u[..., 1]
    r2 = x * x + y * y
    u *= (mapping.scale_px * (1 + r2 * (mapping.k1 + mapping.k2 * r2)))[..., None]
    u += mapping.centre_px
    return u


def scale_at(mapping: Mapping, points_mm: Floats) -> Floats:
    """(…, 2, 2) derivative of photo pixels by card millimetres: rows x, y of the photo, columns x, y of the card."""
    step = 0.5
    points = np.asarray(points_mm, float)
    columns = [
        (project(mapping, points + step * e) - project(mapping, points - step * e)) / (2 * step) for e in np.eye(2)
    ]
    return np.stack(columns, axis=-1)


def fit_mapping(
    points_mm: Floats,
    points_px: Floats,
    shape: tuple[int, ...],
    u_px: float,
    settings: ViewSettings,
    start: Mapping | None = None,
) -> Mapping:
    """Homography and distortion fitted together to (n, 2) matched points, n ≥ 4; ``shape`` (height, width) is the photo's.

    ``u_px`` is the points' standard uncertainty: with few or coarse points the lens stays near none at all. Some points
    may be wrong: the loss grows only linearly beyond three standard uncertainties (Huber). ``start`` is a mapping to begin
    with; without one a plain homography is. With the derivatives written out: for ten parameters and a hundred points that
    costs a millisecond, where numeric derivatives and a general solver cost a hundred.
    """
    height, width = shape[:2]
    centre = ((width - 1) / 2, (height - 1) / 2)
    scale = float(np.hypot(width, height) / 2)
    unit, shift = float(np.std(points_mm)), points_mm.mean(axis=0)
    to_unit = np.array([[1 / unit, 0, -shift[0] / unit], [0, 1 / unit, -shift[1] / unit], [0, 0, 1]])
    plain = (points_mm - shift) / unit
    target = (points_px - centre) / scale
    plane = _homography(plain, target) if start is None else start.homography @ np.linalg.inv(to_unit)
    lens = (0.0, 0.0) if start is None else (start.k1, start.k2)
    first = np.append(plane.ravel()[:8] / plane[2, 2], lens)
    prior = np.array([settings.prior_k1, settings.prior_k2])
    found = minimised(first, partial(_terms, plain, target, scale / u_px, prior), CONVERGED, MOST_STEPS)
    homography = np.append(found[:8], 1.0).reshape(3, 3) @ to_unit
    return Mapping(homography, float(found[8]), float(found[9]), centre, scale)


def _linearised(p: Floats, plain: Floats, target: Floats, weight: float) -> tuple[Floats, Floats]:
    """((2n,) misfits in standard uncertainties, (2n, 10) their derivatives by the parameters): first all x, then all y."""
    x, y = plain.T
    w = p[6] * x + p[7] * y + 1.0
    u, v = (p[0] * x + p[1] * y + p[2]) / w, (p[3] * x + p[4] * y + p[5]) / w
    r2 = u * u + v * v
    stretch, growth = 1 + r2 * (p[8] + p[9] * r2), 2 * (p[8] + 2 * p[9] * r2)
    xw, yw, one, none = x / w, y / w, 1 / w, np.zeros_like(x)
    du = np.array([xw, yw, one, none, none, none, -u * xw, -u * yw])
    dv = np.array([none, none, none, xw, yw, one, -v * xw, -v * yw])
    mixed = u * v * growth
    slopes = np.empty((10, 2, len(x)))
    slopes[:8, 0] = (stretch + u * u * growth) * du + mixed * dv
    slopes[:8, 1] = mixed * du + (stretch + v * v * growth) * dv
    slopes[8] = u * r2, v * r2
    slopes[9] = slopes[8] * r2
    misfit = np.concatenate([u * stretch - target[:, 0], v * stretch - target[:, 1]])
    slopes *= weight
    return weight * misfit, slopes.reshape(10, -1).T


def _excess(misfit: Floats) -> Floats:
    """(n,) length of each point's misfit over three standard uncertainties; 1 where it is less."""
    x, y = misfit.reshape(2, -1)
    return np.maximum(np.hypot(x, y) / 3.0, 1.0)


def _terms(plain: Floats, target: Floats, weight: float, prior: Floats, p: Floats) -> Terms:
    """Loss, gradient and curvature at the ten parameters ``p``, eight of the homography and k1, k2."""
    misfit, slopes = _linearised(p, plain, target, weight)
    excess = _excess(misfit)
    x, y = misfit.reshape(2, -1)
    loss = ((x * x + y * y) / excess**2 * (2 * excess - 1)).sum() + ((p[8:] / prior) ** 2).sum()
    weighted = slopes / np.tile(excess, 2)[:, None]
    gradient, curvature = weighted.T @ misfit, weighted.T @ slopes
    gradient[8:] += p[8:] / prior**2
    curvature[[8, 9], [8, 9]] += prior**-2
    return float(loss), gradient, curvature


def _apply(homography: Floats, points: Floats) -> Floats:
    x, y = points[..., 0], points[..., 1]
    (a, b, c), (d, e, f), (g, h, i) = homography
    w = g * x + h * y + i
    there = np.empty((*w.shape, 2))
    there[..., 0], there[..., 1] = (a * x + b * y + c) / w, (d * x + e * y + f) / w
    return there


def _homography(source: Floats, target: Floats) -> Floats:
    """Direct linear solution, both sides already near unit scale."""
    x, y = source.T
    u, v = target.T
    zero, one = np.zeros_like(x), np.ones_like(x)
    rows_u = np.stack([x, y, one, zero, zero, zero, -u * x, -u * y, -u], axis=1)
    rows_v = np.stack([zero, zero, zero, x, y, one, -v * x, -v * y, -v], axis=1)
    rows = np.concatenate([rows_u, rows_v])
    return np.linalg.eigh(rows.T @ rows)[1][:, 0].reshape(3, 3)
