"""What a result's page shows of each strip: marks to draw over its picture, fields to correct it, rows, notes, budgets.

Marks are given in the strip's own frame with the margin added: x across it, y from its far end, millimetres.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from webcapture.flags import Flag
from webcapture.measure.bays import tells_lanes
from webcapture.measure.correct import DENSEST, Corrected
from webcapture.measure.frame import Frame, strip_frame
from webcapture.model import Component, Lane, Point, Spot
from webcapture.report.wording import hrf_text, rounded_up
from webcapture.web.contexts import mm_text, place_text, rf_text, strip_name
from webcapture.web.drawing import MARGIN_MM
from webcapture.web.hand import places
from webcapture.web.language import gettext as _

ENDS_DOUBTED = ("ends-alike", "ends-undecided")
"""Flags that somebody who saw the strip can settle."""


@dataclass(frozen=True, slots=True)
class Field:
    """One place that can be corrected: a number of the form, and a mark on the picture."""

    name: str
    """``origin``, ``front`` or ``spot-`` and the spot's key."""
    title: str
    s_mm: float | None
    """None where there is no such line yet."""
    key: str
    """The spot's key, or ``""`` for a line."""
    number: str = ""
    """The spot's number in its lane, or ``""`` for a line."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A line across a lane, or a spot, on the picture."""

    field: Field
    kind: str
    """``origin``, ``front`` or ``spot``."""
    x1: float
    x2: float
    """A line's ends; a spot's left and right."""
    y: float
    height: float
    """A spot's extent along the strip; 0 for a line."""
    number: str


@dataclass(frozen=True, slots=True)
class SpotRow:
    """One spot of the table."""

    label: str
    rf: str
    hrf: str
    distance: str
    colour: str
    resolution: str
    doubtful: bool
    by_hand: bool
    budget: tuple[Part, ...]


@dataclass(frozen=True, slots=True)
class Part:
    """One line of an uncertainty budget, as shown."""

    name: str
    kind: str
    u_mm: str
    u_rf: str
    """What it contributes to Rf's standard uncertainty."""
    reason: str


@dataclass(frozen=True, slots=True)
class LaneSight:
    """One lane."""

    lane: int
    label: str
    """What it holds, or ``""``."""
    named: str
    """What it was named by hand, or ``""``."""
    fields: tuple[Field, ...]
    rows: tuple[SpotRow, ...]


@dataclass(frozen=True, slots=True)
class Note:
    """One flag and the places that it concerns."""

    text: str
    advice: str
    places: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class StripSight:
    """One strip."""

    place: str
    """In ids and addresses, see :class:`webcapture.model.Strip`."""
    bay: int
    name: str
    """In words, where there are several strips."""
    several: bool
    """Whether its lanes are told by their numbers."""
    width: float
    height: float
    """Of the picture with its margin, millimetres."""
    margin: float
    length: float
    """Of the strip, millimetres: the largest number a field takes."""
    marks: tuple[Mark, ...]
    lanes: tuple[LaneSight, ...]
    notes: tuple[Note, ...]
    follows: str
    turned: bool
    """Whether somebody said that its other end is the origin's than the one measured from."""
    ends_doubted: bool
    """Whether little or nothing tells which end is the origin's."""


def strip_sight(corrected: Corrected, planned: dict[int, str]) -> StripSight:
    """The strip as shown; ``planned`` tells what the practical has in each lane, where nobody has named it by hand."""
    strip = corrected.strip
    frame = strip_frame(strip)
    several = tells_lanes(strip)
    lanes = tuple(_lane(corrected, lane, planned, several) for lane in strip.lanes)
    marks = tuple(
        mark for lane, sight in zip(strip.lanes, lanes, strict=True) for mark in _marks(lane, sight, frame, several)
    )
    return StripSight(
        place=strip.place,
        bay=strip.bay,
        name=strip_name(strip),
        several=several,
        width=frame.width + 2 * MARGIN_MM,
        height=frame.length + 2 * MARGIN_MM,
        margin=MARGIN_MM,
        length=frame.length,
        marks=marks,
        lanes=lanes,
        notes=_notes(corrected, several),
        follows=corrected.follows,
        turned=corrected.turned,
        ends_doubted=any(flag.code in ENDS_DOUBTED for flag in strip.flags),
    )


