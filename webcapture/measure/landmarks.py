"""Origin line and solvent front: candidates of three kinds, each with what speaks for it.

A *pencil* line is thin and grey. A *wet edge* is a lasting step: paper that the solvent reached stays a little darker. A
*stain* is the faint line that the solvent leaves where it stopped (:mod:`webcapture.measure.stains`). A shadow's edge shows on the card beside the strip too,
and a crease has a bright side: neither is a candidate.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from webcapture.measure.channels import mean, palest
from webcapture.measure.curves import polynomial_at
from webcapture.measure.field import Field
from webcapture.measure.responses import NEAREST, ridge, smoothed_across, standardised, step_across
from webcapture.measure.swept import densest_offset
from webcapture.measure.tracing import Trace, peaks_near, trace_lines
from webcapture.measure.traits import (
    colours_beside,
    contrasts_of,
    edge_offset,
    is_grey,
    is_inside,
    lasting_step,
    middle_of,
    open_above,
    palest_near,
    running_across,
    shared_by_card,
    step_heights,
    strokes_on_bands,
    thinness_of,
)
from webcapture.model import Floats, Floats32, Line
from webcapture.robust import median, quantile
from webcapture.settings import DEFAULTS, LandmarkSettings, TraceSettings


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """A line across the strip that could be origin or front."""

    kind: str
    """``pencil``, ``wet-edge``, ``stain`` or ``coloured`` (a thin line that is not grey)."""
    trace: Trace
    middle_mm: float
    """Its s in the middle of the strip."""
    coverage: float
    """Share of the width over which it is seen."""
    colour: tuple[float, float, float]
    """Its absorbance above the paper beside, R, G, B."""
    marks: float = 0.0
    """How clearly crosses, ticks or letters stand beside a drawn line: standard deviations of the paper along it."""
    inked: bool = False
    """Whether a line taken for a drawn one has a colour of its own."""
    by_few: bool = False
    """Whether one or two short strokes within the paper are all that tells of it."""
    under_word: bool = False
    """Whether it lies over a part of the width below a word, and might underline it."""
    amid_writing: bool = False
    """Whether a wet edge is one only where letters end."""
    swept: bool = False
    """Whether a stain ends sharply on the dry side and fades slowly on the other."""
    outer_mm: float = 0.0
    """How far beyond its darkest place a stain reaches: to half of its height on the dry side."""
    lift_mm: float = 0.0
    """How far beyond that place the solvent stopped, as far as its shape tells."""
    colour_beyond: bool = False
    """Whether there is colour beyond it that is no spot: a stain, tape, a torn corner."""

    @property
    def fades(self) -> bool:
        """Whether a stain fades slowly behind where the solvent stopped: what it left there is no spot."""
        return self.swept or self.lift_mm > 0

    def reach(self, field: Field, most_gap_mm: float) -> float:
        """Share of the width from its first to its last place, where no gap is wider than that; else that over which it is seen.

        A line drawn with a skipping pencil runs right across all the same.
        """
        seen = np.flatnonzero(self.trace.seen)
        if not len(seen):
            return self.coverage
        gap_mm = float(np.diff(seen, prepend=seen[0]).max() - 1) * float(field.bin_t_mm[1] - field.bin_t_mm[0])
        across = float(seen[-1] - seen[0] + 1) / len(self.trace.seen)
        return max(across, self.coverage) if gap_mm <= most_gap_mm else self.coverage


def pencil_lines(field: Field, trace: TraceSettings, settings: LandmarkSettings) -> list[Candidate]:
    """Thin dark lines, from the origin end upwards: ``pencil`` where grey, ``coloured`` where not."""
    found: list[Candidate] = []
    origin_zone = settings.origin_range * field.length_mm
    for channels in (
        palest,
        mean,
    ):  # in the palest channel colours hardly show; a coloured line may show only in the mean
        if any(c.coverage >= settings.origin_coverage and c.middle_mm < origin_zone for c in found):
            break
        response = standardised(ridge(channels(field.fine), field, settings.core_mm, settings.flank_mm))
        places = field.fine_s_mm, field.bin_t_mm
        limits = trace.most_lines, trace.least_clear
        lines = trace_lines(response, *places, trace.degree, settings.line_mm, *limits, trace)
        for candidate in _thin(lines, field, settings):
            if all(abs(candidate.middle_mm - c.middle_mm) > trace.apart * settings.line_mm for c in found):
                found.append(candidate)
    return sorted(found, key=lambda c: c.middle_mm)


def _thin(lines: list[Trace], field: Field, settings: LandmarkSettings) -> Iterator[Candidate]:
    """Those of the traced lines that are no end of the paper, no crease, and clearly seen."""
    lines = [line for line in lines if float(line.seen.mean()) >= settings.front_coverage]
    lines = [line for line in lines if is_inside(middle_of(line, field), field, settings)]
    if not lines:
        return
    shown = zip(
        contrasts_of(lines, field, settings.core_mm, settings.flank_mm),
        palest_near(lines, field, settings.flank_mm),
        thinness_of(lines, field, settings).tolist(),
        colours_beside(lines, field, settings),
        strokes_on_bands(lines, field, settings),
        strict=True,
    )
    for line, told in zip(lines, shown, strict=True):
        candidate = _drawn_or_coloured(line, Shown(*told), field, settings)
        if candidate is not None:
            yield candidate


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """What shows along one traced line."""

    contrast: Floats
    """(3,) absorbance above the paper beside it."""
    palest: Floats
    """(3,) of its palest near row: below 0 beside a crease."""
    thinness: float
    """How much of its darkness is gone at its flanks."""
    beside: Floats
    """(bins,) how dark the paper close to it is."""
    stroke: Floats
    """(3,) by how much it stands out of a band of colour that it lies on."""


def _drawn_or_coloured(line: Trace, shown: Shown, field: Field, settings: LandmarkSettings) -> Candidate | None:
    """The traced line as what it looks like; None where it is a crease, or a band of colour."""
    contrast, stroke = shown.contrast, shown.stroke
    if contrast.mean() <= 0 or shown.palest.mean() < -settings.crease * contrast.mean():
        return None
    thin = shown.thinness >= settings.thin
    colour = _own_colour(line, contrast, shown.beside, field, settings)
    if thin and is_grey(colour, settings):
        # What a spot hides of a line is not missing: the line is seen on both sides of it.
        hidden = _between_seen(line.seen) & (shown.beside > settings.beside_hides * contrast.max())
        return candidate_of("pencil", line, field, colour, line.seen | hidden)
    drawn = stroke.max() >= max(settings.on_band * contrast.max(), settings.on_band_least)
    if drawn and is_grey(stroke, settings):
        return candidate_of("pencil", line, field, stroke)
    ran = float(line.seen.mean()) >= settings.whole_line
    if thin or (ran and thinness_of([line], field, settings, sides=(-1,))[0] >= settings.thin):
        return candidate_of("coloured", line, field, contrast)
    return None


def _own_colour(line: Trace, contrast: Floats, beside: Floats, field: Field, settings: LandmarkSettings) -> Floats:
    """(3,) absorbance of a line where no spot is near that lends it its own: ``contrast``, or, if that is not grey, of those bins alone.

    beside: (bins,) how dark the paper close to it is.
    """
    clear = line.seen & (beside < settings.beside_clear * contrast.max())
    if is_grey(contrast, settings) or clear.sum() < settings.beside_bins:
        return contrast
    (alone,) = contrasts_of([line], field, settings.core_mm, settings.flank_mm, among=clear[None])
    return np.asarray(alone if alone.max() >= settings.beside_alike * contrast.max() else contrast, float)


def _between_seen(seen: np.ndarray) -> np.ndarray:
    """(bins,) which lie between the first and the last that are seen."""
    return np.asarray(np.maximum.accumulate(seen) & np.maximum.accumulate(seen[::-1])[::-1])


def wet_edges(field: Field, trace: TraceSettings, settings: LandmarkSettings) -> list[Candidate]:
    """Lasting steps from darker (below) to paler paper that the card beside the strip does not share.

    Looked for in the channel that is darkened least, where colours hardly show and wet paper shows as in all.
    """
    sharp = sharp_steps(field.fine_palest, field, settings)
    response = standardised(smoothed_across(sharp))
    lines = faint_lines(response, settings.wet_mm, settings.wet_coverage, field, trace, settings)
    lines = [line for line in lines if not _breaks_off(line, settings)]
    if not lines:
        return []
    found = []
    told = step_heights(lines, field, settings), open_above(lines, field, settings)
    for line, heights, shown in zip(lines, *told, strict=True):
        bins = np.ones(len(heights), bool)
        if not _is_alike(np.asarray(median(heights, axis=0)), shown, settings):
            # A spot ran close to the edge and lends it its colour: then the bins beside it tell.
            most = heights.max(axis=1)
            bins = most <= quantile(most, settings.beside_spots)
        colour = np.asarray(median(heights[bins], axis=0), float)
        if _is_wet(line, colour, shown, bins, field, settings):
            placed = followed(line, sharp, settings.wet_mm, field, trace, settings)
            found.append(candidate_of("wet-edge", placed, field, colour))
    return found


def sharp_steps(grey: Floats32, field: Field, settings: LandmarkSettings) -> Floats32:
    """By how much the paper below a row is darker than above, and more so than further off: an even gradient gives nothing."""
    step = step_across(grey, field, settings)
    shift = round(settings.step_trend_mm / field.row_mm)
    beside = (np.roll(step, shift, axis=0) + np.roll(step, -shift, axis=0)) / 2
    return np.asarray(step - np.maximum(beside, 0), np.float32)


def _is_alike(colour: Floats, shown: np.ndarray, settings: LandmarkSettings) -> bool:
    """Whether a step is as high in all channels that can show it, as that of wet paper is."""
    return bool(shown.any()) and float(colour[shown].min()) >= settings.wet_grey * float(colour[shown].max())


def _is_wet(
    line: Trace, colour: Floats, shown: np.ndarray, bins: np.ndarray, field: Field, settings: LandmarkSettings
) -> bool:
    """Whether a step of that absorbance (3,) is grey in the channels that can show it, lasts, and is not the light's."""
    if not _is_alike(colour, shown, settings):
        return False
    height = float(colour[shown].mean())
    if height < settings.least_step:
        return False
    # A dark one may be the end of a grey band, and one beside colour that of a spot: then it has to last further than those do.
    dark = height > settings.dark_step or not bins.all()
    far = settings.dark_lasting_mm if dark else settings.most_lasting_mm
    lasting = lasting_step(line, field, far, settings, bins)
    low, high = settings.lasting_share
    return low * height <= lasting <= high * height and not shared_by_card(line, lasting, field, settings)


