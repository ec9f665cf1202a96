"""What a solvent left where it stopped: coloured or grey lines right across the strip, broader than a pencil's, and edges of tinted paper."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from webcapture.measure.channels import darkest
from webcapture.measure.field import Field
from webcapture.measure.landmarks import Candidate, candidate_of, faint_lines, followed, sharp_steps
from webcapture.measure.responses import ridge, smoothed_across, standardised
from webcapture.measure.swept import Edge, edge_of
from webcapture.measure.tracing import Trace
from webcapture.measure.traits import contrasts_of, has_no_gaps, is_brown, rises_of, thinness_of, width_of
from webcapture.model import Floats, Floats32
from webcapture.robust import median
from webcapture.settings import LandmarkSettings, TraceSettings

EDGE_DOUBT = 0.5
"""Share of the way from its darkest place to its edge by which that edge is doubted as where the solvent stopped. By judgement: four
other hands drew the fronts of stains that fade behind at their edge, none at the darkest place."""


def stains(field: Field, trace: TraceSettings, settings: LandmarkSettings) -> list[Candidate]:
    """Faint coloured lines right across the strip, broader than a pencil's, in the channel that shows them best."""
    response, lines = _broad_lines(field, trace, settings)
    found = []
    for line in lines:
        (contrast,) = contrasts_of([line], field, settings.stain_core_mm, settings.stain_flank_mm)
        brown = _is_brown_and_even(line, contrast, settings)
        if not brown and not _is_dull_and_even(line, contrast, settings):
            continue
        placed = followed(line, response, settings.stain_mm, field, trace, settings)
        edge = edge_of(placed, field, settings)
        swept = edge is not None and edge.is_sharp(settings)
        if not brown and not swept:
            continue
        if not swept and width_of(line, field, settings) > settings.stain_width_mm:
            continue
        if has_no_gaps(rises_of(line, field, settings.stain_core_mm, settings.stain_flank_mm), settings):
            found.append(
                _swept(placed, edge, field) if edge and swept else _ridge(placed, edge, field, contrast, settings)
            )
    return found


def _broad_lines(field: Field, trace: TraceSettings, settings: LandmarkSettings) -> tuple[Floats32, list[Trace]]:
    """(the response (fine rows, bins) of lines broader than a pencil's, such lines right across the strip)."""
    response = ridge(darkest(field.fine), field, settings.stain_core_mm, settings.stain_flank_mm)
    standard = standardised(smoothed_across(response))
    return response, faint_lines(standard, settings.stain_mm, settings.stain_coverage, field, trace, settings)


def tinted_edges(field: Field, trace: TraceSettings, settings: LandmarkSettings) -> list[Candidate]:
    """Stains without a ridge: paper that is brown all the way from the origin, or fades so slowly, and ends sharply."""
    response = standardised(smoothed_across(sharp_steps(darkest(field.fine), field, settings)))
    found = []
    for line in faint_lines(response, settings.wet_mm, settings.wet_coverage, field, trace, settings):
        edge = edge_of(line, field, settings)
        if edge is not None and edge.is_sharp(settings) and _is_brown_and_even(line, edge.height, settings):
            found.append(_swept(line, edge, field))
    return found


def narrow_stains(field: Field, trace: TraceSettings, settings: LandmarkSettings) -> list[Candidate]:
    """Stains on a strip full of bands, which hide them from :func:`stains`: a second look, at lines as thin as a pencil's.

    On a short strip hardly any paper is free of bands and their surroundings, and a stain drowns in what is then taken for
    noise. A thin line's surroundings are narrow. No band of a dye is as thin where a front is: its standard deviation is 1 mm
    as applied and grows on the way; only what moves with the solvent's own edge is kept together.
    """
    standard = standardised(smoothed_across(ridge(darkest(field.fine), field, settings.core_mm, settings.flank_mm)))
    found = []
    for line in faint_lines(standard, settings.line_mm, settings.stain_coverage, field, trace, settings):
        rises = rises_of(line, field, settings.core_mm, settings.flank_mm)
        contrast = median(rises, axis=0)
        clear = contrast[2] >= settings.narrow_least and has_no_gaps(rises, settings)
        thin = clear and thinness_of([line], field, settings)[0] >= settings.thin
        narrow = thin and width_of(line, field, settings) <= settings.stain_width_mm
        if narrow and _is_brown_and_even(line, contrast, settings):
            found.append(_ridge(line, edge_of(line, field, settings), field, contrast, settings))
    return found


