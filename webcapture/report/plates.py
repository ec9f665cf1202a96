"""Where everything goes in the annotated picture: the strips' plates and their labels, in pixels.

Narrow strips stand side by side, up to three in a row, each with its labels beside it. A wide sheet fills the picture and
carries its labels between its lanes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from webcapture.measure.bays import tells_lanes
from webcapture.measure.frame import Frame, strip_frame
from webcapture.model import Point, Strip
from webcapture.report.marks import Label, half_width, labels, line_labels, spread
from webcapture.report.pen import Pen
from webcapture.report.wording import badge_text
from webcapture.settings import ReportSettings


@dataclass(frozen=True, slots=True)
class Form:
    """The proportions of a picture with so many strips side by side."""

    columns: int
    width: int
    """Of the whole picture at most, pixels: about three for each of a phone's 360, which is as fine as its screen."""
    letter: int
    """Size of its letters, pixels: about 10 to 13 on a phone whose screen is 360 wide."""
    label: float
    """Room for labels beside each strip, letter sizes."""
    tallest: int
    """Of a strip's picture, pixels."""
    wide: bool = False
    """Whether labels stand between the lanes."""


SIDE_FORMS = (Form(1, 1200, 42, 12.0, 1600), Form(2, 1200, 38, 6.6, 1400), Form(3, 1000, 27, 5.7, 860))
WIDE_FORM = Form(1, 1080, 30, 0.5, 1260, wide=True)
ROOMY_FORM = Form(1, 1080, 30, 3.2, 1260, wide=True)
"""For wide sheets whose last lane runs so near to the right edge that its labels stand beside the sheet."""
LAST_LANE_MM = 14.0
"""From a lane's marks to the sheet's edge: less has no room for a ratio."""
GUTTER = 2.2
"""Room for the millimetre scale left of each strip, letter sizes."""
FIRST_ROW = 0.65
"""From a label's top to the middle of its first row, letter sizes."""
ROW = 1.1
"""From one row of a label to the next, letter sizes."""
GAP = 0.35
"""Between the parts of a row, letter sizes."""
LABEL_INDENT = 0.9
"""From a strip's picture to the labels beside it, letter sizes: room for the leaders' bends."""
BETWEEN_LANES = 0.85
"""Size of the letters between the lanes of a wide sheet, share of the others."""

Rows = tuple[tuple[str, ...], ...]
ROWS: tuple[Rows, ...] = (
    (("number", "text", "detail"),),
    (("number", "text"), ("detail",)),
    (("number", "text"),),
    (("number",), ("text",)),
    (("number",),),
)
"""Ways to write a label, the fullest first. All labels beside a strip are written the same way, the first that fits."""


WORDED = 3
"""So many of them suit labels beside a strip."""


@dataclass(frozen=True, slots=True)
class Plate:
    """One strip's place in the picture, pixels."""

    strip: Strip
    frame: Frame
    x: float
    """Left edge of its column."""
    y: float
    """Top edge of its column."""
    column: float
    """Width of its column."""
    box: tuple[int, int, int, int]
    """Left, top, width, height of the cut-out picture itself."""
    px_per_mm: float
    margin_mm: float
    """Of the card around the strip that the cut-out shows."""
    wide: bool

    def at(self, place: Point) -> Point:
        """Picture pixels of a place (s, t) on the strip."""
        left, top, _, height = self.box
        s, t = place
        return left + (t + self.margin_mm) * self.px_per_mm, top + height - (s + self.margin_mm) * self.px_per_mm

    @property
    def right(self) -> int:
        return self.box[0] + self.box[2]


@dataclass(frozen=True, slots=True)
class Placed:
    """A label and where it is written."""

    label: Label
    start: Point
    """Where its leader leaves the spot or the line."""
    x: float
    """Its left end."""
    y: float
    """The middle of its first row."""
    rows: Rows
    """Which of its parts are written, row by row."""
    room: float
    """Width it may take."""


def form_for(strips: Sequence[Strip], settings: ReportSettings) -> Form:
    """The form that suits these strips."""
    if not strips or any(strip_frame(strip).width > settings.side_labels_mm for strip in strips):
        return ROOMY_FORM if any(_ends_narrow(strip) for strip in strips) else WIDE_FORM
    return SIDE_FORMS[min(len(strips), len(SIDE_FORMS)) - 1]


def _ends_narrow(strip: Strip) -> bool:
    """Whether right of the last lane's marks there is no room for labels on the paper."""
    if not strip.lanes or not strip.lanes[-1].spots:
        return False
    last = strip.lanes[-1]
    return strip_frame(strip).width - sum(last.t_range_mm) / 2 - half_width(last) < LAST_LANE_MM


