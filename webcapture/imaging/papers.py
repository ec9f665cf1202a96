"""What on the panel is as light as paper, or as paper that is still wet, and which pieces of it could be strips."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np

from webcapture.card.layout import CardLayout
from webcapture.imaging.light import panel_slices
from webcapture.model import Bytes8, Sheet, StripOutline
from webcapture.settings import StripSettings


@dataclass(frozen=True, slots=True, eq=False)
class Papers:
    """Masks of the panel, (rows, cols), not 0 where paper is; dark bands across a strip are bridged."""

    white: Bytes8
    pale: Bytes8
    """Also where it is still wet, which darkens it and lets the tint show through."""
    px_per_mm: float
    corner_mm: tuple[float, float]
    """(x, y) of the masks' upper left corner on the card."""


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """A connected piece of such a mask."""

    shape: Bytes8
    """(rows, cols) not 0 where it is; as large as it is."""
    left: int
    top: int


def papers_on(sheet: Sheet, card: CardLayout, settings: StripSettings) -> Papers:
    """What lies on the panel that could be paper."""
    scale = sheet.px_per_mm
    panel = panel_slices(card, scale, settings.panel_inset_mm)
    white, pale = (_mask(sheet, panel, least, settings) for least in (settings.paper_least, settings.wet_least))
    return Papers(white, pale, scale, (panel[1].start / scale, panel[0].start / scale))


def _mask(sheet: Sheet, panel: tuple[slice, slice], least: float, settings: StripSettings) -> Bytes8:
    # Of the whole page, so that nothing is bridged that ends at the panel's border.
    mask: Bytes8 = np.zeros(sheet.level.shape, np.uint8)
    mask[panel] = sheet.level[panel] > least
    opened = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    reach = round(settings.bridge_mm * sheet.px_per_mm) | 1
    closed = cv2.morphologyEx(opened, cv2.MORPH_CLOSE, np.ones((reach, 1), np.uint8))
    return np.asarray(np.ascontiguousarray(closed[panel]), np.uint8)


def strip_pieces(papers: Papers, settings: StripSettings) -> list[Piece]:
    """Every piece as large as a strip: the white ones, and the whole of such that are wet in place of their dry ends.

    A reflection is as pale as wet paper, but has no straight sides.
    """
    white = list(_pieces(papers.white, papers.px_per_mm, settings))
    more = cv2.countNonZero(papers.pale) - cv2.countNonZero(papers.white)
    if more < settings.wet_share * _least_px(papers.px_per_mm, settings):
        return white
    wet = [
        piece
        for piece in _pieces(papers.pale, papers.px_per_mm, settings)
        if _wet_share(piece, papers) >= settings.wet_share and _is_straight(piece, settings)
    ]
    return [piece for piece in white if not any(_lies_on(piece, other) for other in wet)] + wet


def unread_paper(papers: Papers, outlines: tuple[StripOutline, ...], settings: StripSettings) -> bool:
    """Whether something as white and as large as a strip lies on the panel that is none of the ``outlines``, or darker and as straight."""
    if any(_beside(papers.white, papers, outlines, settings)):
        return True
    return any(_is_straight(piece, settings) for piece in _beside(papers.pale, papers, outlines, settings))


def _beside(
    mask: Bytes8, papers: Papers, outlines: tuple[StripOutline, ...], settings: StripSettings
) -> Iterator[Piece]:
    """What a mask shows beside the outlines, piece by piece, where it is as large and long as a strip."""
    scale, mask = papers.px_per_mm, mask.copy()
    for outline in outlines:
        corners = [np.round((outline.corners_mm - papers.corner_mm) * scale).astype(np.int32)]
        cv2.fillPoly(mask, corners, 0)
        cv2.polylines(mask, corners, True, 0, round(2 * settings.border_mm * scale))
    for piece in _pieces(mask, scale, settings):
        if max(piece.shape.shape) >= settings.least_length_mm * scale:
            yield piece


def _pieces(mask: Bytes8, scale: float, settings: StripSettings) -> Iterator[Piece]:
    """The pieces of a mask that are as large as a strip."""
    if cv2.countNonZero(mask) < _least_px(scale, settings):
        return
    _, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    for n in (np.flatnonzero(stats[1:, cv2.CC_STAT_AREA] >= _least_px(scale, settings)) + 1).tolist():
        left, top, width, height = stats[n, :4].tolist()
        yield Piece((labels[top : top + height, left : left + width] == n).astype(np.uint8), left, top)


def _least_px(scale: float, settings: StripSettings) -> float:
    return settings.least_width_mm * settings.least_length_mm * scale**2 * settings.least_fill


def _wet_share(piece: Piece, papers: Papers) -> float:
    """Share of a piece of pale paper that is not white."""
    height, width = piece.shape.shape
    white = papers.white[piece.top : piece.top + height, piece.left : piece.left + width] & piece.shape
    return 1 - cv2.countNonZero(white) / cv2.countNonZero(piece.shape)


def _is_straight(piece: Piece, settings: StripSettings) -> bool:
    """Whether a piece fills the smallest rectangle around it."""
    _, (width, height), _ = cv2.minAreaRect(cv2.findNonZero(piece.shape))
    return cv2.countNonZero(piece.shape) >= settings.wet_fill * width * height


def _lies_on(piece: Piece, other: Piece) -> bool:
    """Whether a piece's middle lies on another piece."""
    height, width = piece.shape.shape
    row, column = piece.top + height // 2 - other.top, piece.left + width // 2 - other.left
    rows, columns = other.shape.shape
    return 0 <= row < rows and 0 <= column < columns and bool(other.shape[row, column])
