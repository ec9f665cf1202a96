"""Joining a practical: a code, then a label. Nobody's name is asked for, and codes cannot be tried out."""

from __future__ import annotations

import unicodedata
from datetime import timedelta

from flask import Blueprint, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from webcapture.store import lead as leads
from webcapture.store import practicals, stations
from webcapture.store.practicals import tidy_code
from webcapture.store.records import PracticalInfo
from webcapture.web.errors import JoiningClosed, WrongCode, WrongField, declined
from webcapture.web.identity import current_station, now, remember_station, settings, store
from webcapture.web.language import gettext as _
from webcapture.web.lead import too_many
from webcapture.web.plan_form import too_long

join = Blueprint("join", __name__, url_prefix="/join")

KIND = "join"
Answer = BaseResponse | str


@join.route("", methods=["GET", "POST"])
def start() -> Answer:
    """Type the code."""
    if request.method != "POST":
        return _code_form("")
    typed = request.form.get("code", "")
    if not tidy_code(typed):
        wrong = _("Type the code that the lead shows.")
        return declined(WrongField(wrong), _code_form(wrong))
    found = _look_up(typed)
    if isinstance(found, PracticalInfo):
        return redirect(url_for("join.label", code=found.join_code), 303)
    return found


@join.route("/<code>", methods=["GET", "POST"])
def label(code: str) -> Answer:
    """The practical of that code: choose a label and join."""
    found = _look_up(code)
    if not isinstance(found, PracticalInfo):
        return found
    if request.method != "POST":
        return _label_form(found, "")
    typed = _tidy_label(request.form.get("label", ""))
    most = settings().room.label_length
    if len(typed) > most:
        wrong = too_long(most)
        return declined(WrongField(wrong), _label_form(found, wrong, typed))
    return _join(found, typed)


def _look_up(code: str) -> PracticalInfo | Answer:
    """The practical with this code that may be joined, or the page that says why there is none."""
    room = settings().room
    window = timedelta(seconds=room.guess_window_s)
    # Looked up and counted in one turn: codes sent at the same time are no way round the limit.
    with store().database.writing() as session:
        left = leads.guesses_left(session, KIND, now(), window, room.guesses)
        found = practicals.by_code(session, code) if left else None
        if left and found is None:
            leads.count_guess(session, KIND, now(), window)
    if not left:
        return too_many(_("A wrong code was typed too often."), url_for("join.start"))
    if found is None:
        page = _code_form(_("No practical has this code. Compare it with what the lead shows."), code[:12])
        return declined(WrongCode("No practical has this code."), page)
    if not found.joinable(now()):
        page = render_template("join/closed.html", practical=found, expired=found.join_open)
        return declined(JoiningClosed("Joining this practical is closed."), page)
    return found


def _join(practical: PracticalInfo, typed: str) -> BaseResponse:
    with store().database.writing() as session:
        taken = {one.label for one in stations.of_practical(session, practical.id)}
        chosen = typed or next(
            name for n in range(1, len(taken) + 2) if (name := _("Station %(number)s", number=n)) not in taken
        )
        _info, token = stations.join(session, practical.id, chosen, now())
    answer = make_response(redirect(url_for("station.work"), 303))
    remember_station(answer, token)
    return answer


def _code_form(wrong: str, code: str = "") -> str:
    return render_template("join/code.html", wrong=wrong, code=code)


def _label_form(practical: PracticalInfo, wrong: str, typed: str = "") -> str:
    who = current_station()
    already = who if who is not None and who.practical_id == practical.id else None
    return render_template("join/label.html", practical=practical, wrong=wrong, typed=typed, already=already)


def _tidy_label(text: str) -> str:
    """One line without invisible characters.

    >>> _tidy_label("  Bench\\t 3 \\u202e")
    'Bench 3'
    """
    seen = "".join(c if not unicodedata.category(c).startswith("C") else " " for c in text)
    return " ".join(seen.split())
