"""Small spots beneath line and cross, that are thin as strokes; and strokes, shadows and dots, that are none."""

from __future__ import annotations

import numpy as np
import pytest

from tests.measure.drawn import RED, Absorbance, celled, cross, from_above, gauss, pencil, spot
from webcapture.measure.beneath import colours_beneath, spots_beneath
from webcapture.measure.field import Field, field_of
from webcapture.measure.strip import measure_strip
from webcapture.model import Floats
from webcapture.settings import DEFAULTS

ORIGIN = np.array([20.0])
GREY = np.ones(3)


def upright_cross(s0: float, t0: float, depth: float = 0.7) -> Absorbance:
    """The stroke that makes a cross of the line, 3.6 mm long."""
    return lambda s, t: (depth * gauss(t, t0, 0.25) * (np.abs(s - s0) < 1.8))[..., None] * GREY


def disc(s0: float, t0: float, depth: float, radius: float) -> Absorbance:
    """As dark all over, with steep sides: ink that no solvent took."""

    def draw(s: Floats, t: Floats) -> Floats:
        over = np.minimum((np.hypot(s - s0, t - t0) - radius) / 0.15, 50)
        return (depth / (1 + np.exp(over)))[..., None] * GREY

    return draw


def blurred_cross(s0: float, t0: float, depth: float, sd: float) -> Absorbance:
    """Of two slanting strokes, drawn and photographed as broadly as hard photos show them."""

    def draw(s: Floats, t: Floats) -> Floats:
        near = (np.abs(t - t0) < 2.3) & (np.abs(s - s0) < 2.3)
        arms = (gauss((s - s0 + side * (t - t0)) / np.sqrt(2), 0, sd) for side in (-1, 1))
        return (depth * np.maximum(*arms) * near)[..., None] * GREY

    return draw


def ring(s0: float, t0: float, radius: float, depth: float = 0.6) -> Absorbance:
    """A pencilled circle around the place of application."""
    return lambda s, t: (depth * gauss(np.hypot(s - s0, t - t0), radius, 0.22))[..., None] * GREY


def found(*things: Absorbance, **how: float) -> tuple[Field, np.ndarray]:
    field = field_of(celled(pencil(20, 0.7), *things, noise=0.006, **how), DEFAULTS.profile)
    return field, spots_beneath(field, ORIGIN, DEFAULTS.beneath)


@pytest.mark.parametrize("at", [6.0, 10.0, 13.5])
@pytest.mark.parametrize(("radius", "depth"), [(1.1, 0.6), (1.4, 0.4), (1.8, 0.4)])
def test_a_spot_beneath_a_cross_is_told_where_it_lies(radius: float, depth: float, at: float) -> None:
    field, mask = found(upright_cross(20, at), disc(20.2, at + 0.2, depth, radius))
    here = np.hypot(field.s_mm[:, None] - 20.2, field.t_mm - at - 0.2)
    assert mask[here < radius].all()
    assert not mask[here > radius + 3].any()


@pytest.mark.parametrize(
    "things",
    [
        (),
        (upright_cross(20, 10),),
        (cross(20, 10),),
        (upright_cross(20, 6), upright_cross(20, 8), upright_cross(20, 13)),
        (disc(20, 10, 0.6, 0.6),),
        (upright_cross(20, 10), disc(20, 10, 0.6, 0.75)),
        (spot(23, 10, 0.8, (0.5, 0.5, 0.5)),),
        (disc(20, 10, 0.4, 5.0),),
    ],
    ids=["line", "cross", "slanting cross", "strokes", "dot", "dotted cross", "ran a little", "large"],
)
def test_pencil_alone_is_none_and_nor_is_what_ran_or_is_large(things: tuple[Absorbance, ...]) -> None:
    assert not found(*things)[1].any()


@pytest.mark.parametrize("sd", [0.25, 0.35, 0.4])
@pytest.mark.parametrize("depth", [0.25, 0.4])
def test_a_slanting_cross_however_blurred_is_none(depth: float, sd: float) -> None:
    assert not found(blurred_cross(20, 10, depth, sd))[1].any()


@pytest.mark.parametrize("radius", [1.2, 1.4, 1.6, 1.8, 2.1])
@pytest.mark.parametrize("depth", [0.4, 0.7])
def test_a_ring_around_the_place_of_application_is_none(depth: float, radius: float) -> None:
    assert not found(ring(20, 10, radius, depth))[1].any()
    things = pencil(20), pencil(120), ring(20, 10, radius, depth), spot(90, 10, 1.6, RED)
    (lane,) = measure_strip(celled(*things, noise=0.006), from_above(), DEFAULTS).lanes
    assert [round(one.distance_mm) for one in lane.spots] == [70]


