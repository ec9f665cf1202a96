"""The annotated picture: each strip cut out and set upright, with scale, lines, spots, Rf and flags.

Every line is drawn twice, dark and light, and differs in its pattern as well as its colour (Okabe-Ito), so that it reads on
any ground, in grey and by colour-blind people. Flags are words in a frame.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

import cv2
import numpy as np
from PIL import Image

from webcapture.measure.bays import tells_lanes
from webcapture.measure.curves import polynomial_at
from webcapture.model import Bytes8, Floats, PhotoResult, Picture, Point
from webcapture.report.marks import strokes, zero_of_scale
from webcapture.report.pen import INK, PAPER, Colour, Pen
from webcapture.report.plates import (
    BETWEEN_LANES,
    FIRST_ROW,
    GAP,
    ROW,
    Form,
    Placed,
    Plate,
    arrange,
    form_for,
    header_badges,
    place_labels,
    row_width,
)
from webcapture.report.wording import badge_text
from webcapture.settings import DEFAULTS, ReportSettings

HALO_PX = 4
"""White edge around words that may stand on the strip's picture."""
LINE_NAME_INDENT = 0.2
"""Space between a leader and the name of its line, letter sizes."""
BOLDEST = 4.5
"""Strokes never grow beyond what suits letters of this many millimetres on the strip: else they hide small spots."""
EDGE = 5
"""Width of a stroke's edge on either side, in the unit of Style."""
SHIFT = 4
"""Fractional bits of OpenCV's coordinates: lines are placed to a sixteenth of a pixel."""


@dataclass(frozen=True, slots=True)
class Style:
    """How a kind of stroke is drawn; widths and dashes in hundredths of the picture's letter size."""

    core: Colour
    edge: Colour
    width: int
    dash: tuple[int, int] | None = None
    """(drawn, left out), or None for a whole line."""
    smooth: bool = True
    """Whether its edges are: along rows and columns that makes no difference, but takes three times as long."""


STYLES = {
    "outline": Style((86, 180, 233), INK, 6, smooth=False),
    "axis": Style((204, 121, 167), PAPER, 6, (24, 48), smooth=False),
    "origin": Style((0, 114, 178), PAPER, 12),
    "front": Style((213, 94, 0), PAPER, 12, (60, 30)),
    "spot": Style((230, 159, 0), INK, 8, smooth=False),
    "centre": Style(PAPER, INK, 6, smooth=False),
    "leader": Style(INK, PAPER, 5),
}


def annotated_jpeg(result: PhotoResult, settings: ReportSettings = DEFAULTS.report) -> bytes:
    """The annotated picture of one photo, a JPEG about 1000 pixels wide."""
    file = io.BytesIO()
    annotated_picture(result, settings).save(file, "JPEG", quality=settings.jpeg_quality, subsampling="4:2:0")
    return file.getvalue()


def annotated_picture(result: PhotoResult, settings: ReportSettings = DEFAULTS.report) -> Image.Image:
    """The annotated picture before it is compressed: RGB, or RGBX, which is the same with a byte of padding."""
    badges = tuple(badge_text(flag) for flag in result.flags)
    form = form_for(result.strips, settings)
    ruler = Pen(form.letter)
    top = ruler.badges_height(form.width - ruler.size, badges) + (0.4 * ruler.size if badges else 0.0)
    if not result.strips:
        return _whole_page(result.page, form, top, badges)
    plates, width, height = arrange(result.strips, form, ruler, top, settings)
    canvas: Bytes8 = np.full((height, width, 4), 255, np.uint8)
    placed = [place_labels(plate, ruler) for plate in plates]
    for plate, plate_labels, shown in zip(plates, placed, result.pictures, strict=True):
        _cut_out(canvas, shown, plate)
        _draw_strokes(canvas, plate, plate_labels, form.letter)
        _draw_scale(canvas, plate, form.letter)
    picture = _shared(canvas)
    pen = Pen(form.letter, picture)
    _write_photo_badges(pen, width, badges)
    for plate, plate_labels in zip(plates, placed, strict=True):
        _write(pen, plate, plate_labels)
    return picture


def _shared(canvas: Bytes8) -> Image.Image:
    """(rows, cols, 4) as Pillow's picture in the same memory: a copy of it takes longer than all the drawing on it."""
    picture = Image.frombuffer("RGBX", canvas.shape[1::-1], canvas, "raw", "RGBX", 0, 1)
    picture.readonly = 0  # what Pillow itself lends may not be written on; the canvas is ours
    return picture


def _whole_page(shown: Picture | None, form: Form, top: float, badges: tuple[str, ...]) -> Image.Image:
    """The card as it was seen, where there is no strip to show."""
    page = Image.fromarray(shown.pixels) if shown else Image.new("RGB", (form.width, form.width), PAPER)
    page.thumbnail((form.width, 10 * form.width))
    picture = Image.new("RGB", (page.width, page.height + round(top)), PAPER)
    picture.paste(page, (0, round(top)))
    _write_photo_badges(Pen(form.letter, picture), page.width, badges)
    return picture


