"""Every text that the scripts put into a page: rendered with the page, looked up there by name (``static/js/words.js``)."""

from __future__ import annotations

from collections.abc import Callable

from flask import Flask

from webcapture.web.language import gettext as _
from webcapture.web.language import locale, ngettext

COUNTED_UP_TO = 120
"""So far every plural form of every language has been met (Unicode CLDR, plural rules; from memory)."""
Words = dict[str, str | dict[str, str]]


def script_words() -> Words:
    """Texts by name; what is counted, by plural category. The script fills in what stands in ``%(…)s``."""
    return {
        "saving": _("Saving"),
        "saved": _("Saved"),
        "not-saved": _("Not saved"),
        "not-saved-lost": _("Not saved: there is no connection. Try again."),
        "waiting": _("Waiting"),
        "sending": _("Sending"),
        "sending-share": _("Sending: %(share)s %%"),
        "sent": _("Sent, waiting for the answer"),
        "measuring": _("Measuring"),
        "name-sending": _("%(name)s: sending"),
        "name-measuring": _("%(name)s: measuring"),
        "mark": _("%(title)s, millimetres from the lower end"),
        "none-waits": _("No photo waits on this phone."),
        "none-waits-some-refused": _("No photo waits; see below what could not be sent."),
        "wait": _forms(_waiting),
        "note-sending": _("Sending…"),
        "note-lost": _("No connection: they are sent as soon as there is one. Keep this page or come back to it."),
        "note-not-joined": _("This phone is no longer joined: join again with the code, then they are sent."),
        "not-lasting": _("This browser keeps nothing: leave this page open until all are sent."),
        "waits": _("Waits on this phone"),
        "not-kept": _("This phone could not keep the photo."),
        "live-starting": _("The camera starts…"),
        "live-looking": _("Looking for the card…"),
        "live-still": _("Hold still."),
        "live-taking": _("Taking the picture…"),
        "live-offline": _("The tool cannot be reached just now. You can take the picture all the same."),
        "live-lost": _("The camera stopped. Open the live view again, or use “Take a photo”."),
        "live-failed": _("The live view does not work here. Use “Take a photo”."),
        # By the names of the browsers' errors (Media Capture and Streams, W3C).
        "live-NotAllowedError": _(
            "This page may not use the camera. Allow it in the browser's settings for this page, or use “Take a photo”."
        ),
        "live-NotFoundError": _("This device has no camera that the page can use. Use “Choose photos”."),
        "live-NotReadableError": _("Another app uses the camera. Close it and try again, or use “Take a photo”."),
        "not-kept-hint": _("Free some space on the phone, then choose it again."),
    }


def _waiting(number: int) -> str:
    return str(
        ngettext(
            "%(count)s photo waits on this phone.",
            "%(count)s photos wait on this phone.",
            number,
            count="%(count)s",
        )
    )


def _forms(words: Callable[[int], str]) -> dict[str, str]:
    """One text for each plural category of the language, as a browser's ``Intl.PluralRules`` names them."""
    category = locale().plural_form
    forms: dict[str, str] = {}
    for number in range(COUNTED_UP_TO):
        if (name := category(number)) not in forms:
            forms[name] = words(number)
    return forms


def init_app(app: Flask) -> None:
    """Let the pages' frame render them."""
    app.jinja_env.globals.update(script_words=script_words)
