"""Whether a thin line was drawn as a line, with a pencil or in ink: not a row of letters, a word's underline, a staple or a band of a dye."""

from __future__ import annotations

import numpy as np

from webcapture.measure.curves import polynomial_at
from webcapture.measure.field import Field
from webcapture.measure.landmarks import Candidate
from webcapture.measure.traits import is_brown, slope_of, thinness_of
from webcapture.robust import quantile
from webcapture.settings import ReadingSettings, Settings


def is_drawn(line: Candidate, field: Field, strokes: np.ndarray, settings: Settings) -> bool:
    """Whether a thin line was drawn as a line: straight, and right across or unbroken for longer than any letter.

    Bars of letters line up too, but waver, with gaps between them.
    """
    rule, spread = settings.reading, line.trace.spread_mm
    stems = has_stems(line, field, strokes, rule)
    if _cannot_be_letters(line, stems, rule):
        return True
    if spread > rule.drawn_spread_mm:
        return False
    straight = spread < rule.straight_mm
    if line.coverage >= rule.drawn_coverage:
        return straight or not stems
    if stems:
        return False
    bin_mm = float(field.bin_t_mm[1] - field.bin_t_mm[0])
    longest = _longest(line)
    long = longest >= max(rule.letter_mm / bin_mm, rule.letter_bins)
    endless = longest >= max(rule.word_mm / bin_mm, rule.letter_bins)
    return line.reach(field, rule.skip_mm) >= rule.drawn_coverage or ((straight or endless) and long)


def _cannot_be_letters(line: Candidate, stems: bool, rule: ReadingSettings) -> bool:
    """Whether a line is so whole, so dark or so straight that it is no row of letters, though strokes hang on it.

    Hardly a word reaches from edge to edge without a gap, or is dark but at its strokes; a cross on a line has arms like stems.
    """
    coverage, spread = line.coverage, line.trace.spread_mm
    dark, dark_over, dark_spread = rule.unbroken
    clean_over = rule.clean_coverage[int(stems)]
    nearly, nearly_spread = rule.nearly_whole
    return (
        (coverage >= rule.whole_coverage and spread <= rule.wavering_mm[int(stems)])
        or (line.trace.score >= dark and coverage >= dark_over and spread <= dark_spread)
        or (coverage >= clean_over and spread < rule.clean_spread_mm)
        or (coverage >= nearly and spread < nearly_spread)
    )


def has_stems(line: Candidate, field: Field, strokes: np.ndarray, rule: ReadingSettings) -> bool:
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


def dark_enough(line: Candidate, origin: Candidate | None, settings: Settings) -> bool:
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


def not_erased(lines: list[Candidate], rule: ReadingSettings) -> list[Candidate]:
    """The lines but for those that somebody rubbed out and drew anew: much paler than one near by that is drawn across, and no better marked."""
    return [c for c in lines if not any(_drawn_anew(c, other, rule) for other in lines)]


def _drawn_anew(line: Candidate, firm: Candidate, rule: ReadingSettings) -> bool:
    """Whether the second line is the first one, drawn anew: in pencil, too; a coloured one may be a band of a dye."""
    if line.kind == "pencil" and firm.kind == "coloured":
        return False
    near = abs(line.middle_mm - firm.middle_mm) < rule.anew_mm and firm.coverage >= rule.drawn_coverage
    return near and max(line.colour) < rule.erased * max(firm.colour) and line.marks - firm.marks < rule.marks_tell


def rubbed_out(lines: list[Candidate], origin: Candidate | None, rule: ReadingSettings) -> list[Candidate]:
    """What is left of lines that somebody rubbed out: pencil, and much paler than the origin line's."""
    if origin is None:
        return []
    least = rule.erased * max(origin.colour)
    return [c for c in lines if c.kind == "pencil" and max(c.colour) < least]


def drawn_in_ink(line: Candidate, field: Field, settings: Settings) -> bool:
    """Whether a coloured line may be one that somebody drew.

    From edge to edge, dark, not brown as a solvent's own, and as thin on both sides as no band of a dye.
    """
    rule = settings.reading
    dark = line.kind == "coloured" and line.coverage >= rule.drawn_coverage and max(line.colour) > rule.inked_least
    if not dark or is_brown(np.array(line.colour), settings.landmark.stain_grey):
        return False
    return bool(thinness_of([line.trace], field, settings.landmark)[0] >= rule.inked_thin)


