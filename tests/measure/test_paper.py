"""Bare paper's level and noise, recovered from drawn paper on which both are known; numpy's own figures beside."""

from __future__ import annotations

import numpy as np
import pytest

from tests.measure.drawn import BLUE, RED, celled, drawn, gauss, pencil, spot, wet
from webcapture.measure.field import field_of
from webcapture.measure.paper import _first_level, stain_on
from webcapture.settings import DEFAULTS

RULE = DEFAULTS.paper


def stained(*things, lines=(), top=None, **how):
    """(field, stain) of a drawn strip; lines: s of level lines to fill in."""
    strip = drawn(*things, **how)
    field = field_of(strip, DEFAULTS.profile)
    curves = tuple(np.array([s, 0.0]) for s in lines)
    return field, stain_on(field, strip.strokes, curves, None if top is None else np.array([top, 0.0]), RULE)


def inside(field, margin=2.0):
    """(rows, cols) cells well inside the paper."""
    s, t = field.s_mm[:, None], field.t_mm[None, :]
    return (s > margin) & (s < field.length_mm - margin) & (t > margin) & (t < field.width_mm - margin)


@pytest.mark.parametrize("noise", [0.002, 0.006, 0.015])
def test_the_noise_is_the_papers(noise):
    """As drawn: grain common to the channels, and a third of it of each channel's own; numpy's standard deviation says the same."""
    field, stain = stained(spot(60, 10, 1.8, RED), noise=noise)
    assert stain.noise == pytest.approx(np.full(3, np.hypot(noise, noise / 3)), rel=0.08)
    assert stain.noise == pytest.approx(stain.absorbance[stain.bare & inside(field)].std(axis=0), rel=0.08)


@pytest.mark.parametrize("noise", [0.002, 0.006])
def test_bare_paper_is_zero(noise):
    field, stain = stained(spot(60, 10, 1.8, RED), noise=noise)
    bare = stain.absorbance[stain.bare & inside(field)]
    assert bare.mean(axis=0) == pytest.approx(np.zeros(3), abs=0.0006)


def test_a_spot_is_as_dark_as_drawn():
    field, stain = stained(spot(60, 10, 1.8, RED), noise=0.002)
    at = (np.abs(field.s_mm - 60) < 0.4)[:, None] & (np.abs(field.t_mm - 10) < 0.4)
    assert stain.absorbance[at].mean(axis=0) == pytest.approx(RED, rel=0.06)


def test_spots_are_not_bare():
    field, stain = stained(spot(60, 10, 1.8, RED), spot(90, 8, 1.5, BLUE), noise=0.003)
    s, t = field.s_mm[:, None], field.t_mm[None, :]
    for s0, t0, sd in ((60, 10, 1.8), (90, 8, 1.5)):
        assert not stain.bare[np.hypot(s - s0, t - t0) < 2 * sd].any()
    away = (np.hypot(s - 60, t - 10) > 9) & (np.hypot(s - 90, t - 8) > 9) & inside(field)
    assert stain.bare[away].mean() > 0.85


@pytest.mark.parametrize("tint", [(0.0, 0.01, 0.04), (0.03, 0.03, 0.03)])
def test_a_slow_change_of_the_paper_is_taken_away(tint):
    """Paper that yellows or dims from end to end: the level follows, and the spot's own colour stays."""

    def yellowed(s, t):
        return (s / 150 + 0 * t)[..., None] * np.array(tint)

    field, stain = stained(yellowed, spot(75, 10, 1.8, RED), noise=0.002)
    shown = (stain.bare & inside(field))[..., None]
    rows = shown.any(axis=(1, 2))
    along = (stain.absorbance * shown)[rows].sum(axis=1) / shown[rows].sum(axis=1)
    assert rows.sum() > 0.85 * len(rows)  # the spot takes 8 % of the rows, the ends 3 %
    assert np.abs(along).max() < 0.15 * max(tint)
    at = (np.abs(field.s_mm - 75) < 0.4)[:, None] & (np.abs(field.t_mm - 10) < 0.4)
    assert stain.absorbance[at].mean(axis=0) == pytest.approx(RED, abs=0.02)


