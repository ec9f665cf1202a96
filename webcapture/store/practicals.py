"""Practicals: set up, copied, opened and closed for joining, deleted."""

from __future__ import annotations

import secrets
from dataclasses import asdict
from datetime import datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from webcapture.store.db import remove
from webcapture.store.records import LaneRole, Method, PracticalInfo, PracticalPlan
from webcapture.store.tables import Practical

ALPHABET = "ABCDEFGHJKMNPQRTUVWXY346789"
"""Of join codes: no two of these are taken for one another on a projector or in handwriting (no I 1 L, O 0, S 5, Z 2)."""
CODE_LENGTH = 6


def create(session: Session, plan: PracticalPlan, now: datetime, open_for: timedelta) -> PracticalInfo:
    """A new practical, open for joining for that long."""
    row = Practical(
        id=secrets.token_hex(8),
        created_at=now,
        join_code=_free_code(session),
        join_open=True,
        join_until=now + open_for,
        **_columns(plan),
    )
    session.add(row)
    session.flush()
    return _info(row)


def change(session: Session, practical_id: str, plan: PracticalPlan) -> None:
    """Write another plan over a practical's; nothing happens where it is gone."""
    row = session.get(Practical, practical_id)
    if row is not None:
        for name, value in _columns(plan).items():
            setattr(row, name, value)


def find(session: Session, practical_id: str) -> PracticalInfo | None:
    """The practical, or None where there is none."""
    row = session.get(Practical, practical_id)
    return None if row is None else _info(row)


def by_code(session: Session, code: str) -> PracticalInfo | None:
    """The practical with that join code, in whatever case and spacing it was typed; None where there is none."""
    typed = tidy_code(code)
    row = session.scalar(select(Practical).where(Practical.join_code == typed)) if typed else None
    return None if row is None else _info(row)


def all_of_them(session: Session) -> list[PracticalInfo]:
    """Every practical, the newest first."""
    return [_info(row) for row in session.scalars(select(Practical).order_by(Practical.created_at.desc()))]


def set_joining(session: Session, practical_id: str, is_open: bool, until: datetime) -> None:
    """Open or close joining; a code that has expired gets the new time."""
    row = session.get(Practical, practical_id)
    if row is not None:
        row.join_open, row.join_until = is_open, until


def renew_code(session: Session, practical_id: str) -> None:
    """Another join code: the old one leads nowhere from now on, stations that have joined stay."""
    row = session.get(Practical, practical_id)
    if row is not None:
        row.join_code = _free_code(session)


def delete(session: Session, practical_id: str) -> None:
    """Delete a practical with its stations, photos, results and corrections; the files go with the next sweep."""
    row = session.get(Practical, practical_id)
    if row is not None:
        remove(session, row)


def tidy_code(code: str) -> str:
    """A join code as it is stored: capitals without spaces and hyphens.

    >>> tidy_code(" abq-7rt ")
    'ABQ7RT'
    """
    return "".join(c for c in code.upper() if c.isalnum())[:12]


def _free_code(session: Session) -> str:
    while True:
        code = "".join(secrets.choice(ALPHABET) for _ in range(CODE_LENGTH))
        if session.scalar(select(Practical.id).where(Practical.join_code == code)) is None:
            return code


def _columns(plan: PracticalPlan) -> dict[str, object]:
    return {
        "title": plan.title,
        "method": asdict(plan.method),
        "layout": plan.layout,
        "page": plan.page,
        "lanes": [asdict(lane) for lane in plan.lanes],
        "notes": plan.notes,
        "keep_days": plan.keep_days,
    }


def _info(row: Practical) -> PracticalInfo:
    plan = PracticalPlan(
        title=row.title,
        method=Method(**row.method),
        layout=row.layout,
        page=row.page,
        lanes=tuple(LaneRole(**lane) for lane in row.lanes),
        notes=row.notes,
        keep_days=row.keep_days,
    )
    return PracticalInfo(row.id, plan, row.created_at, row.join_code, row.join_open, row.join_until)
