"""A station's own page, and the way of its photos from the phone to the records.

A photo is answered for only once it is on disk and in the records; until then the phone keeps it. Sending it again, under the
id that the phone gave it, changes nothing.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import Any, cast
from urllib.parse import unquote

from flask import Blueprint, Response, current_app, jsonify, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from webcapture.errors import TooLarge, Truncated
from webcapture.store import photos, practicals
from webcapture.store.records import MEASURED, MEASURING, REFUSED, WAITING, PhotoInfo, StationInfo
from webcapture.web.errors import Full, NoPhoto, NotJoined, TooManyPhotos, for_programs, wants_part
from webcapture.web.foreman import Foreman
from webcapture.web.identity import current_station, now, settings, store
from webcapture.web.language import gettext as _
from webcapture.web.language import lazy_gettext, ngettext
from webcapture.web.measuring import tidy_name

station = Blueprint("station", __name__, url_prefix="/work")

NAME_HEADER = "X-Name"
"""The file's name, percent-encoded."""
WORDS = {
    WAITING: lazy_gettext("Waiting to be measured"),
    MEASURING: lazy_gettext("Being measured"),
    MEASURED: lazy_gettext("Measured"),
    REFUSED: lazy_gettext("Not measured"),
}


@dataclass(frozen=True, slots=True)
class Listed:
    """A photo of the list, as shown."""

    id: str
    name: str
    time: str
    """When it was received, ISO 8601 in UTC."""
    state: str
    words: str
    trouble: dict[str, Any] | None
    address: str | None


def foreman() -> Foreman:
    """The application's foreman."""
    return cast(Foreman, current_app.extensions["foreman"])


@station.get("")
def work() -> str:
    """The station's page, or only its list of photos for the page's own script."""
    who = joined()
    listed = _listed(who)
    if wants_part():
        return render_template("station/_photos.html", photos=listed)
    with store().database.reading() as session:
        practical = practicals.find(session, who.practical_id)
    if practical is None:  # deleted in this very moment
        raise _not_joined()
    return render_template("station/work.html", practical=practical, who=who, photos=listed, name_header=NAME_HEADER)


@station.get("/photos")
@for_programs
def listing() -> Response:
    """The station's photos, the newest first."""
    return jsonify([_as_json(photo) for photo in _infos(joined())])


@station.put("/photos/<uuid:photo_id>")
@for_programs
def put(photo_id: uuid.UUID) -> tuple[Response, int]:
    """Take one photo, its bytes being the request's body. 201, or 200 where it had arrived before."""
    who = joined()
    name = tidy_name(unquote(request.headers.get(NAME_HEADER, "")), settings().web.name_length)
    info, new = _accept(who, str(photo_id), name, body(_most_bytes()))
    return jsonify(_as_json(info)), 201 if new else 200


@station.post("/photos")
def post() -> BaseResponse:
    """The same for a form, where the page's script does not run."""
    who = joined()
    files = [file for file in request.files.getlist("photo") if file.filename]
    most = settings().web.max_photos
    if not files:
        raise NoPhoto("No photo was chosen.")
    if len(files) > most:
        raise TooManyPhotos(
            _("%(count)s photos came in one go; at most %(most)s can be sent together.", count=len(files), most=most)
        )
    for file in files:
        name = tidy_name(file.filename, settings().web.name_length)
        _accept(who, str(uuid.uuid4()), name, _checked(file.stream.read(_most_bytes() + 1), _most_bytes()))
    return redirect(url_for("station.work"), 303)


def _most_bytes() -> int:
    return settings().photo.max_bytes


def body(most: int) -> bytes:
    """The request's body of at most so many bytes; raises what is wrong with its length before more than that is read."""
    if (request.content_length or 0) > most:
        raise _too_large(most)
    data = request.stream.read(most + 1)
    if request.content_length is not None and len(data) < request.content_length:
        raise Truncated("The photo arrived incomplete.", "Send it again.")
    return _checked(data, most)


def _checked(data: bytes, most: int) -> bytes:
    if not data:
        raise NoPhoto("The photo is empty.", "Take it again, or choose another one.")
    if len(data) > most:
        raise _too_large(most)
    return data


def _too_large(most: int) -> TooLarge:
    return TooLarge(_("The photo is larger than %(size)s MB.", size=f"{most / 1e6:g}"))


def _accept(who: StationInfo, photo_id: str, name: str, data: bytes) -> tuple[PhotoInfo, bool]:
    """On disk, then in the records, then told to the foreman."""
    _refuse_when_full(who, photo_id)
    with foreman().accepting():
        digest = store().vault.put(data)
        with store().database.writing() as session:
            found = photos.accept(session, photo_id, who.id, name, digest, len(data), now())
    foreman().notify()
    return found


def _refuse_when_full(who: StationInfo, photo_id: str) -> None:
    most = settings().room.photos_a_station
    with store().database.reading() as session:
        known = photos.find(session, photo_id) is not None
        if not known and len(photos.of_station(session, who.id)) >= most:
            raise Full(
                ngettext(
                    "This station has sent %(num)s photo, and more are not taken.",
                    "This station has sent %(num)s photos, and more are not taken.",
                    most,
                )
            )


def _infos(who: StationInfo) -> list[PhotoInfo]:
    with store().database.reading() as session:
        return photos.of_station(session, who.id)


def _listed(who: StationInfo) -> list[Listed]:
    return [
        Listed(
            p.id,
            p.name,
            p.received_at.isoformat(timespec="seconds"),
            p.state,
            str(WORDS[p.state]),
            p.trouble,
            _address(p),
        )
        for p in _infos(who)
    ]


def _address(photo: PhotoInfo) -> str | None:
    return url_for("results.show", photo_id=photo.id) if photo.state == MEASURED else None


def _as_json(photo: PhotoInfo) -> dict[str, Any]:
    return {
        "id": photo.id,
        "name": photo.name,
        "state": photo.state,
        "trouble": photo.trouble,
        "address": _address(photo),
    }


def joined() -> StationInfo:
    """Who asks; raises NotJoined, told in plain words: who comes here has joined once, or followed the wrong link."""
    who = current_station()
    if who is None:
        raise _not_joined()
    return who


def _not_joined() -> NotJoined:
    return NotJoined("This phone has not joined a practical, or its station was deleted.")
