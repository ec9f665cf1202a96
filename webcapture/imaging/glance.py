"""A glance at a small frame of a live view: where the card is, and the one thing to do next before a picture is taken.

Nothing is measured here. Tags are read in the cheapest way, and more patiently where that shows too few; plane and lens are
fitted to their corners, and the hint is the most urgent of what stands in the way of a good photo.
"""

from __future__ import annotations

import io
from dataclasses import dataclass

import cv2
import numpy as np
from PIL import Image, JpegImagePlugin

from webcapture.card.layout import CardLayout, Rect
from webcapture.errors import NotAnImage, TooLarge
from webcapture.imaging.markers import Look, Tags, all_blurred, tags_on
from webcapture.imaging.projection import project
from webcapture.imaging.rectify import fit_view
from webcapture.model import Bytes8, CardSighting, Floats, View
from webcapture.settings import Settings

NO_CARD, WHOLE, CLOSER, LEVEL, LIGHT, STILL, GOOD = "no-card", "whole", "closer", "level", "light", "still", "good"
HINTS = (NO_CARD, WHOLE, LIGHT, CLOSER, LEVEL, STILL, GOOD)
"""In order of urgency."""


@dataclass(frozen=True, slots=True)
class Glance:
    """What one frame shows."""

    hint: str
    """One of ``HINTS``."""
    size_px: tuple[int, int]
    """(width, height) of the frame."""
    outline_px: tuple[tuple[float, float], ...]
    """The corners of the card's chequered frame, clockwise from its top left; empty where no card was seen."""


def glance(data: bytes, settings: Settings) -> Glance:
    """Look at one frame, a JPEG of at most ``glance.most_side`` pixels a side.

    Raises TooLarge, before a pixel is decoded, or NotAnImage: what is no JPEG shows by its head, one cut short only as it is decoded.
    """
    grey = _grey(data, settings.glance.most_side)
    size = grey.shape[1], grey.shape[0]
    tags = _tags(grey, settings)
    if tags is None:
        return Glance(_without_card(grey, settings), size, ())
    view = _view(tags, grey.shape, settings)
    outline = project(view.mapping, _corners(tags.card.frame))
    return Glance(
        _hint(grey, tags.card, view, outline, settings), size, tuple((float(x), float(y)) for x, y in outline)
    )


def _tags(grey: Bytes8, settings: Settings) -> Tags | None:
    """The card's tags, by a quick look, and where that shows too few by a patient one; None where that does too."""
    limits, marker = settings.glance, settings.marker
    quick = Look(limits.windows_px, limits.least_perimeter, marker.correctable_bits)
    tags = tags_on(grey, grey.shape, quick, marker)
    if tags is None or len(tags.ids) < marker.least_tags:
        patient = Look(limits.patient_windows_px, limits.patient_perimeter, limits.patient_bits)
        tags = tags_on(_sharper(grey), grey.shape, patient, marker)
    return None if tags is None or len(tags.ids) < marker.least_tags else tags


def _sharper(grey: Bytes8) -> Bytes8:
    """A copy whose edges are raised: a blurred tag's cells come apart."""
    return np.asarray(cv2.filter2D(grey, -1, np.array([[0, -1, 0], [-1, 5, -1], [0, -1, 0]], np.float32)), np.uint8)


def _without_card(grey: Bytes8, settings: Settings) -> str:
    """Why no card was seen, where that is evident."""
    if float(np.percentile(grey[::4, ::4], 98)) < settings.glance.light_level:
        return LIGHT
    scale = settings.marker.judged_side_px / max(grey.shape)
    small = np.asarray(cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), np.uint8)
    return STILL if all_blurred(small, settings.marker) else NO_CARD


def _grey(data: bytes, most_side: int) -> Bytes8:
    try:
        frame = JpegImagePlugin.JpegImageFile(io.BytesIO(data))
        if max(frame.size) > most_side:
            raise TooLarge(f"A frame has at most {most_side} pixels a side.", "Send a smaller copy of it.")
        frame.draft("L", frame.size)
        return np.asarray(frame.convert("L"))
    except (OSError, SyntaxError, ValueError, Image.DecompressionBombError) as error:
        raise NotAnImage("The frame is not a whole JPEG.") from error


def _view(tags: Tags, shape: tuple[int, ...], settings: Settings) -> View:
    seen = CardSighting(
        tags.card.layout, tags.card.paper, len(tags.ids), tags.corners_mm.reshape(-1, 2), tags.corners_px.reshape(-1, 2)
    )
    return fit_view(seen, tags.card, shape, settings.view)


def _corners(rect: Rect) -> Floats:
    return np.array([(rect.x, rect.y), (rect.right, rect.y), (rect.right, rect.bottom), (rect.x, rect.bottom)])


def _hint(grey: Bytes8, card: CardLayout, view: View, outline: Floats, settings: Settings) -> str:
    """The most urgent thing that stands in the way."""
    limits, (height, width) = settings.glance, grey.shape[:2]
    rim = limits.rim * max(width, height)
    inside = (outline > rim) & (outline < np.array([width, height]) - 1 - rim)
    fills = float((np.ptp(outline, axis=0) / (width, height)).max())
    if not inside.all():
        return WHOLE
    if _white(grey, card, view) < limits.light_level:
        return LIGHT
    if fills < limits.fill:
        return CLOSER
    if view.tilt_deg > limits.tilt_deg:
        return LEVEL
    return STILL if _blur_px(grey, card, view) > limits.blur_px else GOOD


def _white(grey: Bytes8, card: CardLayout, view: View) -> float:
    """sRGB level of the card's white places, the middle of them."""
    return float(np.median(_levels(grey, project(view.mapping, np.array(card.whites)))))


def _blur_px(grey: Bytes8, card: CardLayout, view: View) -> float:
    """Width of the chequers' edges in pixels of the frame: their height over their steepest rise, the middle of all edges seen.

    Across both kinds of edges beside every saddle, since a hand that moves smears only one of them.
    """
    saddles = np.array(card.saddles)
    steps = np.linspace(-1, 1, 17) * _step(view)
    widths = []
    for along, beside in (((1.0, 0.0), (0.0, 2.5)), ((0.0, 1.0), (2.5, 0.0))):
        places = saddles[:, None] + np.array(beside) + steps[:, None] * np.array(along)
        levels = _levels(grey, project(view.mapping, places.reshape(-1, 2))).reshape(len(saddles), -1)
        height, rise = np.ptp(levels, axis=1), np.abs(np.diff(levels, axis=1)).max(axis=1)
        clear = height > 0.4 * height.max()
        widths.append(float(np.median((height / np.maximum(rise, 1))[clear])) * (steps[1] - steps[0]) * view.px_per_mm)
    return float(max(widths))


def _step(view: View) -> float:
    """Half the stretch over which an edge is looked at, millimetres: four pixels of the frame, or half a chequer."""
    return min(4.0 / view.px_per_mm, 2.5)


def _levels(grey: Bytes8, places: Floats) -> Floats:
    x, y = places.astype(np.float32).T
    return np.asarray(cv2.remap(grey, x[None], y[None], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)[0], float)
