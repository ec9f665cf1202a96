"""The tables. Times are UTC; what belongs to a practical goes when the practical goes."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any, ClassVar

from sqlalchemy import (
    JSON,
    DateTime,
    ForeignKey,
    Index,
    LargeBinary,
    MetaData,
    String,
    Text,
    TypeDecorator,
    UniqueConstraint,
)
from sqlalchemy.engine import Dialect
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

KEY = String(36)
DIGEST = String(64)
"""A SHA-256 in hexadecimal."""
NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s",
    "pk": "pk_%(table_name)s",
}
"""What has a name can be changed by a later migration, in any database."""


class Moment(TypeDecorator[datetime]):
    """A time in UTC that comes back as one: SQLite forgets zones."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """To UTC; a time without a zone is a mistake."""
        if value is not None and value.tzinfo is None:
            raise ValueError("a time needs its zone")
        return None if value is None else value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """As UTC."""
        return None if value is None else value.replace(tzinfo=UTC)


class Table(DeclarativeBase):
    """What all tables share."""

    metadata: ClassVar = MetaData(naming_convention=NAMES)
    type_annotation_map: ClassVar = {datetime: Moment, dict[str, Any]: JSON, list[dict[str, Any]]: JSON}


class Practical(Table):
    """One set of runs under one method."""

    __tablename__ = "practical"

    id: Mapped[str] = mapped_column(KEY, primary_key=True)
    title: Mapped[str] = mapped_column(String(200))
    method: Mapped[dict[str, Any]]
    """Mobile phase, paper, temperature, locating agent."""
    layout: Mapped[str] = mapped_column(String(20))
    page: Mapped[str] = mapped_column(String(20))
    lanes: Mapped[list[dict[str, Any]]]
    """What is in each lane: role and label."""
    notes: Mapped[str] = mapped_column(Text)
    created_at: Mapped[datetime]
    join_code: Mapped[str] = mapped_column(String(12), unique=True)
    join_open: Mapped[bool]
    join_until: Mapped[datetime]
    keep_days: Mapped[int]
    """Days after which photos and results are purged, counted from the last photo."""


class Station(Table):
    """A bench, or a person under a made-up label."""

    __tablename__ = "station"

    id: Mapped[str] = mapped_column(KEY, primary_key=True)
    practical_id: Mapped[str] = mapped_column(ForeignKey("practical.id", ondelete="CASCADE"), index=True)
    label: Mapped[str] = mapped_column(String(40))
    token: Mapped[str] = mapped_column(DIGEST, unique=True)
    """Digest of the token in the station's cookie; the token itself is kept nowhere else."""
    joined_at: Mapped[datetime]

    __table_args__ = (UniqueConstraint("practical_id", "label"),)


class Photo(Table):
    """A photo as it arrived."""

    __tablename__ = "photo"

    id: Mapped[str] = mapped_column(KEY, primary_key=True)
    """Made on the phone (a UUID), so that sending twice is noticed."""
    station_id: Mapped[str] = mapped_column(ForeignKey("station.id", ondelete="CASCADE"), index=True)
    name: Mapped[str] = mapped_column(String(200))
    digest: Mapped[str] = mapped_column(DIGEST, index=True)
    size: Mapped[int]
    received_at: Mapped[datetime]
    state: Mapped[str] = mapped_column(String(10))
    """``waiting``, ``measuring``, ``measured`` or ``refused``."""
    tries: Mapped[int]
    lease_until: Mapped[datetime | None]
    """Until when a ``measuring`` photo is in somebody's hands; later it counts as waiting."""
    trouble: Mapped[dict[str, Any] | None] = mapped_column(JSON)
    """Code, message and hint where it was refused."""

    __table_args__ = (Index("photo_by_state", "state", "lease_until"),)


class Measurement(Table):
    """What the program found on a photo. Never changed; a newer program adds another."""

    __tablename__ = "measurement"

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    photo_id: Mapped[str] = mapped_column(ForeignKey("photo.id", ondelete="CASCADE"), index=True)
    software: Mapped[str] = mapped_column(String(40))
    made_at: Mapped[datetime]
    result: Mapped[bytes] = mapped_column(LargeBinary)
    """The whole result, see :mod:`webcapture.store.codec`."""
    page: Mapped[str] = mapped_column(DIGEST, index=True)
    """The rectified page, a JPEG in the vault."""


class Correction(Table):
    """One change made by hand on top of a measurement."""

    __tablename__ = "correction"

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    photo_id: Mapped[str] = mapped_column(ForeignKey("photo.id", ondelete="CASCADE"), index=True)
    made_at: Mapped[datetime]
    by: Mapped[str] = mapped_column(String(40))
    """The station's label, or ``lead``."""
    change: Mapped[dict[str, Any]]
    undone_at: Mapped[datetime | None]
    undone_by: Mapped[str | None] = mapped_column(String(40))


class ReferenceVersion(Table):
    """One version of one reference value. Never changed: a change, retiring and restoring each add another."""

    __tablename__ = "reference_version"

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    entry: Mapped[str] = mapped_column(KEY)
    """The same for all versions of one value."""
    version: Mapped[int]
    """From 1."""
    value: Mapped[dict[str, Any]]
    """Substance, method, Rf and what belongs to it, see :mod:`webcapture.store.codec`."""
    retired: Mapped[bool]
    note: Mapped[str] = mapped_column(Text)
    """Why, in the words of whoever did it; may be empty."""
    made_at: Mapped[datetime]

    __table_args__ = (UniqueConstraint("entry", "version"),)


class AcceptedRun(Table):
    """A reference lane's spot that the lead accepted as a measurement of its substance.

    It stays when its photo and practical are purged: what is known of a substance is nobody's work. So it points to neither.
    """

    __tablename__ = "accepted_run"

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    substance: Mapped[str] = mapped_column(String(200))
    method: Mapped[dict[str, Any]]
    rf: Mapped[float]
    expanded: Mapped[float | None]
    """Expanded uncertainty of ``rf``, k = 2."""
    colour: Mapped[str] = mapped_column(String(7))
    photo_id: Mapped[str] = mapped_column(KEY, index=True)
    bay: Mapped[int]
    strip: Mapped[int] = mapped_column(server_default="1")
    """Which of the strips in that bay."""
    lane: Mapped[int]
    spot: Mapped[int]
    practical_id: Mapped[str] = mapped_column(KEY, index=True)
    practical: Mapped[str] = mapped_column(String(200))
    """Its title at that time."""
    accepted_at: Mapped[datetime]
    withdrawn_at: Mapped[datetime | None]


class LeadSession(Table):
    """A device on which the lead has signed in."""

    __tablename__ = "lead_session"

    token: Mapped[str] = mapped_column(DIGEST, primary_key=True)
    until: Mapped[datetime]


class Guess(Table):
    """A wrong join code or passphrase, counted to stop guessing."""

    __tablename__ = "guess"

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    kind: Mapped[str] = mapped_column(String(20))
    at: Mapped[datetime] = mapped_column(Moment, index=True)


class Setting(Table):
    """One value that belongs to this installation: the passphrase's hash, the lead's own window."""

    __tablename__ = "setting"

    name: Mapped[str] = mapped_column(String(40), primary_key=True)
    value: Mapped[str] = mapped_column(Text)