def _write_photo_badges(pen: Pen, width: int, badges: tuple[str, ...]) -> None:
    pen.badges(0.4 * pen.size, 0.4 * pen.size, width - pen.size, badges)


# --- pixels


def _cut_out(canvas: Bytes8, shown: Picture, plate: Plate) -> None:
    """The strip from what shows it, turned into its own frame."""
    left, top, width, height = plate.box
    frame, k = plate.frame, plate.px_per_mm
    # Pixel (i, j) of the cut-out shows s = (height − j − 0.5) / k − margin, t = (i + 0.5) / k − margin.
    s0, t0 = (height - 0.5) / k - plate.margin_mm, 0.5 / k - plate.margin_mm
    to_card = np.array([
        [b / k, -a / k, c + s0 * a + t0 * b]
        for a, b, c in zip(frame.along, frame.across, frame.corner, strict=True)
    ])  # fmt: skip
    to_shown = np.linalg.solve(shown.to_card[:, :2], to_card - [[0, 0, x] for x in shown.to_card[:, 2]])
    part = _reached(to_shown, (height, width), shown.pixels.shape)
    to_shown[:, 2] -= part[1].start, part[0].start
    # OpenCV turns four channels in less than half the time that three take.
    four = cv2.cvtColor(shown.pixels[part], cv2.COLOR_RGB2RGBA)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    there = canvas[top : top + height, left : left + width]
    cv2.warpAffine(four, to_shown, (width, height), there, flags, borderValue=PAPER)


def _reached(to_source: Floats, shape: tuple[int, int], source: tuple[int, ...]) -> tuple[slice, slice]:
    """Rows and columns of the source that a picture of ``shape`` shows, with what linear interpolation needs around."""
    ends = np.array([(x, y, 1.0) for x in (0, shape[1]) for y in (0, shape[0])]) @ to_source.T
    low = np.maximum(np.floor(ends.min(axis=0)).astype(int) - 1, 0)
    high = np.ceil(ends.max(axis=0)).astype(int) + 2
    return slice(low[1], min(high[1], source[0])), slice(low[0], min(high[0], source[1]))


def _draw_strokes(canvas: Bytes8, plate: Plate, placed: Sequence[Placed], letter: int) -> None:
    unit = min(letter, plate.px_per_mm * BOLDEST) / 100
    leaders = [[label.start, *_leader(label, plate, letter)] for label in placed]
    _draw(canvas, leaders, STYLES["leader"], unit)
    for kind, alike in groupby(strokes(plate.strip, plate.frame), key=lambda stroke: stroke.kind):
        lines = [[plate.at(point) for point in stroke.points] for stroke in alike]
        _draw(canvas, lines, STYLES[kind], unit)


def _leader(placed: Placed, plate: Plate, letter: int) -> Iterator[Point]:
    """From a spot across the strip level with it, then to its label."""
    if not plate.wide:
        yield plate.right + 0.1 * letter, placed.start[1]
    yield placed.x, placed.y


def _draw(canvas: Bytes8, lines: Sequence[Sequence[Point]], style: Style, unit: float) -> None:
    """Strokes of one kind: the wider edges first, then the cores, so that where two cross none is cut."""
    pieces = [np.array([line]) if style.dash is None else _dashes(line, style.dash, unit) for line in lines]
    paths = [path for piece in pieces for path in np.rint((piece - 0.5) * 2**SHIFT).astype(np.int32)]
    if not paths:
        return
    width, edge = max(round(style.width * unit), 1), max(round(EDGE * unit), 1)
    how = cv2.LINE_AA if style.smooth else cv2.LINE_8
    for colour, thickness in ((style.edge, width + 2 * edge), (style.core, width)):
        cv2.polylines(canvas, paths, False, colour, thickness, how, SHIFT)


def _dashes(points: Sequence[Point], dash: tuple[int, int], unit: float) -> Floats:
    """(n, 2, 2): a line cut into dashes, each from (x, y) to (x, y); being short, they are straight."""
    drawn, left_out = dash[0] * unit, dash[1] * unit
    path = np.array(points)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    starts = np.arange(0.0, along[-1], drawn + left_out)
    places = np.stack([starts, np.minimum(starts + drawn, along[-1])], axis=1)
    return np.stack([np.interp(places, along, path[:, axis]) for axis in (0, 1)], axis=2)


# --- words


