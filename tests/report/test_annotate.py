"""The annotated picture itself: that it shows the strip where it is, the lines where they are, and reads in grey."""

from __future__ import annotations

import io
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from tests.report.factory import PX_PER_MM, SpotSpec, StripSpec, full_tray, make_result, sheet_of_lanes
from tests.yardstick import seconds
from webcapture.measure.frame import strip_frame
from webcapture.model import PhotoResult
from webcapture.report.annotate import STYLES, annotated_jpeg, annotated_picture
from webcapture.report.pen import INK, PAPER, WARNING, Pen
from webcapture.report.plates import WIDE_FORM, Plate, arrange, form_for, place_labels
from webcapture.settings import DEFAULTS


def plates_of(result: PhotoResult) -> list[Plate]:
    form = form_for(result.strips, DEFAULTS.report)
    return arrange(result.strips, form, Pen(form.letter), 0.0, DEFAULTS.report)[0]


def pixels_of(result: PhotoResult) -> NDArray[np.int64]:
    return np.asarray(annotated_picture(result))[..., :3].astype(np.int64)


@pytest.mark.parametrize(
    "result",
    [
        make_result(StripSpec()),
        make_result(*full_tray(), layout="tray", photo_flags=("shadow", "glare")),
        make_result(sheet_of_lanes(5)),
        make_result(photo_flags=("no-strip",)),
        make_result(StripSpec(has_origin=False, has_front=False, flags=("origin-missing", "front-missing"))),
        make_result(StripSpec(lanes=((),), lane_flags={1: ("no-spots",)})),
    ],
    ids=["strip", "tray", "sheet", "empty", "no lines", "no spots"],
)
def test_it_is_a_jpeg_for_a_phone(result: PhotoResult) -> None:
    data = annotated_jpeg(result)
    picture = Image.open(io.BytesIO(data))
    picture.load()
    assert picture.format == "JPEG" and picture.mode == "RGB"
    assert 700 <= picture.width <= 1400
    assert len(data) < 700_000


@pytest.mark.parametrize(("turn", "upright"), [(0.0, True), (8.0, True), (-6.0, False)])
def test_the_cut_out_shows_each_place_where_it_is(turn: float, upright: bool) -> None:
    result = make_result(StripSpec(turn_deg=turn, upright=upright, lanes=((SpotSpec(0.5),),)))
    strip = result.strips[0]
    x, y = strip.lanes[0].spots[0].position_mm
    bare = replace(strip, lanes=(), origin=None, front=None)
    (page,) = result.pictures
    rows, columns = np.mgrid[: page.pixels.shape[0], : page.pixels.shape[1]]
    dot = np.exp(-(((columns + 0.5) / PX_PER_MM - x) ** 2 + ((rows + 0.5) / PX_PER_MM - y) ** 2) / 2 / 0.8**2)
    page.pixels[...] = (250 - 200 * dot[..., None]).astype(np.uint8)
    plain = replace(result, strips=(bare,))
    plate = plates_of(plain)[0]
    left, top = plate.at(strip_frame(strip).on_strip((x, y)))
    darkness = 250.0 - pixels_of(plain)[int(top) - 60 : int(top) + 60, int(left) - 60 : int(left) + 60].mean(axis=2)
    darkness[darkness < 20] = 0
    found = [np.average(np.arange(120) + 0.5, weights=darkness.sum(axis=axis)) - 60 for axis in (0, 1)]
    assert found == pytest.approx([left - int(left), top - int(top)], abs=0.25)


def test_lines_are_painted_where_they_were_measured() -> None:
    result = make_result(StripSpec(slant=0.05))
    plate, picture = plates_of(result)[0], pixels_of(result)
    lane = result.strips[0].lanes[0]
    assert lane.origin_mm is not None
    s, t = plate.frame.on_strip(lane.origin_mm)
    for across in (-6.0, 6.0):
        x, y = plate.at((s, t + across))
        column = picture[int(y) - 12 : int(y) + 13, int(x)]
        near = np.abs(column - STYLES["origin"].core).sum(axis=1) < 60
        assert near.any()
        assert np.flatnonzero(near).mean() + int(y) - 12 + 0.5 == pytest.approx(y, abs=1.0)


