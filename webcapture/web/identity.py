"""Who asks: a station by the token in its cookie, the lead by a session; nobody gives a name.

A page that belongs to one station answers every other one as if it did not exist.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from flask import Flask, Response, abort, current_app, g, redirect, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from webcapture.settings import Settings
from webcapture.store import lead as leads
from webcapture.store import stations
from webcapture.store.records import StationInfo
from webcapture.store.store import Store
from webcapture.web.errors import NotSignedIn, wants_json

STATION_COOKIE, LEAD_COOKIE = "station", "lead"
STATION_DAYS = 30


def now() -> datetime:
    """The time; tests set ``app.config["CLOCK"]``."""
    clock = current_app.config.get("CLOCK")
    return clock() if clock else datetime.now(UTC)


def store() -> Store:
    """The store of this installation; 404 where the tool runs without one."""
    found = current_app.extensions.get("store")
    if not isinstance(found, Store):
        abort(404)
    return found


def settings() -> Settings:
    """This application's settings."""
    found: Settings = current_app.extensions["settings"]
    return found


def current_station() -> StationInfo | None:
    """The station whose cookie this is, or None."""
    if "station" not in g:
        token = request.cookies.get(STATION_COOKIE, "")
        g.station = None
        if token and current_app.extensions.get("store"):
            with store().database.reading() as session:
                g.station = stations.by_token(session, token)
    found: StationInfo | None = g.station
    return found


def is_lead() -> bool:
    """Whether the lead has signed in on this device."""
    if "lead" not in g:
        token = request.cookies.get(LEAD_COOKIE, "")
        g.lead = False
        if token and current_app.extensions.get("store"):
            with store().database.reading() as session:
                g.lead = leads.is_signed_in(session, token, now())
    return bool(g.lead)


def require_lead() -> BaseResponse | None:
    """For ``before_request``: sends everybody but the lead to the sign-in page; raises NotSignedIn where none is wanted."""
    if is_lead():
        return None
    if request.method not in {"GET", "HEAD"} or wants_json() or not request.accept_mimetypes.accept_html:
        raise NotSignedIn("The lead has not signed in on this device, or not lately.")
    return redirect(url_for("lead.sign_in", next=request.full_path.rstrip("?")))


def require_station() -> StationInfo:
    """The station, or 404: what belongs to one station is nothing to another."""
    station = current_station()
    if station is None:
        abort(404)
    return station


def remember_station(answer: Response, token: str) -> None:
    """Set the station's cookie."""
    _set(answer, STATION_COOKIE, token, timedelta(days=STATION_DAYS))


def remember_lead(answer: Response, token: str) -> None:
    """Set the lead's cookie."""
    _set(answer, LEAD_COOKIE, token, timedelta(hours=settings().room.session_hours))


def forget_lead(answer: Response) -> None:
    """Remove the lead's cookie."""
    answer.delete_cookie(LEAD_COOKIE, path="/")


def _set(answer: Response, name: str, token: str, lasts: timedelta) -> None:
    # Secure only where the page itself is: a phone on plain http would drop the cookie.
    answer.set_cookie(name, token, max_age=lasts, path="/", httponly=True, samesite="Lax", secure=request.is_secure)


def init_app(app: Flask) -> None:
    """Let templates ask who is there."""
    app.context_processor(
        lambda: {"station": current_station(), "is_lead": is_lead(), "has_records": "store" in app.extensions}
    )
