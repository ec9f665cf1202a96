"""The light on the card: where it falls how strongly, from what is printed white and tinted all around the strips.

Three steps: a smooth field fitted to the white places of the card; the tint's level relative to white as this printer made
it; and then what is left of gradients and shadow edges, read off white and tint alike and filled in under the strips.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from webcapture.card.layout import RING_MM, CardLayout
from webcapture.imaging.colour import halved, linear_from_srgb, log10_linear_lut
from webcapture.imaging.rectify import reduced, whole_page
from webcapture.model import Bytes8, Floats, Floats32, Photo, Sheet, View
from webcapture.robust import quantile
from webcapture.settings import LightSettings

SHADE_SHARES = 0.02, 0.98
"""Of the bare card: what lies beyond is specks."""
LEAST_SIGMA = 1.25
"""Pixels that a Gaussian keeps on a reduced copy: with fewer its shape would suffer."""
BLURRED = 0.25
"""Variance that reducing and enlarging add, 1/12 and 1/6 of the reduced pixel's."""
COARSER = 2
"""Pixels to one when the light is filled in: the nearest neighbourhood is still wider than that blurs."""

Triple = tuple[float, float, float]


def rectified_sheet(photo: Photo, view: View, card: CardLayout, settings: LightSettings) -> Sheet:
    """The whole page seen from straight above, with the light that falls on it."""
    scale = settings.sheet_px_per_mm
    small, mapping = reduced(photo, view.mapping, max(int(view.px_per_mm / scale), 1))
    pixels = whole_page(small, mapping, card.page_mm, scale).pixels
    light, white, tint, shade = _light(linear_from_srgb(halved(pixels)), scale / 2, card, settings)
    level = _level(pixels, light, white, tint, panel_slices(card, scale, 0.0))
    return Sheet(pixels, level, scale, light, scale / 2, white, tint, shade)


def _level(pixels: Bytes8, light: Floats32, white: Triple, tint: float, panel: tuple[slice, slice]) -> Floats32:
    """(rows, cols) of the page: 0 at tint, 1 at white, logarithmic, in the channel that shows most light; 0 off the panel.

    The brightest channel, because a coloured spot keeps at least one; it is the paper that counts here.
    """
    tables = (log10_linear_lut()[:, None] - np.log10(white)).astype(np.float32)
    red, green, blue = cv2.split(cv2.LUT(pixels[panel], tables[:, None, :]))
    brightest = cv2.max(cv2.max(red, green), blue)
    lit = cv2.resize(np.log10(light), pixels.shape[1::-1], interpolation=cv2.INTER_LINEAR)[panel]
    level = np.zeros(pixels.shape[:2], np.float32)
    level[panel] = 1 - (brightest - lit) / np.float32(np.log10(tint))
    return level


def _light(
    linear: Floats32, scale: float, card: CardLayout, settings: LightSettings
) -> tuple[Floats32, Triple, float, tuple[float, float]]:
    """(field, colour of the light, tint, shade) as in Sheet, from the (rows, cols, 3) linear page at ``scale`` px/mm."""
    places = np.array(card.whites) * scale - 0.5
    whites = _sampled(linear, places)
    seen = whites.mean(axis=1) > settings.least_level
    seen = seen if seen.any() else ~seen
    places, whites = places[seen], np.maximum(whites[seen], settings.least_level)
    trend, good = _smooth_trend(places, np.log(whites.mean(axis=1)), linear.shape, settings)
    r, g, b = np.median(whites[good] / whites[good].mean(axis=1, keepdims=True), axis=0).tolist()
    mean = np.asarray(cv2.transform(linear, np.full((1, 3), 1 / 3)), np.float32)
    tint = _tint(mean, scale, card, settings)
    # Lines and figures printed on the tint, blurred, would pass for a little shade.
    bare = cv2.morphologyEx(mean, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))
    logs = np.log(np.maximum(bare, np.float32(settings.least_level))) - trend
    known = _known(logs, tint, places[good], scale, card, settings)
    local = _filled_in(logs, known, tint, scale, settings)
    some = local[::2, ::2][known[::2, ::2] != 0]
    low, high = (float(quantile(some, share)) for share in SHADE_SHARES)
    return np.exp(trend + local), (r, g, b), float(np.exp(tint)), (-low, high)


