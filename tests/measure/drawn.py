"""Strips drawn straight into the cells that measuring works on: the truth without a camera.

Everything is drawn as absorbance over (s, t): s along the strip from its origin end, t across it, millimetres.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from webcapture.imaging.cells import averaged
from webcapture.measure.field import field_of
from webcapture.measure.reading import Reading, read_lines
from webcapture.model import Floats, Line, Mapping, Picture, StripCells, StripImage, StripOutline, View
from webcapture.settings import DEFAULTS

CELL, ROW = 0.3, 0.125
RIM = 0.8
PAPER = -0.1
"""log10 intensity of the bare paper."""
PX, MARGIN = 8.0, 3.0
"""Scale of a drawn picture, and the border of card around the strip."""
RED, BLUE, GREEN = (0.05, 0.4, 0.3), (0.4, 0.2, 0.03), (0.3, 0.05, 0.25)
"""Absorbances in R, G, B of three dyes."""
Absorbance = Callable[[Floats, Floats], Floats]
"""(s, t) in millimetres, broadcast, to (..., 3) absorbance."""
Light = Callable[[Floats, Floats], Floats]
"""(s, t) in millimetres, broadcast, to log10 of the light."""
NO_PICTURE = Picture.of_page(np.zeros((1, 1, 3), np.uint8), 1.0)
"""Where nobody looks."""


def gauss(x: Floats, middle: float | Floats, sd: float) -> Floats:
    return np.exp(-0.5 * ((x - middle) / sd) ** 2)


def spot(s0: float, t0: float, sd: float, colour: tuple[float, float, float], sd_t: float | None = None) -> Absorbance:
    """A round spot, or an oval one."""
    return lambda s, t: (gauss(s, s0, sd) * gauss(t, t0, sd_t or sd))[..., None] * np.array(colour)


def tailed(s0: float, t0: float, colour: tuple[float, float, float], tail: float = 7.0) -> Absorbance:
    """A spot that drags a tail towards the origin."""

    def draw(s: Floats, t: Floats) -> Floats:
        along = np.where(s < s0, np.exp((s - s0) / tail), gauss(s, s0, 1.5))
        return (along * gauss(t, t0, 2.0))[..., None] * np.array(colour)

    return draw


def pencil(
    s0: float,
    depth: float = 0.3,
    slope: float = 0.0,
    span: tuple[float, float] = (-1, 999),
    bow: float = 0.0,
    colour: tuple[float, float, float] = (1.0, 1.0, 1.0),
) -> Absorbance:
    """A line 0.45 mm wide at s0 + slope · t + bow · (t / 10 − 1)², over part of the width where ``span`` says so."""

    def draw(s: Floats, t: Floats) -> Floats:
        on = (t >= span[0]) & (t <= span[1])
        return (depth * gauss(s, s0 + slope * t + bow * (t / 10 - 1) ** 2, 0.2) * on)[..., None] * np.array(colour)

    return draw


def cross(s0: float, t0: float, arm: float = 2.0) -> Absorbance:
    def draw(s: Floats, t: Floats) -> Floats:
        near = (np.abs(t - t0) < arm) & (np.abs(s - s0) < arm)
        ink = np.maximum(gauss(s - s0 - (t - t0), 0, 0.25), gauss(s - s0 + (t - t0), 0, 0.25))
        return (0.3 * ink * near)[..., None] * np.ones(3)

    return draw


def wet(s0: float, depth: float = 0.03) -> Absorbance:
    """Paper that stays a little darker as far as the solvent came."""
    return lambda s, t: (depth / (1 + np.exp((s - s0) / 0.15)) + 0 * t)[..., None] * np.ones(3)


def stain(s0: float, depth: float = 0.06, behind: float = 0.5) -> Absorbance:
    """The brown line that a solvent leaves where it stopped: it fades behind, and ends sharply before."""

    def draw(s: Floats, t: Floats) -> Floats:
        shape = np.where(s < s0, gauss(s, s0, behind), gauss(s, s0, 0.2))
        return (depth * shape + 0 * t)[..., None] * np.array([0.3, 0.7, 1.0])

    return draw


def crease(s0: float, depth: float = 0.06) -> Absorbance:
    """A fold: one of its sides is dark, the other bright."""
    return lambda s, t: (depth * (gauss(s, s0 - 0.3, 0.25) - gauss(s, s0 + 0.3, 0.25)) + 0 * t)[..., None] * np.ones(3)


def writing(s0: float, t0: float, count: int = 6, seed: int = 0) -> Absorbance:
    """A row of pencil letters 3 mm high: each two stems and bars at random of its top, middle and foot."""
    rng = np.random.default_rng(seed)
    bars = rng.random((count, 3)) < 0.6

    def draw(s: Floats, t: Floats) -> Floats:
        ink = np.zeros(np.broadcast_shapes(s.shape, t.shape))
        for n in range(count):
            left = t0 + 2.6 * n
            tall = np.abs(s - s0) < 1.5
            wide = (t > left) & (t < left + 1.7)
            for stem in (left, left + 1.7):
                ink = np.maximum(ink, gauss(t, stem, 0.17) * tall)
            for bar, height in zip(bars[n], (-1.4, 0.0, 1.4), strict=True):
                ink = np.maximum(ink, bar * gauss(s, s0 + height, 0.17) * wide)
        return (0.35 * ink)[..., None] * np.ones(3)

    return draw


def shaded(edge_mm: float, depth: float = 0.1, slope: float = 0.0, soft: float = 0.4) -> Light:
    """A shadow on what lies below its edge at s = edge_mm + slope · t."""
    return lambda s, t: -depth / (1 + np.exp(np.clip((s - edge_mm - slope * t) / soft, -60, 60)))


def drawn(
    *things: Absorbance,
    length: float = 150.0,
    width: float = 20.0,
    noise: float = 0.004,
    seed: int = 1,
    light: Light | None = None,
    beside: bool = True,
) -> StripCells:
    """A flat upright strip with these things on it.

    light: what falls on it; the card beside the strip shows that too, unless ``beside`` is false. No cell is marked as a stroke.
    """
    rng = np.random.default_rng(seed)
    lit = light or (lambda s, t: 0 * s + 0 * t)
    all_things = (*things, lambda s, t: -lit(s, t)[..., None] * np.ones(3))
    cells = _mean(all_things, np.arange(CELL / 2, length, CELL), np.arange(CELL / 2, width, CELL), 2, noise, rng)
    count = int(np.clip(round((width - 2 * RIM) / 1.5), 3, 28))
    wide = (width - 2 * RIM) / count
    fine = np.arange(ROW / 2, length, ROW)
    bins = _mean(all_things, fine, RIM + (np.arange(count) + 0.5) * wide, 5, noise / 1.5, rng, wide)
    return StripCells(
        outline=outline(length, width),
        cells=(PAPER - cells).astype(np.float32),
        cell_mm=CELL,
        strokes=np.zeros(cells.shape[:2], bool),
        bins=(PAPER - bins).astype(np.float32),
        rim_mm=RIM,
        light=(lit(fine[:, None], np.array([[0.0, width]])) * beside).astype(np.float32),
        length_mm=length,
        width_mm=width,
        start_mm=(40.0, 250.0),
        axis=(0.0, -1.0),
        turned=False,
    )


def outline(length: float, width: float, inward: float = 0.0) -> StripOutline:
    """An upright strip in bay 1 whose long edges run ``inward`` in their middle."""
    ys = np.arange(0, length + 0.1, 1.0)
    arch = inward * 4 * ys / length * (1 - ys / length)
    return StripOutline(
        bay=1,
        corners_mm=np.array(
            [[40.0, 250.0], [40.0 + width, 250.0], [40.0 + width, 250.0 - length], [40.0, 250.0 - length]]
        ),
        width_mm=width,
        length_mm=length,
        axis=(0.0, -1.0),
        u_edge_mm=0.02,
        left_edge_mm=np.stack([40.0 + arch, 250.0 - ys], axis=1),
        right_edge_mm=np.stack([40.0 + width - arch, 250.0 - ys], axis=1),
    )


def pictured(
    *things: Absorbance, length: float = 150.0, width: float = 20.0, noise: float = 0.01, seed: int = 1
) -> StripImage:
    """The same strip as a picture, with a border of darker card around it and a photo's noise, a little smoothed."""
    rng = np.random.default_rng(seed)
    s = ((np.arange(round((length + 2 * MARGIN) * PX)) + 0.5) / PX - MARGIN)[:, None]
    t = ((np.arange(round((width + 2 * MARGIN) * PX)) + 0.5) / PX - MARGIN)[None, :]
    total = np.full((s.size, t.size, 3), -PAPER) + rng.normal(0, noise, (s.size, t.size, 1))
    for thing in things:
        total += thing(s, t)
    card = (s < 0) | (s > length) | (t < 0) | (t > width)
    total = np.where(card[..., None], 0.35, total)
    return StripImage(
        outline=outline(length, width),
        logs=(-total).astype(np.float32),
        px_per_mm=PX,
        margin_mm=MARGIN,
        start_mm=(40.0, 250.0),
        axis=(0.0, -1.0),
        light=np.zeros((s.size, 2), np.float32),
        picture=NO_PICTURE,
    )


def celled(
    *things: Absorbance, length: float = 150.0, width: float = 20.0, noise: float = 0.01, seed: int = 1
) -> StripCells:
    """The picture averaged as the pipeline does it: with its pencil strokes marked."""
    return averaged(pictured(*things, length=length, width=width, noise=noise, seed=seed), DEFAULTS.cell)


def read(*things: Absorbance, picture: bool = False, **how: Any) -> Reading:
    """Origin and front of a drawn strip; with ``picture``, of one cut out of a picture, that strokes can be seen in."""
    return read_cells((celled if picture else drawn)(*things, **how))


def read_cells(strip: StripCells) -> Reading:
    """Origin and front if the strip lies this way up."""
    return read_lines(strip, field_of(strip, DEFAULTS.profile), DEFAULTS)


def level_line(s0: float, width: float = 20.0, slope: float = 0.0, u_mm: float = 0.02, kind: str = "pencil") -> Line:
    """A landmark as measured: s = s0 + slope · t."""
    t = np.linspace(1.5, width - 1.5, 12)
    return Line(kind, t, s0 + slope * t, np.array([s0, slope]), u_mm, 8.0)


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
