"""Seeded photos of each class: ``typical``, ``hard`` and ``tray``. The same seed gives the same scene."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from webcapture.card.layout import card_layout
from webcapture.synthetic.classes import HARD, TYPICAL, Class
from webcapture.synthetic.papers import narrow_strip, wide_sheet
from webcapture.synthetic.scene import PaperStrip, Scene
from webcapture.synthetic.shots import camera, clutter, light, surroundings
from webcapture.synthetic.workshop import demo

__all__ = ["demo", "hard", "paper_size", "photographed", "sent", "tray", "typical"]

Rng = np.random.Generator


def typical(seed: int) -> Scene:
    """A careful person's photo of a strip or a sheet on the sheet card."""
    return _on_sheet(seed, TYPICAL)


def hard(seed: int) -> Scene:
    """A hurried person's photo in poor light."""
    return _on_sheet(seed, HARD)


def tray(seed: int, hard: bool = False) -> Scene:
    """A full tray: a strip in every bay."""
    kind = HARD if hard else TYPICAL
    rng = np.random.default_rng([seed, 7001 if hard else 7000])
    paper = paper_size(rng)
    strips = tuple(narrow_strip(rng, kind, bay) for bay in card_layout("tray", paper).bays)
    return photographed(rng, kind, "tray", paper, strips, seed)


def sent(seed: int, hard: bool = False) -> Scene:
    """The same strips and sheets, shrunk and compressed by a messenger."""
    scene = _on_sheet(seed, HARD if hard else TYPICAL)
    quality = int(np.random.default_rng([seed, 9000]).integers(50, 76))
    return replace(scene, camera=replace(scene.camera, sent=(1600, quality)))


def _on_sheet(seed: int, kind: Class) -> Scene:
    rng = np.random.default_rng([seed, 8001 if kind is HARD else 8000])
    paper = paper_size(rng)
    bay = card_layout("sheet", paper).bays[0]
    strip = narrow_strip(rng, kind, bay) if rng.random() < 0.55 else wide_sheet(rng, kind, bay)
    return photographed(rng, kind, "sheet", paper, (strip,), seed)


def paper_size(rng: Rng) -> str:
    """A4 three times in four."""
    return "letter" if rng.random() < 0.25 else "a4"


def photographed(rng: Rng, kind: Class, layout: str, paper: str, strips: tuple[PaperStrip, ...], seed: int) -> Scene:
    """Those strips on their card, in the light and through the camera of that class."""
    card = card_layout(layout, paper)
    taken, lit, around = camera(rng, kind), light(rng, kind, card.page_mm), surroundings(rng, kind, card.page_mm)
    screened = rng.random() < 0.3
    return Scene(
        layout=layout,
        paper=paper,
        strips=strips,
        camera=taken,
        light=lit,
        surroundings=clutter(rng, kind, card, around),
        screened=screened,
        seed=seed,
    )
