"""Two dyes under one maximum: told by the rank of what the channels show, and parted, also beside a third spot."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import svdvals
from scipy.stats import exponnorm

from tests.measure.drawn import BLUE, GREEN, RED, celled, drawn, from_above, gauss, pencil, spot, tailed
from webcapture.measure.dyes import _of_two_colours, with_hidden
from webcapture.measure.field import field_of
from webcapture.measure.mixture import Peak, absorbance_of, fit_mixture
from webcapture.measure.patch import Region, patch_of
from webcapture.measure.strip import measure_strip
from webcapture.settings import DEFAULTS

RULE = DEFAULTS.spot
S = np.arange(40.0, 80.0, 0.3)
PINK, GREY, YELLOW, SKY = (0.0, 0.19, 0.05), (0.34, 0.34, 0.34), (0.0, 0.08, 0.22), (0.16, 0.07, 0.0)


def spots_of(*things, seed=1, noise=0.002):
    """((mm above the origin, flags) of each spot) on a strip with its origin at 20 mm and its front at 120 mm."""
    strip = measure_strip(celled(pencil(20), pencil(120), *things, noise=noise, seed=seed), from_above(), DEFAULTS)
    return [(spot.distance_mm, tuple(flag.code for flag in spot.flags)) for spot in strip.lanes[0].spots]


def seen(absorbance, most=0.8):
    """As paper shows it, which darkens less the more dye it holds."""
    return most * (1 - np.exp(-absorbance / most))


# ---- whether there are two colours


@pytest.mark.parametrize("seed", range(30))
def test_the_rank_is_that_of_scipys_singular_values(seed):
    rng = np.random.default_rng(seed)
    first, second = gauss(S, 60, 2.0), gauss(S, 60 + rng.uniform(0, 6), rng.uniform(0.5, 3))
    colours = rng.uniform(0, 100, (2, 3))
    matrix = (
        np.outer(first, colours[0]) + np.outer(second, rng.uniform(0, 1) * colours[1]) + rng.normal(size=(S.size, 3))
    )
    values = svdvals(matrix)
    expected = values[1] > RULE.second_sd and values[1] > RULE.second_colour * values[0]
    assert _of_two_colours(matrix, RULE) == expected


def test_both_answers_are_among_these():
    one = np.outer(gauss(S, 60, 2.0), (20, 150, 100))
    assert not _of_two_colours(one, RULE)
    assert _of_two_colours(one + np.outer(gauss(S, 66, 1.5), (40, 20, 3)), RULE)


@pytest.mark.parametrize("shape", ["tail", "two humps", "block"])
def test_one_dye_of_any_shape_has_one_colour(shape):
    along = {
        "tail": exponnorm.pdf(-S, 3.0, loc=-60, scale=1.5),
        "two humps": gauss(S, 56, 1.2) + 0.7 * gauss(S, 62, 2.0),
        "block": ((S > 55) & (S < 66)).astype(float),
    }[shape]
    noise = np.random.default_rng(1).normal(size=(S.size, 3))
    assert not _of_two_colours(np.outer(along / along.max(), (20, 150, 100)) + noise, RULE)


# ---- a peak drawn again


@pytest.mark.parametrize("tail", [0.4, 2.0, -1.5])
def test_a_peak_is_drawn_as_scipys_law_whichever_way_it_trails(tail):
    sd, length = 1.5, abs(tail)
    law = exponnorm(length / sd, loc=0, scale=sd)  # its tail goes up; mean and standard deviation follow
    sign = -np.sign(tail)
    density = law.pdf(sign * (S - 60))
    peak = Peak(60 + sign * law.mean(), 60.0, law.std(), tail, np.array(RED), 0.01)
    assert absorbance_of(peak, S) == pytest.approx(density[:, None] / density.max() * RED, abs=1e-3)


# ---- parted


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("gap", [4.8, 5.3])
def test_a_weaker_dye_that_touches_a_stronger_one_is_a_spot(gap, seed):
    """Its share is too small to move where the channels place the whole by an eighth of a width."""
    found = spots_of(spot(70, 10, 1.6, PINK), spot(70 + gap, 10, 2.4, GREY), seed=seed)
    assert [mm for mm, _ in found] == pytest.approx([50, 50 + gap], abs=0.3)
    assert all("merged" in flags for _, flags in found)


@pytest.mark.parametrize("seed", range(3))
def test_a_dye_hidden_in_one_of_several_spots_is_one_more(seed):
    trio = spot(62, 10, 1.9, YELLOW), spot(70, 10, 1.8, (0.2, 0.19, 0.16)), spot(73.7, 10, 1.1, SKY)
    found = spots_of(*trio, seed=seed)
    assert [mm for mm, _ in found] == pytest.approx([42, 50, 53.7], abs=0.3)
    assert all("merged" in flags for _, flags in found[1:])


@pytest.mark.parametrize("colour", [RED, BLUE, GREEN])
@pytest.mark.parametrize("times", [1.0, 2.5])
def test_a_long_tail_is_not_a_second_dye_though_paler_it_looks_purer(colour, times):
    """Where dye lies thick its paler channels catch up with its darkest."""
    dye = tailed(80, 10, tuple(times * channel for channel in colour))

    def shown(s, t):
        return seen(dye(s, t))

    assert len(spots_of(shown)) == 1


def test_two_spots_of_one_dye_each_stay_two():
    where = Region([50, 70], 20, 110, 100.0)
    noise = np.random.default_rng(2).normal(0, 0.002, (3, S.size, 20))
    profile = np.outer(gauss(S, S[50], 1.5), RED) + np.outer(gauss(S, S[70], 1.5), BLUE)
    across = gauss(np.arange(20.0), 10, 4)
    lane = (profile.T[..., None] * across + noise).astype(np.float32)
    field = field_of(drawn(noise=0.002), DEFAULTS.profile)
    patch = patch_of(lane, lane.max(axis=0) < 0.005, where, (0, S.size - 1), field, (0, 0))
    pair = fit_mixture(
        patch.s_mm, patch.profile, patch.noise, patch.s_mm[[50 - patch.first, 70 - patch.first]], np.full(2, 1.5)
    )
    assert with_hidden(patch, pair, RULE) is pair