def _smooth_trend(
    places: Floats, level: Floats, shape: tuple[int, ...], settings: LightSettings
) -> tuple[Floats32, NDArray[np.bool_]]:
    """A quadratic through the logarithms (n,) of the white places in full light, and which places those are.

    Shade and covers only make a place darker, so the field is first laid over most of them and then settles where many
    agree. Where the card is only partly seen, what is usual of light keeps the rest of the field in bounds.
    """
    rows, cols = shape[:2]
    terms = _quadratic(places[:, 0] / cols - 0.5, places[:, 1] / rows - 0.5)
    # 1 / variance: gradients of a factor of e, curvatures somewhat more
    usual = settings.usual_spread**2 * np.diag([0.0, 1.0, 1.0, 0.5, 0.5, 0.5])
    off = level - np.percentile(level, 75)
    weight = np.where(off > 0, 1.0, 0.1)
    for scale in (None, None, None, *settings.trend_scales):
        weight = np.where(off > 0, 1.0, 0.1) if scale is None else (1 + (off / scale) ** 2) ** -2
        weighted = terms * weight[:, None]
        fit = np.linalg.solve(weighted.T @ terms + usual, weighted.T @ level)
        off = level - terms @ fit
    u, v = (np.arange(side, dtype=np.float32) / np.float32(side) - np.float32(0.5) for side in (cols, rows))
    v, fit = v[:, None], fit.astype(np.float32)
    field = (fit[0] + fit[1] * u + fit[3] * u * u) + (fit[2] * v + fit[5] * v * v) + (fit[4] * v) * u
    good = np.abs(off) < settings.trend_reach
    return field, good if good.any() else ~good


def _quadratic(u: Floats, v: Floats) -> Floats:
    return np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], axis=-1)


def _tint(mean: Floats32, scale: float, card: CardLayout, settings: LightSettings) -> float:
    """Logarithm of the tint's level relative to white: on both sides of the panel's border, where the light is the same."""
    panel = card.panel
    ring = np.array([(x, y) for x, y in card.whites if panel.y < y < panel.bottom and not panel.x < x < panel.right])
    ring = ring[np.abs(ring[:, 0] - panel.centre[0]) < panel.width / 2 + RING_MM]
    inside = ring.copy()
    inside[:, 0] = np.clip(ring[:, 0], panel.x + settings.tint_beside_mm, panel.right - settings.tint_beside_mm)
    white, tint = (_sampled(mean, places * scale - 0.5) for places in (ring, inside))
    seen = (white > settings.least_level) & (tint > settings.least_level)
    relative = float(np.median(tint[seen] / white[seen])) if seen.any() else settings.tint_typical
    return float(np.log(np.clip(relative, settings.tint_least, settings.tint_most)))


def _sampled(picture: Floats32, places_px: Floats) -> Floats:
    """(n,) or (n, channels) values at (n, 2) places, with linear interpolation."""
    x, y = places_px.astype(np.float32).T[:, None, :]
    sampled: Floats = np.asarray(cv2.remap(picture, x, y, cv2.INTER_LINEAR), float)[0]
    return sampled


def _known(
    logs: Floats32, tint: float, whites: Floats, scale: float, card: CardLayout, settings: LightSettings
) -> Floats32:
    """+1 where the field of logarithms shows bare white, −1 where it shows tint, 0 elsewhere."""
    mask = np.zeros(logs.shape, np.float32)
    panel = panel_slices(card, scale, settings.panel_inset_mm)
    is_tint = _tinted(logs[panel], tint, scale, settings)
    mask[panel] = np.asarray(cv2.erode(is_tint, np.ones((3, 3), np.uint8)), np.float32) / -255
    col, row = np.round(whites).astype(int).T
    mask[row, col] = 1
    return mask


