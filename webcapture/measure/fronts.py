"""Which line is the front: a pencil line where one was drawn, else what the paper shows of where the solvent stopped.

Nothing is a front that has spots beyond it; and without any candidate there is none.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from webcapture.measure.beyond import colour_beyond
from webcapture.measure.curves import polynomial_at
from webcapture.measure.drawn import (
    dark_enough,
    drawn_in_ink,
    has_stems,
    is_a_staple,
    is_a_words,
    lettered_share,
    may_be_a_staple,
    not_erased,
    written_above,
)
from webcapture.measure.field import Field
from webcapture.measure.landmarks import Candidate, wet_edges
from webcapture.measure.stains import left_by_solvent, narrow_stains, stains, threads, tinted_edges
from webcapture.measure.ticks import ticked_fronts
from webcapture.measure.traits import is_brown, width_of
from webcapture.robust import median, quantile
from webcapture.settings import ReadingSettings, Settings


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """The strip as it is searched for its front."""

    field: Field
    strokes: np.ndarray
    """(rows, cols) which cells a pencil stroke darkens."""
    origin: Candidate | None
    settings: Settings

    @property
    def least_mm(self) -> float:
        """Above this a front can be."""
        return (self.origin.middle_mm if self.origin else 0.0) + self.settings.landmark.least_run_mm


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """The front, if there is one, and what else could be it."""

    front: Candidate | None
    drawn: int
    """How many drawn lines it could be."""
    places: int
    """How many places it could be at, where none was drawn and the paper has to tell."""


def find_front(thin: list[Candidate], ground: Ground) -> Found:
    """The front among a strip's thin lines, its short strokes, and what the paper shows."""
    field, strokes, settings = ground.field, ground.strokes, ground.settings
    lines = list(_no_words(thin, ground))
    pencil = _possible(lines, ground)
    inked = _possible(
        [replace(c, kind="pencil", inked=True) for c in lines if drawn_in_ink(c, field, settings)], ground
    )
    drawn = pencil or inked
    if drawn:
        front, among = _by_lines(drawn, ground)
        whole = front is not None and front.kind == "pencil" and _is_seen_whole(front, settings.reading)
        front = left_by_solvent(front, field, settings.landmark) if front and whole else front
        return Found(front, len(pencil) + len(inked), _places(among, settings.reading))
    ticks = _possible(ticked_fronts(field, strokes, ground.origin, settings.tick, settings.landmark), ground)
    front, among = _by_paper(ticks, ground)
    if front is not None and ticks and among:
        front, among = _at_a_tick(front, ticks, among, settings.reading)
    return Found(front, len(ticks), _places(among, settings.reading))


def _is_seen_whole(line: Candidate, rule: ReadingSettings) -> bool:
    """Whether it is seen nearly all along, no spot lying over a part of it."""
    return float(line.trace.seen.mean()) >= rule.drawn_coverage


def _no_words(thin: list[Candidate], ground: Ground) -> Iterator[Candidate]:
    """The lines but for words and what lies right under one; those further below one say so."""
    rule = ground.settings.reading
    for line in thin:
        if is_a_words(line, ground.field, ground.strokes, rule):
            continue
        gap = written_above(line, ground.field, ground.strokes, rule)
        if gap is None or gap > rule.underline_mm:
            yield replace(line, under_word=gap is not None)


def _possible(drawn: list[Candidate], ground: Ground) -> list[Candidate]:
    """Pencil lines that may be the front: far enough above the origin, without spots beyond, as clear as the clearest."""
    settings = ground.settings
    high = [c for c in drawn if c.kind == "pencil" and c.middle_mm > ground.least_mm]
    lines = [c for c in high if dark_enough(c, ground.origin, settings)]
    lines = [c for c in lines if not is_a_staple(c, ground.field, settings.reading)]
    free = [replace(c, colour_beyond=True) if stained else c for c, stained in _without_spots(lines, ground)]
    clearest = max((c.trace.score for c in free), default=0.0)
    return [c for c in free if c.trace.score >= settings.reading.drawn_clear * clearest]


def _without_spots(drawn: list[Candidate], ground: Ground) -> Iterator[tuple[Candidate, bool]]:
    """The lines that have no spot beyond them, and whether some other colour lies there; for a line over part of the width that is as bad."""
    for line in drawn:
        found = colour_beyond(line, ground.field, ground.strokes, ground.settings)
        whole = line.coverage >= ground.settings.reading.drawn_coverage
        if not found or (whole and "spot" not in found):
            yield line, bool(found)