def is_lettered(line: Candidate, field: Field, strokes: np.ndarray, rule: ReadingSettings) -> bool:
    """Whether a wavering line is a row of letters: strokes stand on it or hang on it nearly all along, not just at marks."""
    wavers = line.trace.spread_mm >= rule.lettered_spread_mm
    return wavers and lettered_share(line, field, strokes, rule) > rule.lettered_share


def lettered_share(line: Candidate, field: Field, strokes: np.ndarray, rule: ReadingSettings) -> float:
    """Share of the width over which strokes stand on a line, or hang on it, whichever is more."""
    columns = np.abs(field.t_mm - field.width_mm / 2) < field.width_mm / 2 - field.rim_mm
    if not columns.any():
        return 0.0
    away = field.s_mm[:, None] - polynomial_at(field.t_mm[columns], line.trace.coefficients)
    near, far = rule.lettered_mm
    sides = ((side * away > near) & (side * away < far) & strokes[:, columns] for side in (-1, 1))
    return max(float(side.any(axis=0).mean()) for side in sides)


def is_a_words(line: Candidate, field: Field, strokes: np.ndarray, rule: ReadingSettings) -> bool:
    """Whether a line is a word's: strokes stand on most of what is seen of it, or hang on it.

    A straight one right across the paper is none, even if a label touches it.
    """
    whole = line.coverage >= rule.words_coverage and line.trace.spread_mm < rule.lettered_spread_mm
    if whole or not line.trace.seen.any():
        return False
    span, half = field.bin_t_mm[line.trace.seen], float(field.bin_t_mm[1] - field.bin_t_mm[0]) / 2
    columns = (field.t_mm >= span.min() - half) & (field.t_mm <= span.max() + half)
    near, far = rule.lettered_mm
    # Along the line itself, that a hand may have drawn in waves, not along the smooth one through it.
    path = np.interp(field.t_mm[columns], span, field.fine_s_mm[0] + field.row_mm * line.trace.rows[line.trace.seen])
    away = np.abs(field.s_mm[:, None] - path)
    beside = strokes[:, columns] & (away > near) & (away < far)
    return columns.any() and float(beside.any(axis=0).mean()) > rule.words_share


def written_above(line: Candidate, field: Field, strokes: np.ndarray, rule: ReadingSettings) -> float | None:
    """How far above a line over a part of the width the letters of a word begin; None where no word stands over nearly all of it."""
    if line.coverage >= rule.drawn_coverage or not line.trace.seen.any():
        return None
    span = field.bin_t_mm[line.trace.seen]
    columns = (field.t_mm > span.min()) & (field.t_mm < span.max())
    above = field.s_mm[:, None] - polynomial_at(field.t_mm[columns], line.trace.coefficients)
    least, near, far = rule.word_above_mm
    lettered = strokes[:, columns] & (above > least) & (above < far)
    if not columns.any() or float((lettered & (above > near)).any(axis=0).mean()) <= rule.word_share:
        return None
    first = np.where(lettered, above, far).min(axis=0)
    return float(quantile(first, rule.word_foot))


def is_a_staple(line: Candidate, field: Field, rule: ReadingSettings) -> bool:
    """Whether a line leans as no front does, or lies over a part of the width right at the paper's end."""
    at_end = line.coverage < rule.drawn_coverage and field.length_mm - line.middle_mm < rule.staple_end_mm
    return at_end or slope_of(line.trace, field) > rule.staple_steep


def may_be_a_staple(line: Candidate, field: Field, rule: ReadingSettings) -> bool:
    """Whether a line over a part of the width leans, or lies near the paper's end, as a staple or clip does that held the strip."""
    if line.coverage >= rule.drawn_coverage:
        return False
    return slope_of(line.trace, field) > rule.staple_slope or field.length_mm - line.middle_mm < rule.staple_mm
