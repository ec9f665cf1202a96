"""What is on the paper: a strip's picture in even light, and the truth about its spots."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from webcapture.model import Floats, Floats32
from webcapture.synthetic.paper import Darkening, cloud, fibres
from webcapture.synthetic.pencil import Grid, letters, rule, strokes
from webcapture.synthetic.scene import Dye, Front, Lane, OriginLine, PaperStrip, Spot
from webcapture.synthetic.transport import Load, transport

CHEMISTRY_PX_PER_MM = 8.0
"""Grid of the loads: spots and wet edges are smooth at this scale."""
MARGIN_MM = 2.0
"""Picture beyond the paper's edges, so that sampling near an edge stays on paper."""
PENCIL_MM = 0.45
LEFT_BEHIND = 0.3
"""Share of a fading stain that stays as far as the origin."""
INK = Dye("ink", (1.0, 0.85, 0.4))
"""What stays of a line drawn with a pen."""


@dataclass(frozen=True, slots=True)
class SpotOnPaper:
    """The truth about one spot in strip millimetres (s, t)."""

    spot: Spot
    centre: tuple[float, float]
    densest: tuple[float, float]
    sigma_mm: float
    """Standard deviation of its load along the flow."""
    half_widths_mm: tuple[float, float]
    """At a tenth of the maximum of its profile along the flow: below, above."""
    relative: tuple[float, float, float]
    """Reflectance at its densest place relative to bare paper, R, G, B."""


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """A strip's chemistry: what the solvent did."""

    shade: Floats32
    """(rows, columns, 3): brightness relative to bare paper, R, G, B, on ``grid``."""
    grid: Grid
    lanes: tuple[tuple[SpotOnPaper, ...], ...]
    """Spots of each lane, in the order of the scene."""
    bare: tuple[float, float, float]
    """Reflectance of bare paper."""


@dataclass(frozen=True, slots=True, eq=False)
class Painted:
    """A strip's picture."""

    pixels: Floats32
    """(rows, columns, 3): reflectance R, G, B; paper also in the margin beyond the cut edges."""
    grid: Grid


def run(strip: PaperStrip, rng: np.random.Generator) -> Run:
    """Let the solvent run up ``strip``: its dyes, and where they really are."""
    grid = Grid(strip.width_mm, strip.length_mm, CHEMISTRY_PX_PER_MM, MARGIN_MM)
    paper = Darkening(strip.stock)
    chemistry = _Chemistry(strip, grid, paper, rng)
    lanes = tuple(tuple(chemistry.add(spot, lane) for spot in lane.spots) for lane in strip.lanes)
    chemistry.run_ink()
    return Run(paper.shade(chemistry.loads), grid, lanes, paper.bare)


def paint(strip: PaperStrip, chemistry: Run, px_per_mm: float, rng: np.random.Generator) -> Painted:
    """The picture of ``strip`` at that scale: its chemistry, stains, texture, and pencil."""
    grid = Grid(strip.width_mm, strip.length_mm, px_per_mm, MARGIN_MM)
    shade = chemistry.shade * _stains(strip, chemistry.grid, rng)
    pixels = _enlarged(shade, chemistry.grid, grid) * np.array(chemistry.bare, np.float32)
    pixels *= _surface(strip, grid, rng)[..., None]
    return Painted(pixels, grid)


