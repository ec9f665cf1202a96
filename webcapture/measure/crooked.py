"""How far a strip rises, told from how its two long edges bow, when nobody knows how straight they were cut.

A guillotine leaves an edge straight; scissors leave it off by tenths of a millimetre, which look just like a bend. But a bend
bows both edges alike, and smoothly. So every pair of a rise and a crookedness that is usual is tried, and each counts by how
likely it makes the two edges (Bayesian model averaging; Hoeting et al., Stat. Sci. 1999, 14, 382).

An edge is place + direction · x + bow · 4x(1 − x) + rise · shifts + a random walk of the scissors + noise: all Gaussian, so that
everything but crookedness and rise follows in closed form. The scissors' walk is a process after Matérn with smoothness 3/2
(Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006, equation 4.17; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import log_ndtr

from webcapture.model import Floats
from webcapture.settings import FlatnessSettings

UNKNOWN_MM = 1e3
"""Standard deviation of what nothing is known of beforehand: place and direction of an edge."""
RISES = 4
"""An arch and its lean, and a curl of either end."""


@dataclass(frozen=True, slots=True, eq=False)
class Edges:
    """Both long edges at the same number of even places, so far apart that neighbours share neither fibres nor blur."""

    s_mm: Floats
    """(2, n) along the strip."""
    off_mm: Floats
    """(2, n) across it."""
    shifts: Floats
    """(2, n, 4) how far a place is seen shifted across by 1 mm of each shape."""
    bow: Floats
    """(2, n) what a cut departs by that is bowed by 1 mm all along."""


@dataclass(frozen=True, slots=True, eq=False)
class _Told:
    """What both edges tell of the rise, for each crookedness."""

    normal: Floats
    """(crookednesses, 4, 4) inverse of its covariance, without what is usual."""
    right: Floats
    """(crookednesses, 4) that, times the rise they tell."""
    unlikely: Floats
    """(crookednesses,) −2 ln of how likely the edges are if the strip lies flat, but for a constant."""


def likeliest_rise(edges: Edges, noise_mm: float, settings: FlatnessSettings) -> tuple[Floats, Floats]:
    """((4,) millimetres of each shape, (4, 4) their covariance), over all crookednesses and rises that are usual.

    Paper either arches or curls up at one end, and never reaches below the card: what would is as unlikely as its sign is certain.
    """
    told = _told(edges, noise_mm, settings)
    usual = np.multiply.outer(np.array(settings.rises_mm), _kinds(settings.skewed)).reshape(-1, RISES)
    both = usual[:, :, None] * usual[:, None, :]
    held = np.eye(RISES) + both * told.normal[:, None]
    covariance = both * np.linalg.inv(held)
    found = (covariance @ told.right[:, None, :, None])[..., 0]
    gained = (found * told.right[:, None]).sum(axis=-1) - np.log(np.linalg.det(held))
    main = np.arange(len(usual)), np.argmax(usual, axis=1)
    upward = log_ndtr(found[:, *main] / np.sqrt(covariance[:, main[0], main[1], main[1]]))
    unlikely = told.unlikely[:, None] - gained - 2 * upward
    weight = np.exp(-0.5 * (unlikely - unlikely.min()))
    weight /= weight.sum()
    mean = (weight[..., None] * found).sum(axis=(0, 1))
    off = found - mean
    within = covariance + off[..., :, None] * off[..., None, :]
    return mean, (weight[..., None, None] * within).sum(axis=(0, 1))


def _kinds(skewed: float) -> Floats:
    """(3, 4) standard deviations of the shapes, as shares, for paper that arches, and whose one or other end curls up."""
    return np.array([[1.0, skewed, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0], [0.0, 0.0, 0.0, 1.0]])


def _told(edges: Edges, noise_mm: float, settings: FlatnessSettings) -> _Told:
    """Place, direction and bow of each edge are taken out: whatever they are, the rise has to explain the rest."""
    precision, ln_spread, turned = _along_the_walk(edges, noise_mm, settings)
    products = turned.transpose(0, 2, 1) @ (precision[..., None] * turned)
    rise, line, seen = slice(RISES), slice(RISES, -1), -1
    usual = np.array([UNKNOWN_MM, UNKNOWN_MM, settings.cut_mm])
    own = products[..., line, line] + np.diag(usual**-2.0)
    across = products[..., line, :]
    explained = across.swapaxes(-1, -2) @ np.linalg.solve(own, across)
    left = (products - explained).sum(axis=1)
    flat = left[:, seen, seen] + (ln_spread + np.log(np.linalg.det(own))).sum(axis=1)
    return _Told(left[:, rise, rise], left[:, rise, seen], flat)


def _along_the_walk(edges: Edges, noise_mm: float, settings: FlatnessSettings) -> tuple[Floats, Floats, Floats]:
    """((crookednesses, 2, n) inverse variances, (crookednesses, 2) their −ln product, (2, n, 8) all terms and the edge itself).

    Turned so that all is independent, for every crookedness at once: the walk's covariance only grows by a factor.
    """
    _, count = edges.s_mm.shape
    apart = float(edges.s_mm[:, -1].mean() - edges.s_mm[:, 0].mean()) / max(count - 1, 1)
    shares, axes = _walk(count, round(apart / settings.snip_mm, 2))
    x = edges.s_mm / edges.s_mm.max()
    terms = [*np.moveaxis(edges.shifts, -1, 0), np.ones_like(x), x, edges.bow, edges.off_mm]
    spread = np.multiply.outer(np.array(settings.cuts_mm) ** 2, np.stack([shares] * len(x))) + noise_mm**2
    return 1 / spread, np.log(spread).sum(axis=-1), axes.T @ np.stack(terms, axis=-1)


@lru_cache(maxsize=128)
def _walk(count: int, apart: float) -> tuple[Floats, Floats]:
    """((n,) variances, (n, n) axes) of the scissors' walk at places ``apart`` from each other, in lengths over which they keep their way."""
    places = apart * np.arange(count)
    away = np.abs(places[:, None] - places)
    shares, axes = np.linalg.eigh((1 + away) * np.exp(-away))
    return shares, axes
