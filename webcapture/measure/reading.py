"""Which of the lines on a strip is the origin and which the front, if it lies the way it is read."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from webcapture.measure.drawn import is_drawn, is_lettered, not_erased
from webcapture.measure.field import Field
from webcapture.measure.fronts import Ground, find_front
from webcapture.measure.landmarks import Candidate, pencil_lines
from webcapture.measure.marks import marks_beside
from webcapture.model import StripCells
from webcapture.settings import ReadingSettings, Settings


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """A strip read one way up."""

    strip: StripCells
    field: Field
    thin: list[Candidate]
    """All thin drawn lines, from the origin end upwards; rows of letters are not among them."""
    origin: Candidate | None
    front: Candidate | None
    doubled: bool = False
    """Whether another drawn line could as well be the origin or the front."""
    fronts: int = 1
    """How many places the front could be at, where none was drawn and the paper has to tell."""


def read_lines(strip: StripCells, field: Field, settings: Settings) -> Reading:
    """Origin and front as they are if the strip lies this way up."""
    seen = pencil_lines(field, settings.trace, settings.landmark)
    drawn = [c for c in seen if is_drawn(c, field, strip.strokes, settings)]
    thin = [_marked(c, field, strip.strokes, settings.reading) for c in drawn]
    origin = origin_among(thin, field, settings)
    found = find_front(thin, Ground(field, strip.strokes, origin, settings))
    doubled = found.drawn > 1 or _has_rival(origin, thin, field, settings)
    return Reading(strip, field, thin, origin, found.front, doubled, found.places)


def _marked(line: Candidate, field: Field, strokes: np.ndarray, rule: ReadingSettings) -> Candidate:
    """The line with what marks stand beside it; letters of which it is a row are none."""
    lettered = is_lettered(line, field, strokes, rule)
    return line if lettered else replace(line, marks=marks_beside(line, field, rule))


def origin_among(thin: list[Candidate], field: Field, settings: Settings) -> Candidate | None:
    """The line that runs most fully across near the origin end, clear, straight and marked; not one that was rubbed out."""
    rule = settings.landmark
    near = [c for c in thin if c.coverage >= rule.origin_coverage and c.middle_mm < rule.origin_range * field.length_mm]
    firm = [c for c in not_erased(near, settings.reading) if not _is_written_under(c, near, settings.reading)]
    if any(c.kind == "pencil" and c.coverage >= settings.reading.drawn_coverage for c in firm):
        # A band of a dye is a coloured line, too: none is the origin where a pencil's runs right across.
        firm = [c for c in firm if c.kind == "pencil"]
    return max(firm, key=lambda c: _weight(c, settings.reading), default=None)


def _is_written_under(line: Candidate, lines: list[Candidate], rule: ReadingSettings) -> bool:
    """Whether a line is but the bars of a word under the origin: paler than a whole line right above it, and not from edge to edge."""
    whole = (c for c in lines if c.coverage >= rule.whole_coverage and 0 < c.middle_mm - line.middle_mm < rule.under_mm)
    pale = any(max(line.colour) < rule.under_paler * max(c.colour) for c in whole)
    return pale and line.coverage < rule.under_coverage


def _weight(line: Candidate, rule: ReadingSettings) -> float:
    """What speaks for a line as the origin: drawn right across, clear, straight, with marks on it, and no higher than people draw it."""
    straight = np.exp(-line.trace.spread_mm / rule.straight_mm)
    high = rule.high_origin * max(line.middle_mm - rule.usual_origin_mm, 0.0)
    return line.coverage * line.trace.score * float(straight) + min(line.marks, rule.marks_most) - high


def _has_rival(origin: Candidate | None, thin: list[Candidate], field: Field, settings: Settings) -> bool:
    """Whether another full line near the origin end could be the origin as well: no fainter, and neither has marks alone."""
    if origin is None:
        return False
    rule = settings.reading
    reach = settings.landmark.origin_range * field.length_mm
    full = [c for c in thin if c.coverage >= rule.drawn_coverage and c.middle_mm < reach and c is not origin]
    clear = [c for c in full if c.trace.score >= rule.drawn_clear * origin.trace.score and c.kind == origin.kind]
    return any(origin.marks - c.marks < rule.marks_tell for c in clear)
