"""Runs of reference lanes that the lead accepted: own values grow from them. A withdrawn run stays in the records and counts no more."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from webcapture.reference.library import Run
from webcapture.store.shapes import method_dict, method_from
from webcapture.store.tables import AcceptedRun


@dataclass(frozen=True, slots=True)
class Place:
    """Which spot of which photo it was."""

    photo: str
    bay: int
    lane: int
    spot: int
    strip: int = 1
    """Which of the strips in that bay."""

    @property
    def sheet(self) -> str:
        """What spots that share origin, front and run have in common: the strip."""
        return f"{self.photo}:{self.bay}" if self.strip == 1 else f"{self.photo}:{self.bay}-{self.strip}"


@dataclass(frozen=True, slots=True)
class AcceptedInfo:
    """One accepted run."""

    id: int
    run: Run
    U_rf: float | None
    """Expanded, k = 2, as measured."""
    place: Place
    practical_title: str
    """As it was when the run was accepted."""
    accepted_at: datetime
    withdrawn_at: datetime | None


def accept(
    session: Session, run: Run, U_rf: float | None, place: Place, practical_title: str, now: datetime,
    older: Collection[str] = (),
) -> bool:  # fmt: skip
    """Keep a run. Accepted again with other numbers, the earlier ones are withdrawn; False where it counts already as it is.

    ``older``: ids of photos that may show the same sheet. Runs of the same lane on those are withdrawn: a sheet counts once.
    """
    known = _of_photos(session, {place.photo, *older})
    there = [row for row in known if (row.bay, row.lane) == (place.bay, place.lane)]
    row = AcceptedRun(
        substance=run.substance, method=method_dict(run.method), rf=run.rf, expanded=U_rf, colour=run.colour,
        photo_id=place.photo, bay=place.bay, strip=place.strip, lane=place.lane, spot=place.spot,
        practical_id=run.practical, practical=practical_title, accepted_at=now, withdrawn_at=None,
    )  # fmt: skip
    if [_told(one) for one in there] == [_told(row)]:
        return False
    for one in there:
        one.withdrawn_at = now
    session.add(row)
    session.flush()
    return True


def withdraw(session: Session, run_id: int, now: datetime) -> bool:
    """Let a run count no more; False where no such run counts."""
    row = session.get(AcceptedRun, run_id)
    if row is None or row.withdrawn_at is not None:
        return False
    row.withdrawn_at = now
    return True


def accepted_runs(session: Session, *, withdrawn: bool = False) -> list[AcceptedInfo]:
    """Every run that counts, and those withdrawn where asked for, in the order in which they were accepted."""
    rows = select(AcceptedRun).order_by(AcceptedRun.id)
    return [
        _info(row) for row in session.scalars(rows if withdrawn else rows.where(AcceptedRun.withdrawn_at.is_(None)))
    ]


def _of_photos(session: Session, photo_ids: Collection[str]) -> list[AcceptedRun]:
    rows = select(AcceptedRun).where(AcceptedRun.photo_id.in_(photo_ids), AcceptedRun.withdrawn_at.is_(None))
    return list(session.scalars(rows))


def _told(row: AcceptedRun) -> tuple[object, ...]:
    return row.photo_id, row.substance, row.method, row.rf, row.expanded, row.colour, row.spot


def _info(row: AcceptedRun) -> AcceptedInfo:
    place = Place(row.photo_id, row.bay, row.lane, row.spot, row.strip)
    run = Run(row.substance, method_from(row.method), row.rf, place.sheet, row.practical_id, row.colour)
    return AcceptedInfo(
        row.id, run, row.expanded, place, row.practical, row.accepted_at, row.withdrawn_at
    )  # fmt: skip
