"""How a spot of dye travels up the paper: partition, dispersion, overload and slow release.

The load ``m`` (per area of paper) shares itself between the moving solvent, ``c``, and the paper, by Langmuir's isotherm:
``m = c (1 + k / (1 + b c))`` with ``k = 1 / Rf − 1``. Per millimetre the front advances, ``∂m/∂x + ∂c/∂s = D ∇²m``. For a
small load ``c = Rf m``: the spot moves at Rf times the front and its variance grows by ``2 D`` per millimetre of front. A
large load runs ahead with a sharp upper edge and leaves a tail towards the origin.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from webcapture.model import Floats
from webcapture.synthetic.scene import Spot

STEP_MM = 0.3
"""Grid of the solver: a third of the narrowest spot's standard deviation."""
REACH = 4.5
"""Standard deviations of a spot that the grid holds on either side."""
SIDEWAYS = 0.7
"""Dispersion across the flow relative to along it."""


@dataclass(frozen=True, slots=True, eq=False)
class Load:
    """A spot's load on a grid; its densest place is 1."""

    values: Floats
    """(rows, columns), row i at ``s0_mm + i * step_mm``, column j at ``t0_mm + j * step_mm``; one column for a band."""
    s0_mm: float
    """Relative to where a vanishing load would be."""
    t0_mm: float
    """Relative to the lane's middle."""
    step_mm: float


def transport(spot: Spot, run_mm: float, band: bool) -> Load:
    """The load of ``spot`` after the front has run ``run_mm``; a ``band`` is uniform across the flow."""
    along, across = _spreads(spot, run_mm)
    ahead = _head_start(spot, run_mm)
    behind = REACH * along + 3 * ahead + 5 * spot.drag_mm + 2
    s = np.arange(-behind, REACH * along + ahead + 2, STEP_MM)
    t = np.zeros(1) if band else _symmetric(REACH * across + 1)
    if spot.overload > 0:
        applied = gaussian(s, spot.applied_mm)[:, None] * (1.0 if band else gaussian(t, spot.applied_mm)[None, :])
        values = solve(applied, spot, run_mm, band)
    else:
        values = gaussian(s, along)[:, None] * (np.ones((1, 1)) if band else gaussian(t, across)[None, :])
    values = _drag(values, spot.drag_mm)
    return Load(values / values.max(), float(s[0]), float(t[0]), STEP_MM)


def mobile(load: Floats, k: float, overload: float) -> Floats:
    """The part ``c`` of ``load`` that is in the solvent: the positive root of b c² + (1 + k − b m) c − m = 0."""
    if overload <= 0:
        return load / (1 + k)
    linear = 1 + k - overload * load
    root = np.sqrt(linear**2 + 4 * overload * load)
    # Of the two equal forms of the root, the one that does not subtract nearly equal numbers.
    safe = np.maximum(linear + root, 1e-300)
    return np.asarray(np.where(linear > 0, 2 * load / safe, (root - linear) / (2 * overload)))


def dispersion(spot: Spot) -> float:
    """D along the flow, mm² per millimetre of front: half the variance gained over ``rf`` millimetres of travel."""
    return spot.rf * spot.plate_mm / 2


def _spreads(spot: Spot, run_mm: float) -> tuple[float, float]:
    """Standard deviation along and across the flow at the end of the run."""
    gained = 2 * dispersion(spot) * run_mm
    return math.sqrt(spot.applied_mm**2 + gained), math.sqrt(spot.applied_mm**2 + SIDEWAYS * gained)


def _head_start(spot: Spot, run_mm: float) -> float:
    """Millimetres an overloaded spot can at most run ahead of a vanishing load."""
    full = float(mobile(np.array(1.0), 1 / spot.rf - 1, spot.overload))
    return max(0.0, (full - spot.rf) * run_mm)


def _symmetric(half: float) -> Floats:
    n = math.ceil(half / STEP_MM)
    return np.asarray(np.arange(-n, n + 1) * STEP_MM)


def gaussian(x: Floats, sigma: float) -> Floats:
    """A bell of height 1."""
    return np.asarray(np.exp(-0.5 * (x / sigma) ** 2))


def solve(load: Floats, spot: Spot, run_mm: float, band: bool) -> Floats:
    """March the load up the paper, in a frame that moves with a vanishing load."""
    k = 1 / spot.rf - 1
    spread = max(dispersion(spot), 0.004)
    fastest = max(0.05, 2 * float(mobile(np.array(1.0), k, spot.overload)) - 2 * spot.rf)
    dx = min(0.2 * STEP_MM**2 / spread, 0.4 * STEP_MM / fastest)
    steps = max(1, math.ceil(run_mm / dx))
    dx = run_mm / steps
    for _ in range(steps):
        load = load + dx * _change(load, k, spot, spread, band)
    return load


def _change(load: Floats, k: float, spot: Spot, spread: float, band: bool) -> Floats:
    """∂m/∂x in the moving frame, in conservative form: what leaves one cell enters the next."""
    flux_here = mobile(load, k, spot.overload) - spot.rf * load
    d_load, d_flux = np.diff(load, axis=0), np.diff(flux_here, axis=0)
    # Where the flow is faster than dispersion can smooth over one cell, add just enough to stay free of wiggles.
    speed = np.abs(d_flux) / np.maximum(np.abs(d_load), 1e-12)
    along = np.maximum(spread, speed * STEP_MM / 2)
    flux = (flux_here[1:] + flux_here[:-1]) / 2 - along * d_load / STEP_MM
    change = np.zeros_like(load)
    change[1:] += flux
    change[:-1] -= flux
    if not band:
        sideways = SIDEWAYS * spread * np.diff(load, axis=1) / STEP_MM
        change[:, :-1] += sideways
        change[:, 1:] -= sideways
    return change / STEP_MM


def _drag(load: Floats, drag_mm: float) -> Floats:
    """Smear towards the origin by an exponential of that mean length (an exponentially modified Gaussian)."""
    if drag_mm <= 0:
        return load
    ratio, keep = drag_mm / STEP_MM, math.exp(-STEP_MM / drag_mm)
    # The exponential weighed by straight lines between grid places, so that its mean is exact.
    here, beyond = 1 - ratio * (1 - keep), ratio * (1 - keep) ** 2
    out = np.empty_like(load)
    ahead = np.zeros(load.shape[1])
    for i in range(len(load) - 1, -1, -1):
        out[i] = here * load[i] + beyond * ahead
        ahead = load[i] + keep * ahead
    return out
