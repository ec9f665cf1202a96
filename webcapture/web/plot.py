"""The room's plot: a row a spot, a dot a station, mean and standard deviation below, then the references that come into question.

A drawing of its own, no script, no style. Reference lanes of the practical are filled bars, the library's values open and dashed: each
says in words which it is, so that it can be read in grey and without seeing colour.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from xml.sax.saxutils import escape

from webcapture.web.bands import Band, Row
from webcapture.web.compare import Group, Value
from webcapture.web.language import gettext as _

WIDTH, LEFT, RIGHT = 360.0, 16.0, 344.0
"""User units; narrow, so that letters stay legible on a phone."""
HEAD, ROW, FOOT = 8.0, 62.0, 34.0
BAND, KEY = 16.0, 16.0
"""Height of a reference band, and of a line that says how one is drawn."""
LABEL = 130.0
"""Beside a bar there is so much room for its name, or it stands in the bar."""
LETTER = 5.6
"""Mean width of a letter at this size."""
INK, PENCIL, RULE, BLUE, STOP = "#22282a", "#575d5c", "#cfc6b0", "#175766", "#8f1f1a"
FONT = "system-ui, -apple-system, Segoe UI, Roboto, Noto Sans, sans-serif"
DOT, STACK = 3.2, 22.0
"""Radius of a dot, and the height that dots over one another share."""
LETTERS = 30
NO_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""What must not stand in XML 1.0 (2.2, Characters)."""


def plot_svg(rows: Sequence[Row]) -> str:
    """The drawing; Rf from 0 to 1 along x."""
    bottom = HEAD + (sum(map(_height, rows)) or ROW)
    keys = _keys(rows)
    height = bottom + FOOT + KEY * len(keys)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {height:g}" width="{WIDTH:g}" height="{height:g}" font-family="{FONT}" font-size="11" fill="{INK}">',
        f'<rect width="{WIDTH:g}" height="{height:g}" fill="#fffdf6"/>',
        *_axis(bottom),
    ]
    top = HEAD
    for row in rows:
        parts += [*_row(row.group, top), *_bands(row, top + ROW)]
        top += _height(row)
    if not rows:
        parts.append(_text(WIDTH / 2, HEAD + ROW / 2, _("No Rf yet"), "middle"))
    for n, (here, words) in enumerate(keys):
        parts += _key(here, words, bottom + FOOT + n * KEY)
    return "\n".join([*parts, "</svg>"])


def _height(row: Row) -> float:
    return ROW + BAND * (len(row.bands) + bool(row.more)) + (8 if row.bands else 0)


def _keys(rows: Sequence[Row]) -> list[tuple[bool, str]]:
    """How the bands that occur are drawn, in words."""
    kinds = {band.here for row in rows for band in row.bands}
    words = {
        True: _("Filled: reference lanes here, mean ± s of the stations"),
        False: _("Dashed: library, known value ± U or the window"),
    }
    return [(here, words[here]) for here in (True, False) if here in kinds]


def _key(here: bool, words: str, top: float) -> Iterator[str]:
    yield _bar(LEFT, LEFT + 24, top + 3, here)
    yield _text(LEFT + 32, top + 11, words)


def _bands(row: Row, top: float) -> Iterator[str]:
    for n, band in enumerate(row.bands):
        yield from _band(band, top + n * BAND)
    if row.more:
        words = _("and %(more)s more near here, not drawn", more=row.more)
        yield _text(LEFT, top + len(row.bands) * BAND + 11, words)


def _band(band: Band, top: float) -> Iterator[str]:
    x, half = _x(band.rf), band.half or 0.0
    low, high = _x(band.rf - half), _x(band.rf + half)
    if band.half is not None:
        yield _bar(low, high, top + 3, band.here)
    yield f'<path d="M{x:.1f} {top + 1:.1f}v13" stroke="{INK}" stroke-width="2"/>'
    kind = _("lane here") if band.here else _("library")
    if max(low - LEFT, RIGHT - high) < LABEL:  # no room beside so wide a bar: in it, beside its middle
        low = high = x
    left, right = low - LEFT - 6, RIGHT - high - 6
    room = max(left, right)
    words = f"{_short(band.substance, max(int(room / LETTER) - len(kind) - 2, 4))}, {kind}"
    at, anchor = (high + 6, "start") if right >= left else (low - 6, "end")
    width = len(words) * LETTER
    yield _paper(at if anchor == "start" else at - width, top + 1, width)
    yield _text(at, top + 12, words, anchor)


