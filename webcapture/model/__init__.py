"""What passes from stage to stage: frozen records, no algorithms.

Coordinates
    *card* millimetres: from the printed page's top-left corner, x to the right, y down, ``(x, y)``.
    *strip* millimetres: ``s`` along the strip from its origin end towards the front end, ``t`` across it from its left
    edge as seen with the origin end at the bottom.
    *photo* pixels: of the upright working image, ``(x, y)``, the centre of the top-left pixel at (0, 0).
Light
    ``absorbance`` is decadic and relative to the bare paper beside: −log10 of the linear intensity ratio, per channel R, G, B.
"""

from webcapture.model.arrays import Bytes8, Floats, Floats32, Point
from webcapture.model.measured import CardSeen, Component, Lane, Line, PhotoResult, Spot, Strip
from webcapture.model.seen import (
    Blotches,
    CardSighting,
    Mapping,
    Photo,
    Picture,
    Quality,
    Rounding,
    Sheet,
    StripCells,
    StripImage,
    StripOutline,
    View,
    page_grid,
)

__all__ = [
    "Blotches",
    "Bytes8",
    "CardSeen",
    "CardSighting",
    "Component",
    "Floats",
    "Floats32",
    "Lane",
    "Line",
    "Mapping",
    "Photo",
    "PhotoResult",
    "Picture",
    "Point",
    "Quality",
    "Rounding",
    "Sheet",
    "Spot",
    "Strip",
    "StripCells",
    "StripImage",
    "StripOutline",
    "View",
    "page_grid",
]
