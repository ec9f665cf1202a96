"""Tell the paper from what is on it: pencil strokes, the level of the bare paper, and its noise."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.ndimage import (
    distance_transform_edt,
    percentile_filter,
    uniform_filter1d,
)

from webcapture.measure.bridged import SPAN, bridged
from webcapture.measure.channels import chroma, in_planes, of_planes, palest
from webcapture.measure.curves import polynomial_at
from webcapture.measure.field import Field
from webcapture.measure.smooth import smoothed
from webcapture.measure.windows import widened
from webcapture.model import Floats, Floats32
from webcapture.robust import NEVER_NONE, SD_PER_MAD, median, quantile, running_median, spread
from webcapture.settings import PaperSettings

COARSER = 2
"""Cells to a side of the squares in which the surroundings of strokes are summed."""
NEIGHBOURS = 3
"""Cells across a cell with its neighbours."""
EVERY = 2
"""Every second row, column or block tells a spread as well as all do."""


@dataclass(frozen=True, slots=True, eq=False)
class Stain:
    """What is on the paper besides pencil: absorbance above the bare paper, in the field's cells."""

    absorbance: Floats32
    """(rows, cols, 3)."""
    noise: Floats
    """(3,) standard deviation of one cell on bare paper, R, G, B."""
    bare: np.ndarray
    """(rows, cols) which cells show bare paper."""
    strokes: np.ndarray
    """(rows, cols) which cells lie under a pencil stroke; their absorbance is filled in from around."""
    beneath: np.ndarray | None = None
    """(rows, cols) which cells belong to spots beneath the origin's marks, where they were looked for."""


def stain_on(
    field: Field,
    strokes: np.ndarray,
    lines: tuple[Floats, ...],
    top: Floats | None,
    settings: PaperSettings,
    fading: Floats | None = None,
    coloured: np.ndarray | None = None,
) -> Stain:
    """Absorbance above the bare paper, with pencil strokes and the given lines filled in from around.

    strokes: cells under pencil; lines: polynomials s(t) of origin and front; top: that of the front, beyond which the paper counts for nothing below;
    fading: that of a front that left a stain which fades slowly behind it; coloured: cells whose colour is a spot's, under pencil, too.
    """
    under = [np.abs(field.s_mm[:, None] - polynomial_at(field.t_mm, line)) < settings.line_half_mm for line in lines]
    strokes = np.logical_or.reduce([strokes, *under])
    usable = ~strokes & _away_from_edges(field, settings)
    if top is not None:
        usable &= field.s_mm[:, None] < polynomial_at(field.t_mm, top) - settings.line_half_mm
    planes = _filled(in_planes(field.absorbance), ~strokes, settings.fill_mm / field.cell_mm)
    for line, cells in zip(lines, under, strict=True):
        _follow_flanks(planes, cells, ~strokes, line, field, settings)
    if coloured is not None:
        _show_colour(planes, coloured & strokes, field)
    if field.uneven:
        planes -= _shade(planes, usable, field.cell_mm, settings)
    level, bare, noise = _bare_paper(planes, usable, field.cell_mm, settings)
    planes -= level
    if top is not None:
        planes -= _damp(planes, usable, field, top, settings)[:, None]
    if fading is not None:
        planes -= _tail(planes, field, fading, settings)
    return Stain(of_planes(planes), noise, bare, strokes)


def _show_colour(planes: Floats32, cells: np.ndarray, field: Field) -> None:
    """Give cells of planes (3, rows, cols) that pencil hides the colour that was seen there: pencil is grey, and hides none."""
    seen = field.absorbance[cells].T
    planes[:, cells] = planes[:, cells].min(axis=0) + seen - seen.min(axis=0)


