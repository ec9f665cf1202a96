"""For people: one page, made for a phone, complete without JavaScript.

The same template shows a result whether the whole page was asked for or only the part that the page's script puts in place.
"""

from __future__ import annotations

from flask import Blueprint, Response, abort, current_app, redirect, render_template, request, send_file, url_for
from werkzeug.wrappers import Response as BaseResponse

from webcapture.card.layout import LAYOUTS, PAPERS_MM, card_layout
from webcapture.card.printing import card_pdf
from webcapture.web.errors import NoExample, wants_part
from webcapture.web.examples import Example
from webcapture.web.uploads import desk, examples, take_example, take_photos

pages = Blueprint("pages", __name__)


@pages.get("/")
def start() -> str:
    """The start page."""
    return render_template("index.html", examples=examples().all(), shown=[])


@pages.post("/measure")
def measure() -> str:
    """Measure the form's photos, or the example it names, and show the results."""
    example = request.form.get("example")
    shown = [take_example(example)] if example else take_photos()
    if wants_part():
        return render_template("_results.html", shown=shown)
    return render_template("index.html", examples=examples().all(), shown=shown)


@pages.get("/measure")
def again() -> BaseResponse:
    """Someone reloaded or came back to the address of a result: results are not kept, so start again."""
    return redirect(url_for("pages.start"), 303)


@pages.get("/pictures/<token>.jpg")
def picture(token: str) -> Response:
    """An annotated picture, as long as it is kept."""
    kept = desk().shelf.get(token)
    if kept is None:
        abort(404)
    answer = Response(kept, content_type="image/jpeg")
    answer.headers["Cache-Control"] = "private, max-age=86400, immutable"
    return answer


@pages.get(f"/card/<any({', '.join(LAYOUTS)}):layout>-<any({', '.join(PAPERS_MM)}):paper>.pdf")
def card(layout: str, paper: str) -> Response:
    """The calibration card. As a download: printed from within a browser it would be scaled."""
    answer = Response(card_pdf(card_layout(layout, paper)), content_type="application/pdf")
    answer.headers["Content-Disposition"] = f'attachment; filename="card-{layout}-{paper}.pdf"'
    answer.headers["Cache-Control"] = f"public, max-age={current_app.extensions['settings'].web.card_age_s}"
    return answer


@pages.get("/examples/<name>")
def example(name: str) -> Response:
    """An example photo itself, to look at or to send as one's own."""
    answer = send_file(_offered(name).path, conditional=False)
    answer.make_conditional(request)  # whole or not at all: ranges are for players of films
    return answer


@pages.get("/examples/<name>/small.jpg")
def example_small(name: str) -> Response:
    """Its preview."""
    answer = Response(examples().thumbnail(_offered(name).name), content_type="image/jpeg")
    answer.headers["Cache-Control"] = "private, max-age=3600"
    return answer


def _offered(name: str) -> Example:
    """The example of that name; 404 where none is offered under it."""
    try:
        return examples().get(name)
    except NoExample:
        abort(404)
