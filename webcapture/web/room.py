"""The room: one page a practical for the lead, with every station on it. It updates by itself where scripts run."""

from __future__ import annotations

import hashlib
import io
import re
from dataclasses import dataclass
from datetime import timedelta
from typing import Any
from urllib.parse import urlsplit

import segno
from flask import Blueprint, Response, abort, current_app, make_response, redirect, render_template, request, url_for
from PIL import Image
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as BaseResponse

import webcapture
from webcapture.report.cautions import cautions_for
from webcapture.report.handout import handout_pdf
from webcapture.store import corrections, photos, practicals, references, stations
from webcapture.store.codec import StoredResult
from webcapture.store.records import MEASURED, MEASURING, REFUSED, WAITING, PhotoInfo, PracticalInfo, StationInfo
from webcapture.web import findings
from webcapture.web.addresses import is_loopback, own_addresses, url
from webcapture.web.bands import rows
from webcapture.web.compare import csv_text, flags_of, groups
from webcapture.web.drawing import as_result, page_picture
from webcapture.web.errors import WrongField
from webcapture.web.findings import Findings
from webcapture.web.identity import now, require_lead, settings, store
from webcapture.web.language import gettext
from webcapture.web.language import lazy_gettext as _
from webcapture.web.lead import practical_or_404
from webcapture.web.library import comparing, library_without
from webcapture.web.naming import misfit
from webcapture.web.plan_doubts import plan_doubts
from webcapture.web.plot import plot_svg

room = Blueprint("room", __name__, url_prefix="/lead/practicals/<practical_id>")
room.before_request(require_lead)

MOST_CARDS = 60
FLAGS_SHOWN = 3
SMALL_PX = (480, 640)
"""Of a tile's picture at most: twice what it takes on the page, for fine screens."""
STATE_WORDS = {
    WAITING: _("waiting"),
    MEASURING: _("being measured"),
    MEASURED: _("measured"),
    REFUSED: _("not measured"),
}


@dataclass(frozen=True, slots=True)
class Tile:
    """One station on the page."""

    station: StationInfo
    photos: int
    state: str
    """Of the newest photo, in words; empty without any."""
    trouble: dict[str, Any] | None
    """Why the newest photo was refused."""
    shown: str | None
    """Id of the newest photo that is measured."""
    seen: str
    """Changes with what is known of that photo: its measurement and its corrections."""
    flags: tuple[str, ...]
    more_flags: int


@dataclass(frozen=True, slots=True)
class Sight:
    """What the records hold of one practical now."""

    practical: PracticalInfo
    stations: tuple[StationInfo, ...]
    photos: tuple[PhotoInfo, ...]

    def newest_measured(self, station_id: str) -> PhotoInfo | None:
        """That station's newest photo with a result."""
        own = [one for one in self.photos if one.station_id == station_id and one.state == MEASURED]
        return own[-1] if own else None

    @property
    def compared(self) -> list[PhotoInfo]:
        """One photo a station: the newest that is measured."""
        return [newest for one in self.stations if (newest := self.newest_measured(one.id)) is not None]


# --- pages


@room.get("")
def show(practical_id: str) -> str:
    """The page."""
    practical = practical_or_404(practical_id)
    method, lanes = practical.plan.method, practical.plan.lanes
    with store().database.reading() as session:
        context = _context(session, practical_id)
        version = _version(session, _sight(session, practical_id))
    return render_template(
        "lead/room.html",
        **context,
        version=version,
        doubts=plan_doubts(practical.plan),
        address=join_address(practical),
        cautions=cautions_for(
            method.mobile_phase, method.locating, practical.plan.notes, *(one.label for one in lanes)
        ),
    )


@room.get("/part")
def part(practical_id: str) -> Response:
    """What changes by itself, for the page's script; 304 where nothing has."""
    with store().database.reading() as session:
        version = _version(session, _sight(session, practical_id))
        if version in request.if_none_match:
            answer = make_response("", 304)
        else:
            answer = make_response(
                render_template("lead/_room.html", **_context(session, practical_id), version=version)
            )
    answer.set_etag(version)
    return answer


@room.get("/plot.svg")
def plot(practical_id: str) -> Response:
    """Every station's Rf, with the references that come into question."""
    with store().database.reading() as session:
        practical, compared = _compared(session, _sight(session, practical_id))
    drawn = plot_svg(rows(groups(practical, compared), practical, library_without(practical.id), comparing()))
    return Response(drawn, content_type="image/svg+xml; charset=utf-8")