def luminance(colour: tuple[int, ...]) -> float:
    """Relative luminance, WCAG 2.2 (written out from memory)."""
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in (v / 255 for v in colour)]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a: tuple[int, ...], b: tuple[int, ...]) -> float:
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("kind", STYLES)
def test_each_stroke_is_dark_and_light(kind: str) -> None:
    # WCAG 2.2, 1.4.11: at least 3 : 1 for what is needed to understand a picture.
    assert contrast(STYLES[kind].core, STYLES[kind].edge) >= 3.0


def test_words_are_readable() -> None:
    assert contrast(INK, PAPER) >= 7 and contrast(INK, WARNING) >= 7


def test_kinds_differ_without_their_colours() -> None:
    lines = ("origin", "front", "axis", "leader")
    for a, b in combinations(lines, 2):
        assert (STYLES[a].dash, STYLES[a].width) != (STYLES[b].dash, STYLES[b].width)
    assert STYLES["front"].dash is not None and STYLES["origin"].dash is None


def test_colours_are_of_the_okabe_ito_set() -> None:
    # Okabe and Ito, "Color Universal Design", 2008, from memory.
    okabe_ito = {(0, 0, 0), (230, 159, 0), (86, 180, 233), (0, 158, 115), (240, 228, 66), (0, 114, 178), (213, 94, 0), (204, 121, 167)}  # fmt: skip
    colours = {style.core for style in STYLES.values()} | {WARNING}
    assert colours - {INK, PAPER} <= okabe_ito


def test_flags_show_on_the_picture() -> None:
    def yellow(*flags: str) -> int:
        picture = pixels_of(make_result(StripSpec(flags=flags)))
        return int((np.abs(picture - WARNING).sum(axis=2) < 20).sum())

    assert yellow() == 0
    assert 0 < yellow("front-slanted") < yellow("front-slanted", "strip-bent")


def test_an_empty_card_is_shown_whole() -> None:
    result = make_result(photo_flags=("no-strip",))
    picture = annotated_picture(result)
    assert result.page is not None
    height, width, _ = result.page.pixels.shape
    assert picture.width == min(width, WIDE_FORM.width)
    assert picture.height > height * picture.width / width


def test_it_takes_no_longer_than_it_should() -> None:
    tray = make_result(*full_tray(), layout="tray", photo_flags=("shadow",))
    picture = annotated_picture(tray)
    bare = min(seconds(lambda: picture.save(io.BytesIO(), "JPEG", quality=85), 7))
    # Seen: four times as long as Pillow takes to compress it.
    assert min(seconds(lambda: annotated_jpeg(tray), 7)) < 10 * bare


def test_strips_of_one_bay_have_names_and_numbers_of_their_own(monkeypatch: pytest.MonkeyPatch) -> None:
    said: list[str] = []
    written = Pen.text

    def listening(self: Pen, x: float, y: float, words: str, *more: object, **named: object) -> None:
        said.append(words)
        written(self, x, y, words, *more, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(Pen, "text", listening)
    one = StripSpec(lanes=((SpotSpec(0.5),),))
    result = make_result(one, one, replace(one, bay=4), layout="tray")
    annotated_picture(result)
    assert [words for words in said if words.startswith("Bay")] == ["Bay 1, strip 1", "Bay 1, strip 2", "Bay 4"]
    assert said.count("lane") == 2
    form = form_for(result.strips, DEFAULTS.report)
    labels = [place_labels(plate, Pen(form.letter)) for plate in plates_of(result)]
    assert [[placed.label.number for placed in plate if placed.label.number] for plate in labels] == [
        ["1.1"], ["2.1"], ["1"],
    ]  # fmt: skip
