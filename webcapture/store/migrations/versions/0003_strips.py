"""Which of the strips in its bay an accepted run was seen on; those accepted before count as the first."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the column."""
    with op.batch_alter_table("accepted_run") as batch:
        batch.add_column(sa.Column("strip", sa.Integer(), nullable=False, server_default="1"))


def downgrade() -> None:
    """Remove it."""
    with op.batch_alter_table("accepted_run") as batch:
        batch.drop_column("strip")