@room.get("/photos/<photo_id>/small.jpg")
def small(practical_id: str, photo_id: str) -> Response:
    """A tile's picture. Its address holds what was seen of the photo, so that browsers may keep it until that changes."""
    with store().database.reading() as session:
        known = [one.id for one in _sight(session, practical_id).photos]
        found = findings.of_photo(session, photo_id, strict=False) if photo_id in known else None
    if found is None:
        abort(404)
    answer = Response(_small_jpeg(found), content_type="image/jpeg")
    answer.headers["Cache-Control"] = "private, max-age=86400, immutable"
    return answer


def _small_jpeg(found: Findings) -> bytes:
    page = page_picture(store().vault.read(found.measurement.page), settings().report.page_px_per_mm)
    stored = StoredResult(found.card, tuple(one.strip for one in found.strips), found.flags)
    drawn = Image.open(io.BytesIO(webcapture.annotated_jpeg(as_result(stored, found.info.name, page))))
    drawn.thumbnail(SMALL_PX)
    out = io.BytesIO()
    drawn.save(out, "JPEG", quality=settings().report.jpeg_quality)
    return out.getvalue()


@room.get("/qr.svg")
def qr(practical_id: str) -> Response:
    """The way to join, for a phone's camera; 404 where no phone could follow it."""
    address = join_address(practical_or_404(practical_id))
    if address is None:
        abort(404)
    out = io.BytesIO()
    segno.make(address, error="m", micro=False).save(out, kind="svg", scale=8, border=4, light="#fff")
    return Response(out.getvalue(), content_type="image/svg+xml; charset=utf-8")


@room.get("/spots.csv")
def spots(practical_id: str) -> Response:
    """All spots of all photos."""
    with store().database.reading() as session:
        sight = _sight(session, practical_id)
        labels = {one.id: one.label for one in sight.stations}
        found = findings.of_photos(session, sight.photos)
    text = csv_text(sight.practical, labels, found)
    # The mark at the front tells spreadsheets that the letters are UTF-8.
    answer = Response("\ufeff" + text, content_type="text/csv; charset=utf-8")
    answer.headers["Content-Disposition"] = f'attachment; filename="spots-{practical_id}.csv"'
    return answer


@room.get("/handout.pdf")
def handout(practical_id: str) -> Response:
    """Poster and cards to print."""
    practical = practical_or_404(practical_id)
    cards = request.args.get("cards", "1")
    if not re.fullmatch("[0-9]{1,3}", cards) or int(cards) > MOST_CARDS:
        raise WrongField(
            gettext("cards: Give a whole number from 0 to %(most)s.", most=MOST_CARDS),
            gettext("Correct the number and try again."),
        )
    plan = practical.plan
    data = handout_pdf(
        plan.title,
        practical.join_code,
        join_address(practical),
        plan.layout,
        plan.page,
        int(cards),
        _joined_until(practical),
    )
    answer = Response(data, content_type="application/pdf")
    answer.headers["Content-Disposition"] = f'attachment; filename="handout-{practical_id}.pdf"'
    return answer


# --- what the lead may do


@room.post("/joining")
def joining(practical_id: str) -> BaseResponse:
    """Open or close joining."""
    practical = practical_or_404(practical_id)
    is_open = request.form.get("open") == "1"
    until = now() + timedelta(hours=settings().room.open_hours) if is_open else practical.join_until
    with store().database.writing() as session:
        practicals.set_joining(session, practical_id, is_open, until)
    return _back(practical_id)


@room.post("/code")
def code(practical_id: str) -> BaseResponse:
    """Another join code."""
    practical_or_404(practical_id)
    with store().database.writing() as session:
        practicals.renew_code(session, practical_id)
    return _back(practical_id)


@room.route("/stations/<station_id>/delete", methods=["GET", "POST"])
def delete_station(practical_id: str, station_id: str) -> BaseResponse | str:
    """Delete a station's work, once that is confirmed."""
    with store().database.reading() as session:
        station = stations.find(session, station_id)
        count = len(photos.of_station(session, station_id))
    if station is None or station.practical_id != practical_id:
        abort(404)
    if request.method != "POST":
        return render_template("lead/delete_station.html", practical_id=practical_id, one=station, count=count)
    with store().database.writing() as session:
        stations.delete(session, station_id)
    current_app.extensions["foreman"].sweep()
    return _back(practical_id)


@room.route("/purge", methods=["GET", "POST"])
def purge(practical_id: str) -> BaseResponse | str:
    """Delete every station with its work now, once that is confirmed; the practical itself stays."""
    practical = practical_or_404(practical_id)
    with store().database.reading() as session:
        sight = _sight(session, practical_id)
    if request.method != "POST":
        return render_template("lead/purge.html", practical=practical, sight=sight)
    with store().database.writing() as session:
        for one in stations.of_practical(session, practical_id):
            stations.delete(session, one.id)
    current_app.extensions["foreman"].sweep()
    return _back(practical_id)


