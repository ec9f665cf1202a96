"""Reference values in versions, and runs accepted from reference lanes."""

import sqlalchemy as sa
from alembic import op

from webcapture.store.tables import Moment

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make both tables."""
    op.create_table(
        "reference_version",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("entry", sa.String(36), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("value", sa.JSON(), nullable=False),
        sa.Column("retired", sa.Boolean(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_reference_version"),
        sa.UniqueConstraint("entry", "version", name="uq_reference_version_entry_version"),
    )
    op.create_table(
        "accepted_run",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("substance", sa.String(200), nullable=False),
        sa.Column("method", sa.JSON(), nullable=False),
        sa.Column("rf", sa.Double(), nullable=False),
        sa.Column("expanded", sa.Double(), nullable=True),
        sa.Column("colour", sa.String(7), nullable=False),
        sa.Column("photo_id", sa.String(36), nullable=False),
        sa.Column("bay", sa.Integer(), nullable=False),
        sa.Column("lane", sa.Integer(), nullable=False),
        sa.Column("spot", sa.Integer(), nullable=False),
        sa.Column("practical_id", sa.String(36), nullable=False),
        sa.Column("practical", sa.String(200), nullable=False),
        sa.Column("accepted_at", Moment(), nullable=False),
        sa.Column("withdrawn_at", Moment(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_accepted_run"),
    )
    op.create_index("ix_accepted_run_photo_id", "accepted_run", ["photo_id"])
    op.create_index("ix_accepted_run_practical_id", "accepted_run", ["practical_id"])


def downgrade() -> None:
    """Remove both, with their indexes."""
    op.drop_table("accepted_run")
    op.drop_table("reference_version")
