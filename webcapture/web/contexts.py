"""What templates show: an entry of the contract turned into words and rounded numbers.

Rounding is for people; programs get the entry itself. Every number shown keeps its uncertainty beside it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from flask import Flask, current_app, url_for
from markupsafe import Markup

from webcapture.card.layout import LAYOUTS, PAPERS_MM
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
    """Spot number, with its lane's before it where the strip has several: ``2.1``."""
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
    """Names the bay where there are several strips, else empty."""
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
    lanes: int
    """The most lanes that a strip has."""
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
    groups = tuple(_group(strip, several) for strip in strips)
    return PhotoView(
        name=entry["photo"],
        token=shown.token,
        card=_card_text(entry["card"]),
        error=entry["error"],
        groups=tuple(group for group in groups if group.rows),
        lanes=max((len(strip["lanes"]) for strip in strips), default=0),
        photo_notes=_notes((flag, "") for flag in entry["flags"]),
        strip_notes=_notes(placed for strip in strips for placed in _strip_flags(strip, several)),
        summary=_summary(entry, sum(len(group.rows) for group in groups)),
    )


def _group(strip: dict[str, Any], several: bool) -> Group:
    lanes = strip["lanes"]
    rows = tuple(_row(lane, spot, len(lanes) > 1) for lane in lanes for spot in lane["spots"])
    return Group(_("Bay %(bay)s", bay=strip["bay"]) if several else "", rows)


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


def _strip_flags(strip: dict[str, Any], several: bool) -> Iterator[tuple[dict[str, str], str]]:
    """Each flag of the strip with the place it concerns, from the whole to the smallest."""
    bay = str(strip["bay"]) if several else ""
    lanes = strip["lanes"]
    yield from ((flag, place_text(bay)) for flag in strip["flags"])
    for lane in lanes:
        number = str(lane["lane"]) if len(lanes) > 1 else ""
        yield from ((flag, place_text(bay, lane=number)) for flag in lane["flags"])
    for lane in lanes:
        for spot in lane["spots"]:
            label = _label(lane, spot, len(lanes) > 1)
            yield from ((flag, place_text(bay, spot=label)) for flag in spot["flags"])


def place_text(bay: str = "", *, lane: str = "", spot: str = "") -> str:
    """Where a note belongs, in words; each empty where it need not be said.

    >>> place_text("2", spot="1"), place_text(lane="3"), place_text()
    ('bay 2 spot 1', 'lane 3', '')
    """
    if spot:
        return _("bay %(bay)s spot %(spot)s", bay=bay, spot=spot) if bay else _("spot %(spot)s", spot=spot)
    if lane:
        return _("bay %(bay)s lane %(lane)s", bay=bay, lane=lane) if bay else _("lane %(lane)s", lane=lane)
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
