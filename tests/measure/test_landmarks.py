"""Candidates for origin and front: drawn lines, wet edges and stains where they were drawn; and what is none of them."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.polynomial.polynomial import polyval
from scipy.ndimage import uniform_filter1d

from tests.measure.drawn import (
    BLUE,
    RED,
    crease,
    cross,
    drawn,
    gauss,
    level_line,
    pencil,
    shaded,
    spot,
    stain,
    wet,
)
from webcapture.measure.field import field_of
from webcapture.measure.landmarks import (
    as_line,
    line_at,
    pencil_lines,
    wet_edges,
)
from webcapture.measure.responses import _boxes, standardised
from webcapture.measure.stains import stains
from webcapture.settings import DEFAULTS

RULE, TRACE = DEFAULTS.landmark, DEFAULTS.trace


def field(*things, **how):
    return field_of(drawn(*things, **how), DEFAULTS.profile)


def drawn_lines(*things, **how):
    return pencil_lines(field(*things, **how), TRACE, RULE)


def edges(*things, **how):
    return wet_edges(field(*things, **how), TRACE, RULE)


def stained(*things, **how):
    return stains(field(*things, **how), TRACE, RULE)


# ---- drawn lines


def test_lines_from_the_origin_upwards():
    found = drawn_lines(pencil(20), pencil(120, depth=0.15), spot(60, 10, 1.6, RED))
    assert [c.kind for c in found] == ["pencil", "pencil"]
    assert [c.middle_mm for c in found] == pytest.approx([20, 120], abs=0.03)
    assert [c.coverage for c in found] == [1, 1]


@pytest.mark.parametrize("slope", [0.06, -0.12, 0.2])
def test_a_slanted_line(slope):
    (line,) = drawn_lines(pencil(60, slope=slope))
    t = np.array([3.0, 10.0, 17.0])
    assert polyval(t, line.trace.coefficients) == pytest.approx(60 + slope * t, abs=0.06)


@pytest.mark.parametrize("bow", [0.8, -1.5])
def test_a_bowed_line(bow):
    (line,) = drawn_lines(pencil(120, bow=bow))
    t = np.array([2.0, 6.0, 10.0, 14.0, 18.0])
    assert polyval(t, line.trace.coefficients) == pytest.approx(120 + bow * (t / 10 - 1) ** 2, abs=0.1)


@pytest.mark.parametrize(("span", "share"), [((0, 10.4), 0.5), ((6, 14), 0.4), ((13, 21), 0.35)])
def test_part_of_a_line(span, share):
    (line,) = drawn_lines(pencil(120, span=span))
    assert line.middle_mm == pytest.approx(120, abs=0.05)
    assert line.coverage == pytest.approx(share, abs=0.13)


def test_a_coloured_line_is_told_from_pencil():
    ink, grey = drawn_lines(pencil(20, depth=0.5, colour=(1, 0.7, 0.2)), pencil(120))
    assert (ink.kind, grey.kind) == ("coloured", "pencil")
    assert ink.colour == pytest.approx(0.5 * np.array([1, 0.7, 0.2]), rel=0.25)


def test_a_line_across_a_spot_is_still_seen():
    found = drawn_lines(pencil(20), spot(20, 10, 2.0, (0.1, 0.5, 0.4)), pencil(120))
    assert [c.middle_mm for c in found] == pytest.approx([20, 120], abs=0.1)


@pytest.mark.parametrize("depth", [0.03, 0.06, 0.12])
def test_a_crease_is_no_line(depth):
    """One of its sides is brighter than paper: pencil has none."""
    assert drawn_lines(crease(100, depth)) == []
    assert edges(crease(100, depth)) == []


@pytest.mark.parametrize("sd", [0.8, 1.2, 2.0])
def test_a_band_of_colour_is_no_thin_line(sd):
    """A streak right across the strip, 3 to 8 mm wide."""
    assert drawn_lines(lambda s, t: (gauss(s, 80, sd) + 0 * t)[..., None] * np.array(RED)) == []


def test_the_papers_end_is_no_line():
    assert drawn_lines(pencil(1.5), pencil(148.5)) == []


def test_bare_paper_has_hardly_a_candidate():
    """Of 60 bare strips with grain none has a wet edge, and at most three a chance line, none of them fit for an origin."""
    lines = []
    for seed in range(60):
        bare = field(noise=0.002 + 0.001 * (seed % 5), seed=seed, width=(16, 20, 60)[seed % 3])
        lines += pencil_lines(bare, TRACE, RULE)
        assert wet_edges(bare, TRACE, RULE) == []
    assert len(lines) <= 3
    assert all(line.coverage < RULE.origin_coverage for line in lines)


# ---- wet edges


@pytest.mark.parametrize("depth", [0.02, 0.04])
def test_a_wet_edge(depth):
    (edge,) = edges(wet(120, depth), spot(60, 10, 1.6, BLUE))
    assert edge.kind == "wet-edge"
    assert edge.middle_mm == pytest.approx(120, abs=0.15)
    assert np.array(edge.colour) == pytest.approx(np.full(3, depth), rel=0.3)


def test_paler_below_is_no_wet_edge():
    """The solvent comes from the origin end: paper that is darker above was not wetted from below."""
    assert edges(lambda s, t: 0.03 - wet(120)(s, t)) == []


@pytest.mark.parametrize("width", [3.0, 6.0, 10.0])
def test_a_grey_band_is_no_wet_edge(width):
    """Its lower end undoes its upper one. Spots are at most 10 mm wide (BP 2010, Appendix III E, mark A).

    From 11 mm on its upper edge lasts as a wet edge's does: three quarters of the 14 mm below it count.
    """
    band = lambda s, t: (0.03 * ((s > 120 - width) & (s < 120)) + 0 * t)[..., None] * np.ones(3)  # noqa: E731
    assert edges(band) == []
    assert len(edges(lambda s, t: (0.03 * (s < 120) + 0 * t)[..., None] * np.ones(3))) == 1


@pytest.mark.parametrize("width", [14.0, 18.0])
def test_the_end_of_a_wide_grey_band_is_no_wet_edge(width):
    """It is dark for as long as a dried wet edge has to last, but wet paper would be dark down to the origin."""

    def band(s, t):
        inside = 1 / (1 + np.exp(-(s - (105 - width)) / 0.5)) / (1 + np.exp((s - 105) / 0.5))
        return (0.15 * inside + 0 * t)[..., None] * np.ones(3)

    found = edges(wet(125, depth=0.03), band)
    assert [round(c.middle_mm) for c in found] == [125]


@pytest.mark.parametrize("slope", [0.0, 0.15])
def test_a_shadows_edge_is_no_front(slope):
    """A shadow on the lower part looks like wet paper, but lies on the card beside too."""
    assert edges(light=shaded(100, 0.03, slope)) == []
    assert drawn_lines(light=shaded(100, 0.2, slope)) == []
    assert len(edges(light=shaded(100, 0.03, slope), beside=False)) == 1


def test_a_gradient_has_no_edge():
    assert edges(lambda s, t: (0.06 * (1 - s / 150) + 0 * t)[..., None] * np.ones(3)) == []


# ---- stains


@pytest.mark.parametrize("depth", [0.03, 0.06])
def test_a_stain_that_ends_sharply_lies_between_its_darkest_place_and_its_edge(depth):
    """It fades slowly behind and ends sharply before: neither its middle nor its mean is where the solvent stopped, and its edge is doubted."""
    seen = field(stain(120, depth, behind=0.6), noise=0.002)
    (found,) = stains(seen, TRACE, RULE)
    line = as_line(found, seen, 0.1)
    edge = 120 + 1.177 * 0.25  # half of the half Gaussian that it ends with
    assert line.kind == "stain"
    assert 120 - 0.1 < line_at(line, 10.0, 3.0) < edge + 0.1
    assert found.outer_mm > 0.1


def test_a_wide_band_is_no_stain():
    assert stained(lambda s, t: (gauss(s, 120, 2.0) + 0 * t)[..., None] * np.array([0.02, 0.04, 0.06])) == []


def test_a_grey_band_is_no_stain():
    """Creases and shadows are grey; a solvent's line is brown."""
    assert stained(lambda s, t: (gauss(s, 120, 0.5) + 0 * t)[..., None] * np.full(3, 0.06)) == []


