"""What is in each lane of a photo: as it was named by hand, else as planned, where the card that was seen fits the plan.

On a sheet card the plan's lanes are those from left to right, on one paper or on strips side by side; on a tray the bays. Where another
card was photographed, or another number of lanes was seen than were planned, nobody can tell which is which: then no name is given,
and a note says so. So it is with several strips in one bay of a tray.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from webcapture.measure.bays import TRAY, tells_lanes
from webcapture.measure.correct import Corrected
from webcapture.model import Strip
from webcapture.reference.library import key
from webcapture.store.records import LaneRole, PracticalInfo
from webcapture.web.contexts import strip_name
from webcapture.web.findings import Findings
from webcapture.web.language import gettext as _


@dataclass(frozen=True, slots=True)
class LaneName:
    """A lane as people call it."""

    label: str
    """What is in it; empty where nobody knows."""
    role: str
    """``sample``, ``reference``, ``mixed``, or empty."""
    place: str
    """Where it is, for a lane without a label."""


def lane_names(practical: PracticalInfo | None, found: Findings, strip: Corrected) -> dict[int, LaneName]:
    """The names of a strip's lanes by their number."""
    planned = _planned(practical, found, strip)
    names = {}
    for lane in strip.strip.lanes:
        role = planned.get(lane.lane)
        by_hand = strip.labels.get(lane.lane, "")
        fits = role is not None and key(by_hand) in {"", key(role.label)}
        names[lane.lane] = LaneName(
            label=role.label if role and fits else by_hand,
            role=role.role if role and fits else "",
            place=_place(found, strip, lane.lane),
        )
    return names


def misfit(practical: PracticalInfo | None, found: Findings) -> tuple[str, str] | None:
    """(What does not fit the plan, what to do), or None where all lanes are named by the plan."""
    if practical is None or not practical.plan.lanes:
        return None
    advice = _("Name the lanes by hand: each has a form for that below.")
    if found.card.layout != practical.plan.layout:
        other = _("a tray") if found.card.layout == TRAY else _("a sheet")
        return _("The photo shows %(other)s, and the practical is planned for another card.", other=other), advice
    if found.card.layout != TRAY and any(
        strip.strip.lanes and not _planned(practical, found, strip) for strip in found.strips
    ):
        return _("Another number of lanes was seen than the practical has: they go by their number."), advice
    return None


def _planned(practical: PracticalInfo | None, found: Findings, strip: Corrected) -> dict[int, LaneRole]:
    """The plan's lanes by the strip's own lane numbers; empty where they do not fit."""
    if practical is None or found.card.layout != practical.plan.layout:
        return {}
    planned = practical.plan.lanes
    if found.card.layout == TRAY:
        return _of_bay(planned, strip.strip)
    lanes = [lane.lane for one in found.strips if one.strip.bay == strip.strip.bay for lane in one.strip.lanes]
    if len(lanes) == len(planned):  # lanes in which there is nothing are not seen
        return dict(zip(lanes, sorted(planned, key=lambda role: role.lane), strict=True))
    by_number = {role.lane: role for role in planned}
    return (
        {lane: by_number[lane] for lane in lanes if lane in by_number}
        if len(lanes) == max(by_number, default=0)
        else {}
    )


def _of_bay(planned: Sequence[LaneRole], strip: Strip) -> dict[int, LaneRole]:
    here = [role for role in planned if role.lane == strip.bay]
    return dict(zip((lane.lane for lane in strip.lanes), here, strict=False)) if not tells_lanes(strip) else {}


def _place(found: Findings, strip: Corrected, lane: int) -> str:
    if found.card.layout != TRAY:
        return _("Lane %(lane)s", lane=lane)
    if len(strip.strip.lanes) == 1:
        return strip_name(strip.strip)
    return _("Bay %(bay)s, lane %(lane)s", bay=strip.strip.bay, lane=lane)
