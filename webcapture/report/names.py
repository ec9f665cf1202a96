"""What a photo's spots are consistent with, as JSON types and as text: numbers beside every name, and why where there is none."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from webcapture.model import Lane, PhotoResult, Strip
from webcapture.reference.compare import Comparison, SheetReference
from webcapture.reference.library import Library
from webcapture.reference.match import REASONS, Match, candidates
from webcapture.reference.mixture import LANE_REASONS, LaneAccount, account
from webcapture.reference.observed import Observed, observed
from webcapture.reference.plan import REFERENCE, Plan
from webcapture.report.wording import two_decimals
from webcapture.settings import DEFAULTS, CompareSettings

Json = dict[str, Any]
DIGITS = 4
EVIDENCE_WORDS = {
    "same sheet": "reference lane on this sheet",
    "own runs": "own runs",
    "published": "published",
    "invented": "invented for the demonstration",
}


def names_dict(result: PhotoResult, plan: Plan, library: Library, settings: CompareSettings = DEFAULTS.compare) -> Json:
    """The member ``names`` of a photo's object: for each lane what its spots are consistent with."""
    lanes = [entry for strip in result.strips for entry in _strip(strip, result.card.layout, plan, library, settings)]
    method = plan.method
    return {
        "mobile_phase": method.mobile_phase.text,
        "paper": method.paper,
        "temperature_c": method.temperature_c,
        "locating": method.locating,
        "library": len(library.under(method)),
        "window_rf": settings.window_rf,
        "lanes": lanes,
    }


def _strip(strip: Strip, layout: str, plan: Plan, library: Library, settings: CompareSettings) -> list[Json]:
    seen = observed(strip)
    by_lane = {lane.lane: [one for one in seen if one.lane == lane.lane] for lane in strip.lanes}
    roles = {lane.lane: plan.of(_number(strip, lane, layout)) for lane in strip.lanes}
    references = [
        SheetReference(label, tuple(by_lane[lane])) for lane, (role, label) in roles.items() if role == REFERENCE
    ]
    told = []
    for lane in strip.lanes:
        role, label = roles[lane.lane]
        place = {"bay": strip.bay, "lane": lane.lane, "role": role, "label": label}
        own = [one for one in references if not (role == REFERENCE and one.substance == label)]
        told.append({**place, **_lane(by_lane[lane.lane], plan, library, own, settings)})
    return told


def _number(strip: Strip, lane: Lane, layout: str) -> int:
    return strip.bay if layout == "tray" and len(strip.lanes) == 1 else lane.lane


def _lane(
    spots: Sequence[Observed],
    plan: Plan,
    library: Library,
    references: Sequence[SheetReference],
    settings: CompareSettings,
) -> Json:
    lane = account(spots, plan.method, library, references, settings=settings)
    matches = candidates(spots, plan.method, library, references, settings)
    return {**_account(lane), "spots": [_match(one) for one in matches]}


def _account(lane: LaneAccount) -> Json:
    return {
        "outcome": lane.outcome,
        "reason": LANE_REASONS[lane.reason],
        "sets": [{"substances": list(one.substances), "p": round(one.p, DIGITS)} for one in lane.accounts],
        "unaccounted": list(lane.unaccounted),
        "at_least": lane.at_least,
    }


def _match(match: Match) -> Json:
    return {
        "spot": match.spot.spot,
        "outcome": match.outcome,
        "reason": REASONS[match.reason],
        "candidates": [_comparison(one) for one in match.candidates],
        "more": match.more,
        "not_told_apart": [list(group) for group in match.groups],
        "doubtful": [_comparison(one) for one in match.doubtful],
        "colour_against": [_comparison(one) for one in match.colour_against],
        "ruled_out": [_comparison(one) for one in match.ruled_out],
    }


def _comparison(one: Comparison) -> Json:
    return {
        "substance": one.substance,
        "evidence": one.evidence,
        "source": one.source,
        "quantity": one.quantity,
        "seen": round(one.seen, DIGITS),
        "U_seen": round(one.U_seen, DIGITS),
        "known": round(one.known, DIGITS),
        "U_known": round(one.U_known, DIGITS),
        "window": one.window,
        "e_n": round(one.e_n, DIGITS),
        "colour": one.colour,
        "remarks": [remark.text for remark in one.remarks],
    }


# --- text


def names_text(names: Json) -> str:
    """The same for a terminal: a lane's sets first, then each spot with the numbers behind its names."""
    lines = [
        f"  Consistent with, for {names['mobile_phase']} on {names['paper']}; the library holds "
        f"{names['library']} values for these conditions:"
    ]
    for lane in names["lanes"]:
        lines += _lane_lines(lane)
    remarks = [
        r for lane in names["lanes"] for spot in lane["spots"] for one in spot["candidates"] for r in one["remarks"]
    ]
    if any(one["window"] for lane in names["lanes"] for spot in lane["spots"] for one in spot["candidates"]):
        remarks.insert(0, f"Where a source gives no uncertainty, your own window counts: ± {names['window_rf']:g}.")
    lines += [f"  ! {text}" for text in dict.fromkeys(remarks)]
    return "\n".join(
        [
            *lines,
            "  Equal Rf is necessary, not sufficient: other substances may lie at the same places, and be in one spot.",
        ]
    )


def _lane_lines(lane: Json) -> list[str]:
    label = f", {lane['role']} {lane['label']}".rstrip() if lane["label"] else ""
    sets = " or ".join(" + ".join(one["substances"]) for one in lane["sets"])
    told = f"consistent with {sets}." if lane["outcome"] == "consistent" else f"{lane['outcome']}. {lane['reason']}"
    lines = [f"  bay {lane['bay']} lane {lane['lane']}{label}: {told}"]
    return lines + [f"    spot {spot['spot']}: {_spot_words(spot)}" for spot in lane["spots"]]


def _spot_words(spot: Json) -> str:
    if not spot["candidates"]:
        nearest = spot["ruled_out"][:1] or spot["doubtful"][:1]
        return f"{spot['outcome']}. {spot['reason']}" + (f" Nearest: {_words(nearest[0])}." if nearest else "")
    words = "; ".join(_words(one) for one in spot["candidates"])
    apart = [" and ".join(group) for group in spot["not_told_apart"] if len(group) > 1]
    return words + (f". Not told apart here: {'; '.join(apart)}" if apart else "")


def _words(one: Json) -> str:
    kind = EVIDENCE_WORDS.get(one["evidence"], one["evidence"])
    colour = {"agrees": ", colour agrees", "differs": ", colour differs"}.get(one["colour"], "")
    return f"{one['substance']} ({two_decimals(one['known'])}, E_n {one['e_n']:.1f}, {kind}{colour})"
