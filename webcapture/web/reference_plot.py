"""Drawings of reference values and of own runs: no script, no style, letters that stay legible on a phone."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from webcapture.reference.library import INVENTED, OWN_RUNS
from webcapture.report.wording import two_decimals
from webcapture.web.language import gettext as _
from webcapture.web.plot import BLUE, FONT, INK, LEFT, PENCIL, RIGHT, RULE, WIDTH, in_xml

HEAD, ROW, FOOT, KEY = 8.0, 36.0, 34.0, 18.0
LETTERS = 40
STEPS = (0.01, 0.02, 0.05, 0.1, 0.2)
MOST_STEPS = 6


@dataclass(frozen=True, slots=True)
class Line:
    """One value of a chart."""

    label: str
    rf: float
    reach: float
    """Half of the stretch of Rf in which one new run is expected."""
    window: bool
    """Whether that is the lead's window, because the source gives no spread."""
    mark: str
    """Where it comes from, one of the library's marks."""


@dataclass(frozen=True, slots=True)
class Row:
    """The runs of one practical."""

    label: str
    date: str
    rfs: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Axis:
    """The stretch of Rf along x."""

    low: float = 0.0
    high: float = 1.0
    step: float = 0.2

    def x(self, rf: float) -> float:
        """User units; what lies beyond is drawn at the edge."""
        share = (min(max(rf, self.low), self.high) - self.low) / (self.high - self.low)
        return LEFT + share * (RIGHT - LEFT)


def values_svg(lines: Sequence[Line]) -> str:
    """The chart of values, a row each, in the order given; below it what its signs mean."""
    marks = [mark for mark in _WORDS if any(line.mark == mark for line in lines)]
    bars = [window for window in (False, True) if any(line.window is window for line in lines)]
    bottom = HEAD + ROW * max(len(lines), 1)
    parts = [*_axis(Axis(), bottom)]
    for n, line in enumerate(lines):
        parts += _value(line, HEAD + n * ROW)
    if not lines:
        parts.append(_text(WIDTH / 2, HEAD + ROW / 2, _("No values"), "middle"))
    keys = [*(_sign_key(mark) for mark in marks), *(_bar_key(window) for window in bars)]
    for n, (sign, words) in enumerate(keys):
        y = bottom + FOOT + 6 + n * KEY
        parts += [f'<g transform="translate(0 {y:.1f})">{sign}</g>', _text(LEFT + 36, y + 4, words)]
    return _drawing(parts, bottom + FOOT + 6 + len(keys) * KEY)


def runs_svg(rows: Sequence[Row], mean: float, sd: float | None) -> str:
    """Own runs of one substance under one method, a row a practical, the oldest first; all of them with their mean."""
    axis = zoomed([rf for row in rows for rf in row.rfs], mean, sd or 0.0)
    bottom = HEAD + ROW * max(len(rows), 1)
    parts = [*_axis(axis, bottom)]
    if sd is not None:
        low, high = axis.x(mean - sd), axis.x(mean + sd)
        parts.append(f'<rect x="{low:.1f}" y="{HEAD:g}" width="{high - low:.1f}" height="{bottom - HEAD:g}" fill="{BLUE}" fill-opacity="0.14"/>')  # fmt: skip
    parts.append(f'<path d="M{axis.x(mean):.1f} {HEAD:g}V{bottom:g}" stroke="{BLUE}" stroke-width="1.5"/>')
    for n, row in enumerate(rows):
        top = HEAD + n * ROW
        parts += [_text(LEFT, top + 12, _short(row.label, 30), bold=True), _text(RIGHT, top + 12, row.date, "end")]
        parts += [_dot(axis.x(rf), top + 25) for rf in row.rfs]
    return _drawing(parts, bottom + FOOT)


