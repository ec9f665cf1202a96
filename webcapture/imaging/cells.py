"""A strip's image averaged into the cells and bins that measuring works on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np

from webcapture.imaging.holes import edge_width_mm, mended, punched, tint_of, usual_of
from webcapture.model import Bytes8, Floats32, StripCells, StripImage
from webcapture.robust import median, quantile, spread
from webcapture.settings import CellSettings
from webcapture.slopes import steepness_of

PAPER_AROUND = 2
"""Cells around a small dark piece by which its height is told."""
MOST_INWARD = 0.97
"""Share of an edge's places that count for how far it runs inside its straight line: a nick does not."""


def averaged(image: StripImage, settings: CellSettings) -> StripCells:
    """The paper without its margin, in even cells, and in full rows averaged over bins across the strip."""
    scale = image.px_per_mm
    inset = round(image.margin_mm * scale)
    paper = image.logs[inset:-inset, inset:-inset]
    rows, cols = paper.shape[:2]
    length, width = rows / scale, cols / scale
    rim = min(settings.edge_mm + _inward_mm(image, width), settings.edge_share * width)
    edge = round(rim * scale)
    count = int(np.clip(round((width - 2 * rim) / settings.bin_mm), 3, settings.most_bins))
    cell_mm = settings.sheet_cell_mm if width >= settings.sheet_mm else settings.cell_mm
    shape = max(round(length / cell_mm), 8), max(round(width / cell_mm), 8)
    cells = _resized(paper, *shape)
    holes = punched(cells, tint_of(image), length / len(cells), lambda: edge_width_mm(image), settings)
    if holes.any():
        paper = mended(paper, holes)
        cells = _resized(paper, *shape)
    planes = np.empty((3, *cells.shape[:2]), np.float32)
    cv2.split(cells, list(planes))
    return StripCells(
        outline=image.outline,
        cells=np.moveaxis(planes, 0, -1),
        strokes=_strokes(planes, usual_of(cells), length / len(cells), settings) | holes,
        cell_mm=length / len(cells),
        bins=_resized(paper[:, edge : cols - edge], rows, count),
        rim_mm=edge / scale,
        light=image.light[inset:-inset],
        length_mm=length,
        width_mm=width,
        start_mm=image.start_mm,
        axis=image.axis,
        turned=False,
        blotches=image.blotches,
    )


def _inward_mm(image: StripImage, width_mm: float) -> float:
    """How far the paper's long edges run inside their straight lines, where it is bent or badly cut."""
    outline = image.outline
    side = np.array([-image.axis[1], image.axis[0]])
    left = (outline.left_edge_mm - image.start_mm) @ side
    right = width_mm - (outline.right_edge_mm - image.start_mm) @ side
    return max(*(float(quantile(edge, MOST_INWARD)) for edge in (left, right)), 0.0)


def _resized(values: Floats32, rows: int, cols: int) -> Floats32:
    """Means over areas; never finer than the picture is."""
    rows, cols = min(rows, values.shape[0]), min(cols, values.shape[1])
    return np.asarray(cv2.resize(values, (cols, rows), interpolation=cv2.INTER_AREA), np.float32)


def _strokes(planes: Floats32, paper: Floats32, cell_mm: float, settings: CellSettings) -> np.ndarray:
    """(rows, cols) cells under pencil strokes: darker than anything a square of about a millimetre can hold, grey in all channels.

    A spot loses little where thin things are taken away (a grey opening of its darkness); a stroke loses nearly all.
    planes: (3, rows, cols) log10 intensity; paper: (3,) that of most of the strip.
    """
    size = max(round(settings.opening_mm / cell_mm), 2)
    red, green, blue = planes - paper[:, None, None]
    palest = cv2.max(cv2.max(red, green), blue)
    dark = np.asarray(cv2.GaussianBlur(-palest, (0, 0), settings.stroke_smooth_mm / cell_mm), np.float32)
    thin = dark - np.asarray(_opened(dark, size), np.float32)
    some = thin[::3, ::3]
    usual, grain = float(median(some)), float(spread(some))
    height = dark - float(median(dark[::3, ::3]))
    floor = max(settings.stroke_least, usual + settings.stroke_sd * grain)
    share = height * np.float32(settings.stroke_share)
    strokes = (thin > np.maximum(share, floor)).astype(np.uint8)
    reach = round(settings.stroke_mm / cell_mm)
    around = np.ones((2 * reach + 1, 2 * reach + 1), np.uint8)
    clear = share > floor
    _, pieces, stats, _ = cv2.connectedComponentsWithStats(clear.astype(np.uint8), connectivity=8)
    seen = _Seen(pieces, stats, height, (red, green, blue), cell_mm)
    for box, filled in _coloured_spots(seen, clear & (thin < share), reach, settings):
        # What is as thin as a stroke beside a spot's filled middle, but paler, is its steep or ragged rim.
        level = np.where(filled, height[box] - thin[box], np.float32(-np.inf))
        strokes[box][height[box] < cv2.dilate(level, around)] = 0
    for box, own in _small_spots(seen, settings):
        strokes[box][own] = 0
    return cv2.dilate(strokes, np.ones((3, 3), np.uint8)).astype(bool)


