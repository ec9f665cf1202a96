"""What people see: pictures, the demonstration, the web tool."""

from __future__ import annotations

from dataclasses import dataclass

from webcapture.settings.knob import knob


@dataclass(frozen=True, slots=True)
class WebSettings:
    """The web tool."""

    max_request_bytes: int = knob(
        200_000_000,
        "byte",
        "Without JavaScript one request carries all chosen photos: thirty of 12 MP, or four of 108 MP.",
    )
    max_photos: int = knob(30, "", "A class set in one go; more is a job for the command line.")
    measuring_at_once: int = knob(
        2, "", "The image libraries let go of the interpreter, so two cores measure two photos; each may need 400 MB."
    )
    wait_s: float = knob(
        120.0, "s", "Thirty phones at once are served well within this; beyond it, being told beats waiting."
    )
    stall_s: float = knob(60.0, "s", "A phone that left the network while sending must not hold a thread for ever.")
    stop_s: int = knob(5, "s", "Ctrl+C lets a photo in work finish, and does not wait for a stalled phone.")
    threads: int = knob(32, "", "A class set of phones uploading or waiting, and a few left for pages.")
    pictures_kept: int = knob(
        60, "", "Two batches of photos: a result can be opened in full while the next one is made."
    )
    pictures_bytes: int = knob(150_000_000, "byte", "Bounds the memory of the kept pictures, whatever their size.")
    thumbnail_px: int = knob(320, "px", "An example's preview at twice the width it is shown at.")
    name_length: int = knob(120, "", "A file name longer than this tells nothing more and breaks the page.")
    static_age_s: int = knob(31_536_000, "s", "A year: a static file's address holds the digest of its content.")
    card_age_s: int = knob(
        3_600, "s", "The card changes only with the program; an hour spares a class printing it again."
    )


@dataclass(frozen=True, slots=True)
class ReportSettings:
    """The annotated picture."""

    jpeg_quality: int = knob(85, "", "Thin lines and small figures stay clean; the file stays under half a megabyte.")
    page_px_per_mm: float = knob(5.0, "px/mm", "A picture of the whole page: 1050 px wide, a third of a megabyte.")
    picture_margin_mm: float = knob(
        3.0, "mm", "Enough of the card around a strip to see that its edges were found; more makes the strip smaller."
    )
    side_labels_mm: float = knob(
        60.0, "mm", "Up to this width a strip leaves room for labels beside it; wider sheets carry them between lanes."
    )


@dataclass(frozen=True, slots=True)
class DemoSettings:
    """The demonstration."""

    same_spot_mm: float = knob(3.0, "mm", "A measured spot this near to a drawn one is that one: half a spot's width.")