def _write(pen: Pen, plate: Plate, placed: Sequence[Placed]) -> None:
    strip = plate.strip
    name = f"Bay {strip.bay}, strip {strip.strip}" if strip.shared else f"Bay {strip.bay}"
    pen.text(plate.x + 0.4 * pen.size, plate.y + 0.9 * pen.size, name, 1.1, bold=True)
    badges = header_badges(plate.strip, plate.wide)
    pen.badges(plate.x + 0.4 * pen.size, plate.y + 1.65 * pen.size, plate.column - pen.size, badges)
    _write_scale(pen, plate)
    _write_lane_numbers(pen, plate)
    if plate.wide:
        _write_line_names(pen, plate)
    for label in placed:
        if plate.wide:
            _write_label(pen.resized(round(BETWEEN_LANES * pen.size)), label, HALO_PX)
        else:
            _write_label(pen, label, 0)


def _write_scale(pen: Pen, plate: Plate) -> None:
    """The figures of the millimetre scale along the strip's left side, from the origin line upwards."""
    x = plate.box[0] - 0.6 * pen.size
    zero, rows = _scale_rows(plate)
    numbered = 10 if 10 * plate.px_per_mm >= 1.4 * pen.size else 20
    for mm in range(0, len(rows), numbered):
        pen.text(x, float(rows[mm]), str(mm), 0.72, anchor="rm")
    pen.text(x, zero + 0.8 * pen.size, "mm", 0.72, anchor="rm")


def _draw_scale(canvas: Bytes8, plate: Plate, letter: int) -> None:
    """The scale's line and ticks, two pixels wide, set in the array: a hundred separate strokes would take far longer."""
    left, top = plate.box[0] - 3, plate.box[1]
    zero, rows = _scale_rows(plate)
    canvas[top : round(zero) + 1, left - 1 : left + 1, :3] = INK
    at = np.rint(rows).astype(int)
    for every, length in ((1, 0.15), (5, 0.3), (10, 0.45)):
        ticks = at[::every, None] + (-1, 0)
        canvas[ticks.ravel(), max(left - round(length * letter), 0) : left, :3] = INK


def _scale_rows(plate: Plate) -> tuple[float, Floats]:
    """(y of zero, (n,) y of every millimetre above it that the picture of the strip reaches)."""
    zero = plate.at((zero_of_scale(plate.strip, plate.frame), 0.0))[1]
    count = int((zero - plate.box[1]) / plate.px_per_mm) + 1
    return zero, np.asarray(zero - np.arange(count) * plate.px_per_mm, float)


def _write_lane_numbers(pen: Pen, plate: Plate) -> None:
    if not tells_lanes(plate.strip):
        return
    y = plate.box[1] + plate.box[3] + 0.8 * pen.size
    pen.text(plate.box[0] - 0.3 * pen.size, y, "lane", 0.8, anchor="rm")
    for lane in plate.strip.lanes:
        x, _ = plate.at((0.0, sum(lane.t_range_mm) / 2))
        pen.text(x, y, str(lane.lane), 1.0, bold=True, anchor="mm")


def _write_line_names(pen: Pen, plate: Plate) -> None:
    """On a wide sheet: above the right end of each line."""
    for name, line in (("origin", plate.strip.origin), ("front", plate.strip.front)):
        if line is not None:
            t = float(line.t_mm.max())
            x, y = plate.at((float(polynomial_at(t, line.coefficients)), t))
            pen.text(x, y + (0.75 if name == "origin" else -0.75) * pen.size, name, 0.8, anchor="rm", halo=HALO_PX)


def _write_label(pen: Pen, placed: Placed, halo: int) -> None:
    """A label's rows and, below them, its badges; ``halo`` sets words off a picture."""
    y = placed.y
    for row in placed.rows:
        if row_width(placed.label, pen, row) > 0:
            _write_row(pen, placed, row, y, halo)
            y += ROW * pen.size
    pen.badges(placed.x, y - (ROW - FIRST_ROW) * pen.size, placed.room, placed.label.badges)


def _write_row(pen: Pen, placed: Placed, row: tuple[str, ...], y: float, halo: int) -> None:
    label, x = placed.label, placed.x
    if not label.number:
        x += LINE_NAME_INDENT * pen.size
    if "number" in row and label.number:
        x += pen.pill(x, y, label.number) + GAP * pen.size
    if "text" in row:
        share = min(1.0, (placed.x + placed.room - x) / pen.width(label.text, bold=label.strong))
        pen.text(x, y, label.text, share, bold=label.strong, halo=halo)
        x += pen.width(label.text, share, label.strong) + GAP * pen.size
    if "detail" in row:
        # Below the number, the uncertainty stands under the figures it belongs to.
        indent = 0.0 if len(row) > 1 else pen.pill_width(label.number) + GAP * pen.size
        indent = min(indent, max(placed.room - pen.width(label.detail, 0.9), 0.0))
        pen.text(x + indent, y, label.detail, 0.9, halo=halo)
