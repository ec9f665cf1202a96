"""From what was painted to the truth in card millimetres."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from webcapture.model import Point
from webcapture.synthetic.camera import Pinhole
from webcapture.synthetic.chromatogram import Run, SpotOnPaper
from webcapture.synthetic.development import encoded
from webcapture.synthetic.scene import Lane, PaperStrip, Scene
from webcapture.synthetic.surroundings import CARD_WHITE
from webcapture.synthetic.truth import LaneTruth, SpotTruth, StripTruth, Truth

TAIL_RATIO = 1.5
"""Half-widths below over above at a tenth of the height from which a spot counts as tailing."""


def truth_of(scene: Scene, runs: list[Run], camera: Pinhole, page_mm: tuple[float, float]) -> Truth:
    """The truth of the whole photo."""
    middle = (page_mm[0] / 2, page_mm[1] / 2)
    strips = [_strip(strip, run) for strip, run in zip(scene.strips, runs, strict=True)]
    return Truth(
        layout=scene.layout,
        paper=scene.paper,
        strips=tuple(_among(strip, strips) for strip in strips),
        camera=camera,
        tilt_deg=camera.tilt_deg(middle),
        px_per_mm=camera.px_per_mm(middle),
        k1=camera.k1,
    )


def _among(strip: StripTruth, strips: list[StripTruth]) -> StripTruth:
    """The strip as one among those of its bay, whose lanes are numbered through it."""
    left = [one for one in strips if one.bay == strip.bay and _middle(one) < _middle(strip)]
    taken = sum(max(len(one.lanes), 1) for one in left)
    lanes = tuple(replace(lane, lane=lane.lane + taken) for lane in strip.lanes)
    return replace(strip, lanes=lanes, strip=len(left) + 1)


def _middle(strip: StripTruth) -> float:
    return sum(x for x, _ in strip.corners_mm) / len(strip.corners_mm)


def _strip(strip: PaperStrip, run: Run) -> StripTruth:
    order = sorted(range(len(strip.lanes)), key=lambda n: strip.lanes[n].t_mm)
    lanes = tuple(_lane(n + 1, strip, strip.lanes[i], run.lanes[i], run.bare) for n, i in enumerate(order))
    places = strip.front.curve.at(np.linspace(0, strip.width_mm, 9))
    slant = float(places.max() - places.min())
    return StripTruth(strip.bay, _corners(strip), strip.upright, strip.front.kind, slant, lanes)


def _corners(strip: PaperStrip) -> tuple[Point, Point, Point, Point]:
    ends = []
    for s in (0.0, strip.length_mm):
        left, right = strip.edges(np.array(s))
        ends.append((strip.on_card(s, float(left)), strip.on_card(s, float(right))))
    (a, b), (d, c) = ends
    return (a, b, c, d) if strip.upright else (c, d, a, b)


def _lane(
    number: int, strip: PaperStrip, lane: Lane, spots: tuple[SpotOnPaper, ...], bare: tuple[float, float, float]
) -> LaneTruth:
    half = lane.width_mm / 2
    origin = strip.origin.curve.mean_at(lane.t_mm, half)
    front = strip.front.curve.mean_at(lane.t_mm, half)
    has_origin, has_front = strip.origin.kind != "none", strip.front.kind != "none"
    ordered = sorted(spots, key=lambda s: s.centre[0])
    return LaneTruth(
        lane=number,
        t_mm=lane.t_mm,
        origin_mm=strip.on_card(origin, lane.t_mm) if has_origin else None,
        front_mm=strip.on_card(front, lane.t_mm) if has_front else None,
        run_mm=front - origin if has_origin and has_front else None,
        spots=tuple(_spot(strip, s, origin, front, _resolution(s, ordered), bare) for s in ordered),
    )


def _spot(
    strip: PaperStrip, s: SpotOnPaper, origin: float, front: float, resolution: float | None,
    bare: tuple[float, float, float],
) -> SpotTruth:  # fmt: skip
    below, above = s.half_widths_mm
    red, green, blue = (-math.log10(max(r, 1e-6)) for r in s.relative)
    return SpotTruth(
        dye=s.spot.dye.name,
        position_mm=strip.on_card(*s.centre),
        densest_mm=strip.on_card(*s.densest),
        distance_mm=s.centre[0] - origin,
        densest_distance_mm=s.densest[0] - origin,
        rf=(s.centre[0] - origin) / (front - origin),
        width_mm=4 * s.sigma_mm,
        colour="#" + "".join(f"{_level(r * b):02x}" for r, b in zip(s.relative, bare, strict=True)),
        peak_absorbance=(red, green, blue),
        tailing=below > TAIL_RATIO * above,
        resolution=resolution,
    )


def _level(reflectance: float) -> int:
    return round(255 * float(encoded(np.array(min(1.0, reflectance / CARD_WHITE)))))


def _resolution(spot: SpotOnPaper, all_spots: list[SpotOnPaper]) -> float | None:
    """Distance of the centres over half the sum of the widths (four standard deviations each), to the nearest other."""
    apart = [
        abs(spot.centre[0] - other.centre[0]) / (2 * (spot.sigma_mm + other.sigma_mm))
        for other in all_spots
        if other is not spot
    ]
    return min(apart) if apart else None
