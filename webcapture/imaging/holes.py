"""Holes punched into a strip: through them the card shows, as dark as a black spot."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np

from webcapture.model import Floats, Floats32, StripImage
from webcapture.robust import median
from webcapture.settings import CellSettings

RIM = 0.2, 0.6
"""How wide an edge is counts between these: from 0 at the tint's level to 1 at the paper's."""
SECTORS = 12
"""Directions in which a disc's rim is looked at, each for itself."""
FINER = 4
"""Parts into which a cell is divided for that: a rim is narrower than a cell."""
BLOCK = 8
"""Rows of the picture over which an edge's profile is averaged: few enough for it to be straight."""


def tint_of(image: StripImage) -> Floats:
    """(3,) log10 of the card's tint, as it shows along both sides of the strip: the middle half of the margin, clear of blur."""
    rim = round(image.margin_mm * image.px_per_mm)
    part = slice(rim // 4, rim - rim // 4)
    sides = np.concatenate([image.logs[::8, part], image.logs[::8, ::-1][:, part]], axis=1)
    return np.asarray(median(sides.reshape(-1, 3), axis=0), float)


def usual_of(cells: Floats32) -> Floats32:
    """(3,) the level of most of the strip: its paper's."""
    return np.asarray(median(cells[::5, ::5].reshape(-1, 3), axis=0), np.float32)


def mended(paper: Floats32, holes: np.ndarray) -> Floats32:
    """The picture with what is seen through holes replaced by the same rows' paper beside them."""
    rows, cols = paper.shape[:2]
    full = cv2.resize(holes.astype(np.uint8), (cols, rows), interpolation=cv2.INTER_NEAREST) > 0
    mended = paper.copy()
    for row in np.flatnonzero(full.any(axis=1) & ~full.all(axis=1)):
        mended[row, full[row]] = np.median(paper[row, ~full[row]], axis=0)
    return mended


def punched(
    cells: Floats32, tint: Floats, cell_mm: float, paper_edge_mm: Callable[[], float], settings: CellSettings
) -> np.ndarray:
    """(rows, cols) cells in punched holes: discs as dark as the card's tint, in all channels, with a flat bottom and a sharp rim.

    Of a Gaussian spot a fifth of what is darker than a quarter of its depth is darker than three quarters; of a disc nearly all.
    A black spot may have as flat a bottom, but no rim as sharp as the paper's own edge. paper_edge_mm: how wide that is, asked
    for where it matters.
    """
    holes = np.zeros(cells.shape[:2], bool)
    like = cv2.inRange(cells, tint - settings.hole_like, tint + settings.hole_like)
    least, most = (np.pi / 4 * (mm / cell_mm) ** 2 for mm in settings.hole_mm)
    if cv2.countNonZero(like) < least:
        return holes
    # A pencil line or a spot's slope is like it, too, but too thin to hold a square of half of the smallest hole's sides, specks left out.
    within = max(round(settings.hole_mm[0] / 2 / cell_mm), 1)
    filled = cv2.morphologyEx(like, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))
    if not cv2.countNonZero(cv2.erode(filled, np.ones((within, within), np.uint8))):
        return holes
    count, _, stats, _ = cv2.connectedComponentsWithStats(like, connectivity=4)
    depth = (usual_of(cells) - tint).mean()
    if depth < settings.hole_like:
        return holes  # paper as dark as the tint, or a strip that is none: a hole could not be told
    reach, sharp_mm = round(settings.hole_rim_mm / cell_mm), 0.0
    for left, top, width, height, area in stats[1:count].tolist():
        if not least < area < most or max(width, height) > settings.hole_round * min(width, height):
            continue
        box = np.s_[max(top - reach, 0) : top + height + reach, max(left - reach, 0) : left + width + reach]
        fallen = (cells[box].mean(axis=2) - tint.mean()) / depth  # 0 at the tint's level, 1 at the paper's
        bottom = fallen[fallen < 0.25]
        # A spot as black as ink is darker than the tint: only its slopes are like it.
        flat = len(bottom) > settings.hole_flat * (fallen < 0.75).sum() and median(bottom) > -settings.hole_deep
        if not flat:
            continue
        sharp_mm = sharp_mm or max(settings.hole_sharp * paper_edge_mm(), settings.hole_sharp_mm)
        if _rim_mm(fallen, cell_mm) <= sharp_mm:
            holes[box] |= fallen < settings.hole_edge
    return np.asarray(cv2.dilate(holes.astype(np.uint8), np.ones((3, 3), np.uint8)), bool) if holes.any() else holes


def _rim_mm(fallen: Floats32, cell_mm: float) -> float:
    """Width of a disc's rim, from what areas lie below its two levels, above the bottom's own: the median of all directions.

    What lies beside it, a line, letters or a spot, counts in some of them only. fallen: (rows, cols), the disc in the middle.
    """
    fallen = np.asarray(cv2.resize(fallen, None, fx=FINER, fy=FINER, interpolation=cv2.INTER_LINEAR), np.float32)
    low = fallen < RIM[0]
    bottom = float(median(fallen[low])) if low.any() else 0.0
    down, right = (np.median(at) if len(at) else 0.0 for at in np.nonzero(low))
    y, x = np.indices(fallen.shape)
    sector = ((np.arctan2(y - down, x - right) / (2 * np.pi) + 0.5) * SECTORS).astype(int) % SECTORS
    inner, outer = (
        np.sqrt(np.bincount(sector[fallen < bottom + at * (1 - bottom)], minlength=SECTORS) * SECTORS / np.pi)
        for at in RIM
    )
    return float(median(outer - inner)) * cell_mm / FINER


def edge_width_mm(image: StripImage) -> float:
    """Width of the paper's long edges between the same two levels, as the photo shows them: the median along both."""
    across = 2 * round(image.margin_mm * image.px_per_mm)
    rows = len(image.logs) // BLOCK
    grey = image.logs[: rows * BLOCK].mean(axis=2).reshape(rows, BLOCK, -1).mean(axis=1)
    profiles = np.concatenate([grey[:, :across], grey[:, : -across - 1 : -1]])
    outer = across // 4
    tint, paper = (median(part, axis=1)[:, None] for part in (profiles[:, :outer], profiles[:, -outer:]))
    risen = (profiles - tint) / np.maximum(paper - tint, 1e-6)
    low, high = (_crossings(risen, at) for at in RIM)
    return float(median(np.maximum(high - low, 0))) / image.px_per_mm


def _crossings(profiles: Floats32, level: float) -> Floats:
    """(n,) where each of (n, places) first rises above a level, between places."""
    after = np.maximum((profiles > level).argmax(axis=1), 1)
    each = np.arange(len(profiles))
    before, at = profiles[each, after - 1], profiles[each, after]
    return np.asarray(after - np.clip((at - level) / np.maximum(at - before, 1e-6), 0, 1), float)