def _breaks_off(line: Trace, settings: LandmarkSettings) -> bool:
    """Whether an edge that is clear where it is seen is not seen all along: a faint one drowns here and there, a clear one does not."""
    score, coverage = settings.wet_clear
    return line.score >= score and float(line.seen.mean()) < coverage


def faint_lines(
    response: Floats32,
    width_mm: float,
    coverage: float,
    field: Field,
    trace: TraceSettings,
    settings: LandmarkSettings,
) -> list[Trace]:
    """Paths of a response (fine rows, bins) that run right across, over at least that ``coverage``."""
    places = field.fine_s_mm, field.bin_t_mm
    lines = trace_lines(response, *places, trace.degree, width_mm, trace.most_faint, trace.least_faint, trace)
    return running_across(lines, response, coverage, field, settings)


def followed(
    line: Trace, response: Floats32, width_mm: float, field: Field, trace: TraceSettings, settings: LandmarkSettings
) -> Trace:
    """A clear faint line with its place in every bin from that bin and the two beside it: traced on the mean of five, a ragged one lies too smooth.

    response: (fine rows, bins) before that mean was taken; width_mm: half the width over which such a line responds.
    """
    if line.score < settings.ragged_sd or not line.seen.any():
        return line
    near, paths = smoothed_across(response, NEAREST), np.rint(line.rows).astype(int)[None]
    (rows,), _ = peaks_near(near, paths, width_mm / field.row_mm, trace)
    # Only how the bins differ: where across its own profile the front lies is told from the mean of all, see :func:`as_line`.
    rows -= float(median((rows - line.rows)[line.seen]))
    rows = np.where(np.abs(rows - line.rows) * field.row_mm < settings.ragged_mm, rows, line.rows)
    off = (field.fine_s_mm[0] + rows * field.row_mm - line.curve_mm)[line.seen]
    return replace(line, rows=rows, spread_mm=float(np.sqrt((off**2).mean())))


