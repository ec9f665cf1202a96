"""The lead: the passphrase, signing in, and the list of practicals. Every page works without JavaScript."""

from __future__ import annotations

import hmac
import re
from datetime import timedelta
from typing import Any, NoReturn

from flask import Blueprint, Flask, abort, current_app, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from webcapture.report.cautions import DEFER, cautions_for
from webcapture.store import lead as leads
from webcapture.store import practicals
from webcapture.store.records import PracticalInfo
from webcapture.web import plan_form
from webcapture.web.errors import NoPassphrase, TooManyGuesses, WrongField, WrongPassphrase, declined
from webcapture.web.identity import (
    LEAD_COOKIE,
    forget_lead,
    is_lead,
    now,
    remember_lead,
    require_lead,
    settings,
    store,
)
from webcapture.web.language import gettext as _
from webcapture.web.language import ngettext
from webcapture.web.plan_doubts import plan_doubts
from webcapture.web.plan_form import Fields

lead = Blueprint("lead", __name__, url_prefix="/lead")

OPEN_TO_ALL = {"lead.setup", "lead.sign_in"}
KIND = "passphrase"
OWN_PAGES = re.compile(r"/(?:lead|results|references)(?:[/?][\w./?=&%+-]*)?")
"""Where signing in may lead: our own pages only, never to another site."""


def init_app(app: Flask) -> None:
    """Let templates show cautions."""
    app.jinja_env.globals.update(cautions_for=cautions_for, cautions_defer=DEFER)


@lead.before_request
def _only_lead() -> BaseResponse | None:
    return None if request.endpoint in OPEN_TO_ALL else require_lead()


# --- passphrase


@lead.route("/setup", methods=["GET", "POST"])
def setup() -> BaseResponse | str:
    """Set the first passphrase. Only with the key that the terminal shows, and only while there is none."""
    key = request.values.get("key", "")
    if not hmac.compare_digest(key.encode(), str(current_app.extensions["setup_key"]).encode()):
        abort(404)
    if _has_passphrase():
        return redirect(url_for("lead.sign_in"), 303)
    if request.method != "POST":
        return render_template("lead/setup.html", key=key, wrong={})
    wrong = _wrong_passphrase(request.form)
    if wrong:
        page = render_template("lead/setup.html", key=key, wrong=wrong)
        return declined(wrong_field(wrong), page)
    with store().database.writing() as session:
        if leads.has_passphrase(session):  # another device was faster
            return redirect(url_for("lead.sign_in"), 303)
        leads.set_passphrase(session, request.form["passphrase"])
    return _signed_in(url_for("lead.home"))


def _wrong_passphrase(form: Any) -> Fields:
    words, again = form.get("passphrase", "").strip(), form.get("again", "").strip()
    least = settings().room.passphrase_least
    if len(words) < least:
        short = ngettext(
            "At least %(num)s character: a few words are easy to keep in mind.",
            "At least %(num)s characters: a few words are easy to keep in mind.",
            least,
        )
        return {"passphrase": short}
    if words != again:
        return {"again": _("The two are not the same. Type the passphrase twice.")}
    return {}


def _has_passphrase() -> bool:
    with store().database.reading() as session:
        return leads.has_passphrase(session)


@lead.route("/sign-in", methods=["GET", "POST"])
def sign_in() -> BaseResponse | str:
    """Sign in with the passphrase, from any device."""
    aim = _own_page(request.values.get("next", ""))
    if not _has_passphrase():
        return declined(NoPassphrase("There is no passphrase yet."), render_template("lead/no_passphrase.html"))
    if request.method != "POST":
        return redirect(aim, 303) if is_lead() else render_template("lead/sign_in.html", aim=aim, wrong="")
    if _guesses_left() == 0:
        return _too_many()
    if not _passphrase_fits(request.form.get("passphrase", "")):
        wrong = _("That is not the passphrase.")
        return declined(WrongPassphrase(wrong), render_template("lead/sign_in.html", aim=aim, wrong=wrong))
    return _signed_in(aim)


def _guesses_left() -> int:
    room = settings().room
    with store().database.reading() as session:
        return leads.guesses_left(session, KIND, now(), timedelta(seconds=room.guess_window_s), room.guesses)


def _passphrase_fits(words: str) -> bool:
    """Counted and compared in one turn: tries sent at the same time are no way round the limit."""
    room = settings().room
    window = timedelta(seconds=room.guess_window_s)
    with store().database.writing() as session:
        if leads.guesses_left(session, KIND, now(), window, room.guesses) == 0:
            return False
        fits = leads.passphrase_is(session, words)
        if not fits:
            leads.count_guess(session, KIND, now(), window)
        return fits


def _too_many() -> BaseResponse:
    return too_many(_("The passphrase was wrong too often."), url_for("lead.sign_in"))