def threads(field: Field, trace: TraceSettings, settings: LandmarkSettings) -> list[Candidate]:
    """Clear, faint lines of any colour right across the strip that end more sharply than any band of a dye and fade behind: a last look.

    What a solvent sweeps along need not be brown. That such a line may yet be a band is said: it counts as inked.
    """
    score, seen = settings.thread_clear
    found = []
    for line in _broad_lines(field, trace, settings)[1]:
        if line.score < score or float(line.seen.mean()) < seen or line.spread_mm >= settings.thread_spread_mm:
            continue
        (contrast,) = contrasts_of([line], field, settings.stain_core_mm, settings.stain_flank_mm)
        clearest = int(np.argmax(contrast))
        edge = edge_of(line, field, settings, channel=clearest)
        rises = rises_of(line, field, settings.stain_core_mm, settings.stain_flank_mm)[:, clearest]
        if edge is not None and edge.is_thread(settings) and _is_even(rises, settings):
            found.append(replace(_at_its_edge(line, edge, field, contrast, settings), inked=True))
    return found


def _is_even(rises: Floats, settings: LandmarkSettings) -> bool:
    """Whether a line is about as dark in most of its bins: a row of letters is here a bar and there a stem."""
    usual = float(median(rises))
    return float(median(np.abs(rises - usual))) <= settings.thread_even * usual


def _at_its_edge(line: Trace, edge: Edge, field: Field, contrast: Floats, settings: LandmarkSettings) -> Candidate:
    """A stain of any shape, placed by it."""
    return _swept(line, edge, field) if edge.is_sharp(settings) else _ridge(line, edge, field, contrast, settings)


def left_by_solvent(line: Candidate, field: Field, settings: LandmarkSettings) -> Candidate:
    """A line that was taken for a drawn one, as the stain that it is where it fades behind its edge, or is no pencil's; else as it was."""
    edge = edge_of(line.trace, field, settings)
    if edge is not None and _is_broad_and_warm(line, field, settings):
        return _ridge(line.trace, edge, field, np.array(line.colour), settings)
    if edge is None or not edge.fades_behind(settings):
        return line
    # A spot that touches a line lies over some of its bins.
    clear = edge_of(line.trace, field, settings, line.trace.seen)
    if clear is None or not clear.fades_behind(settings):
        return line
    return _ridge(line.trace, edge, field, np.array(line.colour), settings)


def _is_broad_and_warm(line: Candidate, field: Field, settings: LandmarkSettings) -> bool:
    """Whether a line is both broader and browner than any pencil draws: of a stain too grey, or too even, to be told otherwise.

    Broad in red, too: over a pencil's line there may lie a band that is not.
    """
    share, width_mm = settings.warm
    return is_brown(np.array(line.colour), share) and all(
        width_of(line.trace, field, settings, channel) > width_mm for channel in (0, 2)
    )


def _ridge(line: Trace, edge: Edge | None, field: Field, contrast: Floats, settings: LandmarkSettings) -> Candidate:
    """A stain that is a line of its own, darkest where it was traced."""
    ridge = candidate_of("stain", line, field, contrast)
    return replace(ridge, outer_mm=edge.above_mm, lift_mm=edge.lift_mm(settings)) if edge else ridge


def _swept(line: Trace, edge: Edge, field: Field) -> Candidate:
    """A stain that ends where the solvent stopped: its line lies on that edge."""
    up = edge.at_mm * np.eye(len(line.coefficients))[0]
    rows = line.rows + edge.at_mm / field.row_mm
    at_edge = replace(line, rows=rows, coefficients=line.coefficients + up, curve_mm=line.curve_mm + edge.at_mm)
    return replace(candidate_of("stain", at_edge, field, edge.height), swept=True, outer_mm=EDGE_DOUBT * edge.above_mm)


def _is_dull_and_even(line: Trace, contrast: Floats, settings: LandmarkSettings) -> bool:
    """Whether a line right across the strip is at least no lighter in blue than in red, as what is too grey for a stain may be that ends as one does."""
    red, green, blue = contrast
    dull = blue >= settings.stain_least and max(red, green) <= settings.dull_grey * blue
    _, coverage, _ = settings.stain_clear
    return bool(dull and line.spread_mm < settings.stain_spread_mm and float(line.seen.mean()) >= coverage)


def _is_brown_and_even(line: Trace, contrast: Floats, settings: LandmarkSettings) -> bool:
    """Whether a line has a stain's colour, and runs as straight as a front; one that is clear all along may be ragged."""
    brown = contrast[2] >= settings.stain_least and is_brown(contrast, settings.stain_grey)
    score, coverage, ragged = settings.stain_clear
    clear = line.score >= score and float(line.seen.mean()) >= coverage
    return bool(brown and line.spread_mm < (ragged if clear else settings.stain_spread_mm))
