"""Every threshold and limit, with its unit and its reason; one group a stage.

A stage receives its group as an argument. ``catalogue()`` lists all knobs for the documentation.

::

    seeing.py      from the file to the strips      lines.py       lines on a strip
    measuring.py   field, paper and lanes           reading.py     origin, front, which way up
    spots.py       spots, and which are two         comparing.py   references, candidates, evidence
    people.py      corrections, joining, keeping    showing.py     pictures, demonstration, web
    knob.py        how a setting is written
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, fields
from typing import Any

from webcapture.settings.cells import CellSettings
from webcapture.settings.comparing import CompareSettings
from webcapture.settings.flatness import FlatnessSettings
from webcapture.settings.lines import LandmarkSettings, TraceSettings
from webcapture.settings.measuring import FieldSettings, LaneSettings, PaperSettings
from webcapture.settings.people import HandSettings, RateSettings, RoomSettings
from webcapture.settings.reading import ReadingSettings, SeamSettings, TickSettings
from webcapture.settings.seeing import (
    GlanceSettings,
    LightSettings,
    MarkerSettings,
    PhotoSettings,
    QualitySettings,
    StripSettings,
    ViewSettings,
)
from webcapture.settings.showing import (
    DemoSettings,
    ReportSettings,
    WebSettings,
)
from webcapture.settings.spots import BeneathSettings, SpotSettings
from webcapture.settings.upright import UprightSettings

__all__ = [
    "DEFAULTS",
    "BeneathSettings",
    "CellSettings",
    "CompareSettings",
    "DemoSettings",
    "FieldSettings",
    "FlatnessSettings",
    "GlanceSettings",
    "HandSettings",
    "Knob",
    "LandmarkSettings",
    "LaneSettings",
    "LightSettings",
    "MarkerSettings",
    "PaperSettings",
    "PhotoSettings",
    "QualitySettings",
    "RateSettings",
    "ReadingSettings",
    "ReportSettings",
    "RoomSettings",
    "SeamSettings",
    "Settings",
    "SpotSettings",
    "StripSettings",
    "TickSettings",
    "TraceSettings",
    "UprightSettings",
    "ViewSettings",
    "WebSettings",
    "catalogue",
]


@dataclass(frozen=True, slots=True)
class Settings:
    """All groups."""

    photo: PhotoSettings = field(default_factory=PhotoSettings)
    marker: MarkerSettings = field(default_factory=MarkerSettings)
    view: ViewSettings = field(default_factory=ViewSettings)
    glance: GlanceSettings = field(default_factory=GlanceSettings)
    light: LightSettings = field(default_factory=LightSettings)
    quality: QualitySettings = field(default_factory=QualitySettings)
    strip: StripSettings = field(default_factory=StripSettings)
    cell: CellSettings = field(default_factory=CellSettings)
    profile: FieldSettings = field(default_factory=FieldSettings)
    trace: TraceSettings = field(default_factory=TraceSettings)
    landmark: LandmarkSettings = field(default_factory=LandmarkSettings)
    paper: PaperSettings = field(default_factory=PaperSettings)
    lane: LaneSettings = field(default_factory=LaneSettings)
    spot: SpotSettings = field(default_factory=SpotSettings)
    reading: ReadingSettings = field(default_factory=ReadingSettings)
    tick: TickSettings = field(default_factory=TickSettings)
    beneath: BeneathSettings = field(default_factory=BeneathSettings)
    seam: SeamSettings = field(default_factory=SeamSettings)
    upright: UprightSettings = field(default_factory=UprightSettings)
    flatness: FlatnessSettings = field(default_factory=FlatnessSettings)
    compare: CompareSettings = field(default_factory=CompareSettings)
    report: ReportSettings = field(default_factory=ReportSettings)
    hand: HandSettings = field(default_factory=HandSettings)
    web: WebSettings = field(default_factory=WebSettings)
    room: RoomSettings = field(default_factory=RoomSettings)
    rate: RateSettings = field(default_factory=RateSettings)
    demo: DemoSettings = field(default_factory=DemoSettings)


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
