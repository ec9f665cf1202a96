"""What templates show: an entry of the contract turned into words and rounded numbers.

Rounding is for people; programs get the entry itself. Every number shown keeps its uncertainty beside it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import Any

from flask import Flask, current_app, url_for
from markupsafe import Markup

from webcapture.card.layout import LAYOUTS, PAPERS_MM
from webcapture.model import Strip
from webcapture.report.table import shared_bays
from webcapture.report.wording import hrf_text, rounded_up, two_decimals, with_uncertainty
from webcapture.web.errors import PART_HEADER, TROUBLES, Trouble
from webcapture.web.language import gettext as _
from webcapture.web.language import ngettext, told
from webcapture.web.measuring import Entry, Shown

PAPER_NAMES = {"a4": "A4", "letter": "Letter"}
LOST = Trouble(
    0,
    "no-connection",
    "The photo did not get through.",
    "Check that the phone is still in the same network, then try again.",
)
"""Shown by the page's own script when no answer came."""


@dataclass(frozen=True, slots=True)
class Row:
    """One spot of the table."""

    label: str
    """Spot number, with its lane's before it where there are several in the bay: ``2.1``."""
    rf: str
    """``0.45 ± 0.01``; this and the next three are empty where the number is not known."""
    hrf: str
    distance: str
    width: str
    colour: str
    doubtful: bool
    """Whether a note below the table speaks of this spot."""


@dataclass(frozen=True, slots=True)
class Note:
    """One flag and all places it concerns, so that six faint spots are one sentence."""

    code: str
    text: str
    advice: str
    places: tuple[str, ...]
    """Empty where it concerns the whole."""


@dataclass(frozen=True, slots=True)
class Group:
    """The rows of one strip."""

    title: str
    """Names the strip where there are several, else empty."""
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class PhotoView:
    """One photo as shown."""

    name: str
    token: str | None
    card: str
    error: dict[str, str] | None
    groups: tuple[Group, ...]
    """Strips with spots; a strip without any has a note instead."""
    lanes_told: bool
    """Whether some spots are numbered with their lane's before."""
    photo_notes: tuple[Note, ...]
    """Of the photo as a whole."""
    strip_notes: tuple[Note, ...]
    summary: str
    """What came of it in a few words, also spoken after the name when the result arrives."""


def rf_text(rf: float | None, expanded: float | None) -> str:
    """Rf to two decimals with its expanded uncertainty, rounded up so that it never claims too much (GUM 7.2.6).

    >>> rf_text(0.448, 0.0042), rf_text(0.9, 0.0301), rf_text(None, None)
    ('0.45 ± 0.01', '0.90 ± 0.04', '')
    """
    if rf is None or expanded is None:
        return ""
    return with_uncertainty(rf, expanded)


def mm_text(length: float | None) -> str:
    """A length to a tenth of a millimetre."""
    return "" if length is None else f"{length:.1f}"


def photo_view(shown: Shown) -> PhotoView:
    """Everything the page shows of one photo."""
    entry = shown.entry
    strips = entry["strips"]
    several = len(strips) > 1
    shared = shared_bays(strips)
    groups = tuple(_group(strip, several, shared) for strip in strips)
    return PhotoView(
        name=entry["photo"],
        token=shown.token,
        card=_card_text(entry["card"]),
        error=entry["error"],
        groups=tuple(group for group in groups if group.rows),
        lanes_told=any(_tells_lanes(strip, shared) for strip in strips),
        photo_notes=_notes((flag, "") for flag in entry["flags"]),
        strip_notes=_notes(placed for strip in strips for placed in _strip_flags(strip, several, shared)),
        summary=_summary(entry, sum(len(group.rows) for group in groups)),
    )


def strip_title(bay: int, number: int, shared: bool) -> str:
    """A strip's name where there are several: its bay, and its number where that holds others."""
    return _("Bay %(bay)s, strip %(strip)s", bay=bay, strip=number) if shared else _("Bay %(bay)s", bay=bay)


def strip_name(strip: Strip) -> str:
    """The same of a measured strip."""
    return strip_title(strip.bay, strip.strip, strip.shared)


def _tells_lanes(strip: dict[str, Any], shared: Collection[int]) -> bool:
    return len(strip["lanes"]) > 1 or strip["bay"] in shared


def _group(strip: dict[str, Any], several: bool, shared: Collection[int]) -> Group:
    told_lanes = _tells_lanes(strip, shared)
    rows = tuple(_row(lane, spot, told_lanes) for lane in strip["lanes"] for spot in lane["spots"])
    title = strip_title(strip["bay"], strip["strip"], strip["bay"] in shared)
    return Group(title if several else "", rows)


