"""Least squares by Levenberg and Marquardt, for fits whose misfits and slopes come from one evaluation.

Marquardt, J. Soc. Ind. Appl. Math. 1963, 11, 431, with the damping of Nielsen (Technical University of Denmark 1999, report
IMM-REP-1999-05; from memory). SciPy's solvers ask for misfits and slopes apart and keep books on both: for the ten parameters
of a fit that is made a dozen times a photo, that costs more than the fits.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.linalg.lapack import dposv

from webcapture.model import Floats

Terms = tuple[float, Floats, Floats]
"""A loss, half its gradient (n,), and half its curvature (n, n), or what comes near to it, at one set of parameters."""
DAMPING = 1e-5
"""Share of the greatest curvature added to all at first.

The greatest, not each its own: along what the data hardly hold, a step would go anywhere.
"""
CALMEST = 1 / 3
"""The least that a step which gained makes of the damping: what falls faster has to be raised again at the next bend."""
TINY = 1e-300
"""So that even data which tell nothing leave something to divide by."""
HOPELESS = 2.0**12
"""Factor by which the damping is raised at last: it has grown by 2 to the 66th by then, and a step is as good as none."""


def minimised(first: Floats, terms: Callable[[Floats], Terms], enough: float, most: int) -> Floats:
    """(n,) parameters of the least loss near ``first``, after at most so many evaluations of the ``terms``.

    It ends with a step that lowers the loss by no more than that share ``enough`` of it, and was expected to.
    """
    p, raising = first, 2.0
    loss, gradient, curvature = terms(p)
    damping, identity = max(DAMPING * float(curvature.diagonal().max()), TINY), np.eye(len(first))
    for _ in range(most):
        _, back, failed = dposv(curvature + damping * identity, gradient)
        expected = float(back @ (2 * gradient - curvature @ back))
        there = terms(p - back) if not failed else (np.inf, gradient, curvature)
        gain = loss - there[0]
        if gain >= 0:
            p = p - back
            loss, gradient, curvature = there
            if max(gain, expected) <= enough * loss:
                break
            damping, raising = damping * max(CALMEST, 1 - (2 * gain / max(expected, TINY) - 1) ** 3), 2.0
        else:  # also where it is no number
            damping, raising = damping * raising, 2 * raising
            if raising > HOPELESS:
                break
    return p
