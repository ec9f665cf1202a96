"""What is no longer kept: practicals past their time, and files that nothing points to."""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from webcapture.store import practicals
from webcapture.store.tables import Photo, Practical, Station


def overdue(session: Session, now: datetime) -> list[str]:
    """Practicals whose last photo, or whose setting up where there is none, is longer ago than they are kept."""
    last = func.coalesce(func.max(Photo.received_at), Practical.created_at)
    ages = (
        select(Practical.id, Practical.keep_days, last)
        .outerjoin(Station, Station.practical_id == Practical.id)
        .outerjoin(Photo, Photo.station_id == Station.id)
        .group_by(Practical.id, Practical.keep_days, Practical.created_at)
    )
    return [key for key, days, moment in session.execute(ages) if moment + timedelta(days=days) < now]


def purge(session: Session, now: datetime) -> list[str]:
    """Delete every practical that is overdue; gives their ids."""
    gone = overdue(session, now)
    for practical_id in gone:
        practicals.delete(session, practical_id)
    return gone
