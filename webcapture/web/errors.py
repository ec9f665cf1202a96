"""What the web tool says when it cannot answer: the same code, message and hint as page, as part of a page and as JSON.

Never a traceback: what is unexpected goes to the log, and the person is told what to do.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

from flask import Flask, Response, current_app, jsonify, make_response, render_template, request
from werkzeug.exceptions import HTTPException

from webcapture.errors import TooLarge, Unexpected, WebcaptureError
from webcapture.store.photos import IdTaken
from webcapture.web.language import told

FOR_PROGRAMS = "for_programs"
PART_HEADER = "X-Part"
"""A request that carries it wants the part of a page that its script will put in place, not a whole page."""


class NoPhoto(WebcaptureError):
    """The form arrived without a photo."""

    code = "no-photo"
    default_hint = "Take a photo or choose one, then press “Measure”."


class TooManyPhotos(WebcaptureError):
    """More photos in one go than the settings allow."""

    code = "too-many-photos"
    default_hint = "Send them in several goes, or measure them on the command line."


class NoExample(WebcaptureError):
    """An example photo was asked for that is not offered."""

    code = "no-example"
    default_hint = "Choose one of the examples that the page offers."


class NotJoined(WebcaptureError):
    """Nobody's cookie, or one of a station whose work was deleted."""

    code = "not-joined"
    default_hint = (
        "Join with the code that the lead shows. Photos that wait on this phone stay there and are sent afterwards."
    )


class Full(WebcaptureError):
    """A station has sent as many photos as it may."""

    code = "station-full"
    default_hint = "Ask the lead: deleting this station's work makes room, or join again as another station."


class WrongField(WebcaptureError):
    """A form's field holds what it cannot; a page says so beside the field."""

    code = "wrong-field"
    default_hint = "Correct the field and send the form again."


class NotSignedIn(WebcaptureError):
    """Only the lead may, and the lead has not signed in on this device."""

    code = "not-signed-in"
    default_hint = "Sign in with the lead's passphrase, then try again."


class WrongPassphrase(WebcaptureError):
    """Signing in with something else than the passphrase."""

    code = "wrong-passphrase"
    default_hint = "Type it again. Whoever started the tool set it."


class NoPassphrase(WebcaptureError):
    """Signing in before a passphrase was set."""

    code = "no-passphrase"
    default_hint = "Set it first, at the address that the terminal shows where the tool was started."


class WrongCode(WebcaptureError):
    """A join code that no practical has."""

    code = "wrong-code"
    default_hint = "Compare it with the code that the lead shows."


class JoiningClosed(WebcaptureError):
    """The practical of this code takes no more stations."""

    code = "joining-closed"
    default_hint = "Ask the lead to open joining again. Stations that have joined go on as before."


class TooManyGuesses(WebcaptureError):
    """Codes or passphrases were wrong too often, over all devices."""

    code = "too-many-guesses"
    default_hint = "Wait, then try again."


REQUEST_ERRORS: tuple[type[WebcaptureError], ...] = (
    NoPhoto, TooManyPhotos, NoExample, WrongField, NotJoined, NotSignedIn, WrongPassphrase, NoPassphrase, JoiningClosed,
    WrongCode, IdTaken, Full, TooManyGuesses,
)  # fmt: skip
STATUS: dict[type[WebcaptureError], int] = {
    NotJoined: 403,
    NotSignedIn: 403,
    WrongPassphrase: 403,
    NoPassphrase: 403,
    JoiningClosed: 403,
    WrongCode: 404,
    IdTaken: 409,
    TooLarge: 413,
    Full: 429,
    TooManyGuesses: 429,
}
"""Of an answer to such an error; 400 for all others."""
View = TypeVar("View", bound=Callable[..., object])


@dataclass(frozen=True, slots=True)
class Trouble:
    """One way a request can fail before anything is measured."""

    status: int
    code: str
    message: str
    hint: str


_ROWS = (
    (400, "bad-request", "The request did not arrive whole.", "Send it again. If it fails again, reload the page first."),
    (403, "other-origin", "The request came from another web page.", "Open this tool's own page and send the photo from there."),
    (404, "not-found", "There is nothing at this address.", "Go to the start page. Pictures are kept only for a while: measure the photo again."),
    (405, "method-not-allowed", "This address cannot be used in this way.", "Go to the start page and use the buttons there."),
    (413, TooLarge.code, "The photos are too large to be sent in one go.", "Send fewer photos at a time. " + TooLarge.default_hint),
    (415, "unsupported-type", "The request is not a form with photos.", "Send the photos as multipart/form-data in fields named “photo”."),
    (421, "other-name", "The tool was asked for under a name that is not this computer's.", "Open the address that the tool shows when it starts. Whoever runs it can allow a name with --trusted-host NAME."),
    (429, "too-often", "That was asked for too often in a short time.", "Wait a minute, then try again. Photos that wait on this phone stay there."),
    (500, Unexpected.code, "Something went wrong inside the tool.", "Try again. If it happens again, tell whoever runs this tool the time at which it happened: the log says more."),
    (503, "busy", "Too many photos are waiting to be measured.", "Wait a minute and send the photo again."),
)  # fmt: skip

TROUBLES: dict[int, Trouble] = {row[0]: Trouble(*row) for row in _ROWS}


def trouble_of(error: HTTPException) -> Trouble:
    """The words for an HTTP error; one without words of its own gets those of its class."""
    status = error.code or 500
    known = TROUBLES.get(status) or TROUBLES[400 if status < 500 else 500]
    return Trouble(status, known.code, known.message, known.hint)


def init_app(app: Flask) -> None:
    """Answer every error of this application in plain words."""
    app.register_error_handler(HTTPException, _http_error)
    app.register_error_handler(WebcaptureError, _request_error)


def _http_error(error: HTTPException) -> Response:
    if error.code is not None and error.code < 400:
        return make_response(error.get_response())
    answer = _answer(trouble_of(error))
    for name, value in error.get_headers(request.environ):
        if name in {"Allow", "Retry-After"}:
            answer.headers[name] = value
    return answer


def _request_error(error: WebcaptureError) -> Response:
    return _answer(Trouble(STATUS.get(type(error), 400), error.code, error.message, error.hint))


def _answer(trouble: Trouble) -> Response:
    if wants_json():
        words = {"code": trouble.code, "message": told(trouble.message), "hint": told(trouble.hint)}
        answer = jsonify({"error": words})
    elif wants_part():
        answer = make_response(render_template("_error.html", error=trouble))
    else:
        answer = make_response(render_template("error.html", error=trouble))
    answer.status_code = trouble.status
    return answer


def declined(error: WebcaptureError, page: str) -> Response:
    """An error that a page of its own tells best, such as a form with a word beside its field; programs get JSON."""
    answer = _request_error(error) if wants_json() else make_response(page)
    answer.status_code = STATUS.get(type(error), 400)
    return answer


def for_programs(view: View) -> View:
    """Mark a view whose answer is JSON: its errors then are JSON too, whatever the request accepts."""
    setattr(view, FOR_PROGRAMS, True)
    return view


def wants_json() -> bool:
    """Whether the client is a program: it asks under /api or where the answer is JSON, or prefers JSON to a page."""
    view = current_app.view_functions.get(request.endpoint or "")
    if request.path.startswith("/api/") or getattr(view, FOR_PROGRAMS, False):
        return True
    return request.accept_mimetypes.best_match(["text/html", "application/json"]) == "application/json"


def wants_part() -> bool:
    """Whether the client is the page's own script."""
    return PART_HEADER in request.headers
