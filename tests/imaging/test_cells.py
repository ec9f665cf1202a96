"""Averaging a strip's picture: plain numpy means of the same areas, and which cells lie under a pencil."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.measure.drawn import MARGIN, NO_PICTURE, RED, cross, outline, pencil, pictured, spot, writing
from webcapture.imaging.cells import averaged
from webcapture.model import Floats, StripImage
from webcapture.settings import DEFAULTS

RULE = DEFAULTS.cell


def picture(length: float = 60.0, width: float = 18.0, px_per_mm: float = 10.0, seed: int = 1) -> StripImage:
    """A picture of noise: every pixel its own value, a border of card that must not be mixed in."""
    rng = np.random.default_rng(seed)
    inset = round(MARGIN * px_per_mm)
    rows, cols = round(length * px_per_mm) + 2 * inset, round(width * px_per_mm) + 2 * inset
    logs = np.full((rows, cols, 3), -9.0)
    logs[inset:-inset, inset:-inset] = rng.normal(-0.2, 0.05, (rows - 2 * inset, cols - 2 * inset, 3))
    return StripImage(
        outline=outline(length, width),
        logs=logs.astype(np.float32),
        px_per_mm=px_per_mm,
        margin_mm=MARGIN,
        start_mm=(40.0, 250.0),
        axis=(0.0, -1.0),
        light=rng.normal(0, 0.01, (rows, 2)).astype(np.float32),
        picture=NO_PICTURE,
    )


def paper(image: StripImage) -> Floats:
    inset = round(image.margin_mm * image.px_per_mm)
    return image.logs[inset:-inset, inset:-inset].astype(float)


def means(values: Floats, count: int, axis: int) -> Floats:
    """Means over ``count`` equal parts, pixels on a boundary counting by their share: numpy's running sums, interpolated."""
    sums = np.concatenate([np.zeros_like(values.take([0], axis)), np.cumsum(values, axis=axis)], axis=axis)
    size = values.shape[axis]
    ends = np.linspace(0, size, count + 1)
    low = np.minimum(ends.astype(int), size - 1)
    share = (ends - low).reshape([-1 if a == axis else 1 for a in range(values.ndim)])
    at = sums.take(low, axis) * (1 - share) + sums.take(low + 1, axis) * share
    return np.asarray(np.diff(at, axis=axis) / (size / count))


def test_cells_of_whole_pixels_are_numpys_means() -> None:
    """Three by three pixels a cell."""
    image = picture()
    cells = averaged(image, replace(RULE, cell_mm=0.3)).cells
    assert cells.shape == (200, 60, 3)
    plain = paper(image).reshape(200, 3, 60, 3, 3).mean(axis=(1, 3))
    assert cells == pytest.approx(plain, abs=2e-6)


@pytest.mark.parametrize("px_per_mm", [8.0, 9.0, 11.0])
def test_cells_of_broken_pixels_are_weighted_means(px_per_mm: float) -> None:
    image = picture(px_per_mm=px_per_mm)
    found = averaged(image, RULE)
    rows, cols = found.cells.shape[:2]
    assert found.cells == pytest.approx(means(means(paper(image), rows, 0), cols, 1), abs=1e-5)
    assert (rows * found.cell_mm, found.length_mm) == pytest.approx((60, 60))
    assert found.cell_mm == pytest.approx(RULE.cell_mm, rel=0.02)


def test_bins_are_means_across_and_whole_along() -> None:
    image = picture()
    found = averaged(image, RULE)
    edge = round(found.rim_mm * image.px_per_mm)
    inner = paper(image)[:, edge:-edge]
    assert found.bins.shape[0] == inner.shape[0]
    assert found.bins == pytest.approx(means(inner, found.bins.shape[1], 1), abs=1e-5)
    assert (18 - 2 * found.rim_mm) / found.bins.shape[1] == pytest.approx(RULE.bin_mm, rel=0.1)


def test_the_mean_of_all_is_kept() -> None:
    image = picture()
    assert averaged(image, RULE).cells.mean(axis=(0, 1)) == pytest.approx(paper(image).mean(axis=(0, 1)), abs=1e-5)


def test_light_and_frame_come_along() -> None:
    image = picture()
    found = averaged(image, RULE)
    inset = round(MARGIN * image.px_per_mm)
    assert (found.light == image.light[inset:-inset]).all()
    assert (found.length_mm, found.width_mm) == pytest.approx((60, 18))
    assert (found.start_mm, found.axis, found.turned) == ((40.0, 250.0), (0.0, -1.0), False)


def test_a_wide_sheet_has_larger_cells() -> None:
    found = averaged(picture(width=60.0), RULE)
    assert found.cell_mm == pytest.approx(RULE.sheet_cell_mm, rel=0.02)
    assert found.bins.shape[1] == RULE.most_bins


def test_cells_are_never_finer_than_the_picture() -> None:
    coarse = picture(px_per_mm=2.0)
    found = averaged(coarse, RULE)
    assert found.cells.shape[:2] == paper(coarse).shape[:2]
    assert found.cells == pytest.approx(paper(coarse), abs=1e-6)