def _opened(values: Floats32 | Bytes8, size: int) -> np.ndarray:
    """(rows, cols) without what is thinner than ``size`` cells. cv2.morphologyEx shifts all by a cell where the size is even."""
    square, middle = np.ones((size, size), np.uint8), (size - 1) // 2
    return cv2.dilate(cv2.erode(values, square), square, anchor=(middle, middle))


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    """What is dark on the paper, piece by piece: spots, strokes and lines."""

    pieces: np.ndarray
    """(rows, cols) number of the piece that a cell belongs to, 0 for paper."""
    stats: np.ndarray
    """(pieces, 5) left, top, width, height and area, in cells."""
    height: Floats32
    """(rows, cols) darkness above the paper's, in the palest channel."""
    planes: tuple[Floats32, Floats32, Floats32]
    """R, G, B, each (rows, cols): log10 intensity above the paper's, below 0 where it is dark."""
    cell_mm: float

    def box(self, n: int, reach: int) -> tuple[slice, slice]:
        """Rows and columns of a piece with ``reach`` cells around."""
        left, top, width, tall = self.stats[n, :4].tolist()
        return np.s_[max(top - reach, 0) : top + tall + reach, max(left - reach, 0) : left + width + reach]


def _coloured_spots(
    seen: _Seen, firm: np.ndarray, reach: int, settings: CellSettings
) -> Iterator[tuple[tuple[slice, slice], np.ndarray]]:
    """(rows and columns with ``reach`` around, which cells in there are filled) of each coloured spot that shows in its palest channel, too.

    A spot is filled: squares of ``patch_mm`` fit in that keep their darkness where thin things are taken away, and cover much
    of it. Pencil is never coloured. firm: (rows, cols) which dark cells are little darker than their surroundings.
    """
    patches = _opened(firm.astype(np.uint8), round(settings.patch_mm / seen.cell_mm)) > 0
    if not patches.any():
        return
    stats, inside = seen.stats, seen.pieces[patches]
    strongest = -np.minimum.reduce([plane[patches] for plane in seen.planes])
    covered, palest, darkest = (
        np.bincount(inside, part, minlength=len(stats)) for part in (None, seen.height[patches], strongest)
    )
    spots = (covered > settings.patch_share * stats[:, cv2.CC_STAT_AREA]) & (palest < settings.patch_grey * darkest)
    spots &= stats[:, [cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT]].max(axis=1) * seen.cell_mm <= settings.largest_mm
    for n in np.flatnonzero(spots).tolist():
        box = seen.box(n, reach)
        yield box, patches[box] & (seen.pieces[box] == n)


def _small_spots(seen: _Seen, settings: CellSettings) -> Iterator[tuple[tuple[slice, slice], np.ndarray]]:
    """(rows and columns, which cells in there are its own) of each spot of any colour that is hardly wider than a stroke.

    It is as broad as long, without gaps, and fades more slowly than ink or pencil does.
    """
    sides = seen.stats[:, [cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT]] * seen.cell_mm
    least, most = settings.small_mm
    small = (sides.min(axis=1) >= least) & (sides.max(axis=1) <= most)
    small &= seen.stats[:, cv2.CC_STAT_AREA] * seen.cell_mm**2 > settings.small_fill * sides.prod(axis=1)
    for n in np.flatnonzero(small).tolist():
        box = seen.box(n, PAPER_AROUND)
        if steepness_of(-np.stack([plane[box] for plane in seen.planes]), seen.cell_mm) < settings.small_steep:
            yield box, seen.pieces[box] == n