class _Chemistry:
    """Collects the loads of all dyes on one strip."""

    def __init__(self, strip: PaperStrip, grid: Grid, paper: Darkening, rng: np.random.Generator) -> None:
        self.strip, self.grid, self.paper = strip, grid, paper
        self.loads: Floats32 = np.zeros((*grid.shape, 3), np.float32)
        across = grid.shape[1]
        uneven = cloud(rng, (8, across), (8, 4.0 * grid.px_per_mm))[0] * 0.8
        uneven = uneven + cloud(rng, (8, across), (8, 1.3 * grid.px_per_mm))[0] * 0.45
        self.uneven: Floats = strip.ragged_mm * uneven.astype(float)[None, :]
        streaks = sum(
            share * cloud(rng, grid.shape, (30 * grid.px_per_mm, width * grid.px_per_mm))
            for share, width in ((0.55, 0.5), (0.6, 1.3), (0.55, 3.5))
        )
        blotches = cloud(rng, grid.shape, (4 * grid.px_per_mm, 1.5 * grid.px_per_mm))
        grains = cloud(rng, grid.shape, 0.3 * grid.px_per_mm)
        self.streaky = _factor(1 + strip.streaks * streaks + 0.04 * grains)
        self.patchy = _factor(1 + 0.4 * strip.streaks * blotches + 0.04 * grains)
        self.on_paper = _coverage(strip, grid)

    def add(self, spot: Spot, lane: Lane) -> SpotOnPaper:
        """Put one spot on the paper."""
        travelled = self.strip.front.curve.mean_at(lane.t_mm, 2) - self.strip.origin.curve.mean_at(lane.t_mm, 2)
        rows, columns, load = self._placed(transport(spot, travelled, lane.band), spot, lane)
        uptake = self.streaky if lane.band else self.patchy
        load = load * uptake[rows, columns] * self.on_paper[rows, columns]
        channel = int(np.argmax(spot.dye.absorption))
        load *= self.paper.load_for(spot.peak, channel) / max(spot.dye.absorption)
        self.loads[rows, columns] += load[..., None] * np.array(spot.dye.absorption, np.float32)
        return self._truth(spot, rows, columns, load)

    def run_ink(self) -> None:
        """An ink line that ran: what stayed of it, and the bands of its dyes over the whole width."""
        origin = self.strip.origin
        if origin.kind != "ink":
            return
        away = (self.grid.s_mm - origin.curve.at(self.grid.t_mm)) / (0.5 * origin.thickness_mm)
        line = np.exp(-0.5 * away**2).astype(np.float32) * self.streaky * self.paper.load_for(origin.absorbance, 0)
        self.loads += line[..., None] * np.array(INK.absorption, np.float32)
        for spot in origin.inks:
            self.add(spot, Lane(self.strip.width_mm / 2, band=True))

    def _placed(self, load: Load, spot: Spot, lane: Lane) -> tuple[slice, slice, Floats32]:
        """Where on the grid the load lies, and its values there."""
        grid, strip = self.grid, self.strip
        middle = lane.t_mm + spot.drift_mm * spot.rf
        half = grid.width_mm if lane.band else -load.t0_mm
        columns = grid.columns(middle - half, middle + half)
        t = grid.t_mm[:, columns]
        origin = strip.origin.curve.at(t)
        path = origin + spot.rf * (strip.front.curve.at(t) - origin) + spot.rf * self.uneven[:, columns]
        reach = len(load.values) * load.step_mm
        rows = grid.rows(float(path.min()) + load.s0_mm, float(path.max()) + load.s0_mm + reach)
        down = (grid.s_mm[rows] - path - load.s0_mm) / load.step_mm
        return rows, columns, _sampled(load, down, None if lane.band else (t - middle - load.t0_mm) / load.step_mm)

    def _truth(self, spot: Spot, rows: slice, columns: slice, load: Floats32) -> SpotOnPaper:
        s, t = self.grid.s_mm[rows, 0], self.grid.t_mm[0, columns]
        mass = load.astype(float)
        down, across = mass.sum(axis=1), mass.sum(axis=0)
        total = mass.sum()
        centre = (float(down @ s / total), float(across @ t / total))
        # The densest place of the smooth spot, not of one grain in it.
        smooth = cv2.GaussianBlur(load, (0, 0), 0.5 * self.grid.px_per_mm)
        row, column = np.unravel_index(int(np.argmax(smooth)), smooth.shape)
        peak = smooth[row, column] * np.array(spot.dye.absorption, np.float32)
        red, green, blue = (float(v) for v in self.paper.shade(peak[None, None])[0, 0])
        return SpotOnPaper(
            spot=spot,
            centre=centre,
            densest=(float(s[row]), float(t[column])),
            sigma_mm=float(np.sqrt(down @ (s - centre[0]) ** 2 / total)),
            half_widths_mm=_half_widths(s, down),
            relative=(red, green, blue),
        )


