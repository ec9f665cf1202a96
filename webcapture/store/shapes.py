"""Reference values and methods as JSON types and back, component by component: no text is read anew, so nothing can be refused later."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from cattrs import Converter

from webcapture.reference.library import Value
from webcapture.reference.method import Method


def method_dict(method: Method) -> dict[str, Any]:
    """The method as JSON types; shares of the mobile phase as ``"9/10"``."""
    plain: dict[str, Any] = _CONVERTER.unstructure(method)
    return plain


def method_from(plain: dict[str, Any]) -> Method:
    """The method again."""
    return _CONVERTER.structure(plain, Method)


def value_dict(value: Value) -> dict[str, Any]:
    """The value with its method as JSON types."""
    plain: dict[str, Any] = _CONVERTER.unstructure(value)
    return plain


def value_from(plain: dict[str, Any]) -> Value:
    """The value again."""
    return _CONVERTER.structure(plain, Value)


def _converter() -> Converter:
    converter = Converter()
    converter.register_unstructure_hook(Fraction, str)
    converter.register_structure_hook(Fraction, lambda text, _: Fraction(text))
    return converter


_CONVERTER = _converter()