def too_many(message: str, back: str) -> BaseResponse:
    """The page after too many wrong tries, over all devices."""
    wait = settings().room.guess_window_s
    hint = ngettext(
        "Wrong tries are counted over all devices. Wait %(num)s minute, then try again.",
        "Wrong tries are counted over all devices. Wait %(num)s minutes, then try again.",
        round(wait / 60),
    )
    page = render_template("lead/too_many.html", message=message, hint=hint, back=back)
    answer = declined(TooManyGuesses(message, hint), page)
    answer.headers["Retry-After"] = f"{wait:.0f}"
    return answer


def _own_page(address: str) -> str:
    return address if OWN_PAGES.fullmatch(address) else url_for("lead.home")


def _signed_in(aim: str) -> BaseResponse:
    lasts = timedelta(hours=settings().room.session_hours)
    with store().database.writing() as session:
        token = leads.sign_in(session, now(), lasts)
    answer = make_response(redirect(aim, 303))
    remember_lead(answer, token)
    return answer


@lead.post("/sign-out")
def sign_out() -> BaseResponse:
    """Forget this device."""
    with store().database.writing() as session:
        leads.sign_out(session, request.cookies.get(LEAD_COOKIE, ""))
    answer = make_response(redirect(url_for("lead.sign_in"), 303))
    forget_lead(answer)
    return answer


# --- practicals


@lead.get("")
def home() -> str:
    """Every practical, the newest first."""
    with store().database.reading() as session:
        found = practicals.all_of_them(session)
    return render_template("lead/home.html", practicals=found, moment=now())


@lead.route("/practicals/new", methods=["GET", "POST"])
def new() -> BaseResponse | str:
    """Set up a practical; ``?copy=ID`` begins with an earlier one's plan."""
    if request.method != "POST":
        return _form(_first_fields(request.args.get("copy")), None)
    typed = plan_form.read(request.form, now(), settings().room)
    if "show" in request.form:
        return _form(typed.fields, None)
    if typed.plan is None:
        return _form(typed.fields, None, typed.wrong)
    with store().database.writing() as session:
        made = practicals.create(session, typed.plan, now(), timedelta(hours=settings().room.open_hours))
    return redirect(url_for("room.show", practical_id=made.id), 303)


@lead.route("/practicals/<practical_id>/edit", methods=["GET", "POST"])
def edit(practical_id: str) -> BaseResponse | str:
    """Change what was set up."""
    practical = practical_or_404(practical_id)
    if request.method != "POST":
        return _form(plan_form.fields_of(practical.plan, now(), settings().room), practical)
    typed = plan_form.read(request.form, now(), settings().room)
    if "show" in request.form:
        return _form(typed.fields, practical)
    if typed.plan is None:
        return _form(typed.fields, practical, typed.wrong)
    with store().database.writing() as session:
        practicals.change(session, practical.id, typed.plan)
    return redirect(url_for("room.show", practical_id=practical.id), 303)


@lead.route("/practicals/<practical_id>/delete", methods=["GET", "POST"])
def delete(practical_id: str) -> BaseResponse | str:
    """Delete a practical with everything in it, once that is confirmed."""
    practical = practical_or_404(practical_id)
    if request.method != "POST":
        return render_template("lead/delete.html", practical=practical)
    with store().database.writing() as session:
        practicals.delete(session, practical.id)
    current_app.extensions["foreman"].sweep()
    return redirect(url_for("lead.home"), 303)


def practical_or_404(practical_id: str) -> PracticalInfo:
    """The practical of that id; 404 where there is none."""
    with store().database.reading() as session:
        found = practicals.find(session, practical_id)
    return found or _gone()


def _gone() -> NoReturn:
    abort(404)


def _first_fields(copied: str | None) -> Fields:
    fields = plan_form.fresh(now(), settings().room)
    if not copied:
        return fields
    plan = practical_or_404(copied).plan
    return plan_form.fields_of(plan, now(), settings().room) | {"title": _("%(title)s (copy)", title=plan.title)[:80]}


def _form(fields: Fields, practical: PracticalInfo | None, wrong: Fields | None = None) -> BaseResponse | str:
    labels = [fields[f"label_{n}"] for n in range(1, plan_form.LANES + 1)]
    page = render_template(
        "lead/practical.html",
        fields=fields,
        wrong=wrong or {},
        practical=practical,
        lanes=plan_form.LANES,
        lengths=plan_form.LENGTHS,
        label_length=plan_form.MIXED_LABEL,
        doubts=() if practical is None or wrong else plan_doubts(practical.plan),
        cautions=cautions_for(fields["mobile_phase"], fields["locating"], fields["notes"], *labels),
    )
    return declined(wrong_field(wrong), page) if wrong else page


def wrong_field(wrong: Fields) -> WrongField:
    """The first of the fields that are wrong, for programs; the page shows them all."""
    name, words = next(iter(wrong.items()))
    return WrongField(f"{name}: {words}")