def zoomed(rfs: Sequence[float], mean: float, sd: float) -> Axis:
    """The stretch that holds them all, in whole steps, with few enough figures below."""
    low, high = min([*rfs, mean - sd]) - 0.01, max([*rfs, mean + sd]) + 0.01
    step = next((one for one in STEPS if (high - low) / one <= MOST_STEPS - 1), STEPS[-1])
    low, high = max(math.floor(low / step) * step, 0.0), min(math.ceil(high / step) * step, 1.0)
    return Axis(low, high, step)


_WORDS = ("published", OWN_RUNS, INVENTED)


def _sign_key(mark: str) -> tuple[str, str]:
    words = {OWN_RUNS: _("own runs"), INVENTED: _("invented, nothing was measured")}
    return _sign(LEFT + 14, 0, mark), words.get(mark, _("published"))


def _bar_key(window: bool) -> tuple[str, str]:
    words = _("a window: no spread given") if window else _("one new run is expected here (95 %)")
    return _bar(LEFT, LEFT + 28, 0, window), words


def _value(line: Line, top: float) -> Iterator[str]:
    axis, y = Axis(), top + 24
    yield _text(LEFT, top + 13, _short(line.label, LETTERS), bold=True)
    yield _text(RIGHT, top + 13, two_decimals(line.rf), "end")
    yield _bar(axis.x(line.rf - line.reach), axis.x(line.rf + line.reach), y, line.window)
    yield _sign(axis.x(line.rf), y, line.mark)


def _bar(low: float, high: float, y: float, dashed: bool) -> str:
    dashes = ' stroke-dasharray="4 3"' if dashed else ""
    ends = f"M{low:.1f} {y - 3.5:.1f}v7M{high:.1f} {y - 3.5:.1f}v7"
    return f'<path d="M{low:.1f} {y:.1f}H{high:.1f}" stroke="{PENCIL}" stroke-width="1.5"{dashes}/><path d="{ends}" stroke="{PENCIL}" stroke-width="1.5"/>'


def _sign(x: float, y: float, mark: str) -> str:
    """A disc, a square, or an empty diamond: told apart without colour."""
    if mark == OWN_RUNS:
        return f'<rect x="{x - 4.5:.1f}" y="{y - 4.5:.1f}" width="9" height="9" fill="{BLUE}"/>'
    if mark == INVENTED:
        return f'<path d="M{x:.1f} {y - 6:.1f}l6 6l-6 6l-6 -6z" fill="#fffdf6" stroke="{INK}" stroke-width="1.5"/>'
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="5" fill="{INK}"/>'


def _dot(x: float, y: float) -> str:
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.6" fill="{BLUE}" fill-opacity="0.75" stroke="{INK}" stroke-width="0.6"/>'


def _axis(axis: Axis, bottom: float) -> Iterator[str]:
    steps = round((axis.high - axis.low) / axis.step)
    for n in range(steps + 1):
        rf = axis.low + n * axis.step
        x = axis.x(rf)
        yield f'<path d="M{x:.1f} {HEAD:g}V{bottom:g}" stroke="{RULE}"/>'
        yield _text(x, bottom + 13, f"{rf:.2f}".removesuffix("0") if axis.step >= 0.1 else f"{rf:.2f}", "middle")
    yield _text(WIDTH / 2, bottom + 28, "Rf", "middle")


def _drawing(parts: Sequence[str], height: float) -> str:
    head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {height:g}" width="{WIDTH:g}" height="{height:g}" font-family="{FONT}" font-size="11" fill="{INK}">'
    return "\n".join([head, f'<rect width="{WIDTH:g}" height="{height:g}" fill="#fffdf6"/>', *parts, "</svg>"])


def _short(words: str, most: int) -> str:
    return words if len(words) <= most else words[: most - 1] + "…"


def _text(x: float, y: float, words: str, anchor: str = "start", bold: bool = False) -> str:
    weight = ' font-weight="650"' if bold else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{INK}"{weight}>{escape(in_xml(words))}</text>'
