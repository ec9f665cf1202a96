"""What a photo's spots are consistent with, as JSON types and as text: numbers beside every name, and why where there is none."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from typing import Any

from webcapture.measure.bays import TRAY
from webcapture.model import Lane, PhotoResult, Strip
from webcapture.reference.compare import Comparison, SheetReference
from webcapture.reference.library import Library, key
from webcapture.reference.match import CONSISTENT, REASONS, Match, candidates
from webcapture.reference.method import Method
from webcapture.reference.mixed import MixedLane, mixed_lane
from webcapture.reference.mixture import LANE_REASONS, MIXED_REASONS, SINGLE, SPLITS, LaneAccount, account
from webcapture.reference.observed import Observed, observed
from webcapture.reference.plan import MIXED, REFERENCE, SAMPLE, UNNAMED, Plan
from webcapture.report.wording import two_decimals
from webcapture.settings import DEFAULTS, CompareSettings

Json = dict[str, Any]
Roles = Mapping[tuple[int, int], tuple[str, str]]
"""(role, label) by bay and lane."""
DIGITS = 4
EVIDENCE_WORDS = {
    "same sheet": "reference lane on this sheet",
    "own runs": "own runs",
    "published": "published",
    "invented": "invented for the demonstration",
}
MIXED_WORDS = {SINGLE: "evidence for it, no proof", SPLITS: "evidence against it, no proof"}
SEVERAL = re.compile(r"\s\+\s|;|,\s|\s(?:and|&)\s")
"""Between the substances that a label names."""


def names_dict(
    result: PhotoResult,
    plan: Plan,
    library: Library,
    settings: CompareSettings = DEFAULTS.compare,
    roles: Roles | None = None,
) -> Json:
    """The member ``names`` of a photo's object: for each lane what its spots are consistent with.

    ``roles`` says what is in the lanes where that is known better than by the plan's numbers.
    """
    known = planned_roles(result, plan) if roles is None else roles
    lanes = [entry for strip in result.strips for entry in _strip(strip, known, plan.method, library, settings)]
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


def planned_roles(result: PhotoResult, plan: Plan) -> Roles:
    """What the plan says of each lane. Of several strips in one bay of a tray nobody knows which was planned for it."""
    layout = result.card.layout
    return {
        (strip.bay, lane.lane): plan.of(_number(strip, lane, layout))
        for strip in result.strips
        for lane in strip.lanes
        if not (strip.shared and layout == TRAY)
    }


def _strip(strip: Strip, known: Roles, method: Method, library: Library, settings: CompareSettings) -> list[Json]:
    seen = observed(strip)
    by_lane = {lane.lane: [one for one in seen if one.lane == lane.lane] for lane in strip.lanes}
    roles = {lane.lane: known.get((strip.bay, lane.lane), UNNAMED) for lane in strip.lanes}
    references = [
        SheetReference(label, tuple(by_lane[lane])) for lane, (role, label) in roles.items() if role == REFERENCE
    ]
    samples = {label: by_lane[lane] for lane, (role, label) in reversed(roles.items()) if role == SAMPLE}
    names = {key(name) for name in library.columns(method).names} | {key(one.substance) for one in references}
    told = []
    for lane, (role, label) in roles.items():
        place = {"bay": strip.bay, "strip": strip.strip, "lane": lane, "role": role, "label": label}
        own = [one for one in references if not (role == REFERENCE and one.substance == label)]
        expected = () if role == REFERENCE else _expected(label, names)
        told.append({**place, **_lane(by_lane[lane], method, library, own, expected, settings)})
        if role == MIXED:
            told[-1]["mixed"] = _mixed(mixed_lane(label, by_lane[lane], samples, references, settings))
    return told


def _expected(label: str, known: Collection[str]) -> tuple[str, ...]:
    """The substances that a lane's label names, as far as there is something to compare with."""
    parts = (label, *SEVERAL.split(label))
    return tuple(dict.fromkeys(part.strip() for part in parts if key(part) in known))


def _number(strip: Strip, lane: Lane, layout: str) -> int:
    return strip.bay if layout == TRAY and len(strip.lanes) == 1 else lane.lane


