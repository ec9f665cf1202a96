"""Blotches that compression leaves: how much of them shows, how far they shift a spot, and that they are no spots."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.measure.drawn import RED, Absorbance, drawn, from_above, pencil, spot
from webcapture.measure.blotches import blotchiness, shifted_by
from webcapture.measure.strip import measure_strip
from webcapture.model import Blotches, Floats, StripCells
from webcapture.settings import DEFAULTS

SIDE = 4.0
"""Millimetres to a side of a block of colour: 16 pixels of a card 1600 pixels long."""
STEP = 0.013
"""Absorbance in blue from one level of Cb to the next at a quality of 60."""
BLUE_ONLY = Blotches(np.array([[0, 0, 0], [0, 0, STEP / 12**0.5], [0, 0, 0]]), (SIDE / 2, SIDE, SIDE))


def rounded(seed: int, step: float = STEP) -> Absorbance:
    """What paper that is nearly even looks like, rounded block by block: here and there one is a step and a half off."""
    off = np.random.default_rng(seed).random((80, 20)) < 0.06

    def draw(s: Floats, t: Floats) -> Floats:
        level = 1.5 * step * off[(s // SIDE).astype(int), (t // SIDE).astype(int)]
        return level[..., None] * np.array([0.0, 0.0, 1.0])

    return draw


def sheet(*things: Absorbance, blotches: Blotches | None, seed: int) -> StripCells:
    strip = drawn(pencil(15.0), pencil(100.0), *things, length=120.0, width=20.0, noise=0.002, seed=seed)
    return replace(strip, blotches=blotches)


def found(strip: StripCells) -> list[float]:
    return [spot.distance_mm for lane in measure_strip(strip, from_above(), DEFAULTS).lanes for spot in lane.spots]


def test_blotches_are_no_spots_and_hide_none() -> None:
    """Nothing but the file tells blotches from faint yellow spots; a clear one on them is found all the same."""
    taken = 0
    for seed in range(6):
        blotched = rounded(seed)
        taken += len(found(sheet(blotched, blotches=None, seed=seed)))
        assert found(sheet(blotched, blotches=BLUE_ONLY, seed=seed)) == []
        with_spot = found(sheet(blotched, spot(55.0, 10.0, 1.5, RED), blotches=BLUE_ONLY, seed=seed))
        assert with_spot == pytest.approx([40.0], abs=0.15)
    assert taken > 6


@pytest.mark.parametrize(("across", "length"), [(8.0, 12.0), (4.0, 4.0), (2.0, 1.0)])
def test_means_over_rectangles_scatter_as_said(across: float, length: float) -> None:
    """By simulation. Where a rectangle is smaller than a block it shows all of that block's error."""
    rng = np.random.default_rng(2)
    blocks = rng.normal(0, 0.01, (4000, max(round(across / SIDE), 1), max(round(length / SIDE), 1)))
    one = Blotches(np.array([[0, 0, 0], [0, 0, 0.01], [0, 0, 0]]), (SIDE, SIDE, SIDE))
    said = blotchiness(one, np.array([[0.0, -1.0, 1.0]]), np.array([across]), length)
    assert said[0, 0] == pytest.approx(blocks.mean(axis=(1, 2)).std(), rel=0.06)


def test_channels_add_up_with_their_signs() -> None:
    """Brightness moves all channels alike, and what two of them differ by not at all."""
    grey = Blotches(np.array([[0.01, 0.01, 0.01], [0, 0, 0], [0, 0, 0]]), (SIDE, SIDE, SIDE))
    said = blotchiness(grey, np.array([[1.0, 0, 0], [-1.0, 1.0, 0]]), np.array([1.0]), 1.0)
    assert said.ravel() == pytest.approx([0.01, 0.0])


@pytest.mark.parametrize(("block", "width"), [(1.0, 6.0), (2.0, 8.0), (4.0, 6.0)])
def test_a_spot_is_shifted_by_as_much_as_said(block: float, width: float) -> None:
    """By simulation: a Gaussian spot on blocks that err each for itself and lie anywhere."""
    rng = np.random.default_rng(3)
    height, error = 0.2, 0.004
    reach = 1.15 * width / 2
    s = np.linspace(-reach, reach, 241)
    spot_itself = height * np.exp(-0.5 * (s / (width / 4)) ** 2)
    shifts = []
    for _ in range(4000):
        blocks = np.floor((s + 100 + rng.uniform(0, block)) / block).astype(int)
        seen = spot_itself + rng.normal(0, error, blocks.max() + 1)[blocks]
        shifts.append(float(seen @ s / seen.sum()))
    one = Blotches(np.array([[0, 0, 0], [0, 0, error], [0, 0, 0]]), (block, block, block))
    said = shifted_by(one, (width, block), np.array([0, 0, height]))
    assert said == pytest.approx(np.std(shifts), rel=0.25)


def test_without_blotches_nothing_is_added() -> None:
    assert blotchiness(None, np.eye(3), np.ones(2), 1.0) == pytest.approx(0)
    assert shifted_by(None, (5.0, 5.0), np.ones(3)) == 0
    assert shifted_by(BLUE_ONLY, (5.0, 5.0), np.zeros(3)) == 0
