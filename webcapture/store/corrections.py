"""Corrections lie on top of what was measured, in their order; undoing one keeps it in the history."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from webcapture.store.records import CorrectionInfo
from webcapture.store.tables import Correction


def add(session: Session, photo_id: str, change: dict[str, Any], by: str, now: datetime) -> CorrectionInfo:
    """Add a change made by hand."""
    row = Correction(photo_id=photo_id, made_at=now, by=by, change=change, undone_at=None, undone_by=None)
    session.add(row)
    session.flush()
    return _info(row)


def undo(session: Session, correction_id: int, photo_id: str, by: str, now: datetime) -> bool:
    """Take a change back; False where that photo has no such change in force."""
    row = session.get(Correction, correction_id)
    if row is None or row.photo_id != photo_id or row.undone_at is not None:
        return False
    row.undone_at, row.undone_by = now, by
    return True


def history(session: Session, photo_id: str) -> list[CorrectionInfo]:
    """Every change of a photo, undone ones included, the oldest first."""
    rows = session.scalars(select(Correction).where(Correction.photo_id == photo_id).order_by(Correction.id))
    return [_info(row) for row in rows]


def in_force(session: Session, photo_ids: list[str]) -> dict[str, list[CorrectionInfo]]:
    """The changes that count, by photo, the oldest first."""
    found: dict[str, list[CorrectionInfo]] = {photo_id: [] for photo_id in photo_ids}
    counting = select(Correction).where(Correction.photo_id.in_(photo_ids), Correction.undone_at.is_(None))
    for row in session.scalars(counting.order_by(Correction.id)):
        found[row.photo_id].append(_info(row))
    return found


def _info(row: Correction) -> CorrectionInfo:
    return CorrectionInfo(row.id, row.photo_id, row.made_at, row.by, row.change, row.undone_at, row.undone_by)
