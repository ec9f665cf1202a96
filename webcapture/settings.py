"""Every threshold and limit, with its unit and its reason; one group a stage.

A stage receives its group as an argument. ``catalogue()`` lists all knobs for the documentation.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, fields
from typing import Any


def knob(default: Any, unit: str, why: str) -> Any:
    """A setting with its unit (empty for a pure number) and the reason for its value."""
    return field(default=default, metadata={"unit": unit, "why": why})


@dataclass(frozen=True, slots=True)
class PhotoSettings:
    """Reading the file."""

    max_bytes: int = knob(64_000_000, "byte", "A 108 MP phone JPEG is 20 to 45 MB; more is not a phone photo.")
    max_pixels: int = knob(
        130_000_000, "px", "Covers 108 MP phones; a small file can expand to far more and fill the memory."
    )
    working_pixels: int = knob(
        14_000_000,
        "px",
        "A card at 12 MP has 9 to 13 px/mm, ample for a 0.4 mm pencil line; more only costs time and memory.",
    )
    least_side: int = knob(600, "px", "Below, a tag of the card is smaller than its modules can be told apart.")


@dataclass(frozen=True, slots=True)
class Settings:
    """All groups."""

    photo: PhotoSettings = field(default_factory=PhotoSettings)


DEFAULTS = Settings()


@dataclass(frozen=True, slots=True)
class Knob:
    """One row of the catalogue."""

    name: str
    default: Any
    unit: str
    why: str


def catalogue(settings: Settings = DEFAULTS) -> Iterator[Knob]:
    """Every knob as ``group.name`` with its value, unit and reason, in the order of the work."""
    for group_field in fields(settings):
        group = getattr(settings, group_field.name)
        for f in fields(group):
            yield Knob(f"{group_field.name}.{f.name}", getattr(group, f.name), f.metadata["unit"], f.metadata["why"])
