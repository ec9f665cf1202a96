"""Which of the lines on a strip is the origin and which the front, if it lies the way it is read."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.polynomial.polynomial import polyval
from scipy.ndimage import find_objects, gaussian_filter1d, grey_opening, label, maximum_filter, uniform_filter

from webcapture.measure.channels import chroma, darkest, palest
from webcapture.measure.field import Field
from webcapture.measure.landmarks import Candidate, narrow_stains, pencil_lines, stains, wet_edges
from webcapture.measure.robust import NEVER_NONE, median, quiet_spread, spread
from webcapture.measure.ticks import ticked_fronts
from webcapture.measure.traits import slope_of, width_of
from webcapture.measure.writing import filled_share
from webcapture.model import Floats32, StripCells
from webcapture.settings import DEFAULTS, ReadingSettings, Settings


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
    strokes = strip.strokes
    lines = pencil_lines(field, settings.trace, settings.landmark)
    drawn = [c for c in lines if _is_drawn(c, field, strokes, settings)]
    thin = [replace(c, marks=marks_beside(c, field, settings.reading)) for c in drawn]
    origin = origin_among(thin, field, settings)
    fronts = _drawn_fronts(field, strokes, thin, origin, settings)
    ticked = not fronts
    if ticked:
        ticks = ticked_fronts(field, strokes, _slope(origin, field), settings.tick, settings.landmark)
        fronts = _drawn_fronts(field, strokes, ticks, origin, settings)
    front, faint = _front(field, strokes, fronts, origin, ticked, settings)
    doubled = len(fronts) > 1 or _has_rival(origin, thin, field, settings)
    return Reading(strip, field, thin, origin, front, doubled, _places(faint, settings.reading))


def _slope(line: Candidate | None, field: Field) -> float:
    """Of a line from one side of the strip to the other; level where there is none."""
    if line is None:
        return 0.0
    low, high = polyval(np.array([0.0, field.width_mm]), line.trace.coefficients)
    return float(high - low) / field.width_mm


def origin_among(thin: list[Candidate], field: Field, settings: Settings) -> Candidate | None:
    """The line that runs most fully across near the origin end, a pencil line before a coloured one."""
    rule = settings.landmark
    near = [c for c in thin if c.coverage >= rule.origin_coverage and c.middle_mm < rule.origin_range * field.length_mm]
    return max(near, key=lambda c: _weight(c, settings.reading), default=None)


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


def _drawn_fronts(
    field: Field, strokes: np.ndarray, thin: list[Candidate], origin: Candidate | None, settings: Settings
) -> list[Candidate]:
    """Pencil lines that may be the front: far enough above the origin, without spots beyond, as clear as the clearest."""
    least = (origin.middle_mm if origin else 0.0) + settings.landmark.least_run_mm
    drawn = [c for c in thin if c.kind == "pencil" and c.middle_mm > least and _dark_enough(c, origin, settings)]
    drawn = [c for c in drawn if not _is_a_staple(c, field, settings.reading)]
    free = [
        replace(c, colour_beyond=True) if stained else c
        for c, stained in _without_spots(drawn, field, strokes, settings)
    ]
    clearest = max((c.trace.score for c in free), default=0.0)
    return [c for c in free if c.trace.score >= settings.reading.drawn_clear * clearest]


def _without_spots(
    drawn: list[Candidate], field: Field, strokes: np.ndarray, settings: Settings
) -> Iterator[tuple[Candidate, bool]]:
    """The lines that have no spot beyond them, and whether some other colour lies there; for a line over part of the width that is as bad."""
    for line in drawn:
        found = _colour_beyond(line, field, strokes, settings)
        whole = line.coverage >= settings.reading.drawn_coverage
        if not found or (whole and "spot" not in found):
            yield line, bool(found)


def _front(
    field: Field,
    strokes: np.ndarray,
    drawn: list[Candidate],
    origin: Candidate | None,
    ticked: bool,
    settings: Settings,
) -> tuple[Candidate | None, list[Candidate]]:
    """The front above the origin: a pencil line where one was drawn, else a wet edge, else a stain; and all it was chosen from, if faint.

    Nothing is a front that has spots beyond it; and without any candidate there is none. Of several drawn lines the one counts
    at which the paper itself shows that the solvent stopped, else the uppermost. ``ticked``: they are short strokes at an edge;
    a front that the paper shows from side to side elsewhere counts before such a one.
    """
    firm = [] if ticked else [c for c in drawn if not _may_be_a_staple(c, field, settings.reading)]
    if len(firm) == 1:
        return firm[0], []
    rule = settings.landmark
    least = (origin.middle_mm if origin else 0.0) + rule.least_run_mm
    edges = wet_edges(field, settings.trace, rule)
    seen = stains(field, settings.trace, rule)
    faint = [c for c in seen if _is_faint(c, field, settings) or _at_one_of(edges, c, settings)]
    if firm:
        reach = settings.reading.front_own_mm
        shown = [c for c in firm if any(abs(c.middle_mm - e.middle_mm) < reach for e in edges + faint)]
        return max(shown or firm, key=lambda c: c.middle_mm), []
    # What the solvent swept together at its edge tells the edge's place better than the step that it hides.
    alone = [e for e in edges if not _at_one_of(faint, e, settings)]
    free = [c for c in alone + faint if c.middle_mm > least and not _colour_beyond(c, field, strokes, settings)]
    if not free:
        narrow = [c for c in narrow_stains(field, settings.trace, rule) if _is_faint(c, field, settings)]
        free = [c for c in narrow if c.middle_mm > least and not _colour_beyond(c, field, strokes, settings)]
    across = max((c.coverage for c in free), default=0.0)
    if free and (not drawn or across >= settings.reading.shown_coverage):
        found = _uppermost_clear(free, settings.reading.front_share)
        at_mark = [c for c in drawn if ticked and abs(c.middle_mm - found.middle_mm) <= settings.reading.front_own_mm]
        return (at_mark[-1], []) if at_mark else (found, free + (drawn if ticked else []))
    return max(drawn, key=lambda c: c.middle_mm, default=None), []


def _places(lines: list[Candidate], rule: ReadingSettings) -> int:
    """How many places these lines lie at; what is no further apart than a front and its own rim is one."""
    heights = np.sort([line.middle_mm for line in lines])
    return 1 + int((np.diff(heights) > rule.one_front_mm).sum())


def _is_a_staple(line: Candidate, field: Field, rule: ReadingSettings) -> bool:
    """Whether a line leans as no front does, or lies over a part of the width right at the paper's end."""
    at_end = line.coverage < rule.drawn_coverage and field.length_mm - line.middle_mm < rule.staple_end_mm
    return at_end or slope_of(line.trace, field) > rule.staple_steep


