"""For programs: photos in, the contract's JSON out; and the description of all addresses, ``openapi.json``.

The description refers to ``result.schema.json`` of the report, so that no field is described twice. In the checkout that
reference is a path from file to file; served, it is the schema's address beside the description's own. Either way it is
relative: it works in an editor, behind any host name, and behind a proxy.
"""

from __future__ import annotations

from pathlib import Path

from flask import Blueprint, Response, abort, current_app, jsonify, request, url_for

from webcapture.report.export import schema
from webcapture.web.measuring import Entry, Shown
from webcapture.web.uploads import take_photos

api = Blueprint("api", __name__, url_prefix="/api")

DESCRIPTION = Path(__file__).with_name("openapi.json")
SCHEMA_FILE, SCHEMA_ADDRESS = '"../report/result.schema.json#', '"result.schema.json#'
"""How references to the schema begin, in the file and as served."""


@api.post("/measure")
def measure() -> Response:
    """Measure the photos of a multipart form (fields named ``photo``): a list as ``measure --json`` prints it.

    Each object has one member more, ``picture``: the address of the annotated picture, or null. The status is 200 where
    the request was understood, whether or not every photo could be measured; its entry says why not.
    """
    if request.mimetype != "multipart/form-data":
        abort(415)
    return jsonify([with_picture(shown) for shown in take_photos()])


@api.get("/openapi.json")
def openapi() -> Response:
    """The description of every address (OpenAPI 3.1)."""
    text = DESCRIPTION.read_text(encoding="utf-8")
    return Response(text.replace(SCHEMA_FILE, SCHEMA_ADDRESS), content_type="application/json")


@api.get("/result.schema.json")
def result_schema() -> Response:
    """The schema of a result (JSON Schema 2020-12), to which the description refers."""
    return Response(current_app.json.dumps(schema()), content_type="application/schema+json")


def with_picture(shown: Shown) -> Entry:
    """The entry, and the address of its picture."""
    address = None if shown.token is None else url_for("pages.picture", token=shown.token)
    return {**shown.entry, "picture": address}
