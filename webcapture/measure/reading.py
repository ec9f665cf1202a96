"""Which of the lines on a strip is the origin and which the front, if it lies the way it is read."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from webcapture.measure.beyond import colour_beyond
from webcapture.measure.curves import polynomial_at
from webcapture.measure.field import Field
from webcapture.measure.landmarks import Candidate, narrow_stains, pencil_lines, stains, tinted_edges, wet_edges
from webcapture.measure.marks import marks_beside
from webcapture.measure.ticks import ticked_fronts
from webcapture.measure.traits import is_brown, slope_of, thinness_of, width_of
from webcapture.model import StripCells
from webcapture.robust import median, quantile
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
    strokes = strip.strokes
    seen = pencil_lines(field, settings.trace, settings.landmark)
    drawn = [c for c in seen if _is_drawn(c, field, strokes, settings)]
    thin = [replace(c, marks=marks_beside(c, field, settings.reading)) for c in drawn]
    origin = origin_among(thin, field, settings)
    lines = [c for c in thin if not _underlines(c, field, strokes, settings.reading)]
    fronts = _drawn_fronts(field, strokes, lines, origin, settings)
    inked = _drawn_fronts(field, strokes, _inked_lines(lines, field, settings), origin, settings)
    rivals = len(fronts + inked)
    fronts = fronts or inked
    ticked = not fronts
    if ticked:
        ticks = ticked_fronts(field, strokes, origin, settings.tick, settings.landmark)
        fronts = _drawn_fronts(field, strokes, ticks, origin, settings)
    front, faint = _front(field, strokes, fronts, origin, ticked, settings)
    doubled = max(rivals, len(fronts)) > 1 or _has_rival(origin, thin, field, settings)
    return Reading(strip, field, thin, origin, front, doubled, _places(faint, settings.reading))


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


def _inked_lines(thin: list[Candidate], field: Field, settings: Settings) -> list[Candidate]:
    """Coloured lines that somebody may have drawn in ink: from edge to edge, dark, not brown as a solvent's own, and as thin on both sides as no band of a dye."""
    rule = settings.reading
    return [
        replace(c, kind="pencil", inked=True)
        for c in thin
        if c.kind == "coloured"
        and c.coverage >= rule.drawn_coverage
        and max(c.colour) > rule.inked_least
        and not is_brown(np.array(c.colour), settings.landmark.stain_grey)
        and thinness_of([c.trace], field, settings.landmark)[0] >= rule.inked_thin
    ]


