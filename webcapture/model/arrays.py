"""Kinds of arrays and places, as the records name them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]
Bytes8 = NDArray[np.uint8]
Point = tuple[float, float]
