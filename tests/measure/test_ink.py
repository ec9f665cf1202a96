"""Ink of the origin line that ran right across a sheet, uneven as it is; and what was applied to lanes, however broad."""

from __future__ import annotations

import numpy as np
import pytest

from tests.measure.drawn import BLUE, RED, Absorbance, celled, cross, from_above, gauss, pencil, spot
from webcapture.measure.strip import measure_strip
from webcapture.model import Floats
from webcapture.settings import DEFAULTS

WIDTH, LANES = 80.0, (15.0, 40.0, 65.0)
SPOTS = tuple(spot(50 + 20 * n, t, 1.6, (RED, BLUE, RED)[n]) for n, t in enumerate(LANES))
MARKS = tuple(cross(20, t) for t in LANES)
BLACK = np.array([0.95, 1.0, 0.93])


def streaks(s0: float, depth: float = 0.4, paler: float = 0.7, gaps: tuple[float, ...] = ()) -> Absorbance:
    """A band right across, wavy, dark here and pale there; with bare paper around the places in ``gaps``."""

    def draw(s: Floats, t: Floats) -> Floats:
        beads = 1 - paler * (0.5 + 0.5 * np.cos(t / 2.3))
        bare = np.prod([1 - gauss(t, gap, 1.5) for gap in gaps], axis=0) if gaps else 1.0
        return (depth * beads * bare * gauss(s, s0 + np.sin(t / 9), 1.8))[..., None] * BLACK

    return draw


def codes(*things: Absorbance) -> set[str]:
    strip = measure_strip(
        celled(pencil(20), pencil(120), *MARKS, *things, width=WIDTH, noise=0.006), from_above(), DEFAULTS
    )
    return {flag.code for flag in strip.flags}


@pytest.mark.parametrize("paler", [0.2, 0.7])
def test_a_band_through_all_lanes_and_between_them_ran_from_the_line(paler: float) -> None:
    assert "ink-line" in codes(*SPOTS, streaks(40, paler=paler))


def test_bands_that_leave_paper_between_lanes_were_applied() -> None:
    assert "ink-line" not in codes(*SPOTS, streaks(40, gaps=(27.5, 52.5)))


def test_spots_side_by_side_were_applied() -> None:
    level = (spot(40, t, 1.8, (0.4, 0.42, 0.38), sd_t=3.0) for t in LANES)
    assert "ink-line" not in codes(*SPOTS, *level)


def test_bands_alone_were_applied_as_such() -> None:
    """Nothing besides them ran as a spot."""
    assert "ink-line" not in codes(streaks(40), streaks(75))