def _paper(x: float, y: float, width: float) -> str:
    """Behind letters, so that no line of the grid runs through them."""
    return f'<rect x="{x - 2:.1f}" y="{y:.1f}" width="{width + 4:.1f}" height="14" fill="#fffdf6"/>'


def _bar(low: float, high: float, y: float, here: bool) -> str:
    drawn = f'fill="{PENCIL}"' if here else f'fill="none" stroke="{INK}" stroke-dasharray="3 2"'
    return f'<rect x="{low:.1f}" y="{y:.1f}" width="{max(high - low, 1.5):.1f}" height="9" {drawn}/>'


def _axis(bottom: float) -> Iterator[str]:
    for tenth in range(11):
        x = _x(tenth / 10)
        yield f'<path d="M{x:.1f} {HEAD:g}V{bottom:g}" stroke="{RULE}" stroke-width="{1 if tenth % 5 == 0 else 0.5}"/>'
        if tenth % 2 == 0:
            yield _text(x, bottom + 13, f"{tenth / 10:.1f}", "middle")
    yield _text(WIDTH / 2, bottom + 28, "Rf", "middle")


def _row(group: Group, top: float) -> Iterator[str]:
    spread = group.spread
    name = _("%(label)s, spot %(spot)s", label=group.label, spot=group.spot)
    scatter = "" if spread.s is None else f", s {spread.s:.3f}"
    yield _text(LEFT, top + 12, _short(name), bold=True)
    yield _text(RIGHT, top + 12, f"{spread.mean:.3f}{scatter}, n {spread.n}", "end")
    middle = top + 36
    for value, lift in _stacked(group.values):
        yield _dot(_x(value.rf), middle - lift, value is group.outlier)
    if group.outlier is not None:
        anchor = "end" if group.outlier.rf > 0.5 else "start"
        yield _text(_x(group.outlier.rf), top + 26, _short(group.outlier.station), anchor, STOP)
    yield from _mean(group, top + 52)


def _mean(group: Group, y: float) -> Iterator[str]:
    x, s = _x(group.spread.mean), group.spread.s
    if s is not None:
        low, high = _x(group.spread.mean - s), _x(group.spread.mean + s)
        yield f'<path d="M{low:.1f} {y:.1f}H{high:.1f}M{low:.1f} {y - 3:.1f}v6M{high:.1f} {y - 3:.1f}v6" stroke="{PENCIL}" fill="none"/>'
    yield f'<path d="M{x:.1f} {y - 5:.1f}v10" stroke="{INK}" stroke-width="2"/>'


def _dot(x: float, y: float, apart: bool) -> str:
    if apart:
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{DOT + 1.3:.1f}" fill="none" stroke="{STOP}" stroke-width="2"/>'
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{DOT}" fill="{BLUE}" fill-opacity="0.75"/>'


def _stacked(values: Sequence[Value]) -> Iterator[tuple[Value, float]]:
    """Each value and how far it is lifted: dots of the same place stand over one another, closer the more there are."""
    places = [round(_x(value.rf) / (2 * DOT)) for value in values]
    counts = Counter(places)
    met: Counter[int] = Counter()
    for value, place in zip(values, places, strict=True):
        step = min(2 * DOT, STACK / counts[place])
        yield value, (met[place] - (counts[place] - 1) / 2) * step
        met[place] += 1


def _short(words: str, most: int = LETTERS) -> str:
    return words if len(words) <= most else words[: most - 1] + "…"


def in_xml(words: str) -> str:
    """The words without what must not stand in XML: a drawing with it is not shown at all."""
    return NO_XML.sub("", words)


def _x(rf: float) -> float:
    return LEFT + min(max(rf, -0.04), 1.04) * (RIGHT - LEFT)


def _text(x: float, y: float, words: str, anchor: str = "start", colour: str = INK, bold: bool = False) -> str:
    weight = ' font-weight="650"' if bold else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{colour}"{weight}>{escape(in_xml(words))}</text>'
    )