def _may_be_a_staple(line: Candidate, field: Field, rule: ReadingSettings) -> bool:
    """Whether a line over a part of the width leans, or lies near the paper's end, as a staple or clip does that held the strip."""
    if line.coverage >= rule.drawn_coverage:
        return False
    return slope_of(line.trace, field) > rule.staple_slope or field.length_mm - line.middle_mm < rule.staple_mm


def _at_one_of(lines: list[Candidate], line: Candidate, settings: Settings) -> bool:
    """Whether a line is so near to one of the others that both are one front."""
    return any(abs(c.middle_mm - line.middle_mm) <= settings.reading.one_front_mm for c in lines)


def _uppermost_clear(lines: list[Candidate], share: float) -> Candidate:
    """Of several, the uppermost that is at least that share as clear as the clearest."""
    clearest = max(c.trace.score for c in lines)
    return max((c for c in lines if c.trace.score >= share * clearest), key=lambda c: c.middle_mm)


def _is_drawn(line: Candidate, field: Field, strokes: np.ndarray, settings: Settings) -> bool:
    """Whether a thin line was drawn as a line: straight, and right across or unbroken for longer than any letter.

    Bars of letters line up too, but waver, with gaps between them.
    """
    rule = settings.reading
    stems = _has_stems(line, field, strokes, rule)
    if line.coverage >= rule.whole_coverage and line.trace.spread_mm <= rule.wavering_mm[int(stems)]:
        return True  # hardly a word reaches from edge to edge without a gap; a cross on the line has arms like stems
    score, coverage, spread = rule.unbroken
    if line.trace.score >= score and line.coverage >= coverage and line.trace.spread_mm <= spread:
        return True  # as dark all along as a line can be: a word is so at its strokes only
    if line.trace.spread_mm > rule.drawn_spread_mm:
        return False
    if line.coverage >= rule.clean_coverage[int(stems)] and line.trace.spread_mm < rule.clean_spread_mm:
        return True
    straight = line.trace.spread_mm < rule.straight_mm
    if line.coverage >= rule.drawn_coverage:
        return straight or not stems
    bin_mm = float(field.bin_t_mm[1] - field.bin_t_mm[0])
    longest = _longest(line)
    long = longest >= max(rule.letter_mm / bin_mm, rule.letter_bins)
    endless = longest >= max(rule.word_mm / bin_mm, rule.letter_bins)
    return (straight or endless) and long and not stems


