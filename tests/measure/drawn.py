"""Strips drawn straight into the cells that measuring works on: the truth without a camera."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from webcapture.model import Floats, Mapping, StripCells, StripOutline, View

CELL, ROW = 0.3, 0.125
Absorbance = Callable[[Floats, Floats], Floats]
"""(s, t) in millimetres, broadcast, to (..., 3) absorbance."""


def gauss(x: Floats, middle: float, sd: float) -> Floats:
    return np.exp(-0.5 * ((x - middle) / sd) ** 2)


def spot(s0: float, t0: float, sd: float, colour: tuple[float, float, float], sd_t: float | None = None) -> Absorbance:
    """A round spot, or an oval one."""
    return lambda s, t: (gauss(s, s0, sd) * gauss(t, t0, sd_t or sd))[..., None] * np.array(colour)


def pencil(s0: float, depth: float = 0.3, slope: float = 0.0, span: tuple[float, float] = (-1, 999)) -> Absorbance:
    """A pencil line 0.45 mm wide, over part of the width where ``span`` says so."""

    def draw(s: Floats, t: Floats) -> Floats:
        on = (t >= span[0]) & (t <= span[1])
        return (depth * gauss(s, s0 + slope * t, 0.2) * on)[..., None] * np.ones(3)

    return draw


def cross(s0: float, t0: float, arm: float = 2.0) -> Absorbance:
    def draw(s: Floats, t: Floats) -> Floats:
        near = (np.abs(t - t0) < arm) & (np.abs(s - s0) < arm)
        ink = np.maximum(gauss(s - s0 - (t - t0), 0, 0.25), gauss(s - s0 + (t - t0), 0, 0.25))
        return (0.3 * ink * near)[..., None] * np.ones(3)

    return draw


def wet(s0: float, depth: float = 0.03) -> Absorbance:
    return lambda s, t: (depth / (1 + np.exp((s - s0) / 0.15)) + 0 * t)[..., None] * np.ones(3)


def drawn(
    *things: Absorbance, length: float = 150.0, width: float = 20.0, noise: float = 0.004, seed: int = 1
) -> StripCells:
    """A flat upright strip with these things on it."""
    rng = np.random.default_rng(seed)
    cells = _mean(things, np.arange(CELL / 2, length, CELL), np.arange(CELL / 2, width, CELL), 2, noise, rng)
    count = int(np.clip(round((width - 1.6) / 1.5), 3, 28))
    bins = _mean(
        things,
        np.arange(ROW / 2, length, ROW),
        0.8 + (np.arange(count) + 0.5) * (width - 1.6) / count,
        5,
        noise / 1.5,
        rng,
        (width - 1.6) / count,
    )
    strokes = np.zeros(cells.shape[:2], bool)
    ys = np.arange(0, length + 0.1, 1.0)
    outline = StripOutline(
        bay=1,
        corners_mm=np.array(
            [[40.0, 250.0], [40.0 + width, 250.0], [40.0 + width, 250.0 - length], [40.0, 250.0 - length]]
        ),
        width_mm=width,
        length_mm=length,
        axis=(0.0, -1.0),
        u_edge_mm=0.02,
        left_edge_mm=np.stack([np.full_like(ys, 40.0), 250.0 - ys], axis=1),
        right_edge_mm=np.stack([np.full_like(ys, 40.0 + width), 250.0 - ys], axis=1),
    )
    return StripCells(
        outline=outline,
        cells=(-0.1 - cells).astype(np.float32),
        cell_mm=CELL,
        strokes=strokes,
        bins=(-0.1 - bins).astype(np.float32),
        rim_mm=0.8,
        light=np.zeros((len(bins), 2), np.float32),
        length_mm=length,
        width_mm=width,
        start_mm=(40.0, 250.0),
        axis=(0.0, -1.0),
        turned=False,
    )


def _mean(
    things: tuple[Absorbance, ...],
    s: Floats,
    t: Floats,
    fine: int,
    noise: float,
    rng: np.random.Generator,
    t_cell: float = CELL,
) -> Floats:
    """Absorbance averaged over each cell, with the paper's grain."""
    total = np.zeros((len(s), len(t), 3))
    offsets = (np.arange(fine) + 0.5) / fine - 0.5
    s_cell = s[1] - s[0]
    for ds in offsets:
        for dt in offsets:
            for thing in things:
                total += thing(s[:, None] + ds * s_cell, t[None, :] + dt * t_cell)
    return total / fine**2 + rng.normal(0, noise, (len(s), len(t), 1)) + rng.normal(0, noise / 3, total.shape)


def from_above() -> View:
    """The card seen from straight above its middle."""
    mapping = Mapping(np.eye(3), 0.0, 0.0, (0.0, 0.0), 1.0)
    return View(mapping, 0.005, 0.0, 0.0, 11.0, (105.0, 148.0, 400.0))