def _tinted(logs: Floats32, tint: float, scale: float, settings: LightSettings) -> Bytes8:
    """255 where the panel's logarithms of light are the tint's: in shade, in usual light, and what that brightens into gently.

    Tint under a lamp is as light as paper in a deep shadow. But light changes over some millimetres, and paper has edges.
    """
    darkest, usual, brightest = (
        np.array(level)
        for level in (
            tint + settings.deepest_shade,
            tint * (1 - settings.usual_tint),
            tint * (1 - settings.brightest_tint),
        )
    )
    sure = cv2.inRange(logs, darkest, usual)
    bright = cv2.inRange(logs, usual, brightest)
    if cv2.countNonZero(bright) < settings.bright_mm2 * scale**2:
        return np.asarray(sure, np.uint8)
    steep = cv2.morphologyEx(logs, cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8)) > settings.paper_edge
    either = np.asarray(np.where(steep, 0, cv2.bitwise_or(sure, bright)), np.uint8)
    count, labels = cv2.connectedComponents(either, connectivity=4)
    inside, known = (np.bincount(labels[part != 0], minlength=count) for part in (either, sure))
    lit = (known >= settings.gentle_share * inside) & (np.arange(count) > 0)
    return np.asarray(cv2.bitwise_or(sure, np.where(lit[labels], bright, 0).astype(np.uint8)), np.uint8)


def panel_slices(card: CardLayout, scale: float, inset_mm: float) -> tuple[slice, slice]:
    """Rows and columns of the panel, less a border, in a picture of the page at ``scale`` px/mm."""
    p = card.panel
    return (
        slice(round((p.y + inset_mm) * scale), round((p.bottom - inset_mm) * scale)),
        slice(round((p.x + inset_mm) * scale), round((p.right - inset_mm) * scale)),
    )


def _filled_in(logs: Floats32, known: Floats32, tint: float, scale: float, settings: LightSettings) -> Floats32:
    """What white and tint show beyond the trend, averaged over a neighbourhood that widens where little is known."""
    certain = np.abs(known)
    excess = np.where(known < 0, logs - np.float32(tint), logs) * certain
    both = _reduced(np.stack([certain, excess], axis=-1), COARSER)
    result, reached = np.zeros(both.shape[:2], np.float32), np.zeros(both.shape[:2], np.float32)
    for reach in settings.reaches_mm:
        # Never less than the reduced copy itself blurs: there would be nothing left to smooth by.
        sigma_px = np.sqrt(max((reach * scale / COARSER) ** 2 - BLURRED, BLURRED))
        weight, total = cv2.split(_blurred(both, float(sigma_px)))
        share = (1 - reached) * np.minimum(weight / np.float32(settings.known_share), 1)
        result, reached = result + share * total / np.maximum(weight, np.float32(1e-6)), reached + share
    return _enlarged(result, logs.shape)


def _blurred(field: Floats32, sigma_px: float) -> Floats32:
    """Gaussian blur; a wide one on a reduced copy, where it costs little and shows no difference."""
    factor = max(int(sigma_px / LEAST_SIGMA), 1)
    own = BLURRED if factor > 1 else 0.0
    small = cv2.GaussianBlur(_reduced(field, factor), (0, 0), float(np.sqrt((sigma_px / factor) ** 2 - own)))
    return _enlarged(np.asarray(small, np.float32), field.shape)


def _reduced(field: Floats32, factor: int) -> Floats32:
    rows, cols = field.shape[:2]
    size = (-(-cols // factor), -(-rows // factor))
    return np.asarray(cv2.resize(field, size, interpolation=cv2.INTER_AREA), np.float32)


def _enlarged(field: Floats32, shape: tuple[int, ...]) -> Floats32:
    return np.asarray(cv2.resize(field, shape[1::-1], interpolation=cv2.INTER_LINEAR), np.float32)
