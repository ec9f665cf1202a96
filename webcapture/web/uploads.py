"""The photos of a request, on their way to being measured."""

from __future__ import annotations

from typing import cast

from flask import current_app, request

from webcapture.web.errors import NoPhoto, TooManyPhotos
from webcapture.web.examples import Examples
from webcapture.web.language import gettext as _
from webcapture.web.measuring import Desk, Shown


def desk() -> Desk:
    """The application's desk."""
    return cast(Desk, current_app.extensions["desk"])


def examples() -> Examples:
    """The application's examples."""
    return cast(Examples, current_app.extensions["examples"])


def take_photos() -> list[Shown]:
    """Measure the request's photos in the order given; raises NoPhoto or TooManyPhotos for a form that cannot be served."""
    files = [file for file in request.files.getlist("photo") if file.filename]
    most = current_app.extensions["settings"].web.max_photos
    if not files:
        raise NoPhoto("No photo was chosen.")
    if len(files) > most:
        raise TooManyPhotos(
            _(
                "%(count)s photos came in one go; at most %(most)s can be measured together.",
                count=len(files),
                most=most,
            )
        )
    return [desk().take(file.stream, file.filename) for file in files]


def take_example(name: str) -> Shown:
    """Measure an example photo; raises NoExample for a name that is not offered."""
    example = examples().get(name)
    with example.path.open("rb") as stream:
        return desk().take(stream, example.name)