def test_a_bent_edge_widens_the_rim() -> None:
    """Long edges that run 1.2 mm inwards in their middle: bins leave out as much more."""
    straight = picture(length=150.0)
    bent = replace(straight, outline=outline(150.0, 18.0, inward=1.2))
    assert averaged(straight, RULE).rim_mm == pytest.approx(RULE.edge_mm, abs=0.1)
    assert averaged(bent, RULE).rim_mm == pytest.approx(RULE.edge_mm + 1.2, abs=0.15)


@pytest.mark.parametrize("inward", [7.0, 9.0, 40.0])
def test_edges_that_run_anywhere_leave_the_middle(inward: float) -> None:
    """As those of a strip do that the photo cuts off: they may meet, or cross."""
    astray = replace(picture(length=150.0), outline=outline(150.0, 18.0, inward=inward))
    found = averaged(astray, RULE)
    assert found.rim_mm == pytest.approx(RULE.edge_share * 18.0, abs=0.1)
    assert found.bins.shape[1] >= 3


# ---- strokes


def strokes(*things: object, **how: float) -> tuple[np.ndarray, Floats, Floats]:
    """(which cells are strokes, s of rows, t of columns)."""
    found = averaged(pictured(*things, **how), RULE)  # type: ignore[arg-type]
    rows, cols = found.strokes.shape
    s = (np.arange(rows) + 0.5) * found.length_mm / rows
    return found.strokes, s[:, None], (np.arange(cols)[None, :] + 0.5) * found.width_mm / cols


@pytest.mark.parametrize("depth", [0.12, 0.3, 0.6])
def test_a_pencil_line_is_a_stroke(depth: float) -> None:
    marked, s, t = strokes(pencil(60, depth=depth))
    on = (np.abs(s - 60) < 0.15) & (t > 1) & (t < 19)
    assert marked[on].mean() > 0.97
    assert not marked[(np.abs(s - 60) > 1.2) & (np.abs(s - 75) < 70) & (t > 1) & (t < 19)].mean() > 0.01


@pytest.mark.parametrize("sd", [0.9, 1.4, 2.2])
def test_a_spot_is_no_stroke(sd: float) -> None:
    """The smallest spot is 2 mm wide; common practice, no source."""
    for dye in ((0.1, 0.5, 0.4), (0.6, 0.6, 0.6)):
        marked, s, t = strokes(spot(60, 10, sd, dye), noise=0.002)
        assert marked[np.hypot(s - 60, t - 10) < 2 * sd].mean() < 0.02


def test_marks_and_letters_are_strokes() -> None:
    marked, s, t = strokes(cross(60, 10), writing(100, 3))
    assert marked[(np.abs(np.abs(s - 60) - np.abs(t - 10)) < 0.25) & (np.abs(s - 60) < 1.7)].mean() > 0.9
    letters = (np.abs(s - 100) < 1.5) & (t > 3) & (t < 18)
    assert marked[letters].mean() > 0.3


@pytest.mark.parametrize("noise", [0.004, 0.01, 0.03])
def test_grain_is_no_stroke(noise: float) -> None:
    marked, s, t = strokes(noise=noise)
    assert marked[(np.abs(s - 75) < 73) & (np.abs(t - 10) < 8)].mean() < 0.01


def test_a_stroke_across_a_spot_is_marked_and_the_spot_is_not() -> None:
    marked, s, t = strokes(spot(60, 10, 2.0, RED), pencil(60, depth=0.4))
    assert marked[(np.abs(s - 60) < 0.15) & (np.abs(t - 10) < 5)].mean() > 0.9
    beside = (np.hypot(s - 60, t - 10) < 3) & (np.abs(s - 60) > 1.2)
    assert marked[beside].mean() < 0.05


@pytest.mark.parametrize(
    "dye", [(0.12, 0.76, 0.8), (0.44, 0.64, 0.8), (0.8, 0.28, 0.64)], ids=["red", "brown", "green"]
)
@pytest.mark.parametrize("seed", range(3))
def test_the_steep_and_ragged_rim_of_a_coloured_spot_is_no_stroke(dye: tuple[float, ...], seed: int) -> None:
    """It is as thin as one where it ends; taken out with what lies under strokes, it drew the spot's middle to its other side."""
    rng = np.random.default_rng(seed)
    lobes = rng.uniform(0, 2 * np.pi, 5), rng.uniform(0.06, 0.14, 5)

    def ragged(s: Floats, t: Floats) -> Floats:
        away, angle = np.hypot(s - 60, t - 10), np.arctan2(s - 60, t - 10)
        radius = 1.6 * (1 + sum(a * np.cos((n + 2) * angle + p) for n, (p, a) in enumerate(zip(*lobes, strict=True))))
        return np.exp(-((away / radius) ** 5))[..., None] * np.array(dye)

    marked, s, t = strokes(ragged, noise=0.004)
    assert not marked[np.hypot(s - 60, t - 10) < 2.5].any()


BROWN = 0.44, 0.64, 0.8


def test_a_stroke_on_the_rim_of_a_coloured_spot_is_marked_as_elsewhere() -> None:
    """It is darker than the spot in its palest channel, as a rim never is."""
    marked, s, t = strokes(spot(60, 10, 1.6, BROWN), pencil(62.2, depth=0.6, span=(8, 12)), noise=0.004)
    assert marked[(np.abs(s - 62.2) < 0.15) & (np.abs(t - 10) < 1.5)].mean() > 0.9