def _sampled(load: Load, down: Floats, across: Floats | None) -> Floats32:
    """The load at fractional rows and columns of its grid; a band has no columns."""
    if across is None:
        profile = load.values[:, 0]
        return np.asarray(np.interp(down, np.arange(len(profile)), profile, 0.0, 0.0), np.float32)
    columns = np.broadcast_to(across, down.shape).astype(np.float32)
    values = cv2.remap(load.values.astype(np.float32), columns, down.astype(np.float32), cv2.INTER_CUBIC)
    return np.maximum(values, np.float32(0))


def _factor(values: Floats32) -> Floats32:
    """How much dye a place takes up, relative to the mean."""
    return np.clip(values, 0.25, 2.0).astype(np.float32)


def _half_widths(s: Floats, profile: Floats) -> tuple[float, float]:
    """Distances from the maximum to where the profile falls below a tenth of it: below, above."""
    high = np.flatnonzero(profile >= 0.1 * profile.max())
    top = float(s[int(np.argmax(profile))])
    return top - float(s[high[0]]), float(s[high[-1]]) - top


def _coverage(strip: PaperStrip, grid: Grid) -> Floats32:
    """How much of each pixel is paper: the area under the cut edges."""
    left, right = strip.edges(grid.s_mm)
    across = np.minimum(grid.t_mm - left, right - grid.t_mm)
    along = np.minimum(grid.s_mm, strip.length_mm - grid.s_mm)
    share_t = np.clip(across * grid.px_per_mm + 0.5, 0, 1)
    share_s = np.clip(along * grid.px_per_mm + 0.5, 0, 1)
    return np.asarray(share_t * share_s, np.float32)