def _follow_flanks(
    planes: Floats32, under: np.ndarray, known: np.ndarray, line: Floats, field: Field, settings: PaperSettings
) -> None:
    """Take off planes (3, rows, cols) what the means filled in under a line exceed the flanks of spots there, as they run on beneath it.

    Only that: where a parabola says more, it may as well follow what blur has left of the line. Nor does bare paper's grain count.
    """
    reach = settings.bridge_mm / field.cell_mm
    at = (polynomial_at(field.t_mm, line) - field.s_mm[0]) / field.cell_mm
    low = max(int(at.min() - SPAN * reach) - 1, 0)
    near = slice(low, max(int(at.max() + SPAN * reach) + 3, low + 1))
    part = planes[:, near]
    if not part.size:
        return
    less = part - bridged(part, under[near], known[near], at - low, reach)
    part -= np.maximum(less - np.float32(settings.bridge_least), 0)


def _damp(planes: Floats32, usable: np.ndarray, field: Field, top: Floats, settings: PaperSettings) -> Floats32:
    """(rows,) absorbance by which the paper grows darker towards the front, where it dries last; 0 where it does not.

    Grey, and over the whole width: told by the paler part of each row in its palest channel. Nothing that lies apart from the
    front counts, nothing as dark as a band, and nothing that ends as soon as one does.
    """
    damp = np.zeros(len(field.s_mm), np.float32)
    last = int(np.searchsorted(field.s_mm, float(polynomial_at(field.width_mm / 2, top)) - settings.damp_clear_mm))
    columns = np.flatnonzero(usable[:last].any(axis=0))[::EVERY]
    if last < 2 or len(columns) < 2:
        return damp
    rows = quantile(palest(of_planes(planes[:, :last]))[:, columns], settings.damp_share, axis=1)
    smooth = uniform_filter1d(rows - median(rows), max(round(settings.damp_smooth_mm / field.cell_mm), 1))
    # The least on the way down from the front: what rises again below it is something else.
    ramp = np.minimum.accumulate(smooth[::-1])[::-1]
    height = float(ramp[-1])
    gradual = (ramp > height / 2).sum() * field.cell_mm
    if not settings.damp_least <= height <= settings.damp_most or gradual < settings.damp_mm:
        return damp
    damp[:last], damp[last:] = np.maximum(ramp, 0), height
    return damp


def _tail(planes: Floats32, field: Field, front: Floats, settings: PaperSettings) -> Floats32:
    """(3, rows, cols) absorbance of what the solvent left behind its front, by the distance from it: the paler part of the paper tells.

    It grows towards the front and lies all along it; what rises again further off is a spot.
    """
    _, rows, cols = planes.shape
    at = (polynomial_at(field.t_mm, front) - field.s_mm[0]) / field.cell_mm
    behind = np.arange(round(settings.tail_mm / field.cell_mm))
    along = np.maximum(np.rint(at - behind[:, None]).astype(int), 0)
    paler = quantile(planes[:, np.minimum(along, rows - 1), np.arange(cols)], settings.damp_share, axis=2)
    smooth = uniform_filter1d(paler, 3, axis=1)
    smooth -= quantile(smooth, settings.tail_base, axis=1)[:, None]
    hidden = round(settings.line_half_mm / field.cell_mm) + 1  # filled in from around
    smooth[:, :hidden] = smooth[:, hidden, None]
    profile = np.maximum(np.minimum.accumulate(smooth, axis=1), 0)
    away = np.rint(at - np.arange(rows)[:, None]).astype(int)
    within = (away > -hidden) & (away < len(behind))
    return np.asarray(profile[:, away.clip(0, len(behind) - 1)] * within, np.float32)


