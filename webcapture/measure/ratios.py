"""The ratios of the trade as its handbooks give them, each refusing what cannot be; and how people read them.

Distances count **from the origin line**, where the spots were applied, never from the paper's edge: a line 1.0 cm, a spot
7.3 cm and a front 9.0 cm above the edge give (7.3 − 1.0) / (9.0 − 1.0) = 0.79, not 7.3 / 9.0 = 0.81.

Who uses them: measuring and correcting take :func:`resolution`, comparing :func:`spread_rd` and :func:`spread_ru`, the result :func:`hrf`, and all
that people read :func:`rounded`. :func:`rf`, :func:`r_rel` and :func:`r_m` are here for the tests, which hold the measurement against
them, and :func:`reading_window` and :func:`accepted` for those of published mark schemes: the measurement forms its own Rf in :mod:`webcapture.measure.relate` and R_rel in :mod:`webcapture.report.export`, because a spot may be *found* a hair
below the line or beyond the front, and a measurement tells that instead of refusing it. R_M is shown nowhere.

Sources: IUPAC Gold Book R05353 (Rf, hRf), R05276 (relative Rf), R05359 (R_M); Komsta, Markowski and Misztal,
J. Planar Chromatogr. 2007, 20, 27-37 (RD, RU).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal

import numpy as np

from webcapture.errors import UsageError

_MEASURE_AGAIN = "Measure both from the origin line along the same lane, in the same unit."


def rf(distance: float, run: float) -> float:
    """Retardation factor: the spot's distance over the run of the solvent front, both from the origin line, 0 to 1.

    Raises UsageError where the numbers cannot be.

    >>> rf(33, 55)
    0.6
    """
    _finite(distance=distance, run=run)
    if run <= 0:
        raise UsageError(f"A run of {run:g} is impossible: the front must lie above the origin line.", _MEASURE_AGAIN)
    if distance < 0:
        raise UsageError(f"A distance of {distance:g} is impossible: no spot moves backwards.", _MEASURE_AGAIN)
    if distance > run:
        raise UsageError(
            f"{distance:g} / {run:g} = {distance / run:.2f} is impossible: no spot runs ahead of the front.",
            _MEASURE_AGAIN,
        )
    return distance / run


def hrf(ratio: float) -> float:
    """hRf = 100 Rf."""
    return 100 * ratio


def r_rel(distance: float, reference_distance: float) -> float:
    """Relative retardation: distance over that of a reference spot of the same sheet. The front cancels and is not needed."""
    _finite(distance=distance, reference_distance=reference_distance)
    if reference_distance <= 0:
        raise UsageError(
            "The reference spot did not move: nothing can be related to it.",
            "Choose a reference spot that left the origin.",
        )
    if distance < 0:
        raise UsageError(f"A distance of {distance:g} is impossible: no spot moves backwards.", _MEASURE_AGAIN)
    return distance / reference_distance


def r_m(ratio: float) -> float:
    """R_M = log10(1 / Rf − 1) = log10 k. Declined at Rf 0 and 1, where it has no finite value."""
    _finite(ratio=ratio)
    if not 0 < ratio < 1:
        raise UsageError(f"R_M has no value at Rf = {ratio:g}.", "It exists for spots between origin and front only.")
    return math.log10(1 / ratio - 1)


def resolution(z1: float, w1: float, z2: float, w2: float) -> float:
    """R_s = 2 (z2 − z1) / (w1 + w2): z the distances of two spots, w their widths at the base along the flow, one unit.

    1.5 is the usual criterion of complete separation. Negative where the first lies above the second.
    """
    _finite(z1=z1, w1=w1, z2=z2, w2=w2)
    if w1 < 0 or w2 < 0 or w1 + w2 == 0:
        raise UsageError("Widths must be positive.", "Give each spot's width along the flow.")
    return 2 * (z2 - z1) / (w1 + w2)


def spread_rd(ratios: Sequence[float]) -> float:
    """Retention distance R_D of a set of Rf, in any order: 1 where they divide the run evenly, 0 where two coincide.

    R_D = [(n+1)^(n+1) ∏ (Rf_(i+1) − Rf_i)]^(1/n) over i = 0 … n, with Rf_0 = 0 and Rf_(n+1) = 1 (Komsta et al. 2007).
    """
    inner = _sorted_ratios(ratios)
    n = len(inner)
    gaps = np.diff(np.concatenate([[0.0], inner, [1.0]]))
    return float(((n + 1) ** (n + 1) * np.prod(gaps)) ** (1 / n))


def spread_ru(ratios: Sequence[float]) -> float:
    """Retention uniformity R_U of a set of Rf, in any order, 0 to 1: 1 where they divide the run evenly.

    R_U = 1 − √(6 (n+1) / (n (2n+1)) Σ (Rf_i − i / (n+1))²) over i = 1 … n (Komsta et al. 2007).
    """
    inner = _sorted_ratios(ratios)
    n = len(inner)
    even = np.arange(1, n + 1) / (n + 1)
    return float(1 - math.sqrt(6 * (n + 1) / (n * (2 * n + 1)) * np.sum((inner - even) ** 2)))


def reading_window(distance: float, run: float, reading: float) -> tuple[float, float]:
    """Smallest and largest Rf of two lengths that were each read to within ± ``reading``: (d − h)/(r + h) to (d + h)/(r − h)."""
    if not 0 <= reading < run:
        raise UsageError(f"A reading to within {reading:g} says nothing of a run of {run:g}.", _MEASURE_AGAIN)
    return rf(max(distance - reading, 0.0), run + reading), rf(min(distance + reading, run - reading), run - reading)


def accepted(answer: float, low: float, high: float) -> bool:
    """True where ``answer``, rounded to two decimals as an Rf is given, lies in the window, its ends included."""
    return Decimal(rounded(low)) <= Decimal(rounded(answer)) <= Decimal(rounded(high))


# ---- rounding for people


RECORDED_DECIMALS, SAID_DECIMALS = 4, 2
"""Decimals of a ratio in a record, and as people read it (IUPAC Gold Book R05353: Rf is usually given to two)."""


def rounded(ratio: float, decimals: int = SAID_DECIMALS) -> str:
    """A ratio to two decimals, a half away from zero, without a minus sign before zero: the one way in which people read Rf.

    Rounded from the four decimals that are recorded, whether it comes from a record or straight from a photo. So 0.68497, recorded
    as 0.6850, is 0.69 everywhere; rounded at once it would be 0.68 in the picture, which is drawn from the measurement, and 0.69
    in the table beside it, which is made from the record. What that shifts is half of the fourth decimal at most, far
    less than any photo tells. In whole numbers, because 0.345 lies in a computer as a little less and is meant as 0.345.

    >>> rounded(0.68497), rounded(0.6850), rounded(0.345), rounded(-0.001)
    ('0.69', '0.69', '0.35', '0.00')
    """
    recorded = int(f"{ratio:.{RECORDED_DECIMALS}f}".replace(".", ""))
    step = 10 ** (RECORDED_DECIMALS - decimals)
    said = (abs(recorded) + step // 2) // step
    whole, part = divmod(said, 10**decimals)
    return f"{'-' if recorded < 0 < said else ''}{whole}.{part:0{decimals}d}"


def _finite(**values: float) -> None:
    for name, value in values.items():
        if not math.isfinite(value):
            raise UsageError(f"{name.replace('_', ' ')} is not a number.", "Leave out what was not measured.")


def _sorted_ratios(ratios: Sequence[float]) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    inner = np.sort(np.asarray(ratios, float))
    if inner.ndim != 1 or not len(inner):
        raise UsageError("A spread needs at least one Rf.", "Give the Rf of the spots of one lane.")
    if not (np.isfinite(inner).all() and inner[0] >= 0 and inner[-1] <= 1):
        raise UsageError("Every Rf must lie between 0 and 1.", _MEASURE_AGAIN)
    return inner
