"""A whole result as bytes and back: card, strips with their lines and profiles, lanes, spots, budgets, flags.

JSON, compressed: readable for ever, and by other programs. The rectified page is kept beside it as a picture.
"""

from __future__ import annotations

import json
import zlib
from dataclasses import dataclass
from typing import Any, get_origin

import numpy as np
from cattrs import Converter

from webcapture.flags import Flag
from webcapture.model import CardSeen, PhotoResult, Strip

FORM = 1
"""Version of this form."""
DIGITS = 6
"""Decimals kept of every number: nanometres, and millionths of absorbance."""


@dataclass(frozen=True, slots=True, eq=False)
class StoredResult:
    """A result without its rectified page."""

    card: CardSeen
    strips: tuple[Strip, ...]
    flags: tuple[Flag, ...]


def dumped(result: PhotoResult | StoredResult) -> bytes:
    """The result as bytes."""
    stored = StoredResult(result.card, result.strips, result.flags)
    plain = {"form": FORM, **_CONVERTER.unstructure(stored)}
    return zlib.compress(json.dumps(plain, separators=(",", ":"), allow_nan=False).encode(), 6)


def loaded(data: bytes) -> StoredResult:
    """The result from its bytes. Raises ValueError for a form that this version does not know."""
    plain = json.loads(zlib.decompress(data))
    if plain.pop("form") != FORM:
        raise ValueError("a result in an unknown form")
    return _CONVERTER.structure(plain, StoredResult)


def _is_array(kind: Any) -> bool:
    return kind is np.ndarray or get_origin(kind) is np.ndarray


def _converter() -> Converter:
    converter = Converter()
    converter.register_unstructure_hook_func(_is_array, lambda values: np.round(values, DIGITS).tolist())
    converter.register_structure_hook_func(_is_array, lambda values, _: np.array(values, float))
    return converter


_CONVERTER = _converter()
