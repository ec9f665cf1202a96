"""Whether a line runs along the whole strip: where two papers lie side by side, what lies between them does."""

from __future__ import annotations

import numpy as np

from webcapture.measure.channels import mean
from webcapture.measure.field import Field
from webcapture.measure.windows import opened
from webcapture.robust import median
from webcapture.settings import SeamSettings


def has_seam(field: Field, rule: SeamSettings) -> bool:
    """Whether some column away from the long edges is darker than those beside it in nearly all stretches of the strip's length.

    Below the origin and beyond the front as well: no lane, however it streaks, is so thin or reaches so far.
    """
    edge = int(np.ceil((field.rim_mm + rule.edge_mm) / field.cell_mm))
    length = len(field.s_mm) // rule.stretches
    if field.width_mm < rule.least_mm or length < 2 or len(field.t_mm) <= 2 * edge:
        return False
    grey = mean(field.absorbance[: length * rule.stretches]).reshape(rule.stretches, length, -1)
    profiles = median(grey, axis=1)
    size = max(round(rule.thin_mm / field.cell_mm), 2)
    thin = profiles - opened(profiles, size)
    # In all stretches but one: where a cross or a letter lies beside it, it does not stand out.
    lasting = np.sort(thin, axis=0)[1, edge:-edge]
    return bool(lasting.max() > rule.least)
