"""Judge the photo: what makes every number on it uncertain, and what makes measuring pointless."""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np

from webcapture.card.layout import CardLayout
from webcapture.errors import CardIncomplete, OutOfFocus, TooDark
from webcapture.flags import flags
from webcapture.imaging.colour import linear_from_srgb, srgb_from_linear
from webcapture.imaging.light import panel_slices
from webcapture.imaging.projection import project
from webcapture.imaging.rectify import sampled
from webcapture.imaging.upright import grey
from webcapture.model import CardSighting, Photo, Quality, Sheet, StripOutline, View
from webcapture.robust import median
from webcapture.settings import QualitySettings

STEP_MM = 0.2
"""Along the chequers' edges: an area under an edge needs no finer ones."""


def judge(
    photo: Photo,
    sighting: CardSighting,
    view: View,
    sheet: Sheet,
    outlines: tuple[StripOutline, ...],
    card: CardLayout,
    settings: QualitySettings,
) -> Quality:
    """Blur, few pixels, darkness, glare, shadow, bent or incomplete card, as flags; raises where nothing could be trusted."""
    blur, white, span = _blur_mm(photo, view, card), float(median(sheet.light[::3, ::3])), _span(sighting, card)
    if span < settings.span_error:
        raise CardIncomplete("About half of the card is out of the picture or covered.")
    if white < settings.dark_error:
        raise TooDark("The photo is too dark: white paper is nearly black in it.")
    if blur > settings.blur_error_mm:
        raise OutOfFocus("The photo is too blurred: the card's edges are smeared over more than two millimetres.")
    burnt, paper = _clipped_mm2(sheet, card, settings), _area_mm2(outlines)
    overexposed = burnt[0] > settings.bright_share * paper > 0
    glare = _veil_mm2(sheet, outlines, card, settings) > settings.glare_mm2 or (
        burnt[1] > settings.glare_mm2 and not overexposed
    )
    below, above = sheet.shade
    checks = {
        "another-card": sighting.tags_elsewhere >= settings.other_tags,
        "card-incomplete": span < settings.span_flag,
        "card-bent": view.bend_mm > settings.bend_mm,
        "out-of-focus": blur > settings.blur_flag_mm,
        "few-pixels": view.px_per_mm * photo.reduction < settings.px_per_mm,
        "too-dark": white < settings.dark_flag,
        "too-bright": overexposed,
        "shadow": below > settings.shade or (below + above > settings.shade_span and not glare),
        "glare": glare,
    }
    return Quality(blur, white, flags(*(code for code, holds in checks.items() if holds)))


def _span(sighting: CardSighting, card: CardLayout) -> float:
    """The smaller share of the frame's width and height that the seen saddles span."""
    seen = np.ptp(sighting.points_mm, axis=0)
    return float((seen / np.ptp(np.array(card.saddles), axis=0)).min())


def _blur_mm(photo: Photo, view: View, card: CardLayout) -> float:
    """Standard deviation of the blur on the card, from the chequers' edges beside every saddle, both ways.

    For an edge blurred by a Gaussian, the area between it and a sharp step is 2 sd / √(2π) of its height. Each area is taken
    with its sign, so that noise does not add up to blur.
    """
    saddles, steps = np.array(card.saddles), np.arange(-2.5, 2.51, STEP_MM)
    sides = np.array([(0.0, 2.5), (0.0, -2.5), (2.5, 0.0), (-2.5, 0.0)])
    along = np.array([(1.0, 0.0), (1.0, 0.0), (0.0, 1.0), (0.0, 1.0)])
    places = saddles[:, None, None] + sides[:, None] + steps[:, None] * along[:, None]
    places_px = project(view.mapping, places.reshape(-1, len(steps), 2))
    levels = linear_from_srgb(grey(sampled(photo, places_px)))
    first, last = levels[:, :2].mean(axis=1), levels[:, -2:].mean(axis=1)
    rise = last - first
    clear = np.abs(rise) > 0.3 * np.maximum(first, last)
    if not clear.any():
        return 0.0
    edge = ((levels - first[:, None]) / np.where(clear, rise, 1)[:, None])[clear]
    place = steps[-1] - (edge.sum(axis=1) - 0.5) * STEP_MM
    beyond = steps[None, :] > place[:, None]
    areas = np.where(beyond, 1 - edge, edge).sum(axis=1) * STEP_MM
    seen = max(float(median(areas)), 0.0) * float(np.sqrt(2 * np.pi)) / 2
    own = 0.5 / view.px_per_mm  # what the pixels' size and what lies between them add
    return float(np.sqrt(max(seen**2 - own**2, 0.0)))


def _clipped_mm2(sheet: Sheet, card: CardLayout, settings: QualitySettings) -> tuple[float, float]:
    """Area of the panel, square millimetres, on which light is clipped in any channel, and in all of them."""
    channels = cv2.split(sheet.pixels[panel_slices(card, sheet.px_per_mm, settings.panel_inset_mm)])
    limit = float(srgb_from_linear(settings.glare_level))
    some, every = (
        cv2.threshold(pick(pick(channels[0], channels[1]), channels[2]), limit - 1, 255, cv2.THRESH_BINARY)[1]
        for pick in (cv2.max, cv2.min)
    )
    return cv2.countNonZero(some) / sheet.px_per_mm**2, cv2.countNonZero(every) / sheet.px_per_mm**2


def _area_mm2(outlines: tuple[StripOutline, ...]) -> float:
    return sum(outline.width_mm * outline.length_mm for outline in outlines)


def _veil_mm2(sheet: Sheet, outlines: tuple[StripOutline, ...], card: CardLayout, settings: QualitySettings) -> float:
    """Area, square millimetres, over which light lies as a veil on the tint beside the strips."""
    scale = sheet.px_per_mm
    panel = panel_slices(card, scale, settings.panel_inset_mm)
    low, high = settings.glare_range
    veil = cv2.inRange(sheet.level[panel], np.array(low), np.array(high))
    for corners in _polygons(outlines, scale, panel):
        cv2.fillPoly(veil, [corners], (0,))
    return cv2.countNonZero(cv2.morphologyEx(veil, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))) / scale**2


def _polygons(outlines: tuple[StripOutline, ...], scale: float, panel: tuple[slice, slice]) -> Iterator[np.ndarray]:
    """The strips' corners, a little widened, in pixels of the panel's picture."""
    for outline in outlines:
        middle = outline.corners_mm.mean(axis=0)
        wide = outline.corners_mm + 1.5 * np.sign(outline.corners_mm - middle)
        yield np.round(wide * scale - (panel[1].start, panel[0].start)).astype(np.int32)
