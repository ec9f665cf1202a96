"""Pictures of a result: the strip cut out of the page and set upright, and the profiles of a lane as SVG."""

from __future__ import annotations

import io

import numpy as np
from markupsafe import Markup, escape
from PIL import Image

from webcapture.measure.frame import Frame, strip_frame
from webcapture.model import Lane, PhotoResult, Picture, Strip
from webcapture.store.codec import StoredResult
from webcapture.web.language import gettext as _

MARGIN_MM = 3.0
"""Of the card around a strip, so that its edges are seen."""
WIDTH, HEIGHT = 640, 260
LEFT, RIGHT, TOP, BOTTOM = 12, 12, 40, 34
"""Of the profiles' picture, SVG units."""
CHANNELS = (("red", "#b3261e", ""), ("green", "#1b7a34", "9 4"), ("blue", "#1f4fb5", "2 4"))
"""Name, colour and dash of each channel: told apart without colour too."""


def page_picture(page: bytes, px_per_mm: float) -> Picture:
    """The stored page as what strips are drawn on."""
    pixels = np.asarray(Image.open(io.BytesIO(page)).convert("RGB"), np.uint8)
    return Picture.of_page(pixels, px_per_mm)


def as_result(stored: StoredResult, name: str, page: Picture | None = None) -> PhotoResult:
    """A result as the report draws and writes it; without a page it can only be written."""
    shown = (page,) * len(stored.strips) if page else ()
    return PhotoResult(stored.card, stored.strips, stored.flags, shown, page, name)


def strip_jpeg(page: bytes, strip: Strip, px_per_mm: float, quality: int) -> bytes:
    """The strip with its margin, the origin end at the bottom, as a JPEG of ``px_per_mm``."""
    frame = strip_frame(strip)
    size = tuple(round((length + 2 * MARGIN_MM) * px_per_mm) for length in (frame.width, frame.length))
    (ax, ay), (bx, by) = frame.along, frame.across
    x, y = frame.on_card(frame.length + MARGIN_MM, -MARGIN_MM)
    on_page = (bx, -ax, x * px_per_mm, by, -ay, y * px_per_mm)
    picture = Image.open(io.BytesIO(page)).convert("RGB")
    cut = picture.transform(
        (size[0], size[1]), Image.Transform.AFFINE, on_page, Image.Resampling.BICUBIC, fillcolor="white"
    )
    out = io.BytesIO()
    cut.save(out, "JPEG", quality=quality)
    return out.getvalue()


def profile_svg(strip: Strip, lane: Lane) -> str:
    """The three channels' absorbance along a lane, with origin, front and spots; on white, for light and dark pages."""
    frame = strip_frame(strip)
    words = _("Absorbance along lane %(lane)s in red, green and blue light", lane=lane.lane)
    return str(
        Markup(
            '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {} {}" font-family="sans-serif" font-size="21"><title>{}</title>'
            '<rect width="100%" height="100%" fill="#fff"/>{}{}{}</svg>'
        ).format(WIDTH, HEIGHT, words, _scale(frame), _marks(lane, frame), _curves(lane, frame))
    )


def _x(s_mm: float, frame: Frame) -> float:
    return round(LEFT + (WIDTH - LEFT - RIGHT) * s_mm / frame.length, 1)


def _scale(frame: Frame) -> Markup:
    base = HEIGHT - BOTTOM
    step = 20 if frame.length <= 200 else 40
    ticks = Markup("").join(
        Markup(
            '<path d="M{0} {1}v7" stroke="#333" stroke-width="2"/><text x="{0}" y="{2}" text-anchor="middle" fill="#333">{3}</text>'
        ).format(_x(mm, frame), base, HEIGHT - 8, mm)
        for mm in range(step, int(frame.length) - step // 2, step)
    )
    end = Markup('<text x="{}" y="{}" text-anchor="end" fill="#333">mm</text>').format(WIDTH - RIGHT, HEIGHT - 8)
    return (
        Markup('<path d="M{} {}H{}" stroke="#333" stroke-width="2"/>').format(LEFT, base, WIDTH - RIGHT) + ticks + end
    )


def _marks(lane: Lane, frame: Frame) -> Markup:
    """Origin, front and spots as upright lines with their names above."""
    named = [(_("origin"), lane.origin_mm, "#0072b2", ""), (_("front"), lane.front_mm, "#b84a00", "10 5")]
    named += [(str(spot.spot), spot.position_mm, "#555", "3 5") for spot in lane.spots]
    return Markup("").join(
        Markup(
            '<path d="M{0} {1}V{2}" stroke="{3}" stroke-width="2" stroke-dasharray="{4}"/>'
            '<text x="{0}" y="{5}" text-anchor="middle" fill="{3}">{6}</text>'
        ).format(_x(frame.on_strip(point)[0], frame), TOP - 8, HEIGHT - BOTTOM, colour, dash or "none", TOP - 16, name)
        for name, point, colour, dash in named
        if point is not None
    )


def _curves(lane: Lane, frame: Frame) -> Markup:
    places, profile = lane.profile_s_mm, np.asarray(lane.profile, float)
    if not len(places):
        return Markup("")
    every = max(len(places) // WIDTH, 1)
    low, high = min(float(profile.min()), 0.0), max(float(profile.max()), 0.02)
    heights = HEIGHT - BOTTOM - (profile - low) / (high - low) * (HEIGHT - BOTTOM - TOP)
    return Markup("").join(
        Markup('<polyline points="{}" fill="none" stroke="{}" stroke-width="2.5" stroke-dasharray="{}"/>').format(
            escape(
                " ".join(
                    f"{_x(float(s), frame)},{y:.1f}" for s, y in zip(places[::every], heights[::every, n], strict=True)
                )
            ),
            colour,
            dash or "none",
        )
        for n, (_name, colour, dash) in enumerate(CHANNELS)
    )
