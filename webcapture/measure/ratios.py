"""From distances to the ratios of the trade, each refusing what cannot be.

Distances count **from the origin line**, where the spots were applied, never from the paper's edge: a line 1.0 cm, a spot
7.3 cm and a front 9.0 cm above the edge give (7.3 − 1.0) / (9.0 − 1.0) = 0.79, not 7.3 / 9.0 = 0.81.

Sources: IUPAC Gold Book R05353 (Rf, hRf), R05276 (relative Rf), R05359 (R_M); Komsta, Markowski and Misztal,
J. Planar Chromatogr. 2007, 20, 27-37 (RD, RU).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal

import numpy as np

from webcapture.errors import UsageError

_MEASURE_AGAIN = "Measure both from the origin line along the same lane, in the same unit."


def rf(distance: float, run: float, allowance: float = 0.0) -> float:
    """Retardation factor: the spot's distance over the run of the solvent front, both from the origin line, 0 to 1.

    ``allowance`` (unit of the distances) is how far a measured spot may lie outside, by the measurement's own uncertainty; such a
    spot counts as on the line or at the front. Raises UsageError where the numbers cannot be.

    >>> rf(33, 55)
    0.6
    """
    _finite(distance=distance, run=run, allowance=allowance)
    if run <= 0:
        raise UsageError(f"A run of {run:g} is impossible: the front must lie above the origin line.", _MEASURE_AGAIN)
    if distance < -allowance:
        raise UsageError(f"A distance of {distance:g} is impossible: no spot moves backwards.", _MEASURE_AGAIN)
    if distance > run + allowance:
        raise UsageError(
            f"{distance:g} / {run:g} = {distance / run:.2f} is impossible: no spot runs ahead of the front.",
            _MEASURE_AGAIN,
        )
    return min(max(distance / run, 0.0), 1.0)


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


def rounded(value: float, decimals: int = 2) -> str:
    """``value`` as school and laboratory round: to the nearest, a half away from zero, without a negative zero.

    Common practice, no source; ISO 80000-1 allows it beside rounding to even. The value is cleaned to twelve decimals first: 0.575 lies in
    a computer as 0.57499999999999996 and is meant as 0.575.

    >>> rounded(0.575), rounded(19 / 48), rounded(0.5)
    ('0.58', '0.40', '0.50')
    """
    text = _nearest(value, decimals, ROUND_HALF_UP)
    return text.lstrip("-") if not float(text) else text


def with_uncertainty(ratio: float, U: float) -> str:
    """Rf to two decimals with its expanded uncertainty, as people note it: ``0.45 ± 0.01``.

    U is rounded **up** to two decimals, never below 0.01: rounding to the nearest would print ± 0.00 for 0.004, and two decimals of
    Rf claim no more than 0.005 themselves. JCGM 100:2008, 7.2.6, advises rounding uncertainties up rather than down.

    >>> with_uncertainty(0.448, 0.0042)
    '0.45 ± 0.01'
    """
    _finite(ratio=ratio, U=U)
    if U < 0:
        raise UsageError(f"An uncertainty of {U:g} is impossible.", "Give it as a positive number.")
    return f"{rounded(ratio)} ± {max(Decimal('0.01'), Decimal(_nearest(U, 2, ROUND_CEILING)))}"


def _nearest(value: float, decimals: int, rounding: str) -> str:
    _finite(value=value)
    clean = Decimal(f"{value:.12f}")
    return str(clean.quantize(Decimal(1).scaleb(-decimals), rounding=rounding))


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
