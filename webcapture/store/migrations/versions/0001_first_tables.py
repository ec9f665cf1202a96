"""The first tables."""

import sqlalchemy as sa
from alembic import op

from webcapture.store.tables import Moment

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

TABLES = ("practical", "station", "photo", "measurement", "correction", "lead_session", "guess", "setting")
"""In the order in which they can be made; removed the other way."""


def upgrade() -> None:
    """Make them."""
    _practical()
    _station()
    _photo()
    _measurement()
    _correction()
    _of_the_installation()


def downgrade() -> None:
    """Remove them, with their indexes."""
    for name in reversed(TABLES):
        op.drop_table(name)


def _practical() -> None:
    op.create_table(
        "practical",
        sa.Column("id", sa.String(36), nullable=False),
        sa.Column("title", sa.String(200), nullable=False),
        sa.Column("method", sa.JSON(), nullable=False),
        sa.Column("layout", sa.String(20), nullable=False),
        sa.Column("page", sa.String(20), nullable=False),
        sa.Column("lanes", sa.JSON(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("created_at", Moment(), nullable=False),
        sa.Column("join_code", sa.String(12), nullable=False),
        sa.Column("join_open", sa.Boolean(), nullable=False),
        sa.Column("join_until", Moment(), nullable=False),
        sa.Column("keep_days", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_practical"),
        sa.UniqueConstraint("join_code", name="uq_practical_join_code"),
    )


def _station() -> None:
    op.create_table(
        "station",
        sa.Column("id", sa.String(36), nullable=False),
        sa.Column("practical_id", sa.String(36), nullable=False),
        sa.Column("label", sa.String(40), nullable=False),
        sa.Column("token", sa.String(64), nullable=False),
        sa.Column("joined_at", Moment(), nullable=False),
        _belongs_to("practical", "station"),
        sa.PrimaryKeyConstraint("id", name="pk_station"),
        sa.UniqueConstraint("practical_id", "label", name="uq_station_practical_id_label"),
        sa.UniqueConstraint("token", name="uq_station_token"),
    )
    op.create_index("ix_station_practical_id", "station", ["practical_id"])


def _photo() -> None:
    op.create_table(
        "photo",
        sa.Column("id", sa.String(36), nullable=False),
        sa.Column("station_id", sa.String(36), nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("received_at", Moment(), nullable=False),
        sa.Column("state", sa.String(10), nullable=False),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("lease_until", Moment(), nullable=True),
        sa.Column("trouble", sa.JSON(), nullable=True),
        _belongs_to("station", "photo"),
        sa.PrimaryKeyConstraint("id", name="pk_photo"),
    )
    op.create_index("ix_photo_station_id", "photo", ["station_id"])
    op.create_index("ix_photo_digest", "photo", ["digest"])
    op.create_index("photo_by_state", "photo", ["state", "lease_until"])


def _measurement() -> None:
    op.create_table(
        "measurement",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("photo_id", sa.String(36), nullable=False),
        sa.Column("software", sa.String(40), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("result", sa.LargeBinary(), nullable=False),
        sa.Column("page", sa.String(64), nullable=False),
        _belongs_to("photo", "measurement"),
        sa.PrimaryKeyConstraint("id", name="pk_measurement"),
    )
    op.create_index("ix_measurement_photo_id", "measurement", ["photo_id"])
    op.create_index("ix_measurement_page", "measurement", ["page"])


def _correction() -> None:
    op.create_table(
        "correction",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("photo_id", sa.String(36), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("by", sa.String(40), nullable=False),
        sa.Column("change", sa.JSON(), nullable=False),
        sa.Column("undone_at", Moment(), nullable=True),
        sa.Column("undone_by", sa.String(40), nullable=True),
        _belongs_to("photo", "correction"),
        sa.PrimaryKeyConstraint("id", name="pk_correction"),
    )
    op.create_index("ix_correction_photo_id", "correction", ["photo_id"])


def _of_the_installation() -> None:
    op.create_table(
        "lead_session",
        sa.Column("token", sa.String(64), nullable=False),
        sa.Column("until", Moment(), nullable=False),
        sa.PrimaryKeyConstraint("token", name="pk_lead_session"),
    )
    op.create_table(
        "guess",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("at", Moment(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_guess"),
    )
    op.create_index("ix_guess_at", "guess", ["at"])
    op.create_table(
        "setting",
        sa.Column("name", sa.String(40), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_setting"),
    )


def _belongs_to(owner: str, table: str) -> sa.ForeignKeyConstraint:
    """A row goes when its owner goes."""
    column = f"{owner}_id"
    return sa.ForeignKeyConstraint([column], [f"{owner}.id"], name=f"fk_{table}_{column}", ondelete="CASCADE")