def _lane(corrected: Corrected, lane: Lane, planned: dict[int, str], several: bool) -> LaneSight:
    at = places(corrected, lane)
    fields = [Field("origin", _("Origin"), at.get("origin"), ""), Field("front", _("Front"), at.get("front"), "")]
    for spot in lane.spots:
        key = corrected.keys[lane.lane, spot.spot]
        title = _("Spot %(number)s", number=spot.spot)
        fields.append(Field(f"spot-{key}", title, at[f"spot-{key}"], key, str(spot.spot)))
    rows = tuple(_row(lane, spot, several, corrected.follows) for spot in lane.spots)
    named = corrected.labels.get(lane.lane, "")
    return LaneSight(lane.lane, named or planned.get(lane.lane, ""), named, tuple(fields), rows)


def _marks(lane: Lane, sight: LaneSight, frame: Frame, several: bool) -> list[Mark]:
    left, right = (t + MARGIN_MM for t in lane.t_range_mm)
    found = []
    for field in sight.fields[:2]:
        if field.s_mm is not None:
            found.append(Mark(field, field.name, left, right, _y(field.s_mm, frame), 0.0, ""))
    for field, spot in zip(sight.fields[2:], lane.spots, strict=True):
        x, y = _at(spot.position_mm, frame)
        half = min(max(spot.width_mm, 3.0), right - left) / 2
        found.append(Mark(field, "spot", x - half, x + half, y, spot.width_mm, _name(lane, spot, several)))
    return found


def _y(s_mm: float, frame: Frame) -> float:
    return frame.length + MARGIN_MM - s_mm


def _at(point: Point, frame: Frame) -> tuple[float, float]:
    s, t = frame.on_strip(point)
    return t + MARGIN_MM, _y(s, frame)


def _name(lane: Lane, spot: Spot, several: bool) -> str:
    return f"{lane.lane}.{spot.spot}" if several else str(spot.spot)


def _row(lane: Lane, spot: Spot, several: bool, follows: str) -> SpotRow:
    along = spot.densest_distance_mm if follows == DENSEST else spot.distance_mm
    codes = {flag.code for flag in spot.flags}
    return SpotRow(
        label=_name(lane, spot, several),
        rf=rf_text(spot.rf, spot.U_rf),
        hrf=hrf_text(spot.rf),
        distance=mm_text(along if lane.origin_mm is not None else None),
        colour=spot.colour,
        resolution="" if spot.resolution is None else f"{spot.resolution:.1f}",
        doubtful=bool(codes - {"by-hand"}),
        by_hand="by-hand" in codes,
        budget=tuple(_part(part) for part in spot.budget) if spot.rf is not None else (),
    )


def _part(part: Component) -> Part:
    return Part(part.name, part.kind, f"{part.u_mm:.3f}", f"{abs(part.u_mm * part.sensitivity):.4f}", part.reason)


def _notes(corrected: Corrected, several: bool) -> tuple[Note, ...]:
    """Flags of one code gathered into one note, from the whole strip to single spots."""
    gathered: dict[str, tuple[Flag, list[str]]] = {}
    for flag, place in _placed(corrected, several):
        known = gathered.setdefault(flag.code, (flag, []))[1]
        if place and place not in known:
            known.append(place)
    return tuple(Note(flag.text, flag.advice, tuple(known)) for flag, known in gathered.values())


def _placed(corrected: Corrected, several: bool) -> list[tuple[Flag, str]]:
    strip = corrected.strip
    found = [(flag, "") for flag in strip.flags]
    for lane in strip.lanes:
        found += [(flag, place_text(lane=str(lane.lane) if several else "")) for flag in lane.flags]
    for lane in strip.lanes:
        for spot in lane.spots:
            found += [(flag, place_text(spot=_name(lane, spot, several))) for flag in spot.flags]
    return found


def photo_notes(flags: tuple[Flag, ...]) -> tuple[Note, ...]:
    """Notes on the photo as a whole."""
    return tuple(Note(flag.text, flag.advice, ()) for flag in flags)


def residual_text(residual_mm: float) -> str:
    """How well the card's frame fits, rounded up."""
    return f"{rounded_up(residual_mm):.2f}"


def with_follows(entry: dict[str, Any], strips: tuple[Corrected, ...]) -> dict[str, Any]:
    """The contract's object, told what its Rf follows."""
    follows = {corrected.follows for corrected in strips}
    return {**entry, "rf_follows": DENSEST} if follows == {DENSEST} else entry
