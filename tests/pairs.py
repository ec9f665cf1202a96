"""Photos with two strips in one bay: side by side on the sheet card, and two narrow ones in a bay of the tray."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

from webcapture.card.layout import card_layout
from webcapture.synthetic import Photograph, render
from webcapture.synthetic.scene import Curve, PaperStrip, Scene
from webcapture.synthetic.scenes import typical

SEED = 4001
"""A plain strip of four spots with a front in pencil."""


def _strip(base: PaperStrip, bay: int, x_mm: float, width_mm: float, front_s: float, share: float) -> PaperStrip:
    """The base's strip there, cut to that width, its solvent gone up to ``front_s`` and its spots to that share of their Rf."""
    (lane,) = base.lanes
    spots = tuple(replace(spot, rf=spot.rf * share) for spot in lane.spots)
    return replace(
        base, bay=bay, centre_mm=(x_mm, 150.0), width_mm=width_mm, length_mm=140.0, turn_deg=0.0, taper_mm=0.0, cuts=((), ()),
        lanes=(replace(lane, t_mm=width_mm / 2, width_mm=min(lane.width_mm, 0.6 * width_mm), spots=spots),),
        origin=replace(base.origin, curve=Curve(20.0, mid_mm=width_mm / 2)),
        front=replace(base.front, curve=Curve(front_s, mid_mm=width_mm / 2)),
        writings=(), creases=(), fingers=(),
    )  # fmt: skip


def on_sheet(count: int = 2) -> Scene:
    """So many strips in the sheet card's one bay, drawn from right to left; each ran less far than the one left of it."""
    scene = typical(SEED)
    (base,) = scene.strips
    strips = [_strip(base, 1, 60.0 + 40.0 * n, 22.0, 112.0 - 6.0 * n, 1.0 - 0.12 * n) for n in reversed(range(count))]
    return replace(scene, layout="sheet", strips=tuple(strips))


def on_tray() -> Scene:
    """Two strips of 10 mm in the tray's second bay, one of 16 mm in its fourth."""
    scene = typical(SEED)
    (base,) = scene.strips
    second, fourth = (card_layout("tray", scene.paper).bays[n].rect.centre[0] for n in (1, 3))
    strips = (
        _strip(base, 2, second - 6.2, 10.0, 112.0, 1.0),
        _strip(base, 2, second + 6.2, 10.0, 108.0, 0.85),
        _strip(base, 4, fourth, 16.0, 112.0, 1.0),
    )
    return replace(scene, layout="tray", strips=strips)


@cache
def photographed(layout: str) -> Photograph:
    """One of the two, drawn once for all tests."""
    return render(on_sheet() if layout == "sheet" else on_tray())
