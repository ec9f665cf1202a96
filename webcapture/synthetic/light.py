"""How the card is lit: gradients, shadow edges, contact shadows and glare."""

from __future__ import annotations

import math

import cv2
import numpy as np

from webcapture.model import Floats, Floats32
from webcapture.synthetic.scene import Glare, Light, PaperStrip, ShadowEdge

SHADOW_PX_PER_MM = 6.0
"""Grid of the shadows that strips throw on the card."""
CONTACT_MM = 0.22
"""Thickness of chromatography paper, and so the least height of its shadow's edge."""


def illumination(light: Light, places_mm: Floats, page_mm: tuple[float, float]) -> Floats:
    """Light on (..., 2) places in R, G, B; 1 in the brightest place on the page."""
    x, y = places_mm[..., 0], places_mm[..., 1]
    nodes = np.stack(np.meshgrid(np.linspace(0, page_mm[0], 12), np.linspace(0, page_mm[1], 16)), axis=-1)
    brightest = _smooth(light, nodes, page_mm).mean(axis=-1).max()
    lit = _smooth(light, places_mm, page_mm) / brightest
    for shadow in light.shadows:
        lit = lit * _shaded(shadow, x, y)[..., None]
    return np.asarray(lit)


def _smooth(light: Light, places_mm: Floats, page_mm: tuple[float, float]) -> Floats:
    """Gradients without shadows."""
    radius = math.hypot(*page_mm) / 2
    dx, dy = (places_mm[..., i] / radius - page_mm[i] / 2 / radius for i in (0, 1))
    angle = math.radians(light.gradient_deg)
    # Beyond the card the light levels off; no lamp makes the far bench negative.
    along = 1.5 * np.tanh((dx * math.cos(angle) + dy * math.sin(angle)) / 1.5)
    level = (1 + light.gradient * along) * (1 - light.bowl * np.minimum(dx * dx + dy * dy, 1.5))
    tint = 1 + light.colour_gradient * along[..., None] * np.array((0.5, 0.0, -0.5))
    return np.asarray(np.maximum(level, 0.05)[..., None] * tint)


def _shaded(shadow: ShadowEdge, x: Floats, y: Floats) -> Floats:
    angle = math.radians(shadow.turn_deg)
    into = (x - shadow.at_mm[0]) * math.cos(angle) + (y - shadow.at_mm[1]) * math.sin(angle)
    dark = 0.5 + 0.5 * np.tanh(2 * into / shadow.softness_mm)
    if shadow.width_mm is not None:
        dark = dark * (0.5 - 0.5 * np.tanh(2 * (into - shadow.width_mm) / shadow.softness_mm))
    return np.asarray(1 - shadow.depth * dark)


def glare(spots: tuple[Glare, ...], places_mm: Floats) -> Floats:
    """Light reflected without touching the pigment at (..., 2) places, relative to full scale."""
    total = np.zeros(places_mm.shape[:-1])
    for spot in spots:
        dx, dy = ((places_mm[..., i] - spot.at_mm[i]) / spot.size_mm[i] for i in (0, 1))
        total += spot.strength * np.exp(-((dx * dx + dy * dy) ** 1.3))
    return total


def cast_shadows(strips: tuple[PaperStrip, ...], light: Light, page_mm: tuple[float, float]) -> Floats32:
    """Share of the light that reaches the card beside and under the strips, at SHADOW_PX_PER_MM."""
    scale = SHADOW_PX_PER_MM
    shape = (round(page_mm[1] * scale), round(page_mm[0] * scale))
    reaching = np.ones(shape, np.float32)
    away = math.radians(light.lamp_deg + 180)
    for strip in strips:
        highest = strip.lift.height_mm if strip.lift.kind != "flat" else 0.0
        for depth, blur_mm, slant in ((0.30, 0.35, 0.6 * light.slant), (0.22, 1.2 + highest, light.slant)):
            outline = _thrown(strip, slant, away)
            mask = np.zeros(shape, np.uint8)
            points = np.rint((outline * scale - 0.5) * 16).astype(np.int32).reshape(-1, 1, 2)
            cv2.fillPoly(mask, [points], 255, cv2.LINE_AA, 4)
            soft = cv2.GaussianBlur(mask, (0, 0), blur_mm * scale)
            reaching *= 1 - np.float32(depth / 255) * soft
    return reaching


def _thrown(strip: PaperStrip, slant: float, away: float) -> Floats:
    """(n, 2) card millimetres: the strip's outline, each point shifted by its height."""
    s = np.linspace(0, strip.length_mm, 60)
    left, right = strip.edges(s)
    ring_s, ring_t = np.concatenate([s, s[::-1]]), np.concatenate([left, right[::-1]])
    x, y = strip.on_card(ring_s, ring_t)  # type: ignore[arg-type]
    height = CONTACT_MM + strip.lift.height(ring_s / strip.length_mm)
    return np.column_stack([x + height * slant * math.cos(away), y + height * slant * math.sin(away)])
