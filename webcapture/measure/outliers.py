"""Which one of several values lies apart from the others, by Grubbs' test.

F. E. Grubbs, Annals of Mathematical Statistics 21 (1950) 27; ISO 5725-2 uses the same statistic for one outlying value.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

LEAST = 3
"""Two values cannot tell which of them is the odd one."""
RISK = 0.05
"""Of calling a value an outlier where none is, on either side: ISO 5725-2 calls it a straggler at 5 %."""


@dataclass(frozen=True, slots=True)
class Spread:
    """Mean and scatter of some values."""

    n: int
    mean: float
    s: float | None
    """Sample standard deviation, with n − 1; None for a single value."""
    outlier: int | None
    """Index of the value that lies apart; None where none does, or too few are there to tell."""


def spread(values: Sequence[float]) -> Spread:
    """Mean, standard deviation and outlier of one value or more; the outlier is told, not left out of either."""
    x = np.asarray(values, float)
    if len(x) < 2:
        return Spread(len(x), float(x.mean()), None, None)
    s = float(x.std(ddof=1))
    return Spread(len(x), float(x.mean()), s, _outlier(x, s))


def grubbs_critical(n: int, risk: float = RISK) -> float:
    """What G of n values from one normal distribution exceeds with probability ``risk``; n at least 3.

    (n − 1)/√n · √(t²/(n − 2 + t²)), t being Student's for n − 2 degrees of freedom at risk/(2n).
    """
    t = float(stats.t.isf(risk / (2 * n), n - 2))
    return float((n - 1) / n**0.5 * (t**2 / (n - 2 + t**2)) ** 0.5)


def _outlier(x: np.ndarray[tuple[int], np.dtype[np.float64]], s: float) -> int | None:
    """G = max |x − mean| / s against its critical value. Equal values have no outlier, whatever their last bit says."""
    if len(x) < LEAST or s <= 1e-12 * max(float(np.abs(x).max()), 1.0):
        return None
    apart = np.abs(x - x.mean()) / s
    farthest = int(np.argmax(apart))
    return farthest if apart[farthest] > grubbs_critical(len(x)) else None
