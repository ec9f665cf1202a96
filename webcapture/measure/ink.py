"""Whether the origin line itself ran: drawn in ink, it leaves smears, a wash or bands that no applied spot does."""

from __future__ import annotations

import numpy as np

from webcapture.measure.attempt import Attempt
from webcapture.measure.channels import palest
from webcapture.measure.curves import polynomial_at
from webcapture.measure.field import Field
from webcapture.measure.smooth import smoothed
from webcapture.measure.spots import Blob
from webcapture.model import Floats
from webcapture.robust import median, quantile
from webcapture.settings import ReadingSettings, Settings


def ink_ran(attempt: Attempt, settings: Settings) -> bool:
    """Whether the origin line is not pencil: it has a colour of its own, and not from a spot that stayed on it."""
    line = attempt.reading.origin
    if line is None:
        return False
    if line.kind != "coloured":
        return _grey_ink_ran(attempt, line.middle_mm, settings.reading) or _wash_above(attempt, settings.reading)
    over = [b for blobs in attempt.blobs for b in blobs if b.edges_mm[0] < line.middle_mm < b.edges_mm[1]]
    # A spot left behind lies on a part of the line and lends it its colour; what covers all of it came from the line.
    least = settings.reading.lent_share * float(np.ptp(line.colour))
    return not any(b.fill < settings.spot.compact_fill and float(np.ptp(b.absorbance)) >= least for b in over)


def _grey_ink_ran(attempt: Attempt, line_mm: float, rule: ReadingSettings) -> bool:
    """Whether in most lanes a grey smear begins below the line, covers all of it and runs on: black ink did, pencil and spots do not."""
    smears = [any(_is_smear(blob, line_mm, rule) for blob in blobs) for blobs in attempt.blobs]
    return bool(smears) and sum(smears) > len(smears) / 2


def _is_smear(blob: Blob, line_mm: float, rule: ReadingSettings) -> bool:
    low, high = blob.edges_mm
    runs = low < line_mm and high > line_mm + rule.smear_mm and blob.fill > rule.smear_fill
    height = float(blob.absorbance.max())
    return runs and height > rule.smear_least and float(blob.absorbance.min()) > rule.smear_grey * height


def _wash_above(attempt: Attempt, rule: ReadingSettings) -> bool:
    """Whether the paper right above the origin line is darker than right below it nearly all along: what ran from all of it did, no spot does."""
    field, line = attempt.reading.field, attempt.origin
    if line is None:
        return False
    columns = np.flatnonzero(_clear_of_edges(field, rule))
    if not len(columns):
        return False
    (near, far), last = rule.wash_mm, len(field.s_mm) - 1
    at = (polynomial_at(field.t_mm[columns], line.coefficients) - field.s_mm[0]) / field.cell_mm
    away = np.arange(near, far, field.cell_mm)[:, None] / field.cell_mm
    above, below = (
        median(
            palest(field.absorbance[np.minimum(np.maximum(np.rint(at + side * away).astype(int), 0), last), columns]),
            axis=0,
        )
        for side in (1, -1)
    )
    return bool((above - below > rule.wash_least).mean() >= rule.wash_share)


def _clear_of_edges(field: Field, rule: ReadingSettings) -> np.ndarray:
    """(cols,) which columns lie clear of both long edges and what blurs or frays there."""
    return np.asarray(np.abs(field.t_mm - field.width_mm / 2) < field.width_mm / 2 - field.rim_mm - rule.rim_mm)


def bands_among_spots(attempt: Attempt, settings: Settings) -> bool:
    """Whether there are even bands from edge to edge and compact spots as well: the spots were applied, the bands came from the line.

    Where all of them are bands, the sample was applied as one; what stayed on the line says nothing of how.
    """
    if attempt.origin is None:
        return False
    blobs = [blob for found in attempt.blobs for blob in found]
    least = settings.reading.smear_least
    line = polynomial_at(attempt.reading.field.width_mm / 2, attempt.origin.coefficients)
    ran = [blob for blob in blobs if blob.centre_mm > line + settings.spot.origin_mm]
    compact = any(blob.fill < settings.spot.compact_fill and blob.absorbance.max() > least for blob in ran)
    return compact and any(_is_band(blob, attempt, settings) or _joins_lanes(blob, attempt, settings) for blob in ran)


def _joins_lanes(blob: Blob, attempt: Attempt, settings: Settings) -> bool:
    """Whether, on a sheet, the colour of a spot that ran goes on at its height through all lanes and between them, however uneven.

    What was applied lane by lane leaves paper between. Streaks of an ink that ran from the line are dark here and pale there.
    """
    rule = settings.reading
    if len(attempt.tracks) < rule.joined_lanes or float(blob.absorbance.max()) < rule.smear_least:
        return False
    across = _darkest_across(blob, attempt, rule)
    least = max(rule.joined_share * float(blob.absorbance.max()), rule.joined_least)
    return bool(len(across) and (across > least).mean() >= rule.joined)


def _darkest_across(blob: Blob, attempt: Attempt, rule: ReadingSettings) -> Floats:
    """(cols,) the darkest place at the height of a spot in each column clear of the paper's edges, in its own channel, a little smoothed."""
    field = attempt.reading.field
    rows = (field.s_mm >= blob.edges_mm[0]) & (field.s_mm <= blob.edges_mm[1])
    columns = _clear_of_edges(field, rule)
    if not rows.any() or not columns.any():
        return np.zeros(0)
    part = attempt.stain.absorbance[np.ix_(rows, columns)][None, ..., int(np.argmax(blob.absorbance))]
    return np.asarray(smoothed(part, 1.0)[0].max(axis=0), float)


def _is_band(blob: Blob, attempt: Attempt, settings: Settings) -> bool:
    """Whether colour lies as dark along both long edges of the paper as in the middle, at the height of a spot that ran."""
    rule = settings.reading
    height = float(blob.absorbance.max())
    if height < rule.band_least or blob.fill < settings.spot.compact_fill:
        return False
    across = _darkest_across(blob, attempt, rule)
    return bool(len(across) and quantile(across, rule.band_outer) > rule.band_even * height)
