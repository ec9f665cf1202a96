"""One result: read it, correct it by hand, take a correction back. For its own station and the lead; to others it is nothing."""

from __future__ import annotations

import hashlib
import json
import uuid
from collections.abc import Callable
from typing import Any

from flask import Blueprint, Response, abort, jsonify, make_response, redirect, render_template, request, url_for
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as BaseResponse

import webcapture
from webcapture.errors import UsageError, WebcaptureError
from webcapture.measure.correct import Change, Corrected
from webcapture.model import CardSeen, Lane
from webcapture.store import corrections, photos, practicals, stations
from webcapture.store.codec import StoredResult
from webcapture.store.records import CorrectionInfo, PhotoInfo, PracticalInfo, StationInfo
from webcapture.web import findings, hand
from webcapture.web.candidates import COLOURS, EVIDENCE, OUTCOMES, comparisons
from webcapture.web.drawing import as_result, page_picture, profile_svg, strip_jpeg
from webcapture.web.errors import declined, for_programs, wants_part
from webcapture.web.findings import Findings
from webcapture.web.identity import current_station, is_lead, now, settings, store
from webcapture.web.language import gettext as _
from webcapture.web.naming import lane_names, misfit
from webcapture.web.sight import Note, photo_notes, residual_text, strip_sight, with_follows

results = Blueprint("results", __name__, url_prefix="/results")

LEAD = "lead"
PAGE = "/<uuid:photo_id>"
LONGEST_ID = 16
"""Digits of a correction's number; a database takes no more."""


def _mine(session: Session, photo_id: uuid.UUID) -> PhotoInfo:
    """The photo, if it is the asking station's or the lead asks; else 404, as if it did not exist."""
    photo = photos.find(session, str(photo_id))
    who = current_station()
    if photo is None or not (is_lead() or (who is not None and who.id == photo.station_id)):
        abort(404)
    return photo


def _found(session: Session, photo_id: uuid.UUID) -> Findings:
    photo = _mine(session, photo_id)
    found = findings.of_photo(session, photo.id, strict=False)
    if found is None:
        abort(404)
    return found


def _read(photo_id: uuid.UUID) -> Findings:
    with store().database.reading() as session:
        return _found(session, photo_id)


@results.get(PAGE)
def show(photo_id: uuid.UUID) -> str:
    """The page."""
    return _page(photo_id, None)


def _page(photo_id: uuid.UUID, trouble: WebcaptureError | None) -> str:
    with store().database.reading() as session:
        found = _found(session, photo_id)
        history = corrections.history(session, found.info.id)
        owner = stations.find(session, found.info.station_id)
        practical = None if owner is None else practicals.find(session, owner.practical_id)
    context = {
        "photo": found.info,
        "card_words": _card_words(found.card),
        "strips": [strip_sight(one, _labels(practical, found, one)) for one in found.strips],
        "notes": _notes(found, practical),
        "names": comparisons(practical, found, as_result(_stored(found), found.info.name)),
        "outcomes": OUTCOMES,
        "evidence": EVIDENCE,
        "colours": COLOURS,
        "history": [_told(change, found) for change in reversed(history)],
        "software": found.measurement.software,
        "trouble": trouble,
    }
    if wants_part():
        return render_template("results/_result.html", **context)
    return render_template("results/show.html", owner=owner, practical=practical, **_for_whom(owner), **context)


def _card_words(card: CardSeen) -> str:
    residual = residual_text(card.residual_mm)
    if card.layout == "tray":
        return _("Tray card; its frame fits to %(residual)s mm.", residual=residual)
    return _("Sheet card; its frame fits to %(residual)s mm.", residual=residual)


def _labels(practical: PracticalInfo | None, found: Findings, strip: Corrected) -> dict[int, str]:
    return {lane: name.label for lane, name in lane_names(practical, found, strip).items()}


def _notes(found: Findings, practical: PracticalInfo | None) -> tuple[Note, ...]:
    """On the photo as a whole, and on a plan that it does not fit."""
    unlike = misfit(practical, found)
    return photo_notes(found.flags) + (() if unlike is None else (Note(*unlike, ()),))


def _for_whom(owner: StationInfo | None) -> dict[str, Any]:
    who = current_station()
    own = who is not None and owner is not None and who.id == owner.id
    return {"back": url_for("station.work") if own else None}


def _told(change: CorrectionInfo, found: Findings) -> dict[str, Any]:
    idle = [one for strip in found.strips for one in strip.idle]
    shared = {strip.strip.bay for strip in found.strips if strip.strip.shared}
    return {
        "id": change.id,
        "words": hand.in_words(change.change, len(found.strips) > 1, change.change["bay"] in shared),
        "idle": change.undone_at is None and Change(**change.change) in idle,
        "made_at": change.made_at.isoformat(timespec="seconds"),
        "by": change.by,
        "undone_by": change.undone_by,
        "undone_at": None if change.undone_at is None else change.undone_at.isoformat(timespec="seconds"),
    }


# --- pictures and numbers