def _lane(
    spots: Sequence[Observed],
    method: Method,
    library: Library,
    references: Sequence[SheetReference],
    expected: Sequence[str],
    settings: CompareSettings,
) -> Json:
    lane = account(spots, method, library, references, expected, settings)
    matches = candidates(spots, method, library, references, settings)
    return {**_account(lane), "spots": [_match(one) for one in matches]}


def _account(lane: LaneAccount) -> Json:
    return {
        "outcome": lane.outcome,
        "reason": LANE_REASONS[lane.reason],
        "sets": [
            {"substances": list(one.substances), "p": round(one.p, DIGITS), "not_seen": list(one.not_seen)}
            for one in lane.accounts
        ],
        "unaccounted": list(lane.unaccounted),
        "silent": list(lane.silent),
        "unseen": list(lane.unseen),
        "at_least": lane.at_least,
    }


def _mixed(lane: MixedLane) -> Json:
    return {
        "sample": lane.sample,
        "reference": lane.reference,
        "outcome": lane.outcome,
        "reason": MIXED_REASONS[lane.reason],
        "places": [
            {
                "sample_spot": one.sample_spot,
                "reference_spot": one.reference_spot,
                "outcome": one.found.outcome,
                "reason": MIXED_REASONS[one.found.reason],
                "spots": list(one.found.spots),
                "would_split_mm": round(one.found.would_split_mm, 1),
            }
            for one in lane.places
        ],
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
    return {"substance": one.substance, **comparison_dict(one)}


def comparison_dict(one: Comparison) -> Json:
    """The numbers of one comparison, without the substance's name."""
    return {
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
    if "mixed" in lane:
        lines.append(f"    {_mixed_words(lane['mixed'])}")
    lines += [f"    {words}" for words in _account_words(lane)]
    return lines + [f"    spot {spot['spot']}: {_spot_words(spot)}" for spot in lane["spots"]]


def _mixed_words(mixed: Json) -> str:
    strength = MIXED_WORDS.get(mixed["outcome"])
    about = f" ({strength}: {mixed['reference']} in {mixed['sample']})" if strength else ""
    near = max((one["would_split_mm"] for one in mixed["places"]), default=0.0)
    apart = f" Two substances would show as two here if {near:.1f} mm apart or more." if near else ""
    return f"mixed spot: {mixed['outcome']}{about}. {mixed['reason']}{apart}"


def _account_words(lane: Json) -> list[str]:
    """What the lane's spots leave open: counted, unaccounted for, silent, expected and not seen."""
    found = []
    if lane["at_least"]:
        found.append(f"components at least: {lane['at_least']}")
    if lane["unaccounted"]:
        found.append(f"not accounted for: {_spots(lane['unaccounted'])}")
    if lane["silent"]:
        found.append(f"names nothing: {_spots(lane['silent'])}")
    if lane["unseen"]:
        found.append(f"expected and not seen: {', '.join(lane['unseen'])}; it may still be there")
    for one in lane["sets"][:1]:
        found += [f"{name}'s own lane shows further spots, which this lane does not" for name in one["not_seen"]]
    return found


def _spots(numbers: Sequence[int]) -> str:
    return f"spot{'' if len(numbers) == 1 else 's'} {', '.join(map(str, numbers))}"


def _spot_words(spot: Json) -> str:
    if spot["outcome"] != CONSISTENT:
        nearest = spot["candidates"][:1] or spot["doubtful"][:1] or spot["ruled_out"][:1]
        return f"{spot['outcome']}. {spot['reason']}" + (f" Nearest: {_words(nearest[0])}." if nearest else "")
    words = "; ".join(_words(one) for one in spot["candidates"]) + (
        f"; and {spot['more']} more" if spot["more"] else ""
    )
    apart = [" and ".join(group) for group in spot["not_told_apart"] if len(group) > 1]
    return words + (f". Not told apart here: {'; '.join(apart)}" if apart else "")


def _words(one: Json) -> str:
    kind = EVIDENCE_WORDS.get(one["evidence"], one["evidence"])
    colour = {"agrees": ", colour agrees", "differs": ", colour differs"}.get(one["colour"], "")
    return f"{one['substance']} ({two_decimals(one['known'])}, E_n {one['e_n']:.1f}, {kind}{colour})"
