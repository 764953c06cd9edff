"""When devices were in touch"""

import sqlalchemy as sa
from alembic import op

revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the table."""
    op.create_table(
        "contacts",
        sa.Column("site_id", sa.Text(), nullable=False),
        sa.Column("device_id", sa.Text(), nullable=False),
        sa.Column("hour", sa.Text(), nullable=False),
        sa.Column("first_at", sa.Text(), nullable=False),
        sa.Column("last_at", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("site_id", "device_id", "hour"),
    )


def downgrade() -> None:
    """Take it away."""
    op.drop_table("contacts")