def _without_spots(
    drawn: list[Candidate], field: Field, strokes: np.ndarray, settings: Settings
) -> Iterator[tuple[Candidate, bool]]:
    """The lines that have no spot beyond them, and whether some other colour lies there; for a line over part of the width that is as bad."""
    for line in drawn:
        found = colour_beyond(line, field, strokes, settings)
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
    at which the paper itself shows that the solvent stopped, else the uppermost. ``ticked``: they are short strokes;
    a front that the paper shows from side to side elsewhere counts before such a one.
    """
    firm = [] if ticked else [c for c in drawn if not _may_be_a_staple(c, field, settings.reading)]
    rule = settings.landmark
    least = (origin.middle_mm if origin else 0.0) + rule.least_run_mm
    if len(firm) == 1 and not _steps_below(field, least, firm[0].middle_mm, settings):
        return firm[0], []
    edges = wet_edges(field, settings.trace, rule)
    if len(firm) == 1:
        top = firm[0].middle_mm - settings.reading.stop_line_mm
        return firm[0], firm + [e for e in edges if least < e.middle_mm < top]
    seen = stains(field, settings.trace, rule)
    faint = [c for c in seen if _is_faint(c, field, settings) or _at_one_of(edges, c, settings)]
    if firm:
        reach = settings.reading.front_own_mm
        shown = [c for c in firm if any(abs(c.middle_mm - e.middle_mm) < reach for e in edges + faint)]
        return max(shown or firm, key=lambda c: c.middle_mm), []
    # What the solvent swept together at its edge tells the edge's place better than the step that it hides.
    alone = [e for e in edges if not _at_one_of(faint, e, settings)]
    free = [c for c in alone + faint if c.middle_mm > least and not colour_beyond(c, field, strokes, settings)]
    if not free:
        hidden = narrow_stains(field, settings.trace, rule) + tinted_edges(field, settings.trace, rule)
        narrow = [c for c in hidden if _is_faint(c, field, settings)]
        free = [c for c in narrow if c.middle_mm > least and not colour_beyond(c, field, strokes, settings)]
    across = max((c.coverage for c in free), default=0.0)
    if free and (not drawn or across >= settings.reading.shown_coverage):
        found = _uppermost_clear(free, settings.reading.front_share)
        at_mark = [c for c in drawn if ticked and abs(c.middle_mm - found.middle_mm) <= settings.reading.front_own_mm]
        return (at_mark[-1], []) if at_mark else (found, free + (drawn if ticked else []))
    return max(drawn, key=lambda c: c.middle_mm, default=None), []


def _steps_below(field: Field, low_mm: float, line_mm: float, settings: Settings) -> bool:
    """Whether it is worth looking for a wet edge well below a drawn front: the paper steps from darker to paler, and stays so."""
    rule = settings.reading
    every = max(round(rule.step_row_mm / field.row_mm), 1)
    s_mm = field.fine_s_mm[::every]
    paper = quantile(field.fine_palest[::every], rule.step_share, axis=1)
    top = line_mm - rule.stop_line_mm
    reach = round(settings.landmark.step_far_mm / (every * field.row_mm))
    sums = np.concatenate([[0.0], np.cumsum(paper)])
    at = np.flatnonzero((s_mm > low_mm) & (s_mm < top))
    at = at[(at >= reach) & (at < len(s_mm) - reach)]
    if not len(at):
        return False
    step = (2 * sums[at] - sums[at - reach] - sums[at + reach]) / reach
    best = int(at[np.argmax(step)])
    below, above = (
        paper[(s_mm > low_mm - rule.stop_line_mm) & (s_mm < s_mm[best])],
        paper[(s_mm > s_mm[best]) & (s_mm < top)],
    )
    if not len(below) or not len(above):
        return False
    least = rule.step_least * settings.landmark.least_step
    return float(step.max()) > least and float(median(below) - median(above)) > least


def _places(lines: list[Candidate], rule: ReadingSettings) -> int:
    """How many places these lines lie at; what is no further apart than a front and its own rim is one."""
    heights = np.sort([line.middle_mm for line in lines])
    return 1 + int((np.diff(heights) > rule.one_front_mm).sum())


def _is_a_staple(line: Candidate, field: Field, rule: ReadingSettings) -> bool:
    """Whether a line leans as no front does, or lies over a part of the width right at the paper's end."""
    at_end = line.coverage < rule.drawn_coverage and field.length_mm - line.middle_mm < rule.staple_end_mm
    return at_end or slope_of(line.trace, field) > rule.staple_steep


def _underlines(line: Candidate, field: Field, strokes: np.ndarray, rule: ReadingSettings) -> bool:
    """Whether a line over a part of the width stands under a word: letters above nearly all of it."""
    if line.coverage >= rule.drawn_coverage or not line.trace.seen.any():
        return False
    span = field.bin_t_mm[line.trace.seen]
    columns = (field.t_mm > span.min()) & (field.t_mm < span.max())
    above = field.s_mm[:, None] - polynomial_at(field.t_mm[columns], line.trace.coefficients)
    near, far = rule.word_above_mm
    written = strokes[:, columns] & (above > near) & (above < far)
    return bool(columns.any()) and float(written.any(axis=0).mean()) > rule.word_share


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
    curve = polynomial_at(field.t_mm[across], line.trace.coefficients)
    near, far = rule.stems_mm
    rows = (field.s_mm > curve.min() - far) & (field.s_mm < curve.max() + far)
    away, here = field.s_mm[rows, None] - curve, strokes[rows][:, across]
    zones = [(side * away > near) & (side * away < far) for side in (-1, 1)]
    outer = int(rule.stems_outer * len(strokes))
    inner = strokes[outer:-outer]
    usual = int(np.count_nonzero(inner)) / max(inner.size, 1)
    densest = max(int(np.count_nonzero(here & zone)) / max(int(np.count_nonzero(zone)), 1) for zone in zones)
    return densest > rule.stems + rule.stems_usual * usual


def _longest(line: Candidate) -> int:
    """Bins in the longest unbroken part of a line."""
    runs = "".join("x" if seen else " " for seen in line.trace.seen).split()
    return max((len(run) for run in runs), default=0)


def _is_faint(line: Candidate, field: Field, settings: Settings) -> bool:
    """Whether a stain is in the upper part of the strip, as a front's is, and faint, or narrower than any band; or ends as no band does."""
    rule, height = settings.reading, max(line.colour)
    if line.swept:
        return True
    if line.middle_mm <= rule.stain_place * field.length_mm or height >= rule.strong_absorbance:
        return False
    return height < rule.front_own_absorbance or width_of(line.trace, field, settings.landmark) <= rule.strong_mm
