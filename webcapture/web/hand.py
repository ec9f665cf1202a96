"""Corrections as people give them, in a form, and as they read them, in words."""

from __future__ import annotations

import math
import secrets
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from webcapture.errors import UsageError
from webcapture.measure.correct import CENTRE, DENSEST, Change, Corrected
from webcapture.measure.frame import strip_frame
from webcapture.model import Lane
from webcapture.web.language import gettext as _
from webcapture.web.language import lazy_gettext

SHOWN_DIGITS = 2
"""Decimals of millimetres in a form's fields; what differs by less was not touched."""
LABEL_LENGTH = 60
ENDS = ("turn", "keep")
"""What can be said of a strip's ends."""
Form = Mapping[str, str]


def places(corrected: Corrected, lane: Lane) -> dict[str, float]:
    """The fields of a lane's form, by name, with where each mark lies: s in millimetres."""
    frame = strip_frame(corrected.strip)
    lines = {"origin": lane.origin_mm, "front": lane.front_mm}
    found = {name: frame.on_strip(point)[0] for name, point in lines.items() if point is not None}
    for spot in lane.spots:
        found[f"spot-{corrected.keys[lane.lane, spot.spot]}"] = frame.on_strip(spot.position_mm)[0]
    return found


def lane_changes(form: Form, corrected: Corrected, lane: Lane) -> list[Change]:
    """What a lane's form asks for. Raises UsageError for what is no number.

    Fields named ``was-…`` tell what the page showed: what differs from that was touched here, and what another has corrected
    meanwhile is left as it is.
    """
    _refuse_other_way(form, corrected)
    bay, number, on = corrected.strip.bay, lane.lane, _on(corrected)
    known = places(corrected, lane)
    removed = form.get("remove", "")
    changes = []
    for name in ("origin", "front", *(n for n in known if n.startswith("spot-"))):
        wanted = _wanted(form, name)
        if wanted is None or name == f"spot-{removed}" or _same(wanted, _shown(form, name, known)):
            continue
        kind, _dash, key = name.partition("-")
        only = kind != "spot" and "only" in form
        changes.append(Change(kind, bay, number, key or None, wanted, only=only, **on))
    added = _number(form.get("add", ""), "add")
    if added is not None:
        changes.append(Change("add", bay, number, secrets.token_hex(4), added, **on))
    if removed:
        changes.append(Change("remove", bay, number, removed, **on))
    label = form.get("label")
    shown = form.get("was-label", corrected.labels.get(number, ""))
    if label is not None and label.strip() != shown:
        changes.append(Change("name", bay, number, label=label.strip()[:LABEL_LENGTH], **on))
    return changes


def _on(corrected: Corrected) -> dict[str, Any]:
    """Which strip of its bay a change is told of, and from which end."""
    return {"strip": corrected.strip.strip, "turned": corrected.turned}


def _refuse_other_way(form: Form, corrected: Corrected) -> None:
    """A page that was loaded before somebody turned the strip tells its places from the other end. Raises UsageError."""
    if form.get("turned", str(int(corrected.turned))) != str(int(corrected.turned)):
        raise UsageError(
            _("This strip has been turned meanwhile."), _("Look at it as it is now, and correct it again.")
        )


def _wanted(form: Form, name: str) -> float | None:
    """The field's number, and the step of the button that was pressed, if it belongs to this field."""
    value = _number(form.get(name, ""), name)
    stepped, _colon, step = form.get("step", "").rpartition(":")
    if value is not None and stepped == name:
        value += _number(step, name) or 0.0
    return value


def _number(text: str, name: str) -> float | None:
    if not text.strip():
        return None
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise UsageError(
            _("“%(text)s” is no number of millimetres (%(field)s).", text=text, field=_FIELDS[name.partition("-")[0]]),
            _("Type a number, such as 42.5."),
        )
    return value


def _shown(form: Form, name: str, known: Mapping[str, float]) -> float | None:
    """Where the page that the form comes from showed it; a form without that is taken to know the present state."""
    before = form.get(f"was-{name}")
    return known.get(name) if before is None else _number(before, name)


def _same(wanted: float, known: float | None) -> bool:
    return known is not None and abs(wanted - round(known, SHOWN_DIGITS)) < 0.5 * 10**-SHOWN_DIGITS


def follow_change(form: Form, corrected: Corrected) -> Change | None:
    """What Rf shall follow on that strip; None where it does already. Raises UsageError for anything else."""
    wanted = form.get("follow", "")
    if wanted not in {CENTRE, DENSEST}:
        raise UsageError(_("Rf follows the centre or the densest place."), _("Choose one of the two."))
    bay, number = corrected.strip.bay, corrected.strip.strip
    return None if wanted == corrected.follows else Change("follow", bay, label=wanted, strip=number)


