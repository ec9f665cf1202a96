"""The field of light against fields that are known, the tint against printers that differ."""

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from tests.imaging.shots import PLAIN, lay, page_of, sheet_of, shoot, strip_corners
from webcapture.card.layout import CardLayout, card_layout
from webcapture.imaging.light import panel_slices
from webcapture.model import Bytes8, Floats, Sheet

SHEET = card_layout()
STRIP = strip_corners((90.0, 150.0), 25, 170, 5)
Field = Callable[[Floats, Floats], Floats]


def even(x: Floats, y: Floats) -> Floats:
    return np.full_like(x, 0.8)


def slanting(x: Floats, y: Floats) -> Floats:
    return 0.6 * (1 + 0.4 * (x / 105 - 1)) * (1 - 0.25 * (y / 148 - 1))


def vaulted(x: Floats, y: Floats) -> Floats:
    return 0.85 - 0.15 * (((x - 90) / 110) ** 2 + ((y - 120) / 160) ** 2)


def shadow(at: float, depth: float) -> Field:
    def field(x: Floats, y: Floats) -> Floats:
        return 0.85 * (1 - depth * (0.5 + 0.5 * np.tanh((y + 0.3 * x - at) / 3)))

    return field


def with_strip(card: CardLayout = SHEET) -> Bytes8:
    page = page_of(card)
    lay(page, STRIP)
    return page


def grid(sheet: Sheet) -> tuple[Floats, Floats]:
    rows, cols = sheet.light.shape
    x, y = np.meshgrid((np.arange(cols) + 0.5) / sheet.light_px_per_mm, (np.arange(rows) + 0.5) / sheet.light_px_per_mm)
    return x, y


FIELDS: dict[str, Field] = {
    "even": even,
    "slanting": slanting,
    "vaulted": vaulted,
    "a third in shadow": shadow(215, 0.35),
    "two thirds in shadow": shadow(135, 0.45),
}


@cache
def lit(name: str) -> Sheet:
    """The page with a strip on it, in that field."""
    return sheet_of(shoot(SHEET, with_strip(), light=FIELDS[name]))[1]


@pytest.mark.parametrize("name", FIELDS)
def test_a_known_field_comes_out_again(name: str) -> None:
    sheet = lit(name)
    x, y = grid(sheet)
    ratio = sheet.light / FIELDS[name](x, y)
    inner = panel_slices(SHEET, sheet.light_px_per_mm, 12.0)
    off = np.abs(np.log(ratio[inner]))
    assert np.median(off) < 0.03
    assert np.percentile(off, 95) < 0.15  # near a shadow's edge it is a little smeared


@pytest.mark.parametrize("name", FIELDS)
def test_paper_and_tint_have_their_levels(name: str) -> None:
    sheet = lit(name)
    rows, cols = sheet.level.shape
    x, y = np.meshgrid((np.arange(cols) + 0.5) / sheet.px_per_mm, (np.arange(rows) + 0.5) / sheet.px_per_mm)
    up = (STRIP[3] - STRIP[0]) / 170
    right = (STRIP[1] - STRIP[0]) / 25
    s, t = ((x - STRIP[0, 0]) * v[0] + (y - STRIP[0, 1]) * v[1] for v in (up, right))
    on = (s > 2) & (s < 168) & (t > 2) & (t < 23)
    beside = (s > 2) & (s < 168) & ((t < -2) & (t > -20) | (t > 27) & (t < 45))
    assert np.percentile(sheet.level[on], 2) > 0.75
    assert np.percentile(sheet.level[beside], 98) < 0.3
    assert np.median(sheet.level[on]) == pytest.approx(0.95, abs=0.08)  # the strip's paper is a little less than white
    assert np.median(sheet.level[beside]) == pytest.approx(0.0, abs=0.05)


@pytest.mark.parametrize("tint", [100, 125, 160])
@pytest.mark.parametrize("name", ["slanting", "two thirds in shadow"])
def test_the_tint_as_this_printer_made_it(tint: int, name: str) -> None:
    page = with_strip()
    page[page == 140] = tint
    _, sheet = sheet_of(shoot(SHEET, page, light=FIELDS[name]))
    linear = ((tint / 255 + 0.055) / 1.055) ** 2.4  # IEC 61966-2-1
    assert sheet.tint == pytest.approx(linear, rel=0.08)


def test_the_colour_of_the_light() -> None:
    shot = shoot(SHEET, with_strip(), light=even)
    linear = (shot.photo.stored / 255.0) ** 2.2
    warm = (255 * (linear * (0.95, 0.8, 0.55)) ** (1 / 2.2)).astype(np.uint8)
    _, sheet = sheet_of(replace(shot, photo=replace(shot.photo, stored=warm)))
    assert sheet.white == pytest.approx(np.array((0.95, 0.8, 0.55)) / np.mean((0.95, 0.8, 0.55)), rel=0.02)


@pytest.mark.parametrize("name", FIELDS)
def test_shade_is_seen_where_there_is_some(name: str) -> None:
    sheet = lit(name)
    below, above = sheet.shade
    if "shadow" in name:
        assert below + above > 0.3
    else:
        assert below < 0.13
        assert above < 0.05


@pytest.mark.filterwarnings("error::RuntimeWarning")
@pytest.mark.parametrize("offset", [(0.0, 0.45), (0.0, -0.45), (0.4, 0.0), (-0.4, 0.0)])
def test_a_card_half_outside_has_a_field_all_the_same(offset: tuple[float, float]) -> None:
    _, sheet = sheet_of(shoot(SHEET, with_strip(), camera=replace(PLAIN, offset=offset), light=even))
    assert np.isfinite(sheet.light).all()
    assert np.isfinite(sheet.level).all()
    seen = sheet.pixels.max(axis=2) > 0
    light = np.repeat(np.repeat(sheet.light, 2, axis=0), 2, axis=1)
    rows, cols = (slice(n // 8, n - n // 8) for n in light.shape)
    part = light[rows, cols][seen[: light.shape[0], : light.shape[1]][rows, cols]]
    assert np.median(part) == pytest.approx(0.8, rel=0.05)
    assert 0.2 < sheet.light.min() <= sheet.light.max() < 3


def test_print_on_the_tint_is_no_shade() -> None:
    """A sheet that leaves only the panel's printed rim: the borders of bays there are dark, the light is not."""
    page = page_of(SHEET)
    lay(page, strip_corners((104, 148), 148, 208, 1), 255)
    below, above = sheet_of(shoot(SHEET, page, light=even))[1].shade
    assert below < 0.1
    assert above < 0.05


def test_covered_white_places_do_not_count() -> None:
    page = with_strip()
    rng = np.random.default_rng(2)
    for n in rng.permutation(len(SHEET.whites))[: len(SHEET.whites) // 4]:
        lay(page, strip_corners(SHEET.whites[n], 7, 7, 0), int(rng.integers(20, 200)))
    _, sheet = sheet_of(shoot(SHEET, page, light=slanting))
    x, y = grid(sheet)
    inner = panel_slices(SHEET, sheet.light_px_per_mm, 12.0)
    assert np.median(np.abs(np.log(sheet.light / slanting(x, y))[inner])) < 0.03
