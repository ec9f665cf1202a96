"""Tell writing from spots: a letter's strokes are thin, and between them there is paper."""

from __future__ import annotations

from scipy.ndimage import grey_opening

from webcapture.model import Floats32


def filled_share(plane: Floats32, cell_mm: float, square_mm: float) -> float:
    """How much of its height a patch (rows, cols) has left over a square: of a spot that has run much, of strokes next to nothing."""
    opened = grey_opening(plane, size=max(round(square_mm / cell_mm), 2))
    return float(opened.max()) / max(float(plane.max()), 1e-9)
