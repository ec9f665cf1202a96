"""The shipped scenario: a small textile dye workshop checks its vats by paper chromatography.

The workshop, its dyes and their Rf are invented; no dye of these names exists and no value was measured.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from webcapture.card.layout import card_layout
from webcapture.model import Point
from webcapture.synthetic.classes import DYES
from webcapture.synthetic.scene import (
    CameraSetup,
    Curve,
    Front,
    Lane,
    Light,
    OriginLine,
    PaperStrip,
    Scene,
    Spot,
    Stock,
    Surroundings,
    Writing,
)

INVENTED_RF = {
    "Fell violet": 0.22,
    "Marl red": 0.38,
    "Gorse yellow": 0.55,
    "Heather pink": 0.68,
    "Tarn blue": 0.81,
}
"""Invented Rf on the workshop's paper in the workshop's salt water."""


def demo() -> tuple[tuple[str, Scene], ...]:
    """Three photos of a working day: a strip of one vat, a sheet with reference lanes, a tray of six strips."""
    return (("vat-strip", _vat_strip()), ("reference-sheet", _reference_sheet()), ("six-vats-tray", _six_vats_tray()))


def _camera(tilt_deg: float, azimuth_deg: float, roll_deg: float) -> CameraSetup:
    return CameraSetup(
        tilt_deg=tilt_deg, azimuth_deg=azimuth_deg, roll_deg=roll_deg, fill=0.84, k1=-0.008, vignetting=0.12,
        exposure=0.82, cast=(1.0, 0.985, 0.95), defocus_px=0.7, shot_noise=0.006, quality=88, orientation=6,
    )  # fmt: skip


def _spot(name: str, peak: float, rng: np.random.Generator) -> Spot:
    """A spot of an invented dye; the same dye repeats to about 0.004 from lane to lane."""
    dye = next(d for d in DYES if d.name == name)
    return Spot(
        dye, INVENTED_RF[name] + float(rng.normal(0, 0.004)), peak, 1.4, 0.045, drift_mm=float(rng.normal(0, 0.4))
    )


def _paper(
    bay: int, centre: Point, size: tuple[float, float], front: Front, lanes: tuple[Lane, ...],
    words: tuple[Writing, ...], turn_deg: float,
) -> PaperStrip:  # fmt: skip
    """A paper as the workshop cuts and marks it: pencil line 20 mm from the end."""
    origin = OriginLine(Curve(20.0, 0.002, mid_mm=size[0] / 2), "pencil", 0.4, 0.32)
    return PaperStrip(
        bay=bay,
        centre_mm=centre,
        width_mm=size[0],
        length_mm=size[1],
        origin=origin,
        front=front,
        lanes=lanes,
        turn_deg=turn_deg,
        stock=Stock(3.6, (0.008, 0.009, 0.014), 0.009),
        ragged_mm=0.12,
        streaks=0.1,
        writings=words,
    )


def _vat_strip() -> Scene:
    """One narrow strip on the sheet card: the brown vat."""
    card = card_layout("sheet", "a4")
    x, y = card.bays[0].rect.centre
    names = (("Fell violet", 0.25), ("Marl red", 0.5), ("Gorse yellow", 0.45), ("Tarn blue", 0.4))
    rng = np.random.default_rng(41)
    lanes = (Lane(12.0, tuple(_spot(n, peak, rng) for n, peak in names), "cross"),)
    front = Front(Curve(138.0, 0.004, 0.0, 12.0), "pencil", 0.3, 0.4)
    words = (Writing("D4", 9.0, 12.0, 4.0, 2.0), Writing("vat", 149.0, 12.0, 3.2, -3.0))
    strip = _paper(1, (x - 8, y + 6), (24.0, 158.0), front, lanes, words, 3.5)
    return Scene("sheet", "a4", (strip,), _camera(7, 110, -2), Light(0.08, 40, 0.03), Surroundings("wood"), seed=41)


def _reference_sheet() -> Scene:
    """A sheet with four reference lanes and the vat between them."""
    card = card_layout("sheet", "a4")
    x, y = card.bays[0].rect.centre
    content: tuple[tuple[str, tuple[tuple[str, float], ...]], ...] = (
        ("F", (("Fell violet", 0.4),)),
        ("M", (("Marl red", 0.5),)),
        ("D4", (("Fell violet", 0.18), ("Marl red", 0.42), ("Gorse yellow", 0.4), ("Tarn blue", 0.3))),
        ("G", (("Gorse yellow", 0.5),)),
        ("T", (("Tarn blue", 0.45),)),
    )
    places = [13.0 + 26.0 * n for n in range(len(content))]
    rng = np.random.default_rng(42)
    lanes = tuple(
        Lane(t, tuple(_spot(n, peak, rng) for n, peak in spots), "cross", width_mm=8.0)
        for t, (_, spots) in zip(places, content, strict=True)
    )
    words = tuple(Writing(label, 9.5, t, 4.2, 1.0) for t, (label, _) in zip(places, content, strict=True))
    front = Front(Curve(131.0, 0.008, 0.0, 65.0), "pencil", 0.28, 0.4)
    strip = _paper(1, (x + 2, y - 4), (130.0, 155.0), front, lanes, words, -2.5)
    light = Light(0.1, 200, 0.02, 0.02)
    return Scene("sheet", "a4", (strip,), _camera(9, 250, 1.5), light, Surroundings("slate"), seed=42)


def _six_vats_tray() -> Scene:
    """Six vats on the tray, as a second person ran them."""
    rng = np.random.default_rng(43)
    mixes: tuple[tuple[str, ...], ...] = (
        ("Marl red", "Gorse yellow"), ("Tarn blue",), ("Gorse yellow", "Tarn blue"), ("Fell violet", "Heather pink"),
        ("Fell violet", "Marl red", "Tarn blue"), ("Marl red", "Heather pink"),
    )  # fmt: skip
    strips = []
    for n, (bay, mix) in enumerate(zip(card_layout("tray", "a4").bays, mixes, strict=True)):
        run = float(rng.uniform(96, 112))
        spots = tuple(_spot(name, float(rng.uniform(0.25, 0.5)), rng) for name in mix)
        front = Front(Curve(20 + run, float(rng.normal(0, 0.004)), 0.0, 9.0), "pencil", 0.3, 0.4)
        x, y = bay.rect.centre
        words = (Writing(f"V{n + 1}", 9.0, 9.0, 4.0, float(rng.normal(0, 3))),)
        centre = (x + float(rng.uniform(-1, 1)), y + float(rng.uniform(-20, 20)))
        lane = Lane(9.0, spots, "tick", width_mm=8.0)
        strips.append(_paper(bay.bay, centre, (18.0, 145.0), front, (lane,), words, float(rng.uniform(-1.2, 1.2))))
    camera = replace(_camera(6, 20, 0.8), cast=(0.96, 0.985, 1.0))
    return Scene("tray", "a4", tuple(strips), camera, Light(0.09, 300, 0.03), Surroundings("wood"), seed=44)
