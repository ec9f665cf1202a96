"""What a photo shows by now: its newest measurement with the corrections that lie on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from webcapture.flags import Flag
from webcapture.measure.correct import Change, Corrected, corrected
from webcapture.model import CardSeen
from webcapture.store import corrections, photos
from webcapture.store.codec import loaded
from webcapture.store.records import CorrectionInfo, MeasurementInfo, PhotoInfo
from webcapture.web.identity import settings


@dataclass(frozen=True, slots=True, eq=False)
class Findings:
    """A measured photo, as corrected."""

    info: PhotoInfo
    measurement: MeasurementInfo
    card: CardSeen
    strips: tuple[Corrected, ...]
    flags: tuple[Flag, ...]
    """Of the photo as a whole."""


def of_photo(session: Session, photo_id: str, *, strict: bool = True) -> Findings | None:
    """The photo's findings, or None where there is no such photo or it was never measured.

    Where ``strict``, UsageError is raised when the last correction fits nothing on the strip: ask so after adding one.
    """
    info = photos.find(session, photo_id)
    measurement = photos.latest(session, photo_id)
    if info is None or measurement is None:
        return None
    return _put_together(info, measurement, corrections.in_force(session, [photo_id])[photo_id], strict)


def of_photos(session: Session, infos: Sequence[PhotoInfo]) -> list[Findings]:
    """The findings of those that have been measured, in their order; corrections that fit nothing are left out."""
    ids = [info.id for info in infos]
    measured, changes = photos.latest_of(session, ids), corrections.in_force(session, ids)
    return [_put_together(info, measured[info.id], changes[info.id], False) for info in infos if info.id in measured]


def _put_together(
    info: PhotoInfo, measurement: MeasurementInfo, changes: Sequence[CorrectionInfo], strict: bool
) -> Findings:
    stored = loaded(measurement.result)
    made = [Change(**one.change) for one in changes]
    strips = tuple(
        corrected(strip, made, settings(), residual_mm=stored.card.residual_mm, strict=strict)
        for strip in stored.strips
    )
    return Findings(info, measurement, stored.card, strips, stored.flags)
