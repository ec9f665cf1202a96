"""Numbers and flags as people read them: one way of rounding for picture, table and page."""

from __future__ import annotations

import math

from webcapture.flags import Flag
from webcapture.measure.ratios import RECORDED_DECIMALS, SAID_DECIMALS, rounded
from webcapture.model import Spot

RECORDED = {"rf": RECORDED_DECIMALS, "U_rf": 5}
"""Decimals of what is recorded, from which all that people read is rounded."""


def rf_text(spot: Spot) -> str | None:
    """Rf to two decimals, or None where it is not known.

    >>> two_decimals(0.448)
    '0.45'
    """
    return None if spot.rf is None else two_decimals(spot.rf)


def u_text(spot: Spot) -> str | None:
    """The expanded uncertainty of Rf to the same two decimals, rounded up and never zero; None where it is not known."""
    return None if spot.U_rf is None else two_decimals(rounded_up(spot.U_rf))


def two_decimals(value: float) -> str:
    """A number to two decimals, by the one rule, which stands with the ratios (:func:`webcapture.measure.ratios.rounded`).

    >>> two_decimals(0.68497), two_decimals(0.6850), two_decimals(-0.001)
    ('0.69', '0.69', '0.00')
    """
    return rounded(value)


def with_uncertainty(ratio: float, U: float) -> str:
    """Rf or R_rel with its expanded uncertainty, as people note it; U is never rounded down (JCGM 100:2008, 7.2.6).

    >>> with_uncertainty(0.448, 0.0042), with_uncertainty(0.9, 0.0301)
    ('0.45 ± 0.01', '0.90 ± 0.04')
    """
    return f"{two_decimals(ratio)} ± {two_decimals(rounded_up(U))}"


def hrf_text(rf: float | None) -> str:
    """100 Rf as a whole number (IUPAC Gold Book R05353), rounded as Rf itself is; empty where it is not known.

    >>> hrf_text(0.448), hrf_text(0.6850)
    ('45', '69')
    """
    return "" if rf is None else str(int(two_decimals(rf).replace(".", "")))


def rounded_up(uncertainty: float) -> float:
    """An uncertainty rounded up to the decimals of Rf: what is said is never narrower than what is known.

    >>> rounded_up(0.0042), rounded_up(0.02), rounded_up(0.0201)
    (0.01, 0.02, 0.03)
    """
    unit = 10.0**-SAID_DECIMALS
    return max(math.ceil(round(round(uncertainty, RECORDED["U_rf"]) / unit, 6)), 1) * unit


def distance_text(millimetres: float) -> str | None:
    """A distance to a tenth of a millimetre with its unit, or None where it is not known."""
    return f"{millimetres:.1f} mm" if math.isfinite(millimetres) else None


def badge_text(flag: Flag) -> str:
    """A flag in two or three words: its code, readable.

    >>> from webcapture.flags import flag
    >>> badge_text(flag("did-not-move"))
    'did not move'
    """
    return flag.code.replace("-", " ")
