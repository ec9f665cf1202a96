"""A setting says its unit and why it has its value."""

from __future__ import annotations

from dataclasses import field
from typing import Any


def knob(default: Any, unit: str, why: str) -> Any:
    """A setting with its unit (empty for a pure number) and the reason for its value."""
    return field(default=default, metadata={"unit": unit, "why": why})