def arrange(
    strips: Sequence[Strip], form: Form, pen: Pen, top: float, settings: ReportSettings
) -> tuple[list[Plate], int, int]:
    """The plates and the picture's width and height: all strips on one scale, the origin ends of a row level."""
    margin = settings.picture_margin_mm
    frames = [strip_frame(strip) for strip in strips]
    scale = _common_scale(frames, form, margin)
    column = _column_width(frames, form, margin, scale)
    plates: list[Plate] = []
    y = top
    for first in range(0, len(strips), form.columns):
        row = range(first, min(first + form.columns, len(strips)))
        floor = y + max(header_height(strips[n], pen, column, form.wide) for n in row)
        floor += (max(frames[n].length for n in row) + 2 * margin) * scale
        for n in row:
            width, height = (round((side + 2 * margin) * scale) for side in (frames[n].width, frames[n].length))
            x = (n - first) * column
            box = (round(x + GUTTER * form.letter), round(floor) - height, width, height)
            plates.append(Plate(strips[n], frames[n], x, y, column, box, scale, margin, form.wide))
        y = floor + _footer_height([strips[n] for n in row], pen)
    return plates, round(column * form.columns), round(y)


def _common_scale(frames: Sequence[Frame], form: Form, margin: float) -> float:
    room = form.width / form.columns - (GUTTER + form.label) * form.letter
    return min(min(room / (f.width + 2 * margin), form.tallest / (f.length + 2 * margin)) for f in frames)


def _column_width(frames: Sequence[Frame], form: Form, margin: float, scale: float) -> float:
    """A single column is only as wide as it needs to be: the narrower the picture, the larger it shows on a phone."""
    needed = (GUTTER + form.label) * form.letter + (max(f.width for f in frames) + 2 * margin) * scale
    return needed if form.columns == 1 else form.width / form.columns


def header_height(strip: Strip, pen: Pen, column: float, wide: bool) -> float:
    """Height of the strip's name and badges."""
    return 1.8 * pen.size + pen.badges_height(column - pen.size, header_badges(strip, wide))


def _footer_height(strips: Sequence[Strip], pen: Pen) -> float:
    """Room for the lanes' numbers, where there are several."""
    return (1.9 if any(tells_lanes(strip) for strip in strips) else 0.7) * pen.size


def header_badges(strip: Strip, wide: bool) -> tuple[str, ...]:
    """Badges of the strip and its lanes; on a wide sheet, whose labels are short, of its spots as well."""
    found = [badge_text(flag) for flag in strip.flags]
    many = tells_lanes(strip)
    for lane in strip.lanes:
        found += [f"lane {lane.lane}: {badge_text(flag)}" if many else badge_text(flag) for flag in lane.flags]
        for spot in lane.spots if wide else ():
            name = f"{lane.lane}.{spot.spot}" if many else f"spot {spot.spot}"
            found += [f"{name}: {badge_text(flag)}" for flag in spot.flags]
    return tuple(found)


# --- labels


def place_labels(plate: Plate, pen: Pen) -> list[Placed]:
    """Every label of a strip with its place, pushed apart where they would overlap."""
    return _between_lanes(plate, pen) if plate.wide else _beside(plate, pen)


def _beside(plate: Plate, pen: Pen) -> list[Placed]:
    """Labels right of the strip, and their badges below them."""
    spots = labels(plate.strip, plate.frame, with_lane=tells_lanes(plate.strip))
    wanted = sorted([*spots, *line_labels(plate.strip)], key=lambda label: -label.anchor[0])
    _, top, _, height = plate.box
    room = label_room(plate, pen)
    rows = _fullest(wanted, pen, room, height)
    heights = [label_height(label, pen, rows, room) for label in wanted]
    starts = [_leader_start(label, plate) for label in wanted]
    first_row = FIRST_ROW * pen.size
    middles = [y - first_row + block / 2 for (_, y), block in zip(starts, heights, strict=True)]
    settled = spread(middles, heights, top - first_row, top + height + first_row)
    return [
        Placed(label, start, plate.right + LABEL_INDENT * pen.size, middle - block / 2 + first_row, rows, room)
        for label, start, middle, block in zip(wanted, starts, settled, heights, strict=True)
    ]


def _fullest(wanted: Sequence[Label], pen: Pen, room: float, height: float) -> Rows:
    """The first way of writing labels beside a strip in which all fit, or the last of those that have words."""
    for rows in ROWS[:WORDED]:
        narrow = all(row_width(label, pen, row) <= room for label in wanted for row in rows)
        if narrow and _stack_height(wanted, pen, rows, room) <= height:
            return rows
    return ROWS[WORDED - 1]


