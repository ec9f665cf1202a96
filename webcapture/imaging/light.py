"""The light on the card: where it falls how strongly, from what is printed white and tinted all around the strips.

Three steps: a smooth field fitted to the white places of the card; the tint's level relative to white as this printer made
it; and then what is left of gradients and shadow edges, read off white and tint alike and filled in under the strips.
"""

from __future__ import annotations

import cv2
import numpy as np

from webcapture.card.layout import CardLayout
from webcapture.imaging.colour import linear_from_srgb, to_srgb
from webcapture.imaging.rectify import cut_out
from webcapture.model import Bytes8, Floats, Floats32, Photo, Sheet, View
from webcapture.settings import LightSettings


def rectified_sheet(photo: Photo, view: View, card: CardLayout, settings: LightSettings) -> Sheet:
    """The whole page seen from straight above, with the light that falls on it."""
    scale = settings.sheet_px_per_mm
    shape = (round(card.page_mm[1] * scale), round(card.page_mm[0] * scale))
    to_mm = np.array([[1 / scale, 0, 0.5 / scale], [0, 1 / scale, 0.5 / scale]])
    pixels = to_srgb(cut_out(photo, view.mapping, to_mm, shape), photo.icc)
    coarse = coarse_linear(pixels, scale / settings.light_px_per_mm)
    light, white, tint, shade = _light(coarse, card, settings)
    return Sheet(pixels, scale, light, settings.light_px_per_mm, white, tint, shade)


def coarse_linear(pixels: Bytes8, factor: float) -> Floats32:
    """(h, w, 3) sRGB reduced ``factor`` times and made linear, 0 to 1."""
    small = cv2.resize(pixels, None, fx=1 / factor, fy=1 / factor, interpolation=cv2.INTER_AREA)
    return linear_from_srgb(small)


def brightness(sheet: Sheet) -> Floats32:
    """(rows, cols) of the coarse page: 0 at tint, 1 at white, logarithmic, in the channel that shows most light.

    The brightest channel, because a coloured spot keeps at least one; it is the paper that counts here.
    """
    linear = coarse_linear(sheet.pixels, sheet.px_per_mm / sheet.light_px_per_mm) / np.array(sheet.white, np.float32)
    relative = np.maximum(linear.max(axis=2) / sheet.light, 1e-3)
    return (1 - np.log(relative) / np.log(sheet.tint)).astype(np.float32)


def _light(
    coarse: Floats32, card: CardLayout, settings: LightSettings
) -> tuple[Floats32, tuple[float, float, float], float, float]:
    """(field, colour of the light, tint relative to white, shade: see Sheet); the field is 0 to 1 of a white page's linear intensity."""
    places = np.array(card.whites) * settings.light_px_per_mm - 0.5
    box = cv2.blur(coarse, (3, 3))
    whites = cv2.remap(box, *places.astype(np.float32).T[:, None, :], cv2.INTER_LINEAR)[0]
    level = np.log(np.maximum(whites.mean(axis=1), settings.least_level))
    trend, good = _smooth_trend(places, level, coarse.shape[:2])
    colour = np.median(whites[good] / whites[good].mean(axis=1, keepdims=True), axis=0)
    logs = np.log(np.maximum(coarse.mean(axis=2), settings.least_level)) - trend
    known, tint = _known(logs, places[good], card, settings)
    local = _filled_in(logs, known, tint, settings)
    r, g, b = (float(c) for c in colour)
    shade = float(np.ptp(np.percentile(local[known != 0], [2, 98])))
    return np.exp(trend + local).astype(np.float32), (r, g, b), float(np.exp(tint)), shade


def _smooth_trend(places: Floats, level: Floats, shape: tuple[int, int]) -> tuple[Floats32, np.ndarray]:
    """A quadratic through the white places' logarithms over the whole field, and which of them it believed.

    What covers a white place is darker or lighter by far more than paper varies; it loses its weight in turns.
    """
    terms = _quadratic(places[:, 0], places[:, 1], shape)
    weight = np.ones(len(level))
    for _ in range(8):
        fit = np.linalg.lstsq(terms * weight[:, None], level * weight, rcond=None)[0]
        off = level - terms @ fit
        spread = max(1.4826 * float(np.median(np.abs(off))), 0.01)
        weight = 1 / (1 + (off / (2 * spread)) ** 2)
    x, y = np.meshgrid(np.arange(shape[1]), np.arange(shape[0]))
    return (_quadratic(x, y, shape) @ fit).astype(np.float32), np.abs(off) < 4 * spread


def _quadratic(x: np.ndarray, y: np.ndarray, shape: tuple[int, int]) -> Floats32:
    u, v = x / shape[1] - 0.5, y / shape[0] - 0.5
    return np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], axis=-1)


def _known(logs: Floats32, whites: Floats, card: CardLayout, settings: LightSettings) -> tuple[Floats32, float]:
    """(mask, tint): +1 where the field shows bare white, −1 where it shows tint, 0 elsewhere; the tint's log level."""
    scale = settings.light_px_per_mm
    mask = np.zeros(logs.shape, np.float32)
    p = card.panel
    rows = slice(round((p.y + 1) * scale), round((p.bottom - 1) * scale))
    cols = slice(round((p.x + 1) * scale), round((p.right - 1) * scale))
    panel = logs[rows, cols]
    dark = panel[panel < np.log(settings.tint_most)]
    tint = float(np.median(dark)) if dark.size else float(np.log(settings.tint_typical))
    deepest, brightest = settings.shade_range
    is_tint = ((panel > tint + deepest) & (panel < tint + brightest)).astype(np.uint8)
    mask[rows, cols] = -cv2.erode(is_tint, np.ones((3, 3), np.uint8)).astype(np.float32)
    col, row = np.round(whites).astype(int).T
    mask[row, col] = 1
    return mask, tint


def _filled_in(logs: Floats32, known: Floats32, tint: float, settings: LightSettings) -> Floats32:
    """What white and tint show beyond the trend, averaged over a neighbourhood that widens where little is known."""
    excess = np.where(known < 0, logs - tint, logs) * np.abs(known)
    result, reached = np.zeros_like(logs), np.zeros_like(logs)
    for reach in settings.reaches_mm:
        sigma = reach * settings.light_px_per_mm
        weight = cv2.GaussianBlur(np.abs(known), (0, 0), sigma)
        mean = cv2.GaussianBlur(excess, (0, 0), sigma) / np.maximum(weight, 1e-6)
        share = (1 - reached) * np.minimum(weight / settings.known_share, 1)
        result, reached = result + share * mean, reached + share
    return result