def _back(practical_id: str) -> BaseResponse:
    return redirect(url_for("room.show", practical_id=practical_id), 303)


# --- inside


def join_address(practical: PracticalInfo) -> str | None:
    """The address at which phones join, or None where only this computer reaches the tool."""
    path = url_for("join.label", code=practical.join_code)
    asked = urlsplit(request.host_url)
    if not is_loopback(asked.hostname or ""):
        return f"{request.host_url.rstrip('/')}{path}"
    others = own_addresses(current_app.extensions["host"])
    if not others:
        return None
    port = asked.port or {"http": 80, "https": 443}[asked.scheme]
    return f"{url(others[0], port, asked.scheme).rstrip('/')}{path}"


def _doubts(practical: PracticalInfo, found: Findings) -> list[str]:
    """What a tile says of a photo: first that it does not fit the plan, then its flags."""
    unlike = misfit(practical, found)
    return [*(unlike[:1] if unlike else ()), *(flag.text for flag in flags_of(found))]


def _joined_until(practical: PracticalInfo) -> str:
    """In the time of the computer that runs the tool, which stands in the same room."""
    return f"{practical.join_until.astimezone():%Y-%m-%d %H:%M %Z}"


def _sight(session: Session, practical_id: str) -> Sight:
    practical = practicals.find(session, practical_id)
    if practical is None:
        abort(404)
    own = stations.of_practical(session, practical_id)
    return Sight(practical, tuple(own), tuple(photos.of_practical(session, practical_id)))


def _version(session: Session, sight: Sight) -> str:
    """A digest of all that the page shows, without working any of it out."""
    changes = corrections.in_force(session, [one.id for one in sight.photos])
    seen = (
        references.mark(session),
        webcapture.__version__,
        sight.practical,
        sight.practical.joinable(now()),
        sight.stations,
        [(one.id, one.state, one.trouble) for one in sight.photos],
        sorted(one.id for several in changes.values() for one in several),
    )
    return hashlib.sha256(repr(seen).encode()).hexdigest()[:24]


def compared_of(session: Session, practical_id: str) -> list[tuple[str, Findings]]:
    """(station's label, its newest measured photo as corrected) of a practical; 404 where there is none."""
    return _compared(session, _sight(session, practical_id))[1]


def _compared(session: Session, sight: Sight) -> tuple[PracticalInfo, list[tuple[str, Findings]]]:
    labels = {one.id: one.label for one in sight.stations}
    found = findings.of_photos(session, sight.compared)
    return sight.practical, [(labels[one.info.station_id], one) for one in found]


def _context(session: Session, practical_id: str) -> dict[str, Any]:
    sight = _sight(session, practical_id)
    practical, compared = _compared(session, sight)
    flags = {one.info.id: _doubts(practical, one) for _label, one in compared}
    seen = _seen(session, [one for _label, one in compared])
    states = [one.state for one in sight.photos]
    return {
        "practical": practical,
        "joinable": practical.joinable(now()),
        "until": _joined_until(practical),
        "tiles": [_tile(one, sight, flags, seen) for one in sight.stations],
        "rows": rows(groups(practical, compared), practical, library_without(practical.id), comparing()),
        "counts": {
            "stations": len(sight.stations),
            "photos": len(states),
            "waiting": states.count(WAITING) + states.count(MEASURING),
            "measured": states.count(MEASURED),
            "refused": states.count(REFUSED),
        },
    }


def _seen(session: Session, found: list[Findings]) -> dict[str, str]:
    changes = corrections.in_force(session, [one.info.id for one in found])
    return {
        one.info.id: "-".join(str(n) for n in (one.measurement.id, *(c.id for c in changes[one.info.id])))
        for one in found
    }


def _tile(station: StationInfo, sight: Sight, flags: dict[str, list[str]], seen: dict[str, str]) -> Tile:
    own = [one for one in sight.photos if one.station_id == station.id]
    shown = sight.newest_measured(station.id)
    words = flags.get(shown.id, []) if shown else []
    return Tile(
        station=station,
        photos=len(own),
        state=str(STATE_WORDS[own[-1].state]) if own else "",
        trouble=own[-1].trouble if own else None,
        shown=None if shown is None else shown.id,
        seen=seen.get(shown.id, "") if shown else "",
        flags=tuple(words[:FLAGS_SHOWN]),
        more_flags=max(len(words) - FLAGS_SHOWN, 0),
    )