@pytest.mark.parametrize("edge", [3.0, 6.0, 10.0])
@pytest.mark.parametrize("lean", [0.0, 0.2, 1.0])
def test_a_shadow_along_the_strip_is_none(lean: float, edge: float) -> None:
    def shadow(s: Floats, t: Floats) -> Floats:
        return (0.3 / (1 + np.exp(np.clip((t - edge - lean * (s - 20)) / 0.4, -50, 50))))[..., None] * GREY

    assert not found(upright_cross(20, 13), shadow)[1].any()


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("radius", [1.3, 1.5])
@pytest.mark.parametrize("depth", [0.35, 0.5])
def test_its_place_is_its_own_and_not_that_of_what_was_filled_in(depth: float, radius: float, seed: int) -> None:
    ground = pencil(20, 0.7), upright_cross(20, 10), pencil(120), spot(90, 10, 1.6, RED)
    strip = measure_strip(
        celled(*ground, disc(20.3, 10.2, depth, radius), seed=seed, noise=0.006), from_above(), DEFAULTS
    )
    stayed, ran = strip.lanes[0].spots
    assert "did-not-move" in {flag.code for flag in stayed.flags}
    assert stayed.distance_mm == pytest.approx(0.3, abs=0.15)
    assert ran.rf == pytest.approx(0.7, abs=0.003)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("depth", "sd"), [(0.36, 0.9), (0.28, 1.1), (0.2, 1.4)])
def test_a_soft_grey_spot_that_stayed_is_told_under_the_line(depth: float, sd: float, seed: int) -> None:
    """What is left of black ink that no solvent carried: hardly darker than the pencil's blur, but broad on both sides of the line."""
    ground = pencil(20, 0.5), pencil(120), spot(90, 10, 1.6, RED)
    left = spot(20.1, 10, sd, (depth, 0.95 * depth, 0.85 * depth))
    strip = measure_strip(celled(*ground, left, seed=seed, noise=0.006), from_above(), DEFAULTS)
    stayed, ran = strip.lanes[0].spots
    assert "did-not-move" in {flag.code for flag in stayed.flags}
    assert abs(stayed.distance_mm) < 0.6
    assert ran.rf == pytest.approx(0.7, abs=0.003)


@pytest.mark.parametrize("sd", [0.3, 0.35, 0.4])
@pytest.mark.parametrize("depth", [0.3, 0.5])
def test_a_cross_as_broad_as_blur_makes_it_is_no_soft_spot(depth: float, sd: float) -> None:
    assert not found(blurred_cross(20, 10, depth, sd))[1].any()


YELLOW, ORANGE = (0.01, 0.05, 0.24), (0.02, 0.14, 0.3)


def coloured(*things: Absorbance, **how: float) -> tuple[Field, np.ndarray]:
    field = field_of(celled(pencil(20, 0.7), *things, noise=0.006, **how), DEFAULTS.profile)
    return field, colours_beneath(field, ORIGIN, DEFAULTS.beneath)


@pytest.mark.parametrize("colour", [YELLOW, ORANGE, (0.3, 0.14, 0.02)])
@pytest.mark.parametrize("marked", [False, True])
def test_a_small_coloured_spot_under_line_and_cross_is_seen_in_its_own_colour(
    colour: tuple[float, float, float], marked: bool
) -> None:
    """Pencil hides how dark it is, not its colour: it lies at Rf 0, and is none of the mark's."""
    mark = (upright_cross(20, 10),) if marked else ()
    strip = celled(pencil(20, 0.7), pencil(120), *mark, spot(20, 10, 0.7, colour), spot(70, 10, 1.6, RED), noise=0.006)
    first, second = measure_strip(strip, from_above(), DEFAULTS).lanes[0].spots
    assert first.rf == pytest.approx(0, abs=0.004) and second.rf == pytest.approx(0.5, abs=0.003)
    assert "did-not-move" in {flag.code for flag in first.flags}
    shares = np.array(first.absorbance) / max(first.absorbance)
    assert shares == pytest.approx(np.array(colour) / max(colour), abs=0.15)


@pytest.mark.parametrize(
    "things",
    [
        (),
        (upright_cross(20, 10),),
        (cross(20, 10),),
        (disc(20, 10, 0.4, 1.4),),
        (spot(22.5, 10, 0.9, ORANGE),),
        (spot(17.5, 10, 0.9, ORANGE),),
        (spot(20, 10, 0.9, ORANGE, sd_t=40),),
        (spot(20, 10, 0.3, ORANGE),),
    ],
    ids=["line", "cross", "slanting cross", "grey", "ran a little", "below", "band", "dot of ink"],
)
def test_what_is_grey_or_off_the_line_or_right_across_is_no_coloured_spot_beneath(
    things: tuple[Absorbance, ...],
) -> None:
    assert not coloured(*things)[1].any()


def test_a_coloured_spot_beneath_is_told_where_it_lies() -> None:
    field, mask = coloured(upright_cross(20, 7), spot(20, 7, 0.7, YELLOW))
    here = np.hypot(field.s_mm[:, None] - 20, field.t_mm - 7)
    assert mask[here < 0.8].all()
    assert not mask[here > 4].any()


def test_a_spot_that_stayed_does_not_make_bands_of_ink_of_those_that_ran() -> None:
    """On a narrow strip spots reach from edge to edge; that one lies small on the line says nothing of how they were applied."""
    ran = (spot(50, 5, 1.6, RED, sd_t=5), spot(60, 5, 1.8, (0.3, 0.1, 0.05), sd_t=5))
    strip = celled(pencil(20, 0.7), pencil(120), spot(20, 5, 0.9, ORANGE), *ran, width=10.0, noise=0.006)
    measured = measure_strip(strip, from_above(), DEFAULTS)
    assert len(measured.lanes[0].spots) == 3
    assert "ink-line" not in {flag.code for flag in measured.flags}