def _leader_start(label: Label, plate: Plate) -> Point:
    """The right end of the spot's mark, or the line's own end."""
    reach = {lane.lane: half_width(lane) for lane in plate.strip.lanes}.get(label.lane, 0.0)
    return plate.at((label.anchor[0], label.anchor[1] + reach))


def _stack_height(wanted: Sequence[Label], pen: Pen, rows: Rows, room: float) -> float:
    return sum(label_height(label, pen, rows, room) for label in wanted)


def label_height(label: Label, pen: Pen, rows: Rows, room: float) -> float:
    """Height of a label with its badges, pixels."""
    written = max(sum(1 for row in rows if row_width(label, pen, row) > 0), 1)
    return (2 * FIRST_ROW + (written - 1) * ROW) * pen.size + pen.badges_height(room, label.badges)


def label_room(plate: Plate, pen: Pen) -> float:
    """Width for labels beside the strip, pixels."""
    return plate.x + plate.column - plate.right - (LABEL_INDENT + 0.2) * pen.size


def row_width(label: Label, pen: Pen, row: tuple[str, ...]) -> float:
    """Width of one row of a label, pixels; 0 where the label has none of its parts."""
    widths = {
        "number": pen.pill_width(label.number) if label.number else 0.0,
        "text": pen.width(label.text, bold=label.strong),
        "detail": pen.width(label.detail, 0.9),
    }
    parts = [widths[part] for part in row if widths[part] > 0]
    return sum(parts) + GAP * pen.size * max(len(parts) - 1, 0)


def _between_lanes(plate: Plate, pen: Pen) -> list[Placed]:
    """Labels right of each spot, between its lane and the next."""
    small = Pen(round(BETWEEN_LANES * pen.size))
    wanted = list(labels(plate.strip, plate.frame, with_lane=False))
    columns = [_bare([label for label in wanted if label.lane == lane.lane]) for lane in plate.strip.lanes]
    return [placed for column in columns for placed in _column(column, plate, small)]


def _bare(column: Sequence[Label]) -> list[Label]:
    """Labels without badges, topmost first: between lanes there is no room for badges."""
    return [replace(label, badges=()) for label in sorted(column, key=lambda label: -label.anchor[0])]


def _column(column: Sequence[Label], plate: Plate, small: Pen) -> list[Placed]:
    # Half of the height: a label pushed far from its spot is worse than a shorter one beside it.
    high_enough = [rows for rows in ROWS if _stack_height(column, small, rows, 0.0) <= plate.box[3] / 2] or ROWS[-1:]
    fitting = [_narrow_enough(label, plate, small, high_enough) for label in column]
    # All alike where they can be: as full as half of them have room for, or less.
    common = sorted(map(len, fitting))[len(fitting) // 2] if fitting else 0
    ways = [ways[-common:][0] for ways in fitting]
    starts = [_leader_start(label, plate) for label in column]
    heights = [label_height(label, small, rows, 0.0) for label, rows in zip(column, ways, strict=True)]
    _, top, _, height = plate.box
    settled = spread([y for _, y in starts], heights, top, top + height)
    return [
        Placed(
            label,
            start,
            start[0] + GAP * small.size,
            y - block / 2 + FIRST_ROW * small.size,
            rows,
            _label_room(label, plate, small) - GAP * small.size / 2,
        )
        for label, start, y, block, rows in zip(column, starts, settled, heights, ways, strict=True)
    ]


def _narrow_enough(label: Label, plate: Plate, small: Pen, ways: Sequence[Rows]) -> list[Rows]:
    """The ways of writing a label that fit right of its spot, the fullest first; at least the last."""
    room = _label_room(label, plate, small)
    fitting = [rows for rows in ways if max(row_width(label, small, row) for row in rows) <= room]
    return fitting or [ways[-1]]


def _label_room(label: Label, plate: Plate, small: Pen) -> float:
    return _room_right(label, plate) - GAP * small.size


def _room_right(label: Label, plate: Plate) -> float:
    """Pixels from a spot's mark to the next lane's marks, or to the column's edge."""
    halves = {lane.lane: half_width(lane) for lane in plate.strip.lanes}
    start = _leader_start(label, plate)[0]
    following = [lane for lane in plate.strip.lanes if lane.lane == label.lane + 1]
    if not following:
        return plate.x + plate.column - start
    middle = sum(following[0].t_range_mm) / 2 - halves[following[0].lane]
    return plate.at((0.0, middle))[0] - start
