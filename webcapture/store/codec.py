"""A whole result as bytes and back: card, strips with their lines and profiles, lanes, spots, budgets, flags.

JSON, compressed: readable for ever, and by other programs. The rectified page is kept beside it as a picture.
"""

from __future__ import annotations

import json
import zlib
from collections import Counter
from dataclasses import dataclass, replace
from typing import Any, get_origin

import numpy as np
from cattrs import Converter

from webcapture.flags import Flag
from webcapture.measure.bays import numbered_through
from webcapture.model import CardSeen, Floats, PhotoResult, Strip

FORM = 1
"""Version of this form."""
DIGITS = 6
"""Decimals kept of long arrays: nanometres, and millionths of absorbance."""
SHORT = 12
"""Arrays up to this length are kept whole: a line's coefficients count for more the higher their power."""


@dataclass(frozen=True, slots=True, eq=False)
class StoredResult:
    """A result without its rectified page."""

    card: CardSeen
    strips: tuple[Strip, ...]
    flags: tuple[Flag, ...]


def dumped(result: PhotoResult | StoredResult) -> bytes:
    """The result as bytes. Raises ValueError for a number that is none: what is not known is None, never NaN."""
    stored = StoredResult(result.card, result.strips, result.flags)
    plain = {"form": FORM, **_CONVERTER.unstructure(stored)}
    return zlib.compress(json.dumps(plain, separators=(",", ":"), allow_nan=False).encode(), 6)


def loaded(data: bytes) -> StoredResult:
    """The result from its bytes. Raises ValueError for a form that this version does not know, and for other bytes."""
    try:
        plain = json.loads(zlib.decompress(data))
    except zlib.error:
        raise ValueError("not a result") from None
    if not isinstance(plain, dict) or plain.pop("form", None) != FORM:
        raise ValueError("a result in an unknown form")
    told_apart = _tell_apart(plain["strips"])
    stored = _CONVERTER.structure(plain, StoredResult)
    return stored if told_apart else replace(stored, strips=numbered_through(stored.strips, stored.card.layout))


def _tell_apart(strips: list[dict[str, Any]]) -> bool:
    """Number the strips of each bay where the result is from before they were numbered; False then."""
    if all("strip" in strip for strip in strips):
        return True
    seen: Counter[int] = Counter()
    for strip in strips:  # in the order of their bays and then from the left, then as now
        seen[strip["bay"]] += 1
        strip["strip"] = seen[strip["bay"]]
    return False


def _is_array(kind: Any) -> bool:
    return kind is np.ndarray or get_origin(kind) is np.ndarray


def _plain(values: Floats) -> list[Any]:
    found: list[Any] = (values if values.size <= SHORT else np.round(values, DIGITS)).tolist()
    return found


def _converter() -> Converter:
    converter = Converter()
    converter.register_unstructure_hook_func(_is_array, _plain)
    converter.register_structure_hook_func(_is_array, lambda values, _: np.array(values, float))
    return converter


_CONVERTER = _converter()
