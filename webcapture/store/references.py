"""Reference values of this installation. Nothing is overwritten: every change is another version on top, and what is retired can come back."""

from __future__ import annotations

import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from webcapture.errors import UsageError
from webcapture.reference.library import Value
from webcapture.store.shapes import value_dict, value_from
from webcapture.store.tables import AcceptedRun, ReferenceVersion, Setting

WINDOW = "window_rf"
MEANWHILE = "This value has been changed meanwhile."
LOOK_AGAIN = "Look at it again, then change it."


@dataclass(frozen=True, slots=True)
class Kept:
    """One version of one value."""

    entry: str
    """The same for all versions of it."""
    version: int
    """From 1."""
    value: Value
    made_at: datetime
    retired: bool
    note: str


def kept(session: Session) -> list[Kept]:
    """The newest version of each value, retired ones too, in the order in which they came."""
    newest = select(func.max(ReferenceVersion.id)).group_by(ReferenceVersion.entry)
    rows = session.scalars(select(ReferenceVersion).where(ReferenceVersion.id.in_(newest)))
    first = func.min(ReferenceVersion.id)
    names = session.scalars(select(ReferenceVersion.entry).group_by(ReferenceVersion.entry).order_by(first))
    came = {name: number for number, name in enumerate(names)}
    return [_kept(row) for row in sorted(rows, key=lambda row: came[row.entry])]


def entry(session: Session, name: str) -> Kept | None:
    """The newest version of one value; None where there is none."""
    row = _newest(session, name)
    return None if row is None else _kept(row)


def history(session: Session, name: str) -> list[Kept]:
    """All versions of one value, the oldest first."""
    rows = select(ReferenceVersion).where(ReferenceVersion.entry == name).order_by(ReferenceVersion.version)
    return [_kept(row) for row in session.scalars(rows)]


def add(session: Session, values: Iterable[Value], now: datetime, note: str = "") -> int:
    """Keep those values too, all of them or none; gives how many are new: the same again is not.

    Raises UsageError rather than put a value beside one that says otherwise, or beside one that was retired.
    """
    there = {one.value.identity: one for one in kept(session)}
    wanted = list(values)
    _refuse_clashes([there[v.identity] for v in wanted if v.identity in there and there[v.identity].value != v])
    _refuse_retired([there[v.identity] for v in wanted if v.identity in there and there[v.identity].retired])
    new = {value.identity: value for value in wanted if value.identity not in there}
    for value in new.values():
        session.add(_row(secrets.token_hex(8), 1, value, now, retired=False, note=note))
    session.flush()
    return len(new)


def change(session: Session, name: str, version: int, value: Value, now: datetime, note: str = "") -> Kept:
    """Put another version on top of that one; raises UsageError where that is the newest no more, or the new value is there already."""
    _require_newest(session, name, version)  # first: who is late has to hear of that, whatever else is wrong
    same = [one for one in kept(session) if one.entry != name and one.value.identity == value.identity]
    _refuse_clashes(same)
    return _on_top(session, name, version, now, note, value=value)


def retire(session: Session, name: str, version: int, now: datetime, note: str = "") -> Kept:
    """Compare with it no more; raises UsageError where that version is the newest no more."""
    return _on_top(session, name, version, now, note, retired=True)


def restore(session: Session, name: str, version: int, now: datetime, note: str = "") -> Kept:
    """Compare with it again; raises UsageError where that version is the newest no more."""
    return _on_top(session, name, version, now, note, retired=False)


def window(session: Session) -> float | None:
    """The lead's own window of Rf, for values whose source gives no uncertainty; None where the lead has set none."""
    row = session.get(Setting, WINDOW)
    return None if row is None else float(row.value)


def set_window(session: Session, half_width: float | None) -> None:
    """Set it, or go back to the usual with None."""
    row = session.get(Setting, WINDOW)
    if half_width is not None:
        session.merge(Setting(name=WINDOW, value=repr(half_width)))
    elif row is not None:
        session.delete(row)


def mark(session: Session) -> tuple[int, int, int]:
    """Changes with every change of what is known here: versions, accepted runs, withdrawn ones."""
    counted = (
        select(func.max(ReferenceVersion.id)),
        select(func.max(AcceptedRun.id)),
        select(func.count()).select_from(AcceptedRun).where(AcceptedRun.withdrawn_at.is_not(None)),
    )
    versions, accepted, withdrawn = (session.scalar(one) or 0 for one in counted)
    return versions, accepted, withdrawn


# --- inside


def _newest(session: Session, name: str) -> ReferenceVersion | None:
    rows = select(ReferenceVersion).where(ReferenceVersion.entry == name)
    return session.scalars(rows.order_by(ReferenceVersion.version.desc()).limit(1)).first()


def _require_newest(session: Session, name: str, version: int) -> ReferenceVersion:
    """The newest version of that value; raises UsageError where it is another one."""
    last = _newest(session, name)
    if last is None or last.version != version:
        raise UsageError(MEANWHILE, LOOK_AGAIN)
    return last


def require_newest(session: Session, name: str, version: int) -> None:
    """Raises UsageError where that version is the newest no more."""
    _require_newest(session, name, version)


def _on_top(
    session: Session, name: str, version: int, now: datetime, note: str, *, value: Value | None = None,
    retired: bool | None = None,
) -> Kept:  # fmt: skip
    last = _require_newest(session, name, version)
    before = _kept(last)
    row = _row(
        name, version + 1, value or before.value, now,
        retired=before.retired if retired is None else retired, note=note,
    )  # fmt: skip
    session.add(row)
    session.flush()
    return _kept(row)


def _refuse_clashes(there: list[Kept]) -> None:
    if there:
        names = ", ".join(dict.fromkeys(one.value.substance for one in there))
        raise UsageError(
            f"Values from the same source under the same method are there already: {names}.",
            "Change or retire those first, or name the sources apart: nothing is overwritten.",
        )


def _refuse_retired(there: list[Kept]) -> None:
    if there:
        names = ", ".join(dict.fromkeys(one.value.substance for one in there))
        raise UsageError(f"The same values were retired: {names}.", "Restore them instead of adding them again.")


def _row(name: str, version: int, value: Value, now: datetime, *, retired: bool, note: str) -> ReferenceVersion:
    return ReferenceVersion(
        entry=name, version=version, value=value_dict(value), made_at=now, retired=retired, note=note
    )


def _kept(row: ReferenceVersion) -> Kept:
    return Kept(row.entry, row.version, value_from(row.value), row.made_at, row.retired, row.note)
