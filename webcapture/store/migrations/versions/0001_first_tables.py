"""The first tables."""

import sqlalchemy as sa
from alembic import op

from webcapture.store.tables import Moment

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make them."""
    op.create_table(
        "guess",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("at", Moment(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    with op.batch_alter_table("guess", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_guess_at"), ["at"], unique=False)

    op.create_table(
        "lead_session",
        sa.Column("token", sa.String(length=64), nullable=False),
        sa.Column("until", Moment(), nullable=False),
        sa.PrimaryKeyConstraint("token"),
    )
    op.create_table(
        "practical",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("title", sa.String(length=200), nullable=False),
        sa.Column("method", sa.JSON(), nullable=False),
        sa.Column("layout", sa.String(length=20), nullable=False),
        sa.Column("page", sa.String(length=20), nullable=False),
        sa.Column("lanes", sa.JSON(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("created_at", Moment(), nullable=False),
        sa.Column("join_code", sa.String(length=12), nullable=False),
        sa.Column("join_open", sa.Boolean(), nullable=False),
        sa.Column("join_until", Moment(), nullable=False),
        sa.Column("keep_days", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("join_code"),
    )
    op.create_table(
        "setting",
        sa.Column("name", sa.String(length=40), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("name"),
    )
    op.create_table(
        "station",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("practical_id", sa.String(length=36), nullable=False),
        sa.Column("label", sa.String(length=40), nullable=False),
        sa.Column("token", sa.String(length=64), nullable=False),
        sa.Column("joined_at", Moment(), nullable=False),
        sa.ForeignKeyConstraint(["practical_id"], ["practical.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("practical_id", "label"),
        sa.UniqueConstraint("token"),
    )
    with op.batch_alter_table("station", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_station_practical_id"), ["practical_id"], unique=False)

    op.create_table(
        "photo",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("station_id", sa.String(length=36), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("received_at", Moment(), nullable=False),
        sa.Column("state", sa.String(length=10), nullable=False),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("lease_until", Moment(), nullable=True),
        sa.Column("trouble", sa.JSON(), nullable=True),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
    )
    with op.batch_alter_table("photo", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_photo_digest"), ["digest"], unique=False)
        batch_op.create_index(batch_op.f("ix_photo_station_id"), ["station_id"], unique=False)
        batch_op.create_index("photo_by_state", ["state", "lease_until"], unique=False)

    op.create_table(
        "correction",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("photo_id", sa.String(length=36), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("by", sa.String(length=40), nullable=False),
        sa.Column("change", sa.JSON(), nullable=False),
        sa.Column("undone_at", Moment(), nullable=True),
        sa.Column("undone_by", sa.String(length=40), nullable=True),
        sa.ForeignKeyConstraint(["photo_id"], ["photo.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
    )
    with op.batch_alter_table("correction", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_correction_photo_id"), ["photo_id"], unique=False)

    op.create_table(
        "measurement",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("photo_id", sa.String(length=36), nullable=False),
        sa.Column("software", sa.String(length=40), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("result", sa.LargeBinary(), nullable=False),
        sa.Column("page", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(["photo_id"], ["photo.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
    )
    with op.batch_alter_table("measurement", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_measurement_page"), ["page"], unique=False)
        batch_op.create_index(batch_op.f("ix_measurement_photo_id"), ["photo_id"], unique=False)


def downgrade() -> None:
    """Remove them."""
    with op.batch_alter_table("measurement", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_measurement_photo_id"))
        batch_op.drop_index(batch_op.f("ix_measurement_page"))

    op.drop_table("measurement")
    with op.batch_alter_table("correction", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_correction_photo_id"))

    op.drop_table("correction")
    with op.batch_alter_table("photo", schema=None) as batch_op:
        batch_op.drop_index("photo_by_state")
        batch_op.drop_index(batch_op.f("ix_photo_station_id"))
        batch_op.drop_index(batch_op.f("ix_photo_digest"))

    op.drop_table("photo")
    with op.batch_alter_table("station", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_station_practical_id"))

    op.drop_table("station")
    op.drop_table("setting")
    op.drop_table("practical")
    op.drop_table("lead_session")
    with op.batch_alter_table("guess", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_guess_at"))

    op.drop_table("guess")
