"""The plot of an unknown's evidence: for each mobile phase a row a substance, the known value with its spread against what was seen."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any
from xml.sax.saxutils import escape

from webcapture.reference.evidence import CONSISTENT, RULED_OUT
from webcapture.report.wording import two_decimals
from webcapture.web.language import gettext as _
from webcapture.web.plot import in_xml

Json = dict[str, Any]
WIDTH, LEFT, RIGHT = 360.0, 16.0, 344.0
"""User units; narrow, so that letters stay legible on a phone."""
HEAD, TITLE, ROW, FOOT = 26.0, 26.0, 40.0, 34.0
INK, PENCIL, RULE, BLUE, STOP = "#22282a", "#575d5c", "#cfc6b0", "#175766", "#8f1f1a"
FONT = "system-ui, -apple-system, Segoe UI, Roboto, Noto Sans, sans-serif"
SHOWN, LETTERS, PHASE_LETTERS = 8, 34, 54
"""Substances at most, and letters of a name and of a mobile phase."""


def plotted(found: Json) -> list[Json]:
    """Rows that the plot shows: what is consistent first, then what is nearest of the others that were compared."""
    compared = [row for row in found["rows"] if any(cell["compared"] for cell in row["cells"])]
    return sorted(compared, key=_far)[:SHOWN]


def _far(row: Json) -> tuple[bool, bool, float]:
    apart = [cell["compared"]["e_n"] for cell in row["cells"] if cell["compared"]]
    return row["verdict"] != CONSISTENT, row["verdict"] == RULED_OUT, max(apart)


def plot_svg(found: Json) -> str:
    """The drawing; Rf from 0 to 1 along x."""
    rows = plotted(found)
    panels = [
        (condition, [(row, row["cells"][n]["compared"]) for row in rows if row["cells"][n]["compared"]], n)
        for n, condition in enumerate(found["conditions"])
        if condition["runs"]
    ]
    height = HEAD + sum(TITLE + ROW * len(inside) for _c, inside, _n in panels) + FOOT
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {height:g}" width="{WIDTH:g}" height="{height:g}" font-family="{FONT}" font-size="11" fill="{INK}">',
        f'<rect width="{WIDTH:g}" height="{height:g}" fill="#fffdf6"/>',
        *_legend(),
    ]
    top = HEAD
    for condition, inside, n in panels:
        bottom = top + TITLE + ROW * len(inside)
        parts += _grid(top + TITLE, bottom)
        parts.append(_text(LEFT, top + 17, _short(condition["mobile_phase"], PHASE_LETTERS), bold=True))
        for k, (row, one) in enumerate(inside):
            parts += _row(row["substance"], row["cells"][n]["outcome"], one, top + TITLE + k * ROW)
        top = bottom
    return "\n".join([*parts, *_axis(top), "</svg>"])


def _legend() -> Iterator[str]:
    yield _bar(LEFT, LEFT + 30, 12, BLUE)
    yield _text(LEFT + 36, 16, _("known ± U"))
    yield _seen(LEFT + 126, 12, "agrees") + _seen(LEFT + 142, 12, "disagrees")
    yield _text(LEFT + 154, 16, _("seen ± U: agrees, disagrees"))


def _grid(top: float, bottom: float) -> Iterator[str]:
    for tenth in range(11):
        width = 1 if tenth % 5 == 0 else 0.5
        yield f'<path d="M{_x(tenth / 10):.1f} {top:.1f}V{bottom:.1f}" stroke="{RULE}" stroke-width="{width}"/>'


def _axis(bottom: float) -> Iterator[str]:
    for tenth in range(0, 11, 2):
        yield _text(_x(tenth / 10), bottom + 13, f"{tenth / 10:.1f}", "middle")
    yield _text(WIDTH / 2, bottom + 28, "Rf", "middle")


def _row(name: str, outcome: str, one: Json, top: float) -> Iterator[str]:
    """Without a front the reference's own place counts as 1: such a row has words only."""
    seen, known = one["seen"], one["known"]
    yield _text(LEFT, top + 12, _short(name, LETTERS))
    numbers = f"{one['quantity']} {two_decimals(seen)} / {two_decimals(known)}, E_n {one['e_n']:.1f}"
    yield _text(RIGHT, top + 12, numbers, "end", PENCIL)
    if one["quantity"] != "Rf":
        return
    yield _bar(_x(known - one["U_known"]), _x(known + one["U_known"]), top + 23, BLUE)
    yield f'<path d="M{_x(known):.1f} {top + 17:.1f}v12" stroke="{BLUE}" stroke-width="2.5"/>'
    yield _bar(_x(seen - one["U_seen"]), _x(seen + one["U_seen"]), top + 33, PENCIL)
    yield _seen(_x(seen), top + 33, outcome)


def _bar(left: float, right: float, y: float, colour: str) -> str:
    ends = f"M{left:.1f} {y:.1f}H{right:.1f}M{left:.1f} {y - 3:.1f}v6M{right:.1f} {y - 3:.1f}v6"
    return f'<path d="{ends}" stroke="{colour}" stroke-width="1.5" fill="none"/>'


def _seen(x: float, y: float, outcome: str) -> str:
    """A dot where it agrees, a cross where it disagrees, an open diamond where it cannot be told."""
    if outcome == "agrees":
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="{INK}"/>'
    if outcome == "disagrees":
        return f'<path d="M{x - 4:.1f} {y - 4:.1f}l8 8m0 -8l-8 8" stroke="{STOP}" stroke-width="2.2"/>'
    return f'<path d="M{x:.1f} {y - 5:.1f}l5 5l-5 5l-5 -5z" fill="#fffdf6" stroke="{INK}" stroke-width="1.5"/>'


def _short(words: str, most: int) -> str:
    return words if len(words) <= most else words[: most - 1] + "…"


def _x(rf: float) -> float:
    return LEFT + min(max(rf, 0.0), 1.0) * (RIGHT - LEFT)


def _text(x: float, y: float, words: str, anchor: str = "start", colour: str = INK, bold: bool = False) -> str:
    weight = ' font-weight="650"' if bold else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{colour}"{weight}>{escape(in_xml(words))}</text>'
    )
