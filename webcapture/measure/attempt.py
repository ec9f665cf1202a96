"""A strip read one way up: its lines, lanes and spots, and what they say of the way it lies."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import compress

import numpy as np

from webcapture.measure.beneath import colours_beneath, spots_beneath
from webcapture.measure.field import field_of
from webcapture.measure.kept import lane_spots
from webcapture.measure.landmarks import Candidate, as_line
from webcapture.measure.lanes import Track, find_lanes, without_stains
from webcapture.measure.paper import Stain, stain_on
from webcapture.measure.reading import Reading, read_lines
from webcapture.measure.spots import Blob
from webcapture.measure.upright import odds_upright, trails_of
from webcapture.model import Line, StripCells
from webcapture.settings import ReadingSettings, Settings


@dataclass(frozen=True, slots=True, eq=False)
class Attempt:
    """Everything found on a strip, read one way up."""

    reading: Reading
    stain: Stain
    origin: Line | None
    front: Line | None
    tracks: list[Track]
    blobs: list[list[Blob]]
    """The spots of each track."""
    odds: float
    """ln odds that the strip lies the way it was read."""
    shown: float
    """What of them its marks and spots say: the rest is the card's arrow, and how people usually draw and write."""

    @property
    def turned(self) -> bool:
        """Whether it was read with its upper end as the origin end."""
        return self.reading.strip.turned


def attempted(strip: StripCells, settings: Settings) -> Attempt:
    """The strip read as it is given: its lower end taken for the origin end."""
    field = field_of(strip, settings.profile)
    reading = read_lines(strip, field, settings)
    rule = settings.reading
    origin = as_line(reading.origin, field, rule.u_pencil_mm, settings.landmark) if reading.origin else None
    front = as_line(reading.front, field, _u_meaning(reading.front, rule), settings.landmark) if reading.front else None
    lines = tuple(line.coefficients for line in (origin, front) if line is not None)
    seen = reading.front if front is not None else None
    # Beyond a stain the paper is as pale as below it, or there would be a wet edge: it may tell the level where bands leave none.
    # Not so where the stain goes on towards the origin.
    top = (
        front.coefficients if front is not None and seen is not None and (front.kind != "stain" or seen.swept) else None
    )
    fading = front.coefficients if front is not None and seen is not None and seen.fades else None
    beneath, strokes, coloured = None, strip.strokes, None
    if origin is not None:
        beneath = spots_beneath(field, origin.coefficients, settings.beneath)
        strokes = strokes & ~beneath
        coloured = colours_beneath(field, origin.coefficients, settings.beneath)
        beneath = beneath | coloured
    stain = replace(stain_on(field, strokes, lines, top, settings.paper, fading, coloured), beneath=beneath)
    tracks, blobs = _lanes(reading, stain, origin, front, settings)
    odds, shown = odds_upright(reading, trails_of(tracks, blobs, origin, front, settings.upright), settings)
    return Attempt(reading, stain, origin, front, tracks, blobs, odds, shown)


def _lanes(
    reading: Reading, stain: Stain, origin: Line | None, front: Line | None, settings: Settings
) -> tuple[list[Track], list[list[Blob]]]:
    """The lanes and the spots of each. Where columns of colour turned out to be none, lanes that they hid are looked for."""

    def filled(barred: list[float]) -> tuple[list[Track], list[list[Blob]]]:
        tracks = find_lanes(reading.field, stain, origin, front, settings.lane, barred)
        return tracks, [lane_spots(reading, stain, track, origin, front, settings) for track in tracks]

    tracks, blobs = filled([])
    lanes = without_stains(tracks, [bool(found) for found in blobs])
    if not all(lanes):
        again = filled([track.middle_mm for track, kept in zip(tracks, lanes, strict=True) if not kept])
        if sum(map(bool, again[1])) > sum(map(bool, blobs)):
            tracks, blobs = again
            lanes = without_stains(tracks, [bool(found) for found in blobs])
    return list(compress(tracks, lanes)), list(compress(blobs, lanes))


def _u_meaning(line: Candidate, rule: ReadingSettings) -> float:
    """Standard uncertainty, in millimetres, of where within such a line its place is meant to be."""
    soft = {"wet-edge": rule.u_wet_mm, "stain": rule.u_stain_mm}.get(line.kind)
    if soft is None:
        return rule.u_pencil_mm
    return float(np.hypot(soft / max(line.trace.score, 1.0), rule.u_outer * line.outer_mm))
