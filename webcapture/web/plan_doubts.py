"""What a practical's mixed lanes lack: no reason to refuse the plan, since the other lanes may lie on another sheet."""

from __future__ import annotations

from dataclasses import dataclass

from webcapture.measure.bays import TRAY
from webcapture.reference.library import key
from webcapture.reference.plan import MIXED, REFERENCE, SAMPLE, mixed_parts
from webcapture.store.records import LaneRole, PracticalPlan
from webcapture.web.language import gettext as _


@dataclass(frozen=True, slots=True)
class Doubt:
    """Something about a lane that will leave it without an answer."""

    lane: int
    seen: str
    advice: str


def plan_doubts(plan: PracticalPlan) -> tuple[Doubt, ...]:
    """What keeps the mixed lanes of a plan from telling anything, lane by lane."""
    return tuple(doubt for lane in plan.lanes if lane.role == MIXED for doubt in _of_lane(lane, plan))


def _of_lane(lane: LaneRole, plan: PracticalPlan) -> list[Doubt]:
    if plan.layout == TRAY:
        seen = _("Lane %(lane)s is mixed, and on a tray every strip has its own front.", lane=lane.lane)
        return [Doubt(lane.lane, seen, _("Run sample, reference and mixed spot side by side on one sheet."))]
    parts = mixed_parts(lane.label)
    if parts is None:
        seen = _("Lane %(lane)s does not say what was mixed.", lane=lane.lane)
        return [
            Doubt(lane.lane, seen, _("Write the sample's label, a plus sign and the reference: Sample + Marl red."))
        ]
    found = []
    if not _has(plan, SAMPLE, parts[0]):
        seen = _(
            "Lane %(lane)s mixes in “%(label)s”, and no sample lane has that label.", lane=lane.lane, label=parts[0]
        )
        advice = _(
            "Give that sample a lane of its own on this sheet, with the same label: else the mixed spot tells nothing."
        )
        found.append(Doubt(lane.lane, seen, advice))
    if not _has(plan, REFERENCE, parts[1]):
        seen = _(
            "Lane %(lane)s mixes in “%(label)s”, and no reference lane has that name.", lane=lane.lane, label=parts[1]
        )
        advice = _(
            "Give that reference a lane of its own on this sheet, with the same name: else the mixed spot tells nothing."
        )
        found.append(Doubt(lane.lane, seen, advice))
    return found


def _has(plan: PracticalPlan, role: str, label: str) -> bool:
    return any(lane.role == role and key(lane.label) == key(label) for lane in plan.lanes)
