"""Tell writing from spots: a letter's strokes are thin, and between them there is paper."""

from __future__ import annotations

from webcapture.measure.windows import eroded
from webcapture.model import Floats32


def filled_share(plane: Floats32, cell_mm: float, square_mm: float) -> float:
    """How much of its height a patch (rows, cols) has left over a square: of a spot that has run much, of strokes next to nothing."""
    size = max(round(square_mm / cell_mm), 2)
    left = eroded(eroded(plane, size).swapaxes(0, 1), size)
    return float(left.max()) / max(float(plane.max()), 1e-9)