def _shade(planes: Floats32, usable: np.ndarray, cell_mm: float, settings: PaperSettings) -> Floats32:
    """(rows, cols) what dims the paper as a whole, with its edges kept: shadows, a hand's or the wet zone's.

    The median over a neighbourhood larger than spots, in the channel that colours darken least. The card beside a wide
    sheet is too far off to tell the light on it.
    """
    block = max(round(settings.shade_block_mm / cell_mm), 1)
    blocks = of_planes(_blocks(planes, block))
    known = _blocks(usable.astype(np.float32), block) > settings.known_share
    if not known.any():
        return np.zeros(usable.shape, np.float32)
    nearest = distance_transform_edt(~known, return_distances=False, return_indices=True)
    grey = palest(blocks)[tuple(nearest)]
    tinge = chroma(blocks)[tuple(nearest)]
    size = round(settings.shade_mm / settings.shade_block_mm) | 1
    shade = running_median(grey, size)
    for _ in range(settings.shade_rounds):
        off = np.abs(grey - shade)
        spot = (off > _limit(off, settings)) & (tinge > _limit(tinge, settings))
        spot |= (grey - shade) > settings.shade_spot
        without = np.where(widened(spot, NEIGHBOURS), shade, grey)
        shade = running_median(without, size // 2 | 1)
    return _spread_out(shade, block, usable.shape)


def _limit(values: Floats32, settings: PaperSettings) -> float:
    """Beyond which a value is not the paper's: its median and some standard deviations."""
    return float(median(values)) + settings.stained_sd * (float(spread(values)) + NEVER_NONE)


def _away_from_edges(field: Field, settings: PaperSettings) -> np.ndarray:
    inside_t = (field.t_mm > field.rim_mm) & (field.t_mm < field.width_mm - field.rim_mm)
    inside_s = (field.s_mm > settings.edge_mm) & (field.s_mm < field.length_mm - settings.edge_mm)
    return inside_s[:, None] & inside_t[None, :]


def _filled(planes: Floats32, known: np.ndarray, sigma: float) -> Floats32:
    """(n, rows, cols) with the unknown cells taken from their surroundings: a Gaussian's means, which need no finer grid than twice the cells."""
    weight = known.astype(np.float32)
    total, *means = smoothed(np.stack([_blocks(weight, COARSER), *_blocks(planes * weight, COARSER)]), sigma / COARSER)
    filled, (rows, cols) = planes.copy(), np.nonzero(~known)
    filled[:, rows, cols] = _between_blocks(np.stack(means) / np.maximum(total, 1e-3), (rows, cols), known.shape)
    return filled


def _bare_paper(
    planes: Floats32, usable: np.ndarray, cell_mm: float, settings: PaperSettings
) -> tuple[Floats32, np.ndarray, Floats]:
    """(level, bare, noise): the paper's own level everywhere, which cells show it, and their scatter about it.

    Worked in blocks of about a millimetre: what stands out above its surroundings is not paper, and is left out of the next turn.
    """
    block = max(round(settings.block_mm / cell_mm), 1)
    shown = usable.astype(np.float32)
    weight = _blocks(shown, block)
    mean = np.asarray(_blocks(planes * shown, block) / np.maximum(weight, 1e-3), np.float32)
    level = _first_level(mean, weight, settings)
    sigma = settings.level_mm / (block * cell_mm)
    some = np.flatnonzero(weight > settings.block_share)[::EVERY]
    for _ in range(settings.level_rounds):
        above = mean - level
        grain = spread(above.reshape(len(above), -1).take(some, axis=1), axis=1) + 1e-5
        stained = (np.abs(above) > settings.stained_sd * grain[:, None, None]).any(axis=0)
        paper = np.where(widened(stained, NEIGHBOURS), 0, weight).astype(np.float32)
        total, *sums = smoothed(np.concatenate([paper[None], mean * paper]), sigma)
        level = np.stack(sums) / np.maximum(total, 1e-4)
    full_level = _spread_out(level, block, usable.shape)
    bare = usable & (_spread_out(paper, block, usable.shape) > settings.known_share)
    enough = np.count_nonzero(bare) > settings.bare_least
    cells = np.flatnonzero(bare if enough else usable)[:: EVERY**2]
    off = (part.reshape(len(part), -1).take(cells, axis=1) for part in (planes, full_level))
    return full_level, bare, SD_PER_MAD * median(np.abs(np.subtract(*off)), axis=1) + 1e-5


def _first_level(mean: Floats32, weight: Floats32, settings: PaperSettings) -> Floats32:
    """The paler part of every row, followed smoothly along the strip: spots fill less than half of a lane's length."""
    known = weight > settings.block_share
    counts = known.sum(axis=1)
    usual = median(mean[:, known], axis=1) if known.any() and not counts.all() else np.zeros(len(mean), np.float32)
    # Unknown blocks sort to the end; the percentile is then taken among the known ones of each row.
    ordered = np.sort(np.where(known, mean, np.float32(np.inf)), axis=2)
    rank = (np.maximum(counts - 1, 0) * settings.pale_percentile / 100).astype(int)
    along = np.where(counts > 0, ordered[:, np.arange(len(rank)), rank], usual[:, None])
    size = min(round(settings.first_window_mm / settings.block_mm), along.shape[1]) | 1
    share = settings.first_percentile
    slow = np.stack([percentile_filter(channel, share, size, mode="nearest") for channel in along])
    return np.broadcast_to(uniform_filter1d(slow, max(size // 2, 1), axis=1, mode="nearest")[..., None], mean.shape)


def _blocks(planes: Floats32, block: int) -> Floats32:
    """(..., rows, cols) means over blocks of cells; what makes up no whole one is lost."""
    rows, cols = (side // block for side in planes.shape[-2:])
    whole = planes[..., : rows * block, : cols * block]
    tall = sum((whole[..., n::block, :] for n in range(1, block)), whole[..., ::block, :])
    total = sum((tall[..., n::block] for n in range(1, block)), tall[..., ::block])
    return np.asarray(total / np.float32(block * block), np.float32)


def _spread_out(blocks: Floats32, block: int, shape: tuple[int, ...]) -> Floats32:
    """(..., rows, cols) blocks back to cells, linearly between the blocks' middles: across while the rows are few, then along."""
    rows, cols = blocks.shape[-2:]
    wide = blocks @ _across(cols, block, shape[1])
    low, share = _between(rows, block, shape[0])
    below, cells = wide.take(low, axis=-2), wide.take(np.minimum(low + 1, rows - 1), axis=-2)
    cells -= below
    cells *= share[:, None]
    cells += below
    return np.asarray(cells, np.float32)


def _between_blocks(blocks: Floats32, cells: tuple[np.ndarray, ...], shape: tuple[int, ...]) -> Floats32:
    """(n, cells) what blocks (n, rows, cols) of ``COARSER`` cells come to in some cells, as :func:`_spread_out` has it for all."""
    ends = []
    for at, count, size in zip(cells, blocks.shape[1:], shape, strict=True):
        low, share = _between(count, COARSER, size)
        ends.append((low[at], np.minimum(low + 1, count - 1)[at], share[at]))
    (top, bottom, down), (left, right, across) = ends
    flat, width = blocks.reshape(len(blocks), -1), blocks.shape[2]
    upper, lower = (
        flat.take(row * width + left, axis=1) * (1 - across) + flat.take(row * width + right, axis=1) * across
        for row in (top, bottom)
    )
    return np.asarray(upper + (lower - upper) * down, np.float32)


@lru_cache(maxsize=64)
def _between(count: int, block: int, size: int) -> tuple[np.ndarray, Floats32]:
    """((size,) the block below each cell, share of the next one in it)."""
    place = np.clip((np.arange(size) + 0.5) / block - 0.5, 0, count - 1)
    low = place.astype(int)
    return low, (place - low).astype(np.float32)


@lru_cache(maxsize=16)
def _across(count: int, block: int, size: int) -> Floats32:
    """(count, size) weights of the blocks of a row in each of its cells."""
    low, share = _between(count, block, size)
    weights = np.zeros((count, size), np.float32)
    weights[low, np.arange(size)] = 1 - share
    weights[np.minimum(low + 1, count - 1), np.arange(size)] += share
    return weights
