"""Results made by hand, with a picture painted to match: what measuring would give, without measuring.

The scenario and every number are invented for these tests.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from webcapture.card.layout import card_layout
from webcapture.card.printing import card_png_array
from webcapture.flags import flags
from webcapture.measure.bays import numbered_through
from webcapture.model import Bytes8, CardSeen, Component, Lane, Line, PhotoResult, Picture, Point, Spot, Strip

PX_PER_MM = 6.0
RUN_MM = 90.0


@dataclass(frozen=True)
class SpotSpec:
    rf: float
    colour: str = "#b04a5a"
    width_mm: float = 5.0
    flags: tuple[str, ...] = ()


@dataclass(frozen=True)
class StripSpec:
    """A strip lying in its bay with ``left_mm`` × ``bottom_mm`` left free, turned by ``turn_deg``."""

    bay: int = 1
    width_mm: float = 20.0
    length_mm: float = 140.0
    turn_deg: float = 0.0
    left_mm: float = 2.0
    bottom_mm: float = 8.0
    upright: bool = True
    lanes: tuple[tuple[SpotSpec, ...], ...] = ((SpotSpec(0.25), SpotSpec(0.6, "#3f6fb0"), SpotSpec(0.82, "#d0b030")),)
    origin_s: float = 22.0
    has_origin: bool = True
    has_front: bool = True
    slant: float = 0.0
    flags: tuple[str, ...] = ()
    lane_flags: dict[int, tuple[str, ...]] = field(default_factory=dict)


def make_result(
    *specs: StripSpec,
    layout: str = "sheet",
    paper: str = "a4",
    photo: str = "bench 3.jpg",
    photo_flags: Sequence[str] = (),
) -> PhotoResult:
    """A PhotoResult with those strips on that card, those of one bay from left to right, its page painted accordingly."""
    pixels = _empty_page(layout, paper).copy()
    crowd: Counter[int] = Counter()
    laid = []
    for spec in specs:
        crowd[spec.bay] += 1
        laid.append(replace(_strip(spec, layout, paper), strip=crowd[spec.bay]))
    strips = numbered_through(laid, layout)
    for spec, strip in zip(specs, strips, strict=True):
        _paint(pixels, spec, strip)
    page = Picture.of_page(pixels, PX_PER_MM)
    shown = (page,) * len(strips)
    return PhotoResult(CardSeen(layout, paper, 0.0412, 7.13, 12.84), strips, flags(*photo_flags), shown, page, photo)


@cache
def _empty_page(layout: str, paper: str) -> Bytes8:
    card = card_layout(layout, paper)
    size = tuple(round(side * PX_PER_MM) for side in card.page_mm)
    page = cv2.resize(card_png_array(card, round(PX_PER_MM * 25.4)), size, interpolation=cv2.INTER_AREA)
    return np.repeat(page[..., None], 3, axis=2)


def sheet_of_lanes(count: int = 5, **changes: object) -> StripSpec:
    """A wide sheet with ``count`` lanes."""
    palette = ("#b04a5a", "#3f6fb0", "#d0b030", "#3d8f63", "#7a4fa0")
    lanes = tuple(
        tuple(SpotSpec(0.12 + 0.17 * k + 0.013 * lane, palette[(k + lane) % 5], 4.5) for k in range(1 + (lane + 2) % 4))
        for lane in range(count)
    )
    spec = StripSpec(width_mm=140.0, length_mm=150.0, left_mm=4.0, lanes=lanes, slant=0.012)
    return replace(spec, **changes)  # type: ignore[arg-type]


def full_tray(**changes: object) -> tuple[StripSpec, ...]:
    """Six strips, each with something to say."""
    first = StripSpec(bay=1, flags=("front-slanted",), slant=0.05, turn_deg=3.0)
    specs = (
        first,
        StripSpec(bay=2, lanes=((SpotSpec(0.0, flags=("did-not-move",)), SpotSpec(0.45, flags=("tailing", "faint"))),)),
        StripSpec(bay=3, has_front=False, flags=("front-missing",)),
        StripSpec(bay=4, lanes=((),), lane_flags={1: ("no-spots",)}),
        StripSpec(bay=5, upright=False, flags=("upside-down",), turn_deg=-4.0),
        StripSpec(bay=6, lanes=(tuple(SpotSpec(0.1 + 0.14 * k, width_mm=4.0) for k in range(7)),)),
    )
    return tuple(replace(spec, **changes) for spec in specs)  # type: ignore[arg-type]


def _frame(spec: StripSpec, layout: str, paper: str) -> tuple[Point, Point, Point]:
    """(origin end's left corner, unit vector towards the front, unit vector to the right), the strip's own left and right."""
    bay = card_layout(layout, paper).bays[spec.bay - 1].rect
    angle = math.radians(spec.turn_deg) + (0.0 if spec.upright else math.pi)
    along, across = (math.sin(angle), -math.cos(angle)), (math.cos(angle), math.sin(angle))
    corner = (bay.x + spec.left_mm, bay.bottom - spec.bottom_mm)
    if not spec.upright:
        corner = (bay.x + spec.left_mm + spec.width_mm, bay.bottom - spec.bottom_mm - spec.length_mm)
    return corner, along, across


def _strip(spec: StripSpec, layout: str, paper: str) -> Strip:
    corner, along, across = _frame(spec, layout, paper)

    def on_card(s: float, t: float) -> Point:
        return (corner[0] + s * along[0] + t * across[0], corner[1] + s * along[1] + t * across[1])

    width, length = spec.width_mm, spec.length_mm
    corners = [on_card(0, 0), on_card(0, width), on_card(length, width), on_card(length, 0)]
    ordered = corners if spec.upright else corners[2:] + corners[:2]
    t = np.linspace(0.5, width - 0.5, 20)
    front_s = spec.origin_s + RUN_MM
    origin = Line("pencil", t, np.full(20, spec.origin_s), np.array([spec.origin_s]), 0.05, 12.0)
    front_line = Line("wet-edge", t, front_s + spec.slant * t, np.array([front_s, spec.slant]), 0.12, 8.0)
    pitch = width / len(spec.lanes)
    lanes = tuple(
        _lane(spec, n, lane_spots, (n + 0.5) * pitch, pitch, on_card) for n, lane_spots in enumerate(spec.lanes)
    )
    return Strip(
        spec.bay, tuple(ordered), spec.upright, origin if spec.has_origin else None,
        front_line if spec.has_front else None, lanes, flags(*spec.flags),
    )  # type: ignore[arg-type]  # fmt: skip


def _lane(spec: StripSpec, n: int, spots: tuple[SpotSpec, ...], t: float, pitch: float, on_card: object) -> Lane:
    assert callable(on_card)
    run = RUN_MM + spec.slant * t
    known = spec.has_origin and spec.has_front
    made = tuple(_spot(spec, k, spot, run, known, t, on_card) for k, spot in enumerate(spots))
    s = np.linspace(0, spec.length_mm, 50)
    return Lane(
        n + 1,
        on_card(spec.origin_s, t) if spec.has_origin else None,
        on_card(spec.origin_s + run, t) if spec.has_front else None,
        run if known else None,
        (t - 0.42 * pitch, t + 0.42 * pitch),
        s,
        np.zeros((50, 3)),
        made,
        flags(*spec.lane_flags.get(n + 1, ())),
    )


def _spot(spec: StripSpec, k: int, spot: SpotSpec, run: float, known: bool, t: float, on_card: object) -> Spot:
    assert callable(on_card)
    distance = spot.rf * run if spec.has_origin else math.nan
    s = spec.origin_s + spot.rf * run
    half = spot.width_mm / 2
    u = 0.0021
    return Spot(
        spot=k + 1,
        position_mm=on_card(s, t),
        densest_mm=on_card(s + 0.2, t),
        distance_mm=distance,
        densest_distance_mm=distance + 0.2,
        edges_mm=(distance - half, distance + half),
        width_mm=spot.width_mm,
        absorbance=(0.1, 0.42, 0.3),
        colour=spot.colour,
        rf=spot.rf if known else None,
        u_rf=u if known else None,
        U_rf=2 * u if known else None,
        resolution=1.8,
        tailing=1.1,
        signal_to_noise=55.3,
        u_centre_mm=0.15,
        budget=(Component("centre", "A", 0.15, 1 / run, "scatter of the profile's centre"),) if known else (),
        flags=flags(*spot.flags),
    )


def _paint(pixels: Bytes8, spec: StripSpec, strip: Strip) -> None:
    """The strip on the page: paper with a little texture, the spots and a pencil origin line."""
    mask = np.zeros(pixels.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.rint(np.array(strip.corners_mm) * PX_PER_MM).astype(np.int32)], 255)
    inside = mask > 0
    texture = np.random.default_rng(spec.bay).normal(238, 3, int(inside.sum()))
    pixels[inside] = np.rint(texture)[:, None].clip(0, 255)
    for lane in strip.lanes:
        for spot in lane.spots:
            _paint_spot(pixels, inside, spot)
    first, last = strip.lanes[0].origin_mm, strip.lanes[-1].origin_mm
    if first and last and strip.origin:
        left, right = strip.corners_mm[0], strip.corners_mm[1]
        reach = math.hypot(left[0] - right[0], left[1] - right[1]) / 2 - 1
        dx, dy = ((right[0] - left[0]) / (2 * reach + 2), (right[1] - left[1]) / (2 * reach + 2))
        middle = ((first[0] + last[0]) / 2, (first[1] + last[1]) / 2)
        ends = [(middle[0] + k * reach * dx, middle[1] + k * reach * dy) for k in (-1, 1)]
        a, b = ([round(v * PX_PER_MM) for v in end] for end in ends)
        cv2.line(pixels, a, b, (125, 125, 125), 2, cv2.LINE_AA)


def _paint_spot(pixels: Bytes8, inside: NDArray[np.bool_], spot: Spot) -> None:
    x, y = (value * PX_PER_MM for value in spot.position_mm)
    sigma = spot.width_mm / 4 * PX_PER_MM
    reach = int(5 * sigma)
    window = (slice(int(y) - reach, int(y) + reach), slice(int(x) - reach, int(x) + reach))
    rows, columns = np.mgrid[window]
    weight = 0.85 * np.exp(-(((rows - y) / sigma) ** 2 + ((columns - x) / (1.3 * sigma)) ** 2) / 2) * inside[window]
    colour = np.array([int(spot.colour[k : k + 2], 16) for k in (1, 3, 5)])
    pixels[window] = np.rint(pixels[window] + weight[..., None] * (colour - pixels[window].astype(float)))
