"""The room's plot: a row a spot, a dot a station, mean and standard deviation below. A drawing of its own, no script, no style."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from xml.sax.saxutils import escape

from webcapture.web.compare import Group, Value
from webcapture.web.language import gettext as _

WIDTH, LEFT, RIGHT = 360.0, 16.0, 344.0
"""User units; narrow, so that letters stay legible on a phone."""
HEAD, ROW, FOOT = 8.0, 62.0, 34.0
INK, PENCIL, RULE, BLUE, STOP = "#22282a", "#575d5c", "#cfc6b0", "#175766", "#8f1f1a"
FONT = "system-ui, -apple-system, Segoe UI, Roboto, Noto Sans, sans-serif"
DOT, STACK = 3.2, 22.0
"""Radius of a dot, and the height that dots over one another share."""
LETTERS = 30


def plot_svg(groups: Sequence[Group]) -> str:
    """The drawing; Rf from 0 to 1 along x."""
    height = HEAD + ROW * max(len(groups), 1) + FOOT
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {height:g}" width="{WIDTH:g}" height="{height:g}" font-family="{FONT}" font-size="11" fill="{INK}">',
        f'<rect width="{WIDTH:g}" height="{height:g}" fill="#fffdf6"/>',
        *_axis(height),
    ]
    for n, group in enumerate(groups):
        parts += _row(group, HEAD + n * ROW)
    if not groups:
        parts.append(_text(WIDTH / 2, HEAD + ROW / 2, _("No Rf yet"), "middle"))
    return "\n".join([*parts, "</svg>"])


def _axis(height: float) -> Iterator[str]:
    bottom = height - FOOT
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


def _short(words: str) -> str:
    return words if len(words) <= LETTERS else words[: LETTERS - 1] + "…"


def _x(rf: float) -> float:
    return LEFT + min(max(rf, -0.04), 1.04) * (RIGHT - LEFT)


def _text(x: float, y: float, words: str, anchor: str = "start", colour: str = INK, bold: bool = False) -> str:
    weight = ' font-weight="650"' if bold else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{colour}"{weight}>{escape(words)}</text>'