def _enlarged(picture: Floats32, coarse: Grid, grid: Grid) -> Floats32:
    """A coarse picture resampled to another grid, place for place."""
    ratio = coarse.px_per_mm / grid.px_per_mm
    # Pixel i of the fine grid has its middle at (i + 0.5) * ratio − 0.5 on the coarse one.
    shift = 0.5 * ratio - 0.5
    place = np.array([[ratio, 0, shift], [0, ratio, shift]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    size = (grid.shape[1], grid.shape[0])
    return np.asarray(cv2.warpAffine(picture, place, size, flags=flags, borderMode=cv2.BORDER_REPLICATE), np.float32)


def _stains(strip: PaperStrip, grid: Grid, rng: np.random.Generator) -> Floats32:
    """What the solvent and hands leave, as a factor on the paper's brightness (rows, columns, 3)."""
    stained = np.zeros((*grid.shape, 3), np.float32)
    if strip.front.kind == "wet-edge":
        stained += _wet(strip.front, grid)[..., None] * np.array((1.0, 1.0, 1.05), np.float32)
    if strip.front.kind == "stain":
        stained += _rim(strip.front, grid, rng)[..., None] * np.array((0.3, 0.55, 1.0), np.float32)
    for finger in strip.fingers:
        distance = np.hypot(grid.s_mm - finger.s_mm, 1.2 * (grid.t_mm - finger.t_mm)) / finger.size_mm
        blotch = np.exp(-(distance**4)) * (1 + 0.3 * cloud(rng, grid.shape, 1.5 * grid.px_per_mm))
        stained += (finger.absorbance * blotch).astype(np.float32)[..., None] * np.array((0.7, 0.9, 1.2), np.float32)
    for writing in strip.writings:
        if writing.ink is not None:
            words = np.zeros(grid.shape, np.float32)
            strokes(words, grid, letters(writing, rng), PENCIL_MM, writing.absorbance, rng)
            stained += words[..., None] * np.array(writing.ink, np.float32)
    return np.asarray(np.exp(np.float32(-np.log(10)) * stained), np.float32)


def _wet(front: Front, grid: Grid) -> Floats:
    """Absorbance of wet paper below the front: half of it exactly on the front."""
    below = front.curve.at(grid.t_mm) - grid.s_mm
    step = 0.5 + 0.5 * np.tanh(below / (front.width_mm / 2))
    fade = np.clip(1 - below / front.fade_mm, 0.0, 1.0) if front.fade_mm > 0 else 1.0
    return np.asarray(front.strength * step * fade)


def _rim(front: Front, grid: Grid, rng: np.random.Generator) -> Floats:
    """Absorbance of what the solvent swept together at its front: steeper above than below, densest on the front.

    One that fades ends on the front itself, half of it exactly there, and leaves a part all the way.
    """
    below = front.curve.at(grid.t_mm) - grid.s_mm
    if front.fade_mm > 0:
        ends = 0.5 + 0.5 * np.tanh(below / (front.width_mm / 2))
        behind = LEFT_BEHIND + (1 - LEFT_BEHIND) * np.exp(-np.maximum(below, 0) / front.fade_mm)
        return np.asarray(front.strength * ends * behind)
    width = np.where(below > 0, 1.3 * front.width_mm, 0.6 * front.width_mm)
    uneven = 1 + 0.2 * cloud(rng, (8, grid.shape[1]), (8, 3 * grid.px_per_mm))[0]
    return np.asarray(front.strength * np.exp(-0.5 * (below / width) ** 2) * uneven[None, :])


def _surface(strip: PaperStrip, grid: Grid, rng: np.random.Generator) -> Floats32:
    """Brightness of the sheet's surface: fibres, creases, and all that is drawn on it in pencil."""
    surface = fibres(rng, grid.shape, grid.px_per_mm, strip.stock.grain)
    for crease in strip.creases:
        away = (grid.s_mm - crease.curve.at(grid.t_mm)) / crease.width_mm
        surface *= (1 + 1.65 * crease.depth * away * np.exp(-0.5 * away**2)).astype(np.float32)
    pencil = np.zeros(grid.shape, np.float32)
    _draw_lines(strip, grid, pencil, rng)
    for lane in strip.lanes:
        _draw_mark(lane, strip.origin, grid, pencil, rng)
    for writing in strip.writings:
        if writing.ink is None:
            strokes(pencil, grid, letters(writing, rng), PENCIL_MM, writing.absorbance, rng)
    drawn = np.flatnonzero(pencil.any(axis=1))
    surface[drawn] *= np.exp(np.float32(-np.log(10)) * pencil[drawn])
    return surface


def _draw_lines(strip: PaperStrip, grid: Grid, pencil: Floats32, rng: np.random.Generator) -> None:
    origin, front = strip.origin, strip.front
    if origin.kind == "pencil":
        rule(pencil, grid, origin.curve, origin.thickness_mm, origin.absorbance, (), rng)
    if front.kind == "pencil":
        rule(pencil, grid, front.curve, front.width_mm, front.strength, front.spans_mm, rng)


def _draw_mark(lane: Lane, origin: OriginLine, grid: Grid, pencil: Floats32, rng: np.random.Generator) -> None:
    """A cross, tick or dot on the origin line."""
    s = float(origin.curve.at(np.array(lane.t_mm)))
    arm = float(rng.uniform(1.3, 2.2))
    tilt = float(rng.normal(0, 0.15))
    ways = {
        "cross": [((-arm, -arm + tilt), (arm, arm)), ((-arm, arm), (arm, -arm + tilt))],
        "tick": [((-arm, tilt), (arm, -tilt))],
        "dot": [((-0.12, 0.0), (0.12, 0.1))],
    }
    lines = [np.array([[s + a, lane.t_mm + b] for a, b in way]) for way in ways.get(lane.mark, [])]
    if lines:
        strokes(pencil, grid, lines, 0.8 if lane.mark == "dot" else PENCIL_MM, origin.absorbance + 0.05, rng)