@results.get(f"{PAGE}/picture.jpg")
def picture(photo_id: uuid.UUID) -> Response:
    """The annotated picture, with every correction in it."""
    found = _read(photo_id)
    mark = _mark_of(found)
    if request.if_none_match.contains(mark):  # before anything is drawn
        answer = Response(status=304)
    else:
        page = page_picture(store().vault.read(found.measurement.page), settings().report.page_px_per_mm)
        drawn = webcapture.annotated_jpeg(as_result(_stored(found), found.info.name, page))
        answer = Response(drawn, content_type="image/jpeg")
    answer.set_etag(mark)
    return answer


def _mark_of(found: Findings) -> str:
    """Changes with everything that the annotated picture shows, and with the software that draws it."""
    numbers = webcapture.as_dict(as_result(_stored(found), ""))
    shown = json.dumps([webcapture.__version__, found.measurement.page, numbers])
    return hashlib.sha256(shown.encode()).hexdigest()[:32]


@results.get(f"{PAGE}/strip-<place>.jpg")
def strip(photo_id: uuid.UUID, place: str) -> Response:
    """One strip as it lies on the page, set upright."""
    found = _read(photo_id)
    page = store().vault.read(found.measurement.page)
    scale, quality = settings().report.page_px_per_mm, settings().report.jpeg_quality
    answer = Response(strip_jpeg(page, _strip(found, place).strip, scale, quality), content_type="image/jpeg")
    return _unless_known(answer)


@results.get(f"{PAGE}/profile-<int:bay>-<int:lane>.svg")
def profile(photo_id: uuid.UUID, bay: int, lane: int) -> Response:
    """The three channels along one lane."""
    one, that = _lane(_read(photo_id), bay, lane)
    return _unless_known(Response(profile_svg(one.strip, that), content_type="image/svg+xml"))


@results.get(f"{PAGE}.json")
@for_programs
def numbers(photo_id: uuid.UUID) -> Response:
    """The same as the contract's object, with the names that the page tells where the practical's method is clear."""
    with store().database.reading() as session:
        found = _found(session, photo_id)
        owner = stations.find(session, found.info.station_id)
        practical = None if owner is None else practicals.find(session, owner.practical_id)
    result = as_result(_stored(found), found.info.name)
    told = comparisons(practical, found, result)
    names = {} if told is None or told.names is None else {"names": told.names}
    return jsonify(with_follows(webcapture.as_dict(result), found.strips) | names)


def _unless_known(answer: Response) -> Response:
    """Let a browser keep it, but ask each time whether it still holds."""
    answer.add_etag()
    answer.make_conditional(request)
    return answer


def _stored(found: Findings) -> StoredResult:
    return StoredResult(found.card, tuple(one.strip for one in found.strips), found.flags)


def _strip(found: Findings, place: str) -> Corrected:
    one = next((one for one in found.strips if one.strip.place == place), None)
    return one or abort(404)


def _lane(found: Findings, bay: int, number: int) -> tuple[Corrected, Lane]:
    """That lane with its strip: within a bay its number says which strip it is on."""
    there = ((one, lane) for one in found.strips for lane in one.strip.lanes if one.strip.bay == bay)
    return next((pair for pair in there if pair[1].lane == number), None) or abort(404)


# --- corrections


@results.post(f"{PAGE}/lanes/<int:bay>-<int:lane>")
def correct(photo_id: uuid.UUID, bay: int, lane: int) -> BaseResponse:
    """Correct one lane by its form."""

    return _change(photo_id, lambda found: hand.lane_changes(request.form, *_lane(found, bay, lane)))


@results.post(f"{PAGE}/ends/<place>")
def ends(photo_id: uuid.UUID, place: str) -> BaseResponse:
    """Say which end of a strip is the origin end."""
    return _change(photo_id, lambda found: [hand.ends_change(request.form, _strip(found, place))])


@results.post(f"{PAGE}/follow")
def follow(photo_id: uuid.UUID) -> BaseResponse:
    """Choose what Rf follows, on all strips of the photo."""

    def wanted(found: Findings) -> list[Change]:
        changes = [hand.follow_change(request.form, one) for one in found.strips]
        return [change for change in changes if change is not None]

    return _change(photo_id, wanted)


@results.post(f"{PAGE}/undo")
def undo(photo_id: uuid.UUID) -> BaseResponse:
    """Take one correction back; what was built on it has no effect until that is made anew."""
    number = request.form.get("correction", "")
    with store().database.writing() as session:
        photo = _mine(session, photo_id)
        if number.isascii() and number.isdecimal() and len(number) < LONGEST_ID:
            corrections.undo(session, int(number), photo.id, _by(photo), now())
    return _again(photo_id)


def _change(photo_id: uuid.UUID, wanted: Callable[[Findings], list[Change]]) -> BaseResponse:
    """Add what is wanted, all of it or, where any of it fits nothing, none."""
    try:
        with store().database.writing() as session:
            found = _found(session, photo_id)
            for change in wanted(found):
                corrections.add(session, found.info.id, hand.as_stored(change), _by(found.info), now())
                findings.of_photo(session, found.info.id)
    except UsageError as error:
        return declined(error, _page(photo_id, error))
    return _again(photo_id)


def _by(photo: PhotoInfo) -> str:
    who = current_station()
    return who.label if who is not None and who.id == photo.station_id else LEAD


def _again(photo_id: uuid.UUID) -> BaseResponse:
    if wants_part():
        return make_response(_page(photo_id, None))
    return redirect(url_for("results.show", photo_id=photo_id), 303)
