"""Everything that can stop a measurement, one class a cause.

::

    WebcaptureError
    ├── UsageError              usage            the caller asked for something that does not exist
    ├── Unexpected              unexpected       a fault of the program itself
    ├── PhotoError
    │   ├── Unreadable          unreadable       there is no such file, or it cannot be opened
    │   ├── NotAnImage          not-an-image     the bytes are no picture this tool reads
    │   ├── TooLarge            too-large        the file or its pixels exceed the limits
    │   └── Truncated           truncated        the file arrived incomplete
    ├── CardError
    │   ├── NoCard              no-card          no calibration card in the photo
    │   └── CardIncomplete      card-incomplete  too little of the card is visible
    └── QualityError
        ├── OutOfFocus          out-of-focus     too blurred to measure
        └── TooDark             too-dark         too dark to measure

Each carries a ``code`` for programs, a ``message`` saying what was seen, and a ``hint`` saying what to do next. What is
merely doubtful is not an error but a flag: see :mod:`webcapture.flags`. What only the web tool's own forms can get wrong
stands in :mod:`webcapture.web.errors`.
"""

from __future__ import annotations


class WebcaptureError(Exception):
    """Base of all errors raised on purpose; ``code``, ``message`` and ``hint`` are plain text for people and programs."""

    code = "error"
    default_hint = ""

    def __init__(self, message: str, hint: str | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.hint = self.default_hint if hint is None else hint


class UsageError(WebcaptureError):
    """Something was asked for that does not exist or does not fit together."""

    code = "usage"


class Unexpected(WebcaptureError):
    """A fault of the program itself, kept to the photo that met it."""

    code = "unexpected"
    default_hint = "Other photos are not affected. Keep this photo and report the fault with it."


class PhotoError(WebcaptureError):
    """The file itself cannot be used."""


class Unreadable(PhotoError):
    """The named file cannot be read at all."""

    code = "unreadable"
    default_hint = "Check the name, and that this account may read the file."


class NotAnImage(PhotoError):
    """The bytes are not a picture in a format this tool reads."""

    code = "not-an-image"
    default_hint = (
        "Send the photo as a JPEG, PNG or WebP file. On a phone, choose “most compatible” as the camera format."
    )


class TooLarge(PhotoError):
    """The file, or the picture inside it, exceeds the limits in the settings."""

    code = "too-large"
    default_hint = "Take the photo with the phone's ordinary camera setting, or save a smaller copy of it."


class Truncated(PhotoError):
    """The file begins like a picture but ends too early."""

    code = "truncated"
    default_hint = "The file arrived incomplete. Send it again; if it fails again, take a new photo."


class CardError(WebcaptureError):
    """The photo is a picture, but the card in it cannot be used."""


class NoCard(CardError):
    """No calibration card was recognised."""

    code = "no-card"
    default_hint = (
        "Lay the strip on the printed calibration card and photograph the whole card from above, in even light, "
        "so that its chequered frame is in the picture on all sides."
    )


class CardIncomplete(CardError):
    """Part of a card was recognised, but too little to measure on."""

    code = "card-incomplete"
    default_hint = "Step back until the whole chequered frame is in the picture, and clear away what covers it."


class QualityError(WebcaptureError):
    """The card was seen, but the picture is too poor for any number to be trusted."""


class OutOfFocus(QualityError):
    """The picture is too blurred."""

    code = "out-of-focus"
    default_hint = "Hold the phone still, tap on the card to focus, wait a moment, and take the photo again."


class TooDark(QualityError):
    """The picture is too dark."""

    code = "too-dark"
    default_hint = "Bring more light onto the card, from the side rather than by flash, and take the photo again."


ALL_ERRORS: tuple[type[WebcaptureError], ...] = (
    UsageError, Unexpected, Unreadable, NotAnImage, TooLarge, Truncated, NoCard, CardIncomplete, OutOfFocus, TooDark,
)  # fmt: skip
"""Every class with a code of its own, in the order of the tree."""