def as_line(
    candidate: Candidate, field: Field, u_extra_mm: float, settings: LandmarkSettings = DEFAULTS.landmark
) -> Line:
    """The candidate as a landmark with its uncertainty: scatter of its places, and ``u_extra_mm`` for what it means.

    All of a drawn line's places tell of it. Where the paper has to tell, they lie off by what a ragged front may at most
    have stood off in any one lane.
    """
    trace = candidate.trace
    lift = _lift(candidate, field, settings)
    seen = trace.seen if trace.seen.any() else np.ones_like(trace.seen)
    told_by = 1.0 if candidate.kind in ("stain", "wet-edge") else max(float(seen.sum()) / settings.alike_bins, 1.0)
    u = float(np.hypot(trace.spread_mm / np.sqrt(told_by), u_extra_mm))
    places = field.fine_s_mm[0] + trace.rows * field.row_mm + lift
    return Line(
        kind=candidate.kind,
        t_mm=field.bin_t_mm[seen],
        s_mm=places[seen],
        coefficients=trace.coefficients + np.eye(len(trace.coefficients))[0] * lift,
        u_mm=u,
        strength=trace.score,
    )


def _lift(candidate: Candidate, field: Field, settings: LandmarkSettings) -> float:
    """How far a front lies above the places at which it was traced, millimetres."""
    if candidate.kind == "wet-edge":
        return edge_offset(candidate.trace, field, settings)
    if candidate.kind != "stain" or candidate.swept:
        return 0.0  # a swept stain's line lies on its edge already
    clearest = int(np.argmax(candidate.colour))
    return densest_offset(candidate.trace, field, settings, clearest) + candidate.lift_mm


def line_at(line: Line, t_mm: float, reach_mm: float, hold: float = DEFAULTS.reading.local_hold) -> float:
    """s of a line where it crosses a lane's axis: its curve, and how the line itself departs from it nearby.

    A front ripples, and a hand wavers: within ``reach_mm`` the line's own places count, the more of them there are; the
    curve counts as ``hold`` of them.
    """
    near = np.exp(-0.5 * ((line.t_mm - t_mm) / reach_mm) ** 2)
    off = line.s_mm - polynomial_at(line.t_mm, line.coefficients)
    return float(polynomial_at(t_mm, line.coefficients) + near @ off / (near.sum() + hold))


def candidate_of(kind: str, trace: Trace, field: Field, colour: Floats, there: np.ndarray | None = None) -> Candidate:
    """there: (bins,) where the line runs, if that is more than where it is seen."""
    r, g, b = (float(c) for c in colour)
    coverage = float((trace.seen if there is None else there).mean())
    return Candidate(kind, trace, middle_of(trace, field), coverage, (r, g, b))
