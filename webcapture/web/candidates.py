"""What a result's spots are consistent with, for its page: references beside first, then the tables that come with the tool."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from webcapture.errors import UsageError
from webcapture.model import PhotoResult
from webcapture.reference.library import INVENTED
from webcapture.reference.plan import MIXED, REFERENCE, SAMPLE, Plan
from webcapture.report.names import Roles, names_dict
from webcapture.report.wording import two_decimals
from webcapture.store.records import PracticalInfo
from webcapture.web.conditions import conditions_name, method_as_written
from webcapture.web.findings import Findings
from webcapture.web.language import gettext
from webcapture.web.language import lazy_gettext as _
from webcapture.web.library import comparing, library, own_window
from webcapture.web.naming import lane_names

Json = dict[str, Any]
EVIDENCE = {
    "same sheet": _("reference lane on this sheet"),
    "own runs": _("own runs"),
    "published": _("published"),
    "invented": _("invented for the demonstration"),
}
COLOURS = {"agrees": _("agrees"), "differs": _("differs"), "cannot tell": _("cannot tell")}
OUTCOMES = {
    "none fits": _("No set of references accounts for all spots."),
    "cannot tell": _("Cannot tell."),
    "nothing to compare": _("There is nothing to compare with."),
}


@dataclass(frozen=True, slots=True)
class Comparisons:
    """What the page shows of names."""

    unclear: tuple[str, str] | None
    """What is wrong with the practical's method and what to do; None where it can be compared."""
    conditions: str = ""
    """Mobile phase and paper."""
    under: str = ""
    """The same as the page of references names them."""
    lanes: tuple[Json, ...] = ()
    """Sample lanes and mixed ones, see :mod:`webcapture.report.names`."""
    names: Json | None = None
    """All lanes as programs get them."""
    remarks: tuple[str, ...] = ()
    window: str = ""
    """The window, where it counted."""
    window_is_leads: bool = False
    """Whether the lead set it."""


def comparisons(practical: PracticalInfo | None, found: Findings, result: PhotoResult) -> Comparisons | None:
    """The names for a measured photo as corrected; None where there is no practical or no strip."""
    if practical is None or not found.strips:
        return None
    try:
        method = method_as_written(practical)
    except UsageError as error:
        return Comparisons((error.message, error.hint))
    names = names_dict(result, Plan(method, {}), library(), comparing(), _roles(practical, found))
    titles = _titles(practical, found)
    lanes = tuple(_for_people(lane, titles) for lane in names["lanes"] if lane["role"] != REFERENCE)
    told = [one for lane in lanes for spot in lane["spots"] for one in spot["candidates"]]
    return Comparisons(
        unclear=None,
        conditions=f"{practical.plan.method.mobile_phase}, {practical.plan.method.paper}",
        under=conditions_name(method),
        lanes=lanes,
        names=names,
        remarks=tuple(dict.fromkeys(remark for one in told for remark in one["remarks"])),
        window=two_decimals(names["window_rf"]) if any(one["window"] for one in told) else "",
        window_is_leads=own_window() is not None,
    )


def _titles(practical: PracticalInfo, found: Findings) -> dict[tuple[int, int], str]:
    """What each lane is called, by bay and lane: where it lies, or of the only strip its number alone."""
    several = len(found.strips) > 1
    return {
        (strip.strip.bay, lane): name.place if several else gettext("Lane %(lane)s", lane=lane)
        for strip in found.strips
        for lane, name in lane_names(practical, found, strip).items()
    }


def _for_people(lane: Json, titles: dict[tuple[int, int], str]) -> Json:
    """The lane with its title, and the names of each spot as a sentence has them: one known from invented values only says so."""
    title = titles[lane["bay"], lane["lane"]]
    return {**lane, "title": title, "spots": [{**spot, "told": _told(spot["candidates"])} for spot in lane["spots"]]}


def _told(candidates: list[Json]) -> list[str]:
    kinds: dict[str, set[str]] = {}
    for one in candidates:
        kinds.setdefault(one["substance"], set()).add(one["evidence"])
    return [
        gettext("%(name)s (invented value)", name=name) if found == {INVENTED} else name
        for name, found in kinds.items()
    ]


def _roles(practical: PracticalInfo, found: Findings) -> Roles:
    """What is in each lane, in the terms of a method file."""
    roles = {}
    for strip in found.strips:
        for lane, name in lane_names(practical, found, strip).items():
            role = name.role if name.role in {REFERENCE, MIXED} and name.label else SAMPLE
            roles[strip.strip.bay, lane] = role, name.label
    return roles