# ---- as landmarks


def test_uncertainty_holds_the_scatter_and_the_meaning():
    seen = field(pencil(20), noise=0.01)
    (found,) = pencil_lines(seen, TRACE, RULE)
    sharp, soft = as_line(found, seen, 0.0), as_line(found, seen, 0.3)
    assert sharp.u_mm == pytest.approx(found.trace.spread_mm / np.sqrt(found.trace.seen.sum() / 2))
    assert soft.u_mm == pytest.approx(np.hypot(sharp.u_mm, 0.3))


def test_lines_are_as_certain_as_they_say():
    """Over 60 strips with grain, nine places in ten lie within twice the uncertainty: 95 % would, were the scatter normal.

    Grain alone makes a faint path of its own in two strips of a hundred; the line meant is the clearest.
    """
    off = []
    for seed in range(60):
        seen = field(pencil(20, depth=0.1, slope=0.03), noise=0.012, seed=seed)
        found = max(pencil_lines(seen, TRACE, RULE), key=lambda c: c.trace.score)
        line = as_line(found, seen, DEFAULTS.reading.u_pencil_mm)
        off.append((line_at(line, 10.0, 3.0) - 20.3) / line.u_mm)
    assert np.mean(np.abs(off) <= 2) >= 0.9
    assert abs(np.mean(off)) < 0.5