def _dark_enough(line: Candidate, origin: Candidate | None, settings: Settings) -> bool:
    """Whether a line is as dark as a pencil's; over part of the width, as the pencil that drew the origin line.

    Right across the paper, a pale line is one where the same pencil drew as pale an origin line.
    """
    rule = settings.reading
    known = max(origin.colour) if origin is not None else 0.0
    short = line.coverage < rule.drawn_coverage
    if not short and known > 0:
        return max(line.colour) > min(rule.drawn_least, rule.drawn_alike * known)
    least = rule.drawn_share * known if short else 0.0
    return max(line.colour) > max(rule.drawn_least, least)


def _has_stems(line: Candidate, field: Field, strokes: np.ndarray, rule: ReadingSettings) -> bool:
    """Whether strokes hang on the line or stand on it, as under the bars of letters."""
    span = field.bin_t_mm[line.trace.seen] if line.trace.seen.any() else field.bin_t_mm
    across = (field.t_mm > span.min() - rule.stems_reach_mm) & (field.t_mm < span.max() + rule.stems_reach_mm)
    away = field.s_mm[:, None] - polyval(field.t_mm, line.trace.coefficients)
    near, far = rule.stems_mm
    zones = [(side * away > near) & (side * away < far) & across for side in (-1, 1)]
    outer = int(rule.stems_outer * len(strokes))
    usual = float(strokes[outer:-outer].mean())
    densest = max(strokes[zone].mean() if zone.any() else 0.0 for zone in zones)
    return densest > rule.stems + rule.stems_usual * usual


def _longest(line: Candidate) -> int:
    """Bins in the longest unbroken part of a line."""
    runs = "".join("x" if seen else " " for seen in line.trace.seen).split()
    return max((len(run) for run in runs), default=0)


def _is_faint(line: Candidate, field: Field, settings: Settings) -> bool:
    """Whether a stain is in the upper part of the strip, as a front's is, and faint, or narrower than any band."""
    rule, height = settings.reading, max(line.colour)
    if line.middle_mm <= rule.stain_place * field.length_mm or height >= rule.strong_absorbance:
        return False
    return height < rule.front_own_absorbance or width_of(line.trace, field, settings.landmark) <= rule.strong_mm


def _colour_beyond(line: Candidate, field: Field, strokes: np.ndarray, settings: Settings) -> set[str]:
    """What colour lies beyond the line, more than its fringe and not around writing: ``spot``, ``stain``, both or nothing."""
    rule = settings.reading
    curve = polyval(field.t_mm, line.trace.coefficients)
    part = slice(int(np.searchsorted(field.s_mm, curve.min() + rule.colour_gap_mm)), None)
    s_mm = field.s_mm[part, None]
    zone = (s_mm - curve > rule.colour_gap_mm) & (s_mm < field.length_mm - settings.landmark.end_mm)
    zone &= (field.t_mm > rule.rim_mm) & (field.t_mm < field.width_mm - rule.rim_mm)
    inner = _bounds(zone)
    zone &= ~maximum_filter(strokes[part] | field.clipped[part].any(axis=2), size=rule.colour_stroke)
    if zone.sum() * field.cell_mm**2 < rule.colour_room * rule.colour_mm2:
        return set()
    smooth = uniform_filter(field.absorbance[part], (rule.colour_smooth, rule.colour_smooth, 1))
    tinge = chroma(smooth - median(smooth[zone], axis=0))
    inside = tinge[zone]
    grain = float(spread(inside)) + NEVER_NONE
    limit = float(median(inside)) + max(rule.colour_sd * grain, rule.colour_least)
    coloured, count = label(zone & (tinge > limit))
    # A spot is in one piece; specks here and there are not, nor are the strokes of a name in ink.
    sizes = np.bincount(coloured.ravel(), minlength=count + 1)[1:] * field.cell_mm**2
    return {
        "spot" if _may_be_a_spot(piece, inner, field.cell_mm, rule) else "stain"
        for size, piece in zip(sizes, find_objects(coloured), strict=True)
        if size > rule.colour_mm2 and not _is_inked(field.absorbance[part][piece], field.cell_mm, settings)
    }


