"""Every part of the pages in every state, on one page for those who change them: rendered from the pages' own templates.

Only in a tool that keeps records, since half of the parts belong to practicals. Nothing on it is real, and nothing leads to it.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from flask import Blueprint, render_template

from webcapture.errors import NoCard
from webcapture.flags import REGISTRY
from webcapture.report.cautions import cautions_for
from webcapture.report.export import error_dict
from webcapture.store.records import MEASURED, MEASURING, REFUSED, WAITING, StationInfo
from webcapture.web.contexts import Note
from webcapture.web.errors import TROUBLES
from webcapture.web.measuring import Shown
from webcapture.web.room import Tile
from webcapture.web.station import WORDS, Listed

parts = Blueprint("parts", __name__)

MOMENT = datetime(2026, 9, 14, 10, 30, tzinfo=UTC)
HINTS = ("whole", "good")
NO_CARD = {"code": NoCard.code, "message": "No card was recognised.", "hint": NoCard.default_hint}


@parts.get("/help/parts")
def show() -> str:
    """The page."""
    return render_template(
        "parts.html",
        listed=[_listed(state) for state in (WAITING, MEASURING, MEASURED, REFUSED)],
        example_notes=[Note(flag.code, flag.text, flag.advice, ()) for flag in REGISTRY.values()],
        problems=list(TROUBLES.values()),
        shown=[Shown(_entry(), None), Shown(error_dict("strip 2.jpg", NoCard(NO_CARD["message"])), None)],
        tiles=_tiles(),
        cautions=cautions_for("propanone", "ninhydrin"),
    )


def _listed(state: str) -> Listed:
    trouble = NO_CARD if state == REFUSED else None
    return Listed(
        id=state,
        name=f"{state}.jpg",
        time=MOMENT.isoformat(),
        state=state,
        words=str(WORDS[state]),
        trouble=trouble,
        address="#" if state == MEASURED else None,
    )


def _tiles() -> list[Tile]:
    flags = tuple(flag.text for flag in list(REGISTRY.values())[:3])
    states: tuple[tuple[str, dict[str, Any] | None, tuple[str, ...], int], ...] = (
        ("", None, (), 0),
        (str(WORDS[WAITING]), None, (), 0),
        (str(WORDS[MEASURED]), None, (), 0),
        (str(WORDS[MEASURED]), None, flags, 2),
        (str(WORDS[REFUSED]), NO_CARD, (), 0),
    )
    return [
        Tile(StationInfo(str(n), "", f"Bench {n}", MOMENT), 1 if words else 0, words, trouble, None, "", told, more)
        for n, (words, trouble, told, more) in enumerate(states, 1)
    ]


def _entry() -> dict[str, Any]:
    """A made-up result: a clear spot, and one that is doubtful and has no Rf."""
    faint = REGISTRY["faint"]
    flag = {"code": faint.code, "text": faint.text, "advice": faint.advice}
    clear = {
        "spot": 1,
        "distance_mm": 40.4,
        "width_mm": 5.1,
        "rf": 0.448,
        "U_rf": 0.004,
        "colour": "#b04a5a",
        "flags": [],
    }
    doubtful = {**clear, "spot": 2, "rf": None, "U_rf": None, "colour": "#2f7fa0", "flags": [flag]}
    lane = {"lane": 1, "spots": [clear, doubtful], "flags": []}
    card = {"layout": "sheet", "paper": "a4", "residual_mm": 0.04, "tilt_deg": 7.1, "px_per_mm": 12.8}
    strips = [{"bay": 1, "strip": 1, "lanes": [lane], "flags": []}]
    return {"photo": "strip 1.jpg", "card": card, "strips": strips, "flags": [flag], "error": None}