def test_a_line_is_taken_where_it_runs():
    """A front that ripples counts, in a lane, as it runs there; further off, as the fitted curve."""
    line = level_line(120)
    line.s_mm[line.t_mm > 14] += 0.8
    assert line_at(line, 18.0, 3.0) > 120.5
    assert line_at(line, 4.0, 3.0) == pytest.approx(120, abs=0.02)
    even = level_line(120, slope=0.1)
    assert line_at(even, 7.0, 3.0) == pytest.approx(120.7)


def test_a_cross_does_not_shift_the_line():
    seen = field(pencil(20), cross(20, 10), noise=0.002)
    (found,) = [c for c in pencil_lines(seen, TRACE, RULE) if c.coverage > 0.6]
    assert found.middle_mm == pytest.approx(20, abs=0.05)


# ---- arithmetic


def test_running_means_are_scipys():
    """scipy.ndimage.uniform_filter1d over the same rows, ends repeated: its means are centred, ours lie ``low`` to ``high`` off."""
    values = np.random.default_rng(2).normal(0, 1, (60, 3)).astype(np.float32)
    for low, high in ((-2, 2), (3, 7), (-9, -4), (0, 0)):
        size = high - low + 1
        padded = np.pad(values.astype(float), ((30, 30), (0, 0)), mode="edge")
        first = 30 + low + size // 2
        mean = uniform_filter1d(padded, size, axis=0)[first : first + 60]
        wider, found, beside = _boxes(values, (low - 3, high), (low, high), (high + 1, high + 4))
        assert found == pytest.approx(mean, abs=1e-5)
        assert not np.allclose(wider, found) and not np.allclose(beside, found)


@pytest.mark.parametrize("filled", [0.0, 0.25, 0.45])
def test_responses_are_in_standard_deviations_of_the_paper(filled):
    """numpy's standard deviation of the noise alone, though colour fills up to almost half of the strip."""
    rng = np.random.default_rng(4)
    noise = rng.normal(0.7, 3.0, (1000, 12))
    noise[: int(filled * 1000)] += rng.uniform(20, 60, (int(filled * 1000), 12))
    standard = standardised(noise.astype(np.float32))
    assert standard[500:].std() == pytest.approx(1, rel=0.08 if filled == 0 else 0.75)
    assert abs(standard[500:].mean()) < 1.3


@pytest.mark.parametrize("depth", [0.02, 0.05])
@pytest.mark.parametrize("soft", [0.12, 0.3])
def test_a_plain_wet_edge_lies_half_way_down_its_step(depth, soft):
    """A straight ramp from wet to dry paper; the boxes that trace it are drawn to the wet side, the more the higher it is."""

    def ramp(s, t):
        return (depth * np.clip((120 - s) / (2 * soft) + 0.5, 0, 1) + 0 * t)[..., None] * np.array([0.9, 0.95, 1.0])

    places = []
    for seed in range(4):
        seen = field(ramp, seed=seed)
        (found,) = wet_edges(seen, TRACE, RULE)
        places.append(float(as_line(found, seen, 0.0, RULE).s_mm.mean()))
    assert np.mean(places) == pytest.approx(120, abs=0.06)
