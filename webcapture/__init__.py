"""Paper chromatograms measured from a photo of a printed calibration card.

``measure_photo(data)`` turns the bytes of one photo into a :class:`~webcapture.model.PhotoResult`, ``as_dict(result)``
that into plain JSON types, ``annotated_jpeg(result)`` into a picture. What cannot be measured raises a
:class:`WebcaptureError` with ``code``, ``message`` and ``hint``.

The names are loaded when first used, so that printing a card or showing help does not wait for the image libraries.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from webcapture.errors import WebcaptureError

if TYPE_CHECKING:
    from webcapture.pipeline import measure_photo
    from webcapture.report.annotate import annotated_jpeg
    from webcapture.report.export import as_dict

__version__ = "0.1.0"
__all__ = ["WebcaptureError", "__version__", "annotated_jpeg", "as_dict", "measure_photo"]

_HOMES = {
    "measure_photo": "webcapture.pipeline",
    "as_dict": "webcapture.report.export",
    "annotated_jpeg": "webcapture.report.annotate",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_HOMES[name]), name)
