"""The table of contents: from the bytes of a photo to everything measured on it."""

from __future__ import annotations

from threadpoolctl import threadpool_limits

from webcapture.card.layout import card_layout
from webcapture.flags import flags
from webcapture.imaging.cells import averaged
from webcapture.imaging.light import rectified_sheet
from webcapture.imaging.markers import find_card
from webcapture.imaging.papers import papers_on, unread_paper
from webcapture.imaging.photo import read_photo
from webcapture.imaging.quality import judge
from webcapture.imaging.rectify import fit_view, whole_page
from webcapture.imaging.strips import cut_strip, find_strips
from webcapture.measure.bays import numbered_through
from webcapture.measure.strip import measure_strip
from webcapture.model import CardSeen, PhotoResult
from webcapture.settings import DEFAULTS, Settings

# As for OpenCV's own threads: photos are measured side by side, and threads of one that wait for each other on busy
# processors take ten times as long as one alone. Here, because all that brings a BLAS along is loaded by now.
threadpool_limits(1, user_api="blas")


def measure_photo(data: bytes, name: str = "", settings: Settings = DEFAULTS, with_page: bool = False) -> PhotoResult:
    """Measure one photo: ``data`` are the file's bytes, ``name`` is only passed on.

    ``with_page`` asks for a picture of the whole page, too, for drawing corrections later.

    Raises a :class:`webcapture.errors.WebcaptureError` where the photo cannot be measured.
    """
    photo = read_photo(data, settings.photo)
    sighting = find_card(photo, settings.marker, settings.view)
    card = card_layout(sighting.layout, sighting.paper)
    view = fit_view(sighting, card, photo.pixels.shape, settings.view)
    sheet = rectified_sheet(photo, view, card, settings.light)
    papers = papers_on(sheet, card, settings.strip)
    outlines = find_strips(photo, view.mapping, papers, card, settings.strip)
    unread = unread_paper(papers, outlines, settings.strip)
    quality = judge(photo, sighting, view, sheet, outlines, card, settings.quality)
    images = [cut_strip(photo, view, outline, settings.strip) for outline in outlines]
    cells = [averaged(image, settings.cell) for image in images]
    page = with_page or not outlines
    strips = numbered_through([measure_strip(cell, view, settings) for cell in cells], card.layout)
    return PhotoResult(
        card=CardSeen(card.layout, card.paper, view.residual_mm, view.tilt_deg, view.px_per_mm * photo.reduction),
        strips=strips,
        flags=quality.flags + flags(*["strip-unread"] * unread, *["no-strip"] * (not strips and not unread)),
        pictures=tuple(image.picture for image in images),
        page=whole_page(photo, view.mapping, card.page_mm, settings.report.page_px_per_mm) if page else None,
        photo=name,
    )