def _by_lines(drawn: list[Candidate], ground: Ground) -> tuple[Candidate | None, list[Candidate]]:
    """The front where lines were drawn that may be it; and all the lines that it was chosen from, where the paper has a say."""
    firm = [c for c in drawn if not may_be_a_staple(c, ground.field, ground.settings.reading)]
    firm = [c for c in firm if not _may_be_letters(c, ground)]
    if not firm:
        return _by_paper(drawn, ground)
    if len(firm) > 1:
        return _where_it_stopped(firm, ground), []
    (line,) = firm
    return line, [line, *_wet_edges_below(line, ground)] if _steps_below(line, ground) else []


def _may_be_letters(line: Candidate, ground: Ground) -> bool:
    """Whether strokes hang on a line that wavers, or nearly all along it, as on the bars of a row of letters."""
    rule, field, strokes = ground.settings.reading, ground.field, ground.strokes
    if not has_stems(line, field, strokes, rule):
        return False
    wavers = line.trace.spread_mm > rule.clean_spread_mm
    return wavers or lettered_share(line, field, strokes, rule) > rule.lettered_share


def _where_it_stopped(lines: list[Candidate], ground: Ground) -> Candidate:
    """Of several drawn lines the one at which the paper itself shows that the solvent stopped, else the uppermost that was not rubbed out."""
    edges, faint = _shown(ground)
    reach = ground.settings.reading.front_own_mm
    shown = [c for c in lines if any(abs(c.middle_mm - e.middle_mm) < reach for e in edges + faint)]
    return max(shown or not_erased(lines, ground.settings.reading), key=lambda c: c.middle_mm)


def _by_paper(doubtful: list[Candidate], ground: Ground) -> tuple[Candidate | None, list[Candidate]]:
    """The front that the paper shows, and all it was chosen from.

    A ``doubtful`` line, which may be a staple or letters or is short strokes, counts where the paper shows nothing from side to side.
    """
    rule = ground.settings.reading
    free = _free(ground)
    across = max((c.coverage for c in free), default=0.0)
    if free and (not doubtful or across >= rule.shown_coverage):
        return _uppermost_clear(_out_of_shadows(free, ground), rule.front_share), free
    return max(doubtful, key=lambda c: c.middle_mm, default=None), []


def _out_of_shadows(lines: list[Candidate], ground: Ground) -> list[Candidate]:
    """The lines but for steps beside which the light on the card changes, too, where a stain runs right across elsewhere: edges of shadows."""
    rule, field = ground.settings.reading, ground.field
    if not any(c.kind == "stain" and c.coverage >= rule.drawn_coverage for c in lines):
        return lines

    def in_shadow(line: Candidate) -> bool:
        near = field.beside[np.abs(field.fine_s_mm - line.middle_mm) < rule.shadow_mm]
        return line.kind == "wet-edge" and float(np.ptp(near.mean(axis=1))) > rule.shadow_share * max(line.colour)

    return [c for c in lines if not in_shadow(c)]


def _at_a_tick(
    shown: Candidate, ticks: list[Candidate], among: list[Candidate], rule: ReadingSettings
) -> tuple[Candidate, list[Candidate]]:
    """The tick that marks what the paper shows; where none does, both may be the front."""
    at_mark = [c for c in ticks if abs(c.middle_mm - shown.middle_mm) <= rule.front_own_mm]
    return (at_mark[-1], []) if at_mark else (shown, among + ticks)


def _shown(ground: Ground) -> tuple[list[Candidate], list[Candidate]]:
    """Wet edges, and stains that may be a front's."""
    field, settings = ground.field, ground.settings
    edges = wet_edges(field, settings.trace, settings.landmark)
    seen = stains(field, settings.trace, settings.landmark)
    at_edge = [_at_one_of(edges, c, settings.reading) for c in seen]
    brown = [is_brown(np.array(c.colour), settings.landmark.stain_grey) for c in seen]
    # At a wet edge a brown one is the front's, however dark, and a dull one that edge's own rim.
    told = zip(seen, at_edge, brown, strict=True)
    return edges, [c for c, at, is_so in told if (is_so if at else _is_faint(c, field, settings))]


def _free(ground: Ground) -> list[Candidate]:
    """What the paper shows high enough above the origin and without colour beyond; where there is none, what bands hide of it."""
    field, settings = ground.field, ground.settings
    edges, faint = _shown(ground)
    # What the solvent swept together at its edge tells the edge's place better than the step that it hides.
    alone = [e for e in edges if not _at_one_of(faint, e, settings.reading)]
    free = _clear_beyond(alone + faint, ground)
    clear = [c for c in free if not _amid_writing(c, ground)]
    if clear:
        return clear
    # A stain may look like strokes itself, but none stand on it.
    amid = [replace(c, amid_writing=c.kind == "wet-edge") for c in free if not _is_lettered(c, ground)]
    if amid:
        return amid
    hidden = [seek(field, settings.trace, settings.landmark) for seek in (narrow_stains, tinted_edges)]
    free = _clear_beyond([c for found in hidden for c in found if _is_faint(c, field, settings)], ground)
    return free or _threads(ground) or [replace(e, colour_beyond=True) for e in alone if _is_sure(e, ground)]


