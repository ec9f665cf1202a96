"""Photos from arrival to result. Accepting and measuring are two steps: what was accepted is measured sooner or later."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import func, or_, select, update
from sqlalchemy.orm import Session

from webcapture.errors import WebcaptureError
from webcapture.store.db import remove
from webcapture.store.records import MEASURED, MEASURING, REFUSED, WAITING, MeasurementInfo, PhotoInfo
from webcapture.store.tables import Measurement, Photo, Setting, Station

SOFTWARE = "measured-by"
"""Name of the setting that holds which software measured last."""


class IdTaken(WebcaptureError):
    """Other bytes, or another station's photo, under an id that is in use."""

    code = "id-taken"
    default_hint = "Take the photo again, or send it under an id of its own."


def accept(
    session: Session, photo_id: str, station_id: str, name: str, digest: str, size: int, now: datetime
) -> tuple[PhotoInfo, bool]:
    """Record a photo whose bytes are in the vault already; (it, whether it is new).

    The same photo again is the same record. Raises IdTaken where the id stands for something else.
    """
    row = session.get(Photo, photo_id)
    if row is not None:
        if row.station_id != station_id or row.digest != digest:
            raise IdTaken("Another photo was sent under this id before.")
        return _info(row), False
    row = Photo(
        id=photo_id, station_id=station_id, name=name, digest=digest, size=size,
        received_at=now, state=WAITING, tries=0, lease_until=None, trouble=None,
    )  # fmt: skip
    session.add(row)
    session.flush()
    return _info(row), True


def claim(session: Session, now: datetime, lease: timedelta) -> PhotoInfo | None:
    """Take the oldest photo that waits, or that somebody took and did not finish in time; None where there is none."""
    free = or_(Photo.state == WAITING, (Photo.state == MEASURING) & (Photo.lease_until < now))
    oldest = select(Photo.id).where(free).order_by(Photo.received_at, Photo.id).limit(1)
    photo_id = session.scalar(oldest)
    if photo_id is None:
        return None
    # Said again in the update: on a database with several writers another may have been faster.
    taken = session.execute(
        update(Photo)
        .where(Photo.id == photo_id, free)
        .values(state=MEASURING, lease_until=now + lease, tries=Photo.tries + 1)
        .returning(Photo.id)
    ).scalar()
    return None if taken is None else find(session, photo_id)


def finish(session: Session, photo_id: str, software: str, result: bytes, page: str, now: datetime) -> bool:
    """Add what was measured; False where the photo was deleted meanwhile, or is measured by that software already."""
    row = session.get(Photo, photo_id)
    known = select(Measurement.id).where(Measurement.photo_id == photo_id, Measurement.software == software)
    if row is None or session.scalar(known) is not None:
        return False
    session.add(Measurement(photo_id=photo_id, software=software, made_at=now, result=result, page=page))
    row.state, row.lease_until, row.trouble = MEASURED, None, None
    return True


def refuse(session: Session, photo_id: str, trouble: dict[str, Any]) -> None:
    """Record why a photo cannot be measured; one that somebody has measured meanwhile stays measured."""
    row = session.get(Photo, photo_id)
    if row is not None and row.state != MEASURED:
        row.state, row.lease_until, row.trouble = REFUSED, None, trouble


def put_back(session: Session, photo_id: str) -> None:
    """Let a photo wait again that could not be finished."""
    row = session.get(Photo, photo_id)
    if row is not None and row.state == MEASURING:
        row.state, row.lease_until = WAITING, None


def let_go(session: Session) -> int:
    """Let every photo wait that somebody had in hand; how many. For the start of the one process that measures."""
    held = update(Photo).where(Photo.state == MEASURING).values(state=WAITING, lease_until=None)
    return len(session.scalars(held.returning(Photo.id)).all())


def measure_anew(session: Session, software: str) -> int:
    """Let every photo wait that only another software measured or refused; how many. Its results stay.

    A refusal leaves no result that says whose it was: all of them wait where the software has changed since the last time.
    """
    done = select(Measurement.photo_id).where(Measurement.software == software)
    stale = Photo.state.in_([MEASURED]) & Photo.id.not_in(done)
    last = session.get(Setting, SOFTWARE)
    if last is None or last.value != software:
        stale = stale | (Photo.state == REFUSED)
        session.merge(Setting(name=SOFTWARE, value=software))
    again = update(Photo).where(stale).values(state=WAITING, tries=0, trouble=None)
    return len(session.scalars(again.returning(Photo.id)).all())


def find(session: Session, photo_id: str) -> PhotoInfo | None:
    """The photo, or None where there is none."""
    row = session.get(Photo, photo_id, populate_existing=True)
    return None if row is None else _info(row)


def of_station(session: Session, station_id: str) -> list[PhotoInfo]:
    """A station's photos, the newest first."""
    rows = session.scalars(
        select(Photo).where(Photo.station_id == station_id).order_by(Photo.received_at.desc(), Photo.id)
    )
    return [_info(row) for row in rows]


def of_practical(session: Session, practical_id: str) -> list[PhotoInfo]:
    """All photos of a practical, the oldest first."""
    mine = select(Photo).join(Station, Station.id == Photo.station_id).where(Station.practical_id == practical_id)
    return [_info(row) for row in session.scalars(mine.order_by(Photo.received_at, Photo.id))]


def delete(session: Session, photo_id: str) -> None:
    """Delete a photo with its results and corrections."""
    row = session.get(Photo, photo_id)
    if row is not None:
        remove(session, row)


def latest(session: Session, photo_id: str) -> MeasurementInfo | None:
    """What was measured last on a photo, or None."""
    newest = select(Measurement).where(Measurement.photo_id == photo_id).order_by(Measurement.id.desc()).limit(1)
    row = session.scalar(newest)
    return None if row is None else _measurement(row)


def latest_of(session: Session, photo_ids: list[str]) -> dict[str, MeasurementInfo]:
    """The same for many photos at once, by photo."""
    newest = select(func.max(Measurement.id)).where(Measurement.photo_id.in_(photo_ids)).group_by(Measurement.photo_id)
    rows = session.scalars(select(Measurement).where(Measurement.id.in_(newest)))
    return {row.photo_id: _measurement(row) for row in rows}


def known_files(session: Session) -> set[str]:
    """Digests of every file that a record needs."""
    return set(session.scalars(select(Photo.digest))) | set(session.scalars(select(Measurement.page)))


def _info(row: Photo) -> PhotoInfo:
    return PhotoInfo(
        row.id, row.station_id, row.name, row.digest, row.size, row.received_at, row.state, row.tries, row.trouble
    )


def _measurement(row: Measurement) -> MeasurementInfo:
    return MeasurementInfo(row.id, row.photo_id, row.software, row.made_at, row.result, row.page)
