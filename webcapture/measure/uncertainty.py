"""How well a ratio is known: budgets after JCGM 100:2008 (the GUM), listable line by line.

A ratio of three places along one lane, R = (s − o) / (f − o), with s the spot's centre, o the origin line and f the front.
With the run Z = f − o its sensitivities are

    ∂R/∂s = 1 / Z        ∂R/∂o = −(1 − R) / Z        ∂R/∂f = −R / Z

They add up to zero: what shifts all three places alike does nothing. And a wrong scale stretches s − o and f − o alike and cancels:
it must not be counted. What does not cancel is counted, each once:

* *centre*, *origin*, *front*: how well each place was found in the picture, independent of each other;
* *rectification*: what the page's geometry gets wrong locally, taken as independent at the three places: |c| = √(1 + R² + (1 − R)²) / Z;
* *flatness*: a bend that lifts the spot against both ends and so shifts it in the picture, |c| = 1 / Z.

Origin and front are shared by all spots of a lane, so their ratios are correlated: see :func:`covariance_of_ratios`.
All uncertainties here are standard uncertainties unless the name begins with ``U``.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from webcapture.errors import UsageError
from webcapture.model import Component

COVERAGE = 2.0
"""k, the factor from standard to expanded uncertainty: about 95 % for a normal distribution (JCGM 100:2008, 6.3.3)."""

_KINDS = {"centre": "A", "origin": "A", "front": "A", "reference": "A", "rectification": "A", "flatness": "B"}

REASONS = {
    "centre": "How well the spot's centre was found, from its shape, its neighbours and the paper's noise.",
    "origin": "How well the origin line was located in this lane.",
    "front": "How well the solvent front was located in this lane.",
    "reference": "How well the reference spot's centre was found.",
    "rectification": "What the fit of the card's points leaves over, at origin, spot and front independently.",
    "flatness": "A bent strip or card shifts the spot in the picture against origin and front.",
}


def rf_budget(
    s_mm: float,
    o_mm: float,
    f_mm: float,
    *,
    u_centre_mm: float,
    u_origin_mm: float,
    u_front_mm: float,
    u_rectification_mm: float = 0.0,
    u_flatness_mm: float = 0.0,
    reasons: Mapping[str, str] | None = None,
) -> tuple[float, tuple[Component, ...]]:
    """Combined standard uncertainty of Rf = (s − o) / (f − o) and its budget.

    s_mm, o_mm, f_mm: spot, origin line and front along one lane, millimetres. ``u_flatness_mm``: standard uncertainty of the spot's
    apparent shift against both ends. ``reasons`` replaces the standard reason of the components it names. Components of zero
    are left out. Raises UsageError where the front does not lie above the origin, or an uncertainty is negative or no number.
    """
    inputs = {"centre": u_centre_mm, "origin": u_origin_mm, "front": u_front_mm,
              "rectification": u_rectification_mm, "flatness": u_flatness_mm}  # fmt: skip
    return _budget(s_mm, o_mm, f_mm, inputs, reasons or {})


def r_rel_budget(
    s_mm: float,
    o_mm: float,
    reference_mm: float,
    *,
    u_centre_mm: float,
    u_origin_mm: float,
    u_reference_mm: float,
    u_rectification_mm: float = 0.0,
    u_flatness_mm: float = 0.0,
    reasons: Mapping[str, str] | None = None,
) -> tuple[float, tuple[Component, ...]]:
    """The same for R_rel = (s − o) / (r − o), r the centre of the reference spot in the same lane: it stands where the front stood."""
    inputs = {"centre": u_centre_mm, "origin": u_origin_mm, "reference": u_reference_mm,
              "rectification": u_rectification_mm, "flatness": u_flatness_mm}  # fmt: skip
    return _budget(s_mm, o_mm, reference_mm, inputs, reasons or {})


def _budget(
    s: float, o: float, f: float, inputs: Mapping[str, float], reasons: Mapping[str, str]
) -> tuple[float, tuple[Component, ...]]:
    """``inputs``: name to standard uncertainty, millimetres."""
    run = f - o
    if not (math.isfinite(s) and run > 0 and math.isfinite(run)):
        raise UsageError(
            f"A run of {run:g} mm is impossible.", "The front, or the reference spot, must lie above the origin line."
        )
    if not all(u >= 0 and math.isfinite(u) for u in inputs.values()):
        raise UsageError("A standard uncertainty must be zero or positive.", "Leave out what is not known.")
    slopes = _sensitivities((s - o) / run, run)
    budget = tuple(
        Component(name, _KINDS[name], u, slopes[name], reasons.get(name, REASONS[name]))
        for name, u in inputs.items()
        if u
    )
    return combined(budget), budget


def _sensitivities(ratio: float, run: float) -> dict[str, float]:
    """Change of the ratio per millimetre of each input."""
    return {
        "centre": 1 / run,
        "origin": -(1 - ratio) / run,
        "front": -ratio / run,
        "reference": -ratio / run,
        "rectification": math.sqrt(1 + ratio**2 + (1 - ratio) ** 2) / run,
        "flatness": 1 / run,
    }


def combined(budget: Iterable[Component]) -> float:
    """Combined standard uncertainty of independent components: root of the sum of (sensitivity · u)²."""
    return math.hypot(*(part.sensitivity * part.u_mm for part in budget))


def expanded(u: float, k: float = COVERAGE) -> float:
    """Expanded uncertainty U = k u."""
    return k * u


def covariance_of_ratios(
    ratio1: float,
    ratio2: float,
    run_mm: float,
    *,
    u_origin_mm: float,
    u_front_mm: float,
    u_rectification_mm: float = 0.0,
    u_flatness_mm: tuple[float, float] = (0.0, 0.0),
) -> float:
    """Covariance of two Rf of one lane, from what they share.

    Origin and front, with the rectification's error there, are the same readings for both; one bend shifts both spots (its two
    uncertainties, taken as fully correlated). Centres, and the rectification's error at them, are each spot's own.
    """
    if run_mm <= 0:
        raise UsageError(f"A run of {run_mm:g} mm is impossible.", "The front must lie above the origin line.")
    own = u_rectification_mm**2
    origin = (1 - ratio1) * (1 - ratio2) * (u_origin_mm**2 + own)
    front = ratio1 * ratio2 * (u_front_mm**2 + own)
    return (origin + front + u_flatness_mm[0] * u_flatness_mm[1]) / run_mm**2


def u_difference(u1: float, u2: float, covariance: float = 0.0) -> float:
    """Standard uncertainty of the difference of two values, given their covariance."""
    return math.sqrt(max(u1**2 + u2**2 - 2 * covariance, 0.0))


def u_quotient(x1: float, x2: float, u1: float, u2: float, covariance: float = 0.0) -> float:
    """Standard uncertainty of x1 / x2, given their covariance; x2 is not 0."""
    ratio = x1 / x2
    return math.sqrt(max(u1**2 + (ratio * u2) ** 2 - 2 * ratio * covariance, 0.0)) / abs(x2)


def e_n(x1: float, U1: float, x2: float, U2: float, covariance: float = 0.0) -> float:
    """Agreement of two measured values with expanded uncertainties (k = 2): |x1 − x2| / √(U1² + U2²); at most 1 agrees.

    ISO 13528 and ISO/IEC 17043 (from memory). ``covariance`` is that of the standard uncertainties; it is 0 for values of different photos, and
    :func:`covariance_of_ratios` for spots of one lane.
    """
    width = expanded(u_difference(U1 / COVERAGE, U2 / COVERAGE, covariance))
    if not width > 0:
        raise UsageError("Two values without uncertainty cannot be compared.", "Give both expanded uncertainties.")
    return abs(x1 - x2) / width
