"""Stations: joining and being recognised again. A station is a label and a token; nobody's name is asked for."""

from __future__ import annotations

import hashlib
import secrets
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from webcapture.store.db import remove
from webcapture.store.records import StationInfo
from webcapture.store.tables import Station


def join(session: Session, practical_id: str, label: str, now: datetime) -> tuple[StationInfo, str]:
    """A new station and its token, which only its own cookie keeps. A label that is taken gets a number after it."""
    token = secrets.token_urlsafe(32)
    row = Station(
        id=secrets.token_hex(8),
        practical_id=practical_id,
        label=_free_label(session, practical_id, label),
        token=digest_of(token),
        joined_at=now,
    )
    session.add(row)
    session.flush()
    return _info(row), token


def by_token(session: Session, token: str) -> StationInfo | None:
    """The station that holds this token, or None."""
    row = session.scalar(select(Station).where(Station.token == digest_of(token)))
    return None if row is None else _info(row)


def find(session: Session, station_id: str) -> StationInfo | None:
    """The station, or None where there is none."""
    row = session.get(Station, station_id)
    return None if row is None else _info(row)


def of_practical(session: Session, practical_id: str) -> list[StationInfo]:
    """Its stations in the order in which they joined."""
    rows = session.scalars(
        select(Station).where(Station.practical_id == practical_id).order_by(Station.joined_at, Station.id)
    )
    return [_info(row) for row in rows]


def delete(session: Session, station_id: str) -> None:
    """Delete a station with all its work."""
    row = session.get(Station, station_id)
    if row is not None:
        remove(session, row)


def digest_of(token: str) -> str:
    """What is stored of a token: who reads the database cannot pose as a station."""
    return hashlib.sha256(token.encode()).hexdigest()


def _free_label(session: Session, practical_id: str, label: str) -> str:
    taken = set(session.scalars(select(Station.label).where(Station.practical_id == practical_id)))
    number = 2
    free = label
    while free in taken:
        free = f"{label} ({number})"
        number += 1
    return free


def _info(row: Station) -> StationInfo:
    return StationInfo(row.id, row.practical_id, row.label, row.joined_at)
