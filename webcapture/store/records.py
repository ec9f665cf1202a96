"""What the records hand out: plain frozen values, never rows of a table, so that nothing outside can change them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

WAITING, MEASURING, MEASURED, REFUSED = "waiting", "measuring", "measured", "refused"
"""States of a photo."""


@dataclass(frozen=True, slots=True)
class LaneRole:
    """What is in one lane."""

    lane: int
    role: str
    """``sample``, ``reference``, ``mixed`` or ``""`` where nothing is planned for it."""
    label: str
    """The sample's label or the reference substance's name; of a mixed lane both, with a plus sign between."""


@dataclass(frozen=True, slots=True)
class Method:
    """How the chromatograms are run."""

    mobile_phase: str
    """Components with their proportions, as the lead wrote them."""
    paper: str
    temperature_c: float | None
    """None where it was not noted."""
    locating: str
    """Locating agent, or ``""`` where the spots show by themselves."""


@dataclass(frozen=True, slots=True)
class PracticalPlan:
    """What the lead sets up."""

    title: str
    method: Method
    layout: str
    """Of the card: ``sheet`` or ``tray``."""
    page: str
    """``a4`` or ``letter``."""
    lanes: tuple[LaneRole, ...]
    notes: str
    keep_days: int
    """Days after the last photo until everything is purged."""


@dataclass(frozen=True, slots=True)
class PracticalInfo:
    """A practical as recorded."""

    id: str
    plan: PracticalPlan
    created_at: datetime
    join_code: str
    join_open: bool
    join_until: datetime

    def joinable(self, now: datetime) -> bool:
        """Whether stations may join at that time."""
        return self.join_open and now < self.join_until


@dataclass(frozen=True, slots=True)
class StationInfo:
    """A station."""

    id: str
    practical_id: str
    label: str
    joined_at: datetime


@dataclass(frozen=True, slots=True)
class PhotoInfo:
    """A photo and how far it is."""

    id: str
    station_id: str
    name: str
    digest: str
    size: int
    received_at: datetime
    state: str
    tries: int
    trouble: dict[str, Any] | None
    """Code, message and hint where it was refused; else None."""


@dataclass(frozen=True, slots=True)
class MeasurementInfo:
    """What the program found on a photo."""

    id: int
    photo_id: str
    software: str
    made_at: datetime
    result: bytes
    page: str
    """Digest of the rectified page's picture in the vault."""


@dataclass(frozen=True, slots=True)
class CorrectionInfo:
    """One change made by hand."""

    id: int
    photo_id: str
    made_at: datetime
    by: str
    change: dict[str, Any]
    undone_at: datetime | None
    undone_by: str | None
