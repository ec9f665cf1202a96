"""What lies under and around the card: benches, and papers with writing on them."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np

from webcapture.card.layout import card_layout
from webcapture.card.printing import card_png_array
from webcapture.model import Floats, Floats32
from webcapture.synthetic.layers import Words16
from webcapture.synthetic.paper import cloud
from webcapture.synthetic.scene import LoosePaper, Thing, Triple

BENCH_PX_PER_MM = 5.0
BENCH_MM = 380.0
"""Side of the bench's picture; beyond, it repeats mirrored."""
PAPER_PX_PER_MM = 8.0
CARD_PX_PER_MM = 20.0
CARD_DPI = 508
"""20 pixels a millimetre exactly, so that both page sizes are whole numbers of pixels."""
SCREEN_PER_MM = 4.2
"""Lines of a laser printer's screen, about 106 to the inch (common practice, no source)."""
CARD_WHITE = 0.86
CARD_BLACK = 0.045
"""Reflectance of plain paper and of toner, linear."""


@lru_cache(maxsize=4)
def printed_card(layout: str, paper: str, screened: bool) -> Words16:
    """Reflectance of the printed page (rows, columns) at CARD_PX_PER_MM, in 65535ths. Not to be written to.

    Greys come out of the printer smooth, or ``screened`` into dots as a laser printer makes them.
    """
    levels = np.arange(256) / 255
    linear = np.where(levels <= 0.04045, levels / 12.92, ((levels + 0.055) / 1.055) ** 2.4).astype(np.float32)
    page = card_png_array(card_layout(layout, paper), CARD_DPI)
    rng = np.random.default_rng(5)
    out = np.empty(page.shape, np.uint16)
    for top in range(0, len(page), 1024):
        light = linear[page[top : top + 1024]]
        if screened:
            light = _dots(light, top)
        toner = (CARD_WHITE - CARD_BLACK) * light + CARD_BLACK
        toner = toner * (1 + 0.006 * cloud(rng, toner.shape, 3.0) + 0.006 * cloud(rng, toner.shape, 60.0))
        out[top : top + 1024] = np.clip(toner * 65535, 0, 65535)
    out.setflags(write=False)
    return out


def _dots(light: Floats32, top: int) -> Floats32:
    """A line screen at 45°: each grey becomes dots of black that cover as much as it is dark."""
    row, column = np.ogrid[top : top + light.shape[0], 0 : light.shape[1]]
    turn = 2 * np.pi * SCREEN_PER_MM / CARD_PX_PER_MM / np.sqrt(2)
    wave = np.cos(turn * (row + column)) + np.cos(turn * (row - column))
    edges, share = _screen_table()
    # Where the wave lies below the level that leaves ``light`` of the paper bare, there is no toner; edges are soft.
    bare = np.clip((np.interp(light, share, edges) - wave) * 1.2 + 0.5, 0, 1)
    grey = (light > 0.02) & (light < 0.98)
    return np.where(grey, bare, light).astype(np.float32)


def _screen_table() -> tuple[Floats, Floats]:
    """Threshold of the screen's wave against the share of light that the dots then leave, soft edges included."""
    phase = np.linspace(0, 2 * np.pi, 64, endpoint=False)
    wave = (np.cos(phase)[:, None] + np.cos(phase)[None, :]).ravel()
    edges = np.linspace(-2.6, 2.6, 261)
    share = np.clip((edges[:, None] - wave[None, :]) * 1.2 + 0.5, 0, 1).mean(axis=1)
    return edges, share


def bench(kind: str, rng: np.random.Generator) -> Floats32:
    """Reflectance of the bench (rows, columns, 3) at BENCH_PX_PER_MM."""
    side = round(BENCH_MM * BENCH_PX_PER_MM)
    makers = {"wood": _wood, "stone": _stone, "slate": _slate, "mat": _mat, "white": _white}
    return np.asarray(np.clip(makers[kind]((side, side), rng), 0.01, 0.95), np.float32)


def _tinted(brightness: Floats32, colour: Triple) -> Floats32:
    return np.asarray(brightness[..., None] * np.array(colour, np.float32), np.float32)


def _wood(shape: tuple[int, int], rng: np.random.Generator) -> Floats32:
    """Planks with grain along them."""
    px = BENCH_PX_PER_MM
    grain = 0.10 * cloud(rng, shape, (0.4 * px, 40 * px)) + 0.09 * cloud(rng, shape, (2.2 * px, 120 * px))
    grain = grain + 0.06 * cloud(rng, shape, (12 * px, 200 * px)) + 0.04 * cloud(rng, shape, px * 0.25)
    rows = np.arange(shape[0]) / px
    plank = 95.0
    seam = np.exp(-(((rows % plank) - plank / 2) ** 2) / 0.5).astype(np.float32)
    tone = rng.normal(1, 0.09, int(BENCH_MM / plank) + 2)[(rows / plank + 0.5).astype(int)].astype(np.float32)
    brightness = (1 + grain) * tone[:, None] * (1 - 0.55 * seam[:, None])
    colours = ((0.42, 0.25, 0.12), (0.52, 0.36, 0.2), (0.24, 0.13, 0.07), (0.6, 0.47, 0.31))
    return _tinted(brightness, colours[int(rng.integers(len(colours)))])