def _is_lettered(line: Candidate, ground: Ground) -> bool:
    rule = ground.settings.reading
    return lettered_share(line, ground.field, ground.strokes, rule) > rule.words_share


def _threads(ground: Ground) -> list[Candidate]:
    """Narrow lines of any colour in the upper part of the strip with nothing beyond."""
    field, settings = ground.field, ground.settings
    high = settings.reading.stain_place * field.length_mm
    found = threads(field, settings.trace, settings.landmark)
    return _clear_beyond([c for c in found if c.middle_mm > high], ground)


def _is_sure(edge: Candidate, ground: Ground) -> bool:
    """Whether a wet edge is seen so clearly from side to side that only a spot beyond it speaks against it, not a tint or a stain."""
    score, coverage, _ = ground.settings.landmark.stain_clear
    clear = edge.trace.score >= score and float(edge.trace.seen.mean()) >= coverage and edge.middle_mm > ground.least_mm
    return clear and "spot" not in colour_beyond(edge, ground.field, ground.strokes, ground.settings)


def _amid_writing(line: Candidate, ground: Ground) -> bool:
    """Whether a faint line runs through strokes over much of the width: where a row of letters ends, the paper turns paler too."""
    rule, field = ground.settings.reading, ground.field
    away = field.s_mm[:, None] - polynomial_at(field.t_mm, line.trace.coefficients)
    low, high = rule.amid_mm
    return float((ground.strokes & (away > low) & (away < high)).any(axis=0).mean()) > rule.amid_share


def _clear_beyond(lines: list[Candidate], ground: Ground) -> list[Candidate]:
    high = [c for c in lines if c.middle_mm > ground.least_mm]
    return [c for c in high if not colour_beyond(c, ground.field, ground.strokes, ground.settings)]


def _wet_edges_below(line: Candidate, ground: Ground) -> list[Candidate]:
    """The wet edges between the origin and a drawn front, well below it."""
    edges = wet_edges(ground.field, ground.settings.trace, ground.settings.landmark)
    top = line.middle_mm - ground.settings.reading.stop_line_mm
    return [e for e in edges if ground.least_mm < e.middle_mm < top]


def _steps_below(line: Candidate, ground: Ground) -> bool:
    """Whether it is worth looking for a wet edge well below a drawn front: the paper steps from darker to paler, and stays so."""
    field, rule, low_mm = ground.field, ground.settings.reading, ground.least_mm
    every = max(round(rule.step_row_mm / field.row_mm), 1)
    s_mm = field.fine_s_mm[::every]
    paper = quantile(field.fine_palest[::every], rule.step_share, axis=1)
    top = line.middle_mm - rule.stop_line_mm
    reach = round(ground.settings.landmark.step_far_mm / (every * field.row_mm))
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
    least = rule.step_least * ground.settings.landmark.least_step
    return float(step.max()) > least and float(median(below) - median(above)) > least


def _is_faint(line: Candidate, field: Field, settings: Settings) -> bool:
    """Whether a stain is in the upper part of the strip, as a front's is, and faint, or narrower than any band; or ends as no band does."""
    rule, height = settings.reading, max(line.colour)
    if line.swept:
        return True
    if line.middle_mm <= rule.stain_place * field.length_mm or height >= rule.strong_absorbance:
        return False
    return height < rule.front_own_absorbance or width_of(line.trace, field, settings.landmark) <= rule.strong_mm


def _at_one_of(lines: list[Candidate], line: Candidate, rule: ReadingSettings) -> bool:
    """Whether a line is so near to one of the others that both are one front."""
    return any(abs(c.middle_mm - line.middle_mm) <= rule.one_front_mm for c in lines)


def _uppermost_clear(lines: list[Candidate], share: float) -> Candidate:
    """Of several, the uppermost that is at least that share as clear as the clearest."""
    clearest = max(c.trace.score for c in lines)
    return max((c for c in lines if c.trace.score >= share * clearest), key=lambda c: c.middle_mm)


def _places(lines: list[Candidate], rule: ReadingSettings) -> int:
    """How many places these lines lie at; what is no further apart than a front and its own rim is one."""
    heights = np.sort([line.middle_mm for line in lines])
    return 1 + int((np.diff(heights) > rule.one_front_mm).sum())