def ends_change(form: Form, corrected: Corrected) -> Change:
    """Which end of the strip is said to be the origin end. Raises UsageError for anything but a turn and what is shown."""
    wanted = form.get("ends", "")
    if wanted not in ENDS:
        raise UsageError(_("The origin is at one end of the strip or at the other."), _("Choose one of the two."))
    _refuse_other_way(form, corrected)
    return Change(wanted, corrected.strip.bay, **_on(corrected))


def as_stored(change: Change) -> dict[str, Any]:
    """The change as the records keep it."""
    return asdict(change)


_FIELDS = {
    "origin": lazy_gettext("origin"),
    "front": lazy_gettext("front"),
    "spot": lazy_gettext("spot"),
    "add": lazy_gettext("add"),
}
"""The fields of a lane's form, as a refusal names them."""
_IN_WORDS = {
    ("origin", False): lazy_gettext("Origin of lane %(lane)s to %(at)s"),
    ("origin", True): lazy_gettext("Origin of lane %(lane)s in bay %(bay)s to %(at)s"),
    ("origin-only", False): lazy_gettext("Origin of lane %(lane)s to %(at)s, this lane only"),
    ("origin-only", True): lazy_gettext("Origin of lane %(lane)s in bay %(bay)s to %(at)s, this lane only"),
    ("front", False): lazy_gettext("Front of lane %(lane)s to %(at)s"),
    ("front", True): lazy_gettext("Front of lane %(lane)s in bay %(bay)s to %(at)s"),
    ("front-only", False): lazy_gettext("Front of lane %(lane)s to %(at)s, this lane only"),
    ("front-only", True): lazy_gettext("Front of lane %(lane)s in bay %(bay)s to %(at)s, this lane only"),
    ("spot", False): lazy_gettext("A spot of lane %(lane)s to %(at)s"),
    ("spot", True): lazy_gettext("A spot of lane %(lane)s in bay %(bay)s to %(at)s"),
    ("add", False): lazy_gettext("A spot added in lane %(lane)s at %(at)s"),
    ("add", True): lazy_gettext("A spot added in lane %(lane)s in bay %(bay)s at %(at)s"),
    ("remove", False): lazy_gettext("A spot of lane %(lane)s removed"),
    ("remove", True): lazy_gettext("A spot of lane %(lane)s in bay %(bay)s removed"),
    ("turn", False): lazy_gettext("The strip turned: its origin is at the other end"),
    ("turn", True): lazy_gettext("The strip in bay %(bay)s turned: its origin is at the other end"),
    ("keep", False): lazy_gettext("The strip's origin is where it was taken to be"),
    ("keep", True): lazy_gettext("The origin of the strip in bay %(bay)s is where it was taken to be"),
    ("turn-shared", True): lazy_gettext("Strip %(strip)s in bay %(bay)s turned: its origin is at the other end"),
    ("keep-shared", True): lazy_gettext("The origin of strip %(strip)s in bay %(bay)s is where it was taken to be"),
    ("name", False): lazy_gettext("Lane %(lane)s named “%(label)s”"),
    ("name", True): lazy_gettext("Lane %(lane)s in bay %(bay)s named “%(label)s”"),
}
"""By kind of change and whether several strips lie on the photo. Of a bay's strips each lane has a number of its own."""


def in_words(change: Mapping[str, Any], several: bool, shared: bool = False) -> str:
    """A stored change in words; ``several`` strips lie on the photo, or even in the same bay where that is ``shared``.

    >>> in_words({"kind": "front", "bay": 1, "lane": 2, "s_mm": 101.25, "only": True}, False)
    'Front of lane 2 to 101.2 mm, this lane only'
    """
    kind = change["kind"]
    if kind == "follow":
        return _("Rf taken to the densest place") if change.get("label") == DENSEST else _("Rf taken to the centre")
    only, of_several = "-only" if change.get("only") else "", "-shared" if shared and kind in ENDS else ""
    words = _IN_WORDS.get((kind + only + of_several, several))
    at = "" if change.get("s_mm") is None else f"{change['s_mm']:.1f} mm"
    values = {
        "lane": change.get("lane"),
        "bay": change["bay"],
        "strip": change.get("strip", 1),
        "at": at,
        "label": change.get("label") or "",
    }
    return str(kind) if words is None else str(words) % values