def _bounds(zone: np.ndarray) -> tuple[slice, slice]:
    """The smallest rows and columns that hold a region; none where it is empty."""
    rows, columns = np.flatnonzero(zone.any(axis=1)), np.flatnonzero(zone.any(axis=0))
    if not len(rows):
        return slice(0, 0), slice(0, 0)
    return slice(int(rows[0]), int(rows[-1]) + 1), slice(int(columns[0]), int(columns[-1]) + 1)


def _may_be_a_spot(
    piece: tuple[slice, slice], inner: tuple[slice, slice], cell_mm: float, rule: ReadingSettings
) -> bool:
    """Whether a piece is no larger than a spot and clear of the paper's edges: tape, clips, torn corners and tide marks are not."""
    large = any((side.stop - side.start) * cell_mm > rule.spot_mm for side in piece)
    at_end = piece[0].stop >= inner[0].stop
    at_side = piece[1].start <= inner[1].start or piece[1].stop >= inner[1].stop
    return not (large or at_end or at_side)


def _is_inked(absorbance: Floats32, cell_mm: float, settings: Settings) -> bool:
    """Whether colour (rows, cols, 3) was written: thin strokes, as no spot that has run is."""
    rule = settings.spot
    tinge = chroma(uniform_filter(absorbance, (*settings.reading.ink_smooth, 1)))
    return filled_share(tinge, cell_mm, rule.written_mm) < rule.written_share


def marks_beside(line: Candidate, field: Field, rule: ReadingSettings = DEFAULTS.reading) -> float:
    """How clearly crosses, ticks, dots or letters stand beside the line or on it: standard deviations of the paper along it."""
    seen = field.bin_t_mm[line.trace.seen]
    if not len(seen):
        return 0.0
    columns = (field.t_mm > seen.min() + rule.marks_inset_mm) & (field.t_mm < seen.max() - rule.marks_inset_mm)
    if columns.sum() < rule.marks_columns:
        return 0.0
    beside = _marks_between(line, field, columns, rule.marks_mm, rule) - rule.marks_sd
    on_it = _marks_between(line, field, columns, rule.dots_mm, rule) - rule.dots_sd
    return max(beside, on_it, 0.0)


def _marks_between(
    line: Candidate, field: Field, columns: np.ndarray, between_mm: tuple[float, float], rule: ReadingSettings
) -> float:
    """What stands out between two distances from the line, on both its sides at once; in standard deviations."""
    close, far = between_mm
    curve = polyval(field.t_mm[columns], line.trace.coefficients)
    rows = (field.s_mm > curve.min() - far) & (field.s_mm < curve.max() + far)
    here = field.absorbance[np.ix_(rows, columns)]
    away = field.s_mm[rows, None] - curve
    zones = np.stack([(side * away > close) & (side * away < far) for side in (-1, 1)], axis=1)
    marked, both = _strokes_along(here, zones, rule)
    grain = quiet_spread(both - median(both)) + rule.marks_least
    return float((both * marked).max() / grain)


def _strokes_along(absorbance: Floats32, zones: np.ndarray, rule: ReadingSettings) -> tuple[np.ndarray, Floats32]:
    """What stands out along both sides of a line: where it is a pencil's, and by how much absorbance, one each a column.

    absorbance: (rows, cols, 3); zones: (rows, 2, cols) what counts on either side. A pencil's is narrow and grey: not a shadow's
    side, nor a spot that ran or stayed there.
    """
    count = np.maximum(zones.sum(axis=0), 1)[..., None]
    level = np.einsum("rnc,rck->nck", zones.astype(np.float32), absorbance) / count
    level = gaussian_filter1d(level, rule.marks_smooth, axis=1)
    narrow = level - grey_opening(level, size=(1, rule.marks_wide, 1))
    lift = level - median(level, axis=1)[:, None]
    weakest = palest(narrow)
    thin = weakest > rule.marks_thin * palest(lift)
    grey = weakest > rule.marks_grey * darkest(narrow)
    return np.asarray((thin & grey).all(axis=0)), weakest.min(axis=0)