def test_a_line_across_a_spot_is_filled_in():
    """The pencil line's own darkness, 0.3, is gone; what is left there is what the spot has just beside."""
    field, stain = stained(pencil(62), spot(60, 10, 2.0, RED), lines=(62.0,), noise=0.002)
    on = np.abs(field.s_mm - 62) < 0.2
    column = np.abs(field.t_mm - 10) < 0.4
    drawn_there = np.array(RED) * float(gauss(np.array(62.0), 60, 2.0))
    assert stain.absorbance[on][:, column].mean(axis=(0, 1)) == pytest.approx(drawn_there, abs=0.04)
    off_spot = np.abs(field.t_mm - 17) < 1.0
    assert np.abs(stain.absorbance[on][:, off_spot].mean()) < 0.01
    assert stain.strokes[on].all()


def test_marked_strokes_are_filled_in_too():
    """Strokes as averaging marks them on a picture, away from any line."""
    tick = pencil(60, depth=0.35, span=(7, 13))
    strip = celled(tick, noise=0.004)
    field = field_of(strip, DEFAULTS.profile)
    stain = stain_on(field, strip.strokes, (), None, RULE)
    near = (np.abs(field.s_mm - 60) < 0.3)[:, None] & (np.abs(field.t_mm - 10) < 2)
    assert field.absorbance[near].mean() > 0.1
    assert np.abs(stain.absorbance[near].mean()) < 0.02


def test_the_callers_strokes_are_left_alone():
    strip = drawn(pencil(20))
    before = strip.strokes.copy()
    stain_on(field_of(strip, DEFAULTS.profile), strip.strokes, (np.array([20.0, 0.0]),), None, RULE)
    assert (strip.strokes == before).all()


def test_paper_beyond_the_front_says_nothing_of_the_paper_below():
    """Dry paper, paler by 0.03, must not count for the wet: right below the front the level is that of the wet."""
    field, stain = stained(wet(120), pencil(120), lines=(120.0,), top=120.0, noise=0.003)
    below = (field.s_mm > 115) & (field.s_mm < 119)
    assert np.abs(stain.absorbance[below][:, 5:-5].mean(axis=(0, 1))).max() < 0.003
    assert not stain.bare[field.s_mm > 120].any()
    assert stain.bare[(field.s_mm > 5) & (field.s_mm < 115)][:, 5:-5].mean() > 0.9


def test_edges_are_no_paper():
    field, stain = stained(noise=0.003)
    assert not stain.bare[:, field.t_mm < field.rim_mm].any()
    assert not stain.bare[field.s_mm < RULE.edge_mm].any()


def test_a_shadow_on_a_wide_sheet_is_taken_away():
    """The card beside is too far off to tell: what dims all channels over centimetres is light, what is small and coloured is not."""

    def shadow(s, t):
        return (0.08 / (1 + np.exp((s - 70) / 1.0)) + 0 * t)[..., None] * np.ones(3)

    field, stain = stained(shadow, spot(50, 30, 2.0, RED), noise=0.003, width=60.0)
    s, t = field.s_mm[:, None], field.t_mm[None, :]
    away = inside(field) & (np.hypot(s - 50, t - 30) > 10) & (np.abs(s - 70) > 6)
    assert np.percentile(np.abs(stain.absorbance[away].mean(axis=1)), 95) < 0.02
    at = np.hypot(s - 50, t - 30) < 0.5
    assert stain.absorbance[at].mean(axis=0) == pytest.approx(RED, abs=0.05)


def test_a_scrap_of_a_single_row_of_blocks_has_a_level():
    mean, weight = np.full((3, 1, 30), 0.01, np.float32), np.ones((1, 30), np.float32)
    assert _first_level(mean, weight, RULE) == pytest.approx(0.01)
