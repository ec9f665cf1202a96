"""How coarsely a JPEG keeps brightness and colour, as its quantisation tables tell.

What rounding leaves of bare paper are pale blotches, as large as the blocks it works in. In a photo from the camera these are less
than a millimetre or two; in one that a messenger shrank they are as large as spots, and differ from each other by as much as
faint spots do.

Sources: ITU-T T.81 (a block's first coefficient is eight times its mean, and rounded to multiples of the table's first step),
ITU-T T.871 (from Y, Cb and Cr to R, G and B), ITU-T T.872 (Adobe's marker), all from memory.
"""

from __future__ import annotations

import numpy as np
from PIL.ImageFile import ImageFile
from PIL.JpegImagePlugin import JpegImageFile, get_sampling

from webcapture.appearance import decoded, encoded
from webcapture.model import Blotches, Floats, Floats32, Rounding

BLOCK = 8
"""Pixels to a side of a block, and how many times its mean its first coefficient is."""
SIDE_IN_BLOCKS = {0: 1.0, 1: 2**0.5, 2: 2.0}
"""By Pillow's number for the sampling (4:4:4, 4:2:2, 4:2:0), how many pixels a pixel of colour covers, as the side of a square."""
TO_RGB = np.array([[1, 0, 1.402], [1, -0.344136, -0.714136], [1, 1.772, 0]])
"""(3, 3) Y, Cb, Cr to R, G, B."""


def rounding_of(image: ImageFile) -> Rounding | None:
    """How coarsely a picture's blocks are rounded; None where it is no JPEG in Y, Cb and Cr."""
    if not isinstance(image, JpegImageFile) or get_sampling(image) not in SIDE_IN_BLOCKS:
        return None
    if image.info.get("adobe_transform") == 0:  # R, G and B as they are (ITU-T T.872)
        return None
    tables = [image.quantization[table] for _, _, _, table in image.layer]
    y, cb, cr = (float(np.array(table).flat[0]) / BLOCK / 12**0.5 for table in tables)
    return Rounding((y, cb, cr), (BLOCK, BLOCK * SIDE_IN_BLOCKS[get_sampling(image)]))


def blotches_of(rounding: Rounding | None, paper: Floats | Floats32, px_per_mm: float) -> Blotches | None:
    """What that leaves on paper of (3,) log10 intensity, in a picture of so many of the file's pixels to a millimetre."""
    if rounding is None:
        return None
    level = 255 * encoded(10.0 ** np.asarray(paper, float))
    darker = np.log10(np.maximum(decoded((level - 1) / 255), 1e-6))
    steep = np.log10(np.maximum(decoded((level + 1) / 255), 2e-6)) - darker
    brightness, colour = (side / px_per_mm for side in rounding.side_px)
    return Blotches(
        absorbance=TO_RGB.T * np.array(rounding.levels)[:, None] * steep / 2, side_mm=(brightness, colour, colour)
    )
