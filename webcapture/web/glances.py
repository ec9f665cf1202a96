"""The live view's quick check: a small frame in, one hint and the card's outline out. Nothing is kept."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import cast

from flask import Blueprint, Flask, Response, current_app, jsonify
from werkzeug.exceptions import ServiceUnavailable

from webcapture.imaging.glance import CLOSER, GOOD, LEVEL, LIGHT, NO_CARD, STILL, WHOLE, glance
from webcapture.web.errors import for_programs
from webcapture.web.identity import settings
from webcapture.web.language import lazy_gettext as _
from webcapture.web.station import body, joined

glances = Blueprint("glances", __name__, url_prefix="/work")

WORDS = {
    NO_CARD: _("No card seen. Point the camera at the whole card and hold still."),
    WHOLE: _("Get the whole chequered frame into the picture."),
    LIGHT: _("More light."),
    CLOSER: _("Closer: let the card fill the picture."),
    LEVEL: _("Hold the phone level, straight above the card."),
    STILL: _("Hold still, and tap the card to focus."),
    GOOD: _("All good: take the picture."),
}


def init_app(app: Flask, at_once: int) -> None:
    """So many frames are looked at together."""
    app.extensions["glances"] = threading.BoundedSemaphore(at_once)
    app.register_blueprint(glances)


@glances.post("/glance")
@for_programs
def look() -> Response:
    """What one frame, a JPEG, shows: a hint, its words, and the card's outline in the frame's pixels, or null."""
    joined()
    frame = body(settings().glance.most_bytes)
    with _turn():
        seen = glance(frame, settings())
    outline = [[round(x, 1), round(y, 1)] for x, y in seen.outline_px] or None
    return jsonify({"hint": seen.hint, "words": str(WORDS[seen.hint]), "size": list(seen.size_px), "outline": outline})


@contextmanager
def _turn() -> Iterator[None]:
    """Wait for a turn, shortly: the page has a newer frame soon."""
    gate = cast(threading.BoundedSemaphore, current_app.extensions["glances"])
    if not gate.acquire(timeout=settings().glance.wait_s):
        raise ServiceUnavailable(retry_after=1)
    try:
        yield
    finally:
        gate.release()