def _row(lane: dict[str, Any], spot: dict[str, Any], several: bool) -> Row:
    return Row(
        label=_label(lane, spot, several),
        rf=rf_text(spot["rf"], spot["U_rf"]),
        hrf=hrf_text(spot["rf"]),
        distance=mm_text(spot["distance_mm"]),
        width=mm_text(spot["width_mm"]),
        colour=spot["colour"],
        doubtful=bool(spot["flags"]),
    )


def _label(lane: dict[str, Any], spot: dict[str, Any], several: bool) -> str:
    return f"{lane['lane']}.{spot['spot']}" if several else str(spot["spot"])


def _strip_flags(strip: dict[str, Any], several: bool, shared: Collection[int]) -> Iterator[tuple[dict[str, str], str]]:
    """Each flag of the strip with the place it concerns, from the whole to the smallest."""
    bay = str(strip["bay"]) if several else ""
    number = str(strip["strip"]) if strip["bay"] in shared else ""
    told_lanes, lanes = _tells_lanes(strip, shared), strip["lanes"]
    yield from ((flag, place_text(bay, strip=number)) for flag in strip["flags"])
    for lane in lanes:
        yield from ((flag, place_text(bay, lane=str(lane["lane"]) if told_lanes else "")) for flag in lane["flags"])
    for lane in lanes:
        for spot in lane["spots"]:
            label = _label(lane, spot, told_lanes)
            yield from ((flag, place_text(bay, spot=label)) for flag in spot["flags"])


def place_text(bay: str = "", *, strip: str = "", lane: str = "", spot: str = "") -> str:
    """Where a note belongs, in words; each empty where it need not be said. A lane's or a spot's number needs no strip's.

    >>> place_text("2", spot="1"), place_text("1", strip="2"), place_text(lane="3"), place_text()
    ('bay 2 spot 1', 'bay 1 strip 2', 'lane 3', '')
    """
    if spot:
        return _("bay %(bay)s spot %(spot)s", bay=bay, spot=spot) if bay else _("spot %(spot)s", spot=spot)
    if lane:
        return _("bay %(bay)s lane %(lane)s", bay=bay, lane=lane) if bay else _("lane %(lane)s", lane=lane)
    if strip:
        return _("bay %(bay)s strip %(strip)s", bay=bay, strip=strip)
    return _("bay %(bay)s", bay=bay) if bay else ""


def _notes(flags: Iterator[tuple[dict[str, str], str]]) -> tuple[Note, ...]:
    """Flags of one code gathered into one note."""
    gathered: dict[str, tuple[dict[str, str], list[str]]] = {}
    for flag, place in flags:
        places = gathered.setdefault(flag["code"], (flag, []))[1]
        if place and place not in places:
            places.append(place)
    return tuple(Note(code, f["text"], f["advice"], tuple(places)) for code, (f, places) in gathered.items())


def _card_text(card: dict[str, Any] | None) -> str:
    if card is None:
        return ""
    paper = PAPER_NAMES.get(card["paper"], card["paper"])
    residual = two_decimals(rounded_up(card["residual_mm"]))
    if card["layout"] == "tray":
        return _("Tray card, %(paper)s; its frame fits to %(residual)s mm.", paper=paper, residual=residual)
    return _("Sheet card, %(paper)s; its frame fits to %(residual)s mm.", paper=paper, residual=residual)


def _summary(entry: Entry, spots: int) -> str:
    if entry["error"]:
        return _("not measured. %(message)s", message=told(entry["error"]["message"]))
    strips = len(entry["strips"])
    return _(
        "%(spots)s on %(strips)s.",
        spots=ngettext("%(num)s spot", "%(num)s spots", spots),
        strips=ngettext("%(num)s strip", "%(num)s strips", strips),
    )


def colour_patch(colour: str) -> Markup:
    """A patch of that colour. The policy allows no style attribute; an SVG's own fill is none."""
    return Markup(
        '<svg class="patch" viewBox="0 0 16 16" width="16" height="16" aria-hidden="true" focusable="false">'
        '<rect x="1" y="1" width="14" height="14" rx="3" fill="{}"/></svg>'
    ).format(colour)


def cards() -> list[dict[str, str]]:
    """Every card that can be downloaded."""
    return [
        {
            "layout": layout,
            "paper": PAPER_NAMES[paper],
            "address": url_for("pages.card", layout=layout, paper=paper),
        }
        for layout in LAYOUTS
        for paper in PAPERS_MM
    ]


def init_app(app: Flask) -> None:
    """Give templates what they need by name."""
    app.add_template_global(photo_view)
    app.add_template_global(colour_patch)
    app.add_template_global(cards)
    app.jinja_env.globals.update(troubles=TROUBLES, part_header=PART_HEADER, lost=LOST)
    app.context_processor(lambda: {"limits": current_app.extensions["settings"]})
