"""For programs: photos in, the contract's JSON out."""

from __future__ import annotations

from flask import Blueprint, Response, abort, jsonify, request, url_for

from webcapture.web.measuring import Entry, Shown
from webcapture.web.uploads import take_photos

api = Blueprint("api", __name__, url_prefix="/api")


@api.post("/measure")
def measure() -> Response:
    """Measure the photos of a multipart form (fields named ``photo``): a list as ``measure --json`` prints it.

    Each object has one member more, ``picture``: the address of the annotated picture, or null. The status is 200 where
    the request was understood, whether or not every photo could be measured; its entry says why not.
    """
    if request.mimetype != "multipart/form-data":
        abort(415)
    return jsonify([with_picture(shown) for shown in take_photos()])


def with_picture(shown: Shown) -> Entry:
    """The entry, and the address of its picture."""
    address = None if shown.token is None else url_for("pages.picture", token=shown.token)
    return {**shown.entry, "picture": address}
