"""A practical's form: its defaults, and what was typed turned into a plan, with a message for each field that is wrong."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from babel.dates import format_date

from webcapture.card.layout import LAYOUTS, PAPERS_MM
from webcapture.reference.exchange import NO_NAME
from webcapture.reference.plan import MIXED, REFERENCE, SAMPLE, mixed_parts
from webcapture.settings import RoomSettings
from webcapture.store.records import LaneRole, Method, PracticalPlan
from webcapture.web.language import gettext as _
from webcapture.web.language import locale, ngettext

LANES = 8
ROLES = ("", SAMPLE, REFERENCE, MIXED)
LENGTHS = {"title": 80, "mobile_phase": 160, "paper": 80, "locating": 80, "notes": 1000}
LABEL = 40
MIXED_LABEL = 2 * LABEL + len(" + ")
"""A mixed lane's label holds two others."""
KEEP_MOST = 365
TEMPERATURES = (-30.0, 100.0)
DATE = "d MMMM y"
"""Of a new practical's title (Unicode TR 35)."""
Fields = dict[str, str]


@dataclass(frozen=True, slots=True)
class Typed:
    """What was typed, as it stands in the fields, and what is wrong with it."""

    fields: Fields
    wrong: Fields = field(default_factory=dict)
    """Message by field."""
    plan: PracticalPlan | None = None
    """None where anything is wrong."""


def fresh(now: datetime, room: RoomSettings) -> Fields:
    """The fields of a new practical."""
    lanes = {f"{part}_{n}": "" for n in range(1, LANES + 1) for part in ("role", "label")}
    return {
        "title": _("Practical of %(date)s", date=format_date(now.date(), DATE, locale())),
        "mobile_phase": "",
        "paper": _("Chromatography paper"),
        "temperature_c": "20",
        "locating": "",
        "layout": LAYOUTS[0],
        "page": next(iter(PAPERS_MM)),
        "notes": "",
        "keep_days": str(room.keep_days),
        **lanes,
        "role_1": "sample",
        "label_1": _("Sample"),
    }


def fields_of(plan: PracticalPlan, now: datetime, room: RoomSettings) -> Fields:
    """The fields that show a plan."""
    blank = dict.fromkeys(fresh(now, room), "")
    method = plan.method
    lanes = {f"role_{lane.lane}": lane.role for lane in plan.lanes}
    labels = {f"label_{lane.lane}": lane.label for lane in plan.lanes}
    return blank | lanes | labels | {
        "title": plan.title,
        "mobile_phase": method.mobile_phase,
        "paper": method.paper,
        "temperature_c": "" if method.temperature_c is None else f"{method.temperature_c:g}",
        "locating": method.locating,
        "layout": plan.layout,
        "page": plan.page,
        "notes": plan.notes,
        "keep_days": str(plan.keep_days),
    }  # fmt: skip


def read(form: Mapping[str, str], now: datetime, room: RoomSettings) -> Typed:
    """The form as sent. What was typed stays as it was typed, right or wrong."""
    fields = {name: form.get(name, "") for name in fresh(now, room)}
    tidy = {name: text.strip() for name, text in fields.items()}
    wrong = _wrong_texts(tidy) | _wrong_choices(tidy) | _wrong_lanes(tidy)
    temperature, keep = _number(tidy["temperature_c"]), _number(tidy["keep_days"])
    low, high = TEMPERATURES
    if tidy["temperature_c"] and (temperature is None or not low <= temperature <= high):
        wrong["temperature_c"] = _(
            "Give a number of degrees from %(low)s to %(high)s, or leave it empty.", low=f"{low:g}", high=f"{high:g}"
        )
    if keep is None or keep != int(keep) or not 1 <= keep <= KEEP_MOST:
        wrong["keep_days"] = _("Give a whole number of days from 1 to %(most)s.", most=KEEP_MOST)
    if wrong or keep is None:
        return Typed(fields, wrong)
    return Typed(fields, {}, _plan(tidy, temperature, int(keep)))


def _plan(tidy: Fields, temperature: float | None, keep_days: int) -> PracticalPlan:
    method = Method(tidy["mobile_phase"], tidy["paper"], temperature, tidy["locating"])
    lanes = tuple(LaneRole(n, tidy[f"role_{n}"], tidy[f"label_{n}"]) for n in range(1, LANES + 1) if tidy[f"role_{n}"])
    return PracticalPlan(tidy["title"], method, tidy["layout"], tidy["page"], lanes, tidy["notes"], keep_days)


def too_long(most: int) -> str:
    """What is said of a text of more than ``most`` characters."""
    return str(ngettext("Too long: at most %(num)s character.", "Too long: at most %(num)s characters.", most))


def _wrong_texts(tidy: Fields) -> Fields:
    wrong = {name: too_long(most) for name, most in LENGTHS.items() if len(tidy[name]) > most}
    needed = {
        "title": _("Give the practical a title: stations see it when they join."),
        "mobile_phase": _("Say what the mobile phase is made of, with its proportions."),
        "paper": _("Say which paper is used."),
    }
    strange = _("There is a character in it that no name has.")
    wrong |= {name: strange for name, text in tidy.items() if name != "notes" and NO_NAME.search(text)}
    return {name: words for name, words in needed.items() if not tidy[name]} | wrong


def _wrong_choices(tidy: Fields) -> Fields:
    known = {"layout": LAYOUTS, "page": tuple(PAPERS_MM)}
    return {name: _("Choose one of the list.") for name, choices in known.items() if tidy[name] not in choices}


def _wrong_lanes(tidy: Fields) -> Fields:
    wrong = {}
    for n in range(1, LANES + 1):
        role, label = tidy[f"role_{n}"], tidy[f"label_{n}"]
        if role not in ROLES:
            wrong[f"role_{n}"] = _("Choose one of the list.")
        elif label and not role:
            wrong[f"role_{n}"] = _("Choose sample, reference or mixed spot, or leave the label empty.")
        elif role and (words := _wrong_label(role, label)):
            wrong[f"label_{n}"] = words
    return wrong


def _wrong_label(role: str, label: str) -> str:
    """What is wrong with a lane's label; empty where nothing is."""
    if role == MIXED:
        if mixed_parts(label) is None:
            return _("Write the sample's label, a plus sign and the reference: Sample + Marl red.")
        return too_long(MIXED_LABEL) if len(label) > MIXED_LABEL else ""
    if not label:
        return _("Name the sample.") if role == SAMPLE else _("Name the reference substance.")
    return too_long(LABEL) if len(label) > LABEL else ""


def _number(text: str) -> float | None:
    """A number with a point or a comma; None for what is none, or has no end."""
    try:
        value = float(text.replace(",", ".").replace("−", "-"))
    except ValueError:
        return None
    return value if abs(value) < 1e6 else None