def _stone(shape: tuple[int, int], rng: np.random.Generator) -> Floats32:
    """A speckled laminate."""
    px = BENCH_PX_PER_MM
    specks = cloud(rng, shape, 0.7 * px)
    brightness = 1 + 0.05 * cloud(rng, shape, 4 * px) - 0.35 * (specks > 1.7) + 0.2 * (specks < -2.0)
    level = float(rng.uniform(0.25, 0.6))
    return _tinted(brightness.astype(np.float32), (level, 0.98 * level, 0.94 * level))


def _slate(shape: tuple[int, int], rng: np.random.Generator) -> Floats32:
    """A dark laboratory bench with scratches and dust."""
    px = BENCH_PX_PER_MM
    brightness = 1 + 0.08 * cloud(rng, shape, 0.5 * px) + 0.1 * cloud(rng, shape, 20 * px)
    brightness = brightness + 0.5 * (cloud(rng, shape, 0.5 * px) > 3.2)
    return _tinted(brightness.astype(np.float32), (0.05, 0.052, 0.056))


def _mat(shape: tuple[int, int], rng: np.random.Generator) -> Floats32:
    """A green cutting mat ruled in centimetres."""
    px = BENCH_PX_PER_MM
    at = np.arange(shape[0]) / px
    ruled = (np.abs(at % 10 - 5) < 0.15).astype(np.float32)
    brightness = 1 + 0.05 * cloud(rng, shape, 0.6 * px) + 1.6 * np.maximum(ruled[:, None], ruled[None, :])
    return _tinted(brightness.astype(np.float32), (0.05, 0.17, 0.12))


def _white(shape: tuple[int, int], rng: np.random.Generator) -> Floats32:
    """A white table, a little glossy and dirty."""
    brightness = 0.74 + 0.02 * cloud(rng, shape, 40 * BENCH_PX_PER_MM) + 0.006 * cloud(rng, shape, BENCH_PX_PER_MM)
    return _tinted(brightness, (1.0, 0.99, 0.96))


def loose_paper(paper: LoosePaper, rng: np.random.Generator) -> Floats32:
    """A piece of paper with lines of print (rows, columns, 3) at PAPER_PX_PER_MM."""
    px = PAPER_PX_PER_MM
    shape = (round(paper.size_mm[1] * px), round(paper.size_mm[0] * px))
    brightness = paper.tone * (1 + 0.012 * cloud(rng, shape, 0.25 * px) + 0.01 * cloud(rng, shape, 20 * px))
    if paper.lines:
        brightness = brightness * (1 - 0.85 * _print(shape, rng))
    return _tinted(brightness.astype(np.float32), (1.0, 0.99, 0.97))


def thing(what: Thing, rng: np.random.Generator) -> Floats32:
    """A pen or a lid (rows, columns, 3) at PAPER_PX_PER_MM."""
    return _pen(what, rng) if what.kind == "pen" else _lid(what, rng)


PEN_MM = 9.0
"""Thickness of a pen."""


def _pen(what: Thing, rng: np.random.Generator) -> Floats32:
    """A shiny cylinder with a cap."""
    shape = (round(PEN_MM * PAPER_PX_PER_MM), round(what.size_mm * PAPER_PX_PER_MM))
    across = np.linspace(-1, 1, shape[0])[:, None]
    round_light = 0.25 + 0.75 * np.sqrt(np.maximum(0, 1 - across**2)) + 1.5 * np.exp(-(((across + 0.4) / 0.09) ** 2))
    cap = 1 - 0.6 * (np.arange(shape[1]) < 0.3 * shape[1])[None, :]
    worn = 1 + 0.05 * cloud(rng, shape, 2 * PAPER_PX_PER_MM)
    return np.minimum(_tinted((round_light * cap * worn).astype(np.float32), what.colour), np.float32(0.9))


def _lid(what: Thing, rng: np.random.Generator) -> Floats32:
    """A plastic lid with a rim."""
    side = round(what.size_mm * PAPER_PX_PER_MM)
    at = np.linspace(-1, 1, side)
    radius = np.hypot(at[:, None], at[None, :])
    rim = 0.35 * np.exp(-(((radius - 0.93) / 0.02) ** 2)) + 0.2 * np.exp(-(((radius - 0.8) / 0.015) ** 2))
    brightness = (1 - rim) * (1 + 0.01 * cloud(rng, (side, side), 6 * PAPER_PX_PER_MM))
    return _tinted(brightness.astype(np.float32), what.colour)


def _print(shape: tuple[int, int], rng: np.random.Generator) -> Floats32:
    """Lines of word-like dark blocks, 0 to 1."""
    px = PAPER_PX_PER_MM
    ink = np.zeros(shape, np.uint8)
    size = float(rng.uniform(1.6, 3.2))
    y = 12 * px
    while y < shape[0] - 12 * px:
        x = 12 * px
        while x < shape[1] - 16 * px:
            letters = int(rng.integers(2, 9))
            for n in range(letters):
                _letter(ink, x + n * 0.7 * size * px, y, size * px, rng)
            x += (letters + 0.8) * 0.7 * size * px
        y += 2.1 * size * px
    return np.asarray(cv2.GaussianBlur(ink, (0, 0), 0.8).astype(np.float32) / 255)


def _letter(ink: np.typing.NDArray[np.uint8], x: float, y: float, size: float, rng: np.random.Generator) -> None:
    """One letter-like squiggle of two strokes."""
    points = np.array([x, y]) + rng.uniform(0, 1, (4, 2)) * (0.5 * size, 0.9 * size)
    cv2.polylines(
        ink, [np.rint(points).astype(np.int32).reshape(-1, 1, 2)], False, 255, max(1, round(0.11 * size)), cv2.LINE_AA
    )
